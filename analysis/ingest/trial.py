"""Would every row of a file be imported, and if not, why? Nothing is stored."""

from __future__ import annotations

from datetime import datetime

from analysis.ingest.checked import Source
from analysis.ingest.checking import check
from analysis.ingest.known_lines import KnownLines
from analysis.ingest.profile import Profile
from analysis.ingest.raw import LogFile
from analysis.ingest.sentences import fix, why
from analysis.ingest.sources import open_file
from analysis.policy import Policy
from analysis.store import Store
from analysis.store.instants import microseconds


def first_refusal(
    store: Store, log: LogFile, policy: Policy, table: str, received_at: datetime
) -> str | None:
    """What is wrong with the first row of a file that would be refused, and how to fix it.

    For a row that was just typed in and can be fixed at once, instead of joining the list of
    refused rows. The checks are those of ingest, but for those that need several files.

    Parameters
    ----------
    store : Store
        Its registry is what rows are checked against.
    log : LogFile
        In the form of the formats page.
    policy : Policy
        Gives time zone and codes.
    table : str
        The table it holds.
    received_at : datetime
        When its rows are received; with a time zone.

    Returns
    -------
    str or None
        One sentence or two without the row's place; None: all rows would be imported.

    Raises
    ------
    IngestError
        The file can't be read.
    """
    known = KnownLines.of(store.registry())
    for part in open_file(log, Profile(), table).parts:
        at = microseconds(received_at)
        source = Source(part, Profile(), policy, at, at)
        for raw in part.batches():
            checked = check(raw, source, known)
            if not checked.faults.usable.all():
                row = checked.refused_form().slice(0, 1).to_pylist()[0]
                facts = (table, row["column"], row["value"], row["reason"])
                cell = f'{row["column"]} "{row["value"]}"' if row["value"] else row["column"]
                return f"{cell or 'The row'}: {why(*facts)}. {fix(*facts)}"
    return None

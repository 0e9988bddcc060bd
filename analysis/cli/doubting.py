"""Commands on doubts about rows in force: list them, void an entry that was corrected."""

from __future__ import annotations

import getpass
from datetime import UTC, datetime

import typer

from analysis.cli.opening import opened
from analysis.cli.options.loading import Doubts, DoubtsVoid
from analysis.cli.output import show
from analysis.ingest.reasons import Doubt
from analysis.ingest.sentences import doubt_sentence


def doubts(asked: Doubts) -> None:
    """List doubts; of an entry that looks like a correction, the number of the earlier one."""
    with opened(asked.store) as store:
        found, pairs = store.doubts(), store.corrections()
    pairs = pairs[["row", "earlier_row"]].assign(doubt=str(Doubt.LOOKS_LIKE_CORRECTION))
    found = found.merge(pairs, on=["row", "doubt"], how="left")
    show(found.assign(why=[doubt_sentence(str(code)) for code in found["doubt"]]), asked)


def void(asked: DoubtsVoid) -> None:
    """Void a log entry, or undo that."""
    by, now = getpass.getuser(), datetime.now(UTC)
    with opened(asked.store) as store:
        if asked.undo:
            store.restore_entry(asked.row, by, now)
        else:
            store.void_entry(asked.row, by, now)
    done = "counts again" if asked.undo else "is voided; undo it with --undo"
    typer.echo(f"linedays: Log entry number {asked.row} {done}.", err=True)

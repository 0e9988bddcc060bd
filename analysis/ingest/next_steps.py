"""What is to be done after an ingest, in the order in which to do it?"""

from __future__ import annotations

from analysis.ingest.reasons import FileFault
from analysis.ingest.summary import IngestSummary

TO_DESCRIBE = {FileFault.TABLE_UNKNOWN, FileFault.HEADS_MISSING}
"""Of a file that no known source writes."""


def next_steps(
    summary: IngestSummary, *, has_lines: bool, has_entries: bool, zone_is_set: bool
) -> list[str]:
    """Sentences on what to do next, each with its command; none if nothing was read.

    Parameters
    ----------
    summary : IngestSummary
        What the ingest did.
    has_lines, has_entries : bool
        Whether the store holds lines and log entries.
    zone_is_set : bool
        Whether the programme's time zone was set.
    """
    steps = []
    unlike = [fault.file for fault in summary.faults if fault.code in TO_DESCRIBE]
    if unlike:
        steps.append(f"Describe how {unlike[0]} is written: linedays source FILE.")
    if summary.refused:
        rows = "1 row was" if summary.refused == 1 else f"{summary.refused:,} rows were"
        steps.append(
            f"{rows} refused: linedays refused shows why, linedays refused --write FOLDER writes "
            "files to correct and ingest again."
        )
    if not summary.read:
        return steps
    if not has_lines:
        steps.append("No line is known yet: ingest the registry of lines.")
    elif not has_entries:
        steps.append("No log entry is known yet: ingest the families' logs.")
    if not zone_is_set:
        steps.append(
            "The time zone is not set and days are counted in UTC: write time_zone in a policy file "
            "and store it with linedays policy --set FILE."
        )
    if has_lines and has_entries and summary.stored:
        steps.append("See which families to call: linedays calls.")
    return steps

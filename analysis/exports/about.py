"""What does the page with exported tables explain?"""

from __future__ import annotations

from collections.abc import Collection, Sequence

from analysis.exports.folder import Written
from analysis.snapshot import Snapshot
from analysis.vocabulary import Private, Versions
from analysis.words import CAUTIONS

LEFT_OUT = {
    Private.CONTACT: "how to reach a family",
    Private.LANGUAGE: "the language to call it in",
    Private.NOTE: "free text of the log, of recorded calls and of what was arranged",
}


def left_out_words(asked_for: Collection[Private]) -> str:
    """One sentence on what is left out or, having been asked for, is in."""
    gone = [words for private, words in LEFT_OUT.items() if private not in asked_for]
    there = [words for private, words in LEFT_OUT.items() if private in asked_for]
    sentences = []
    if gone:
        sentences.append(f"Left out: {', '.join(gone)} (--with asks for it).")
    if there:
        sentences.append(f"In it, as asked for: {', '.join(there)}.")
    return " ".join(sentences)


def about_page(
    seen: Snapshot, asked_for: Collection[Private], versions: Versions, files: Sequence[Written]
) -> str:
    """The page in Markdown; without the moment of writing, so that it is the same each time."""
    known = seen.known_at.isoformat(timespec="microseconds").replace("+00:00", "Z")
    editions = ", ".join(edition.version for edition in seen.policy.editions)
    which = {
        Versions.CURRENT: "The version of each record in force then; withdrawn records are left out.",
        Versions.ALL: "Every version of each record received by then, withdrawals too.",
    }[versions]
    listed = "\n".join(f"| {f.path} | {f.rows} | `{f.sha256}` |" for f in files)
    cautions = "\n".join(f"- {caution}" for caution in CAUTIONS)
    return f"""# Tables exported from linedays

Read in the morning of {seen.as_of.isoformat()}, as known at {known}, days counted in the zone
{seen.policy.time_zone}, by the policy editions {editions}.

{which}

These files hold codes of children, families, caregivers and staff: they are for the team. For
anybody else write a de-identified extract. {left_out_words(asked_for)}

`records/` holds what came in; as CSV these files can be ingested again. Columns of a sender's own
that linedays does not know are not in them. `tables/` holds what is calculated from the records; where
a table is split in several ways, `by`, `task` or `event` say by which: add up the rows of one only.
`dictionary/` states of each column what it holds, its unit, and what a blank means.

{cautions}

| file | rows | SHA-256 |
|---|---|---|
{listed}
"""

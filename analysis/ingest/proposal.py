"""How does an unknown file write its rows most likely, and what has to be asked?

Heads and words are compared with ours and their synonyms; dates show their order; nothing that
could mean two things is decided without an answer.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from analysis.ingest import evidence
from analysis.ingest.draft import LEAVE, Draft, Meaning, Question, WordMeaning
from analysis.ingest.faults import IngestError
from analysis.ingest.grid import grids
from analysis.ingest.header_row import best_header
from analysis.ingest.profile import Profile
from analysis.ingest.raw import LogFile
from analysis.ingest.reasons import FileFault
from analysis.policy import Policy
from analysis.tables.incoming import INCOMING
from analysis.tables.kinds import Kind

__all__ = ["LEAVE", "Meaning", "Proposal", "Question", "WordMeaning", "propose"]


@dataclass(frozen=True)
class Proposal:
    """A profile that would read a file, what it rests on and what is open."""

    profile: Profile
    table: str
    meanings: tuple[Meaning, ...]
    questions: tuple[Question, ...]
    answered: tuple[Question, ...] = ()
    """Questions that had an answer."""
    words: tuple[WordMeaning, ...] = ()
    """Words whose code is proposed without a question."""


def propose(
    log: LogFile,
    name: str,
    policy: Policy,
    answers: Mapping[str, str] | None = None,
    table: str | None = None,
) -> Proposal:
    """Propose a source profile for a file.

    Parameters
    ----------
    log : LogFile
        A file as the source sends it.
    name : str
        Name of the source.
    policy : Policy
        Its finding and step codes, with their labels, are known words.
    answers : mapping of str to str, optional
        Answers by the key of their question.
    table : str, optional
        The table that the file holds; None: found from names and heads.

    Returns
    -------
    Proposal
        Complete when it has no question.

    Raises
    ------
    IngestError
        The file cannot be read, or no head of it is like one of ours.
    ProfileError
        An answer is none that its question can have.
    """
    found = grids(log)
    given = dict(answers or {})
    best = best_header(found, [table] if table else list(INCOMING))
    if best is None or best.score <= 0:
        raise IngestError(FileFault.TABLE_UNKNOWN, log.name)
    draft = Draft(best, policy, given)
    draft.read_days()
    draft.read_heads()
    draft.read_sheets([grid for grid in found if grid.sheet != best.grid.sheet])
    draft.read_missing()
    style = draft.read_dates()
    draft.read_words()
    looks = replace(draft.looks(), footer=evidence.footer(draft.rows))
    return Proposal(
        profile=Profile(
            name=name,
            dates=style,
            decimal_mark=evidence.decimal_mark(draft.cells_of({Kind.COUNT})),
            encoding=best.grid.encoding,
            tables={best.table: looks},
        ),
        table=best.table,
        meanings=tuple(draft.meanings()),
        questions=tuple(draft.questions),
        answered=tuple(draft.answered),
        words=tuple(draft.words),
    )

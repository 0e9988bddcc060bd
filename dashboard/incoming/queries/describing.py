"""What source profile is proposed for a file that was sent, and how is it stored?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path, PurePath

from analysis.ingest import IngestError, LogFile, Profile, ProfileError
from analysis.ingest.preview import Preview
from analysis.ingest.profile_file import parse_profile
from analysis.ingest.profile_toml import as_toml
from analysis.ingest.proposal import LEAVE, Proposal, WordMeaning, propose
from analysis.ingest.unpack import plain_files
from analysis.policy import Policy
from analysis.store import Store, StoreError
from analysis.tables import INCOMING
from analysis.unfinished import temporary_folder
from dashboard.incoming.queries import files as incoming_files
from dashboard.incoming.queries.how_read import how_read
from dashboard.incoming.views import Described, HeadChoice, QuestionShown, WordChoice
from dashboard.session.forms import FormError
from dashboard.session.ingesting import PATIENCE_SECONDS, preview_files
from dashboard.session.views import PageContext

MOST_ANSWERS = 500
"""Answers of one form that are read."""
LONGEST_NAME = 60
"""Characters of a source's name."""


@dataclass(frozen=True)
class Asked:
    """What a form holds: the source's name, the file's table, answers by the key of their question."""

    name: str
    table: str | None
    answers: Mapping[str, str]

    @classmethod
    def of(cls, form: Mapping[str, str], file: str) -> Asked:
        """Read a form; blank choices are no answers."""
        pairs = [(form.get(f"key-{n}"), form.get(f"answer-{n}")) for n in range(MOST_ANSWERS)]
        answers = {key: answer for key, answer in pairs if key and answer}
        name = " ".join(form.get("name", "").split())[:LONGEST_NAME]
        table = form.get("table") or None
        return cls(name or PurePath(file).stem, table if table in INCOMING else None, answers)


def described(
    store_url: str,
    held: tuple[Path, str],
    place: int,
    number: str,
    asked: Asked,
    policy: Policy,
    at: datetime,
    context: PageContext,
) -> Described:
    """The profile proposed for a held file, with its effect where nothing is open.

    Raises
    ------
    FormError
        The file cannot be read, or holds none of our tables.
    """
    path, name = held
    effect, fault = None, None
    with temporary_folder() as folder:
        log = _plain(LogFile(path, name), folder)
        try:
            found = propose(log, asked.name, policy, asked.answers, asked.table)
        except (IngestError, ProfileError) as wrong:
            raise FormError(str(wrong)) from None
        text = as_toml(found.profile)
        if not found.questions:
            try:
                shown = _effect(store_url, log, policy, text, asked.name, at)
                effect = incoming_files.previewed(shown, number, (), context)
            except ProfileError as wrong:
                fault = str(wrong)
    return Described(
        context=context,
        number=number,
        name=asked.name,
        file=name,
        at=place,
        table=found.table,
        columns=tuple(column.name for column in INCOMING[found.table].columns),
        heads=_heads(found, asked),
        words=tuple(_word(word, asked) for word in found.words),
        reads=how_read(found.profile, found.table, {q.key for q in found.questions}),
        questions=_questions(found, asked),
        effect=effect,
        text=text,
        fault=fault,
    )


def _plain(log: LogFile, folder: Path) -> LogFile:
    try:
        return plain_files(log, folder)[0]
    except IngestError as fault:
        raise FormError(str(fault)) from None


def _effect(
    store_url: str, log: LogFile, policy: Policy, text: str, name: str, at: datetime
) -> Preview:
    profile: Profile = parse_profile(text, name, name)
    return preview_files(store_url, [log], policy, profile, at)


def _heads(found: Proposal, asked: Asked) -> tuple[HeadChoice, ...]:
    open_heads = {q.key for q in found.questions}
    return tuple(
        HeadChoice(
            head=meaning.head,
            examples=", ".join(meaning.examples)[:60],
            proposed=None
            if f"head:{meaning.head}" in open_heads
            else meaning.column or "not one of ours",
            chosen=asked.answers.get(f"head:{meaning.head}", ""),
        )
        for meaning in found.meanings
    )


def _word(word: WordMeaning, asked: Asked) -> WordChoice:
    chosen = asked.answers.get(word.key, "")
    return WordChoice(word.key, word.column, word.word, word.code, chosen, word.codes)


def _questions(found: Proposal, asked: Asked) -> tuple[QuestionShown, ...]:
    """Questions other than what a head is, open ones first."""
    return tuple(
        QuestionShown(q.key, q.text, q.answers, asked.answers.get(q.key, ""))
        for q in (*found.questions, *found.answered)
        if not q.key.startswith("head:")
    )


def save(store_url: str, found: Described, who: str, at: datetime) -> int:
    """Store a complete profile; returns its version.

    Raises
    ------
    FormError
        Something is open or wrong, or somebody else is writing to the store.
    """
    if found.n_open or found.fault or found.effect is None:
        raise FormError("Answer every question before you save the source.")
    try:
        with Store.open(store_url, create=False, wait_seconds=PATIENCE_SECONDS) as store:
            return store.set_source_profile(found.name, found.text, who, at)
    except StoreError as fault:
        raise FormError(f"The source was not saved. {fault}") from None


__all__ = ["LEAVE", "Asked", "described", "save"]

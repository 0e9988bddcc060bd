"""How does a hand-out put steps, days and evidence into the words of a family's language?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from analysis.policy import Edition
from analysis.starter import Texts, TextsError, load_texts, texts_in_english
from dashboard.retraining.session_views import Handout, HandoutStep, Session, Step

ENGLISH = ("en", "english")


@dataclass(frozen=True)
class HandoutWords:
    """The words of a hand-out in one language."""

    texts: Texts

    def __getitem__(self, name: str) -> str:
        """One text below [handout]."""
        return self.texts[f"handout.{name}"]

    def filled(self, name: str, **parts: object) -> str:
        """One text below [handout] with its parts in braces filled in."""
        text = self[name]
        for part, value in parts.items():
            text = text.replace(f"{{{part}}}", str(value))
        return text

    def day(self, on: date) -> str:
        """A day with its month as a word."""
        month = self.texts.several("handout.months")[on.month - 1]
        return self.filled("day", day=on.day, month=month, year=on.year)

    def name(self, step: Step) -> str:
        """The name of a step; what is no step of the policy has one of its own."""
        own = self.texts.get(f"words.steps_missed.{step.code}")
        name = own or self.texts.get(f"handout.name.{step.code}") or step.name
        return name[:1].upper() + name[1:]

    def how(self, step: Step) -> str | None:
        """How a step is done; None: the programme's policy does not say."""
        return self.texts.get(f"handout.how.{step.code}")

    def evidence(self, step: Step) -> str:
        """What the log shows of a step."""
        own = f"counts.{step.code}"
        name = own if self.texts.get(f"handout.{own}") else "step"
        counts = self.filled(name, missed=step.missed, seen=step.seen)
        if step.since is None:
            return self.filled("before", counts=counts)
        return self.filled("since", day=self.day(step.since), counts=counts)

    def sheet(
        self, session: Session, family: str, caregiver: str | None, steps: Iterable[Step]
    ) -> Handout:
        """The hand-out of one person invited, or of a family whose log names nobody."""
        heading = self.filled("next_training", day=self.day(session.held_on))
        about = [self.filled("who", caregiver=caregiver or self["caregivers"], family=family)]
        if session.venue:
            about.append(self.filled("place", place=session.venue))
        if session.held_by:
            about.append(self.filled("with", people=", ".join(session.held_by)))
        return Handout(
            family_id=family,
            caregiver_id=caregiver,
            language=self.texts["language"],
            direction=self.texts["direction"],
            heading=f"{heading}, {session.starts_at}" if session.starts_at else heading,
            about=" ".join(about),
            practise=self["practise"],
            nothing_missed=self["nothing_missed"],
            notes=self["notes"],
            cautions=(*self.texts.several("cautions"), self["logged"]),
            steps=tuple(HandoutStep(self.name(s), self.how(s), self.evidence(s)) for s in steps),
        )


@dataclass(frozen=True)
class Translations:
    """The words of hand-outs by language, as the programme translated them."""

    english: HandoutWords
    by_language: dict[str, HandoutWords]
    faults: tuple[str, ...]
    """Sentences on files that can't be used."""

    @classmethod
    def of(cls, files: Iterable[Path], edition: Edition) -> Translations:
        """Read files of texts; one that can't be used is left out, with a sentence."""
        found: dict[str, HandoutWords] = {}
        faults = []
        for file in files:
            try:
                texts = load_texts(file, edition)
            except TextsError as fault:
                faults.append(str(fault))
            else:
                found[texts["language"].casefold()] = HandoutWords(texts)
        return cls(HandoutWords(texts_in_english(edition)), found, tuple(faults))

    def words(self, language: str | None) -> HandoutWords | None:
        """The words for a family's language, also where it names a region; None: there are none.

        A language that is not known is English.
        """
        if language is None:
            return self.english
        wanted = language.casefold()
        for name in (wanted, wanted.partition("-")[0]):
            if name in self.by_language:
                return self.by_language[name]
        return self.english if wanted.partition("-")[0] in ENGLISH else None

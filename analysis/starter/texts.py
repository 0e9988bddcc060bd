"""Which texts do the diary, its workbook and hand-outs show, and what is wrong in a translation?

The English words for codes come from the lists and the policy that define the codes, except where
families need clearer ones; a file of texts has them all, so that a programme translates one file.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any

from analysis.cautions import CAUTIONS
from analysis.errors import UserError, nearest
from analysis.policy import Edition
from analysis.tables.incoming import HOME_LOG
from analysis.toml_file import TomlError, parsed, read_plain
from analysis.words import plain

SHIPPED = "texts.toml"
FAMILY_CAUTIONS = CAUTIONS[:3]
"""Cautions on a page for families, which shows no rate."""
LIST_CHARACTERS = 255
"""Length of a drop-down list. *Source:* Excel specifications (from memory)."""
HELP_CHARACTERS = 255

_WORDS_OF = ("kind", "change_reason", "dressing_type", "dressing_condition")
"""Columns of the home log whose words are chosen from a list."""
_HOLE = re.compile(r"\{[a-z]+\}")


class TextsError(UserError):
    """A file of texts can't be used; one sentence for a user."""


@dataclass(frozen=True)
class Texts:
    """Texts by their dotted names, such as ``diary.title`` and ``words.kind.flush``."""

    texts: Mapping[str, str | list[str]]

    def __getitem__(self, name: str) -> str:
        """One text."""
        text = self.texts[name]
        assert isinstance(text, str)
        return text

    def get(self, name: str) -> str | None:
        """One text, where there is one."""
        return self[name] if name in self.texts else None

    def several(self, name: str) -> list[str]:
        """A list of texts."""
        texts = self.texts[name]
        assert isinstance(texts, list)
        return texts

    def words(self, column: str) -> dict[str, str]:
        """The word for each code of a column, in order."""
        start = f"words.{column}."
        return {
            name.removeprefix(start): self[name] for name in self.texts if name.startswith(start)
        }


def texts_in_english(edition: Edition) -> Texts:
    """The texts that linedays ships with.

    Parameters
    ----------
    edition : Edition
        Gives the findings and steps.
    """
    text = resources.files("analysis.starter").joinpath(SHIPPED).read_text("utf-8")
    words: dict[str, str | list[str]] = {"cautions": list(FAMILY_CAUTIONS)}
    for column in _WORDS_OF:
        words |= {f"words.{column}.{code}": plain(code) for code in HOME_LOG[column].allowed}
    words |= {f"words.findings.{code}": f.label for code, f in edition.findings.items()}
    words |= {f"words.steps_missed.{code}": s.label for code, s in edition.steps.items()}
    words |= {
        f"handout.how.{code}": s.instruction for code, s in edition.steps.items() if s.instruction
    }
    shipped = dict(_leaves(tomllib.loads(text)))
    clearer = {name: shipped.pop(name, word) for name, word in words.items()}
    return Texts({**shipped, **clearer})


def load_texts(path: Path, edition: Edition) -> Texts:
    """Read a programme's own texts.

    Raises
    ------
    TextsError
        The file cannot be read, or texts are missing, unknown, too long or the same as others.
    """
    try:
        raw = parsed(read_plain(path))
    except TomlError as fault:
        raise TextsError(f"{path}: not valid TOML: {fault}.") from None
    except (OSError, UnicodeDecodeError) as fault:
        raise TextsError(
            f"{path}: cannot be read as UTF-8 text ({type(fault).__name__}). Check the path and "
            "save the file as UTF-8."
        ) from None
    given, wanted = dict(_leaves(raw)), texts_in_english(edition).texts
    _check_names(path, given, wanted)
    for name, usual in wanted.items():
        _check_text(path, name, given[name], usual)
    found = Texts({name: given[name] for name in wanted})
    _check_words(path, found)
    return found


def as_toml(texts: Texts) -> str:
    """All texts as a file to translate."""
    shipped = resources.files("analysis.starter").joinpath(SHIPPED).read_text("utf-8")
    head = [line for line in shipped.splitlines() if line.startswith("#")]
    lines = [*head, ""]
    sections: dict[str, list[str]] = {"": []}
    for name, text in texts.texts.items():
        above, _, key = name.rpartition(".")
        line = f"{key} = {json.dumps(text, ensure_ascii=False)}"
        sections.setdefault(above, []).append(line)
    for section, entries in sections.items():
        lines += ["", f"[{section}]", *entries] if section else entries
    return "\n".join(lines) + "\n"


def _leaves(raw: Mapping[str, Any], above: str = "") -> Iterator[tuple[str, Any]]:
    for key, value in raw.items():
        if isinstance(value, dict):
            yield from _leaves(value, f"{above}{key}.")
        else:
            yield f"{above}{key}", value


def _check_names(path: Path, given: Mapping[str, Any], wanted: Mapping[str, Any]) -> None:
    missing = [name for name in wanted if name not in given]
    unknown = [name for name in given if name not in wanted]
    if missing:
        raise TextsError(
            f"{path}: these texts are missing: {', '.join(missing)}. Add them; 'linedays starter "
            "FOLDER' writes a texts.toml that has all in English."
        )
    if unknown:
        raise TextsError(
            f"{path}: {unknown[0]!r} is not the name of a text.{nearest(unknown[0], wanted)}"
        )


def _check_text(path: Path, name: str, text: Any, usual: str | list[str]) -> None:
    """Refuse what is no text, or has other parts to be filled in."""
    if isinstance(usual, list):
        fits = isinstance(text, list) and len(text) == len(usual)
        if not fits or not all(isinstance(one, str) and one.strip() for one in text):
            raise TextsError(f"{path}: {name} needs a list of {len(usual)} texts.")
        return
    if not isinstance(text, str) or not text.strip():
        raise TextsError(f"{path}: {name} needs a text.")
    if sorted(_HOLE.findall(text)) != sorted(_HOLE.findall(usual)):
        holes = " and ".join(_HOLE.findall(usual)) or "nothing"
        raise TextsError(f"{path}: {name} needs {holes} in braces, as in the English text.")
    if name.startswith("help.") and len(text) > HELP_CHARACTERS:
        raise TextsError(f"{path}: {name} is longer than {HELP_CHARACTERS} characters.")


def _check_words(path: Path, texts: Texts) -> None:
    """Refuse words that a list can't show or that could be two codes."""
    for column in _WORDS_OF:
        words = texts.words(column)
        _check_distinct(path, {f"words.{column}.{code}": word for code, word in words.items()})
        comma = next((f"words.{column}.{code}" for code in words if "," in words[code]), None)
        if comma:
            raise TextsError(f"{path}: {comma} may not hold a comma: it separates list entries.")
        if len(",".join(words.values())) > LIST_CHARACTERS:
            raise TextsError(
                f"{path}: the words of words.{column} are longer than {LIST_CHARACTERS} characters "
                "together, which is the most a drop-down list holds."
            )
    _check_distinct(path, {name: texts[name] for name in texts.texts if _is_head(name)})


def _is_head(name: str) -> bool:
    """Whether a text is a head of the workbook."""
    starts = ("heads.", "words.findings.", "words.steps_missed.")
    return name.startswith(starts) or name in {"words.nothing_seen", "words.no_step_missed"}


def _check_distinct(path: Path, texts: Mapping[str, str]) -> None:
    first: dict[str, str] = {}
    for name, text in texts.items():
        key = re.sub(r"[\s\-_]+", "", text).casefold()
        if key in first:
            raise TextsError(f"{path}: {first[key]} and {name} are the same text, {text!r}.")
        first[key] = name

"""How does a policy file become a policy, and what is wrong with it?

A programme's file changes the shipped one: its editions inherit what they do not
name from the edition before. Every fault is reported with the file, the line and the key.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from importlib import resources
from pathlib import Path
from typing import Any, NoReturn
from zoneinfo import ZoneInfo

from analysis.errors import UserError
from analysis.policy.model import (
    SETTING_FIELDS,
    Edition,
    FindingCode,
    IntervalRule,
    Policy,
    Settings,
    StepCode,
)
from analysis.toml_file import TomlError, parsed, read_plain
from analysis.vocabulary import NOTHING_SEEN, DressingType, FindingMark, LineType, OutcomeKind, Task

SHIPPED = "shipped.toml"
_CODE = re.compile(r"[a-z][a-z0-9_]*\Z")
_TAKEN = frozenset({NOTHING_SEEN, "skin", *map(str, OutcomeKind)})
"""Words that have another meaning where codes are used: in lists of findings, or as an event."""


class PolicyError(UserError):
    """A policy file cannot be used; the text names file, line, key and what to write."""


def shipped_policy() -> Policy:
    """Read the policy that linedays ships with.

    Examples
    --------
    >>> shipped_policy().on(date(2031, 3, 1)).settings.silent_after_days
    8
    """
    text = resources.files("analysis.policy").joinpath(SHIPPED).read_text("utf-8")
    return _Reader(text, SHIPPED).policy(None)


def parse_policy(text: str, file: str) -> Policy:
    """Read the text of a programme's policy file laid over the shipped policy.

    Parameters
    ----------
    text : str
        TOML.
    file : str
        Its path: for messages, and for the files that it names.

    Raises
    ------
    PolicyError
        The text holds something that is not a policy.
    """
    return _Reader(text, file).policy(shipped_policy())


def load_policy(path: Path | None = None) -> Policy:
    """Read a programme's policy file laid over the shipped policy.

    Parameters
    ----------
    path : Path or None
        TOML file; None gives the shipped policy alone.

    Returns
    -------
    Policy
        Editions sorted by the day from which they hold.

    Raises
    ------
    PolicyError
        The file cannot be read or holds something that is not a policy.
    """
    return shipped_policy() if path is None else parse_policy(read_text(path), str(path))


def read_text(path: Path) -> str:
    """Return the text of a policy file.

    Raises
    ------
    PolicyError
        It cannot be read as UTF-8.
    """
    try:
        return read_plain(path, "utf-8")
    except (OSError, UnicodeDecodeError) as fault:
        raise PolicyError(
            f"{path}: cannot be read as UTF-8 text ({type(fault).__name__}). "
            "Check the path and save the file as UTF-8."
        ) from None


@dataclass(frozen=True)
class _Reader:
    """One file being read, so that every fault can name its line."""

    text: str
    file: str

    def policy(self, under: Policy | None) -> Policy:
        """Turn the text into a policy, laid over `under`."""
        try:
            raw = parsed(self.text)
        except TomlError as fault:
            raise PolicyError(f"{self.file}: not valid TOML: {fault}.") from None
        self._no_other_keys(
            raw, {"name", "time_zone", "order_file", "retention_years", "edition"}, ()
        )
        name = self._text(raw, "name", under.name if under else None, ())
        zone = self._text(raw, "time_zone", under.time_zone if under else None, ())
        try:
            ZoneInfo(zone)
        except (KeyError, ValueError, OSError):
            self._fail(
                ("time_zone",), f"{zone!r} is no IANA time zone; write one like 'Asia/Tokyo'"
            )
        blocks = raw.get("edition", [])
        if not isinstance(blocks, list) or not all(isinstance(b, dict) for b in blocks):
            self._fail(("edition",), "write each edition as a block that starts with [[edition]]")
        editions = list(under.editions) if under else []
        last_from: date | None = None
        for at, block in enumerate(blocks):
            edition = self._edition(block, at, editions[-1] if editions else None)
            if last_from is not None and edition.effective_from <= last_from:
                self._fail(
                    (("edition", at), "effective_from"),
                    f"{edition.effective_from} is not after the edition before ({last_from}); "
                    "put the editions in order of time",
                )
            last_from = edition.effective_from
            editions = [e for e in editions if e.effective_from < edition.effective_from]
            editions.append(edition)
        if not editions:
            raise PolicyError(f"{self.file}: holds no [[edition]]; write at least one.")
        order = Path(self.file).parent / self._text(raw, "order_file", ".", ())
        return Policy(
            name=name,
            time_zone=zone,
            editions=tuple(editions),
            order_file=order if "order_file" in raw else None,
            retention_years=self._retention(raw, under),
        )

    def _retention(self, raw: Mapping[str, Any], under: Policy | None) -> int | None:
        years = raw.get("retention_years", under.retention_years if under else None)
        if years is not None and (type(years) is not int or not 1 <= years <= 100):
            self._fail(("retention_years",), "write a whole number of years from 1 to 100")
        return years

    def _edition(self, block: Mapping[str, Any], at: int, under: Edition | None) -> Edition:
        here = (("edition", at),)
        self._no_other_keys(
            block, {"version", "effective_from", "settings", "interval", "finding", "step"}, here
        )
        start = block.get("effective_from")
        if not isinstance(start, date) or isinstance(start, datetime):
            self._fail((*here, "effective_from"), "needs a date such as 2031-04-01, without quotes")
        values, sources = self._settings(self._table(block, "settings", here), here, under)
        rules = {
            (r.task, r.dressing_type, r.line_type): r for r in (under.intervals if under else ())
        }
        raw_rules = block.get("interval", [])
        if not isinstance(raw_rules, list):
            self._fail(
                (*here, "interval"),
                "write each rule as a block that starts with [[edition.interval]]",
            )
        for nth, raw_rule in enumerate(raw_rules):
            rule = self._rule(raw_rule, (*here, ("interval", nth)))
            rules[(rule.task, rule.dressing_type, rule.line_type)] = rule
        findings = dict(under.findings) if under else {}
        for code, entry in self._coded(block, "finding", here):
            findings[code] = FindingCode(
                code=code,
                label=self._text(entry, "label", None, (*here, "finding", code)),
                marks=self._marks(entry, (*here, "finding", code)),
                source=self._text(entry, "source", None, (*here, "finding", code)),
            )
            self._no_other_keys(entry, {"label", "marks", "source"}, (*here, "finding", code))
        steps = dict(under.steps) if under else {}
        for code, entry in self._coded(block, "step", here):
            steps[code] = StepCode(
                code=code,
                label=self._text(entry, "label", None, (*here, "step", code)),
                source=self._text(entry, "source", None, (*here, "step", code)),
                instruction=self._text(entry, "instruction", None, (*here, "step", code))
                if "instruction" in entry
                else None,
            )
            known = {"label", "source", "instruction"}
            self._no_other_keys(entry, known, (*here, "step", code))
        return Edition(
            version=self._text(block, "version", None, here),
            effective_from=start,
            settings=values,
            setting_sources=sources,
            intervals=tuple(rules.values()),
            findings=findings,
            steps=steps,
        )

    def _settings(
        self, raw: Mapping[str, Any], here: tuple[Any, ...], under: Edition | None
    ) -> tuple[Settings, Mapping[str, str]]:
        path = (*here, "settings")
        self._no_other_keys(raw, set(SETTING_FIELDS), path)
        given: dict[str, Any] = {}
        sources = dict(under.setting_sources) if under else {}
        for key, entry in raw.items():
            if not isinstance(entry, dict) or "value" not in entry:
                self._fail((*path, key), 'needs the form { value = ..., source = "..." }')
            self._no_other_keys(entry, {"value", "source"}, (*path, key))
            sources[key] = self._text(entry, "source", None, (*path, key))
            given[key] = self._value(key, entry["value"], (*path, key))
        if under is not None:
            return replace(under.settings, **given), sources
        missing = sorted(set(SETTING_FIELDS) - set(given))
        if missing:
            self._fail(path, f"has no {missing[0]}; the first edition has to name every setting")
        return Settings(**given), sources

    def _value(self, key: str, value: Any, path: tuple[Any, ...]) -> Any:
        spec = SETTING_FIELDS[key]
        low, high = spec.metadata["low"], spec.metadata["high"]
        kind = str(spec.type)
        if kind.startswith("tuple"):
            good = (
                isinstance(value, list)
                and bool(value)
                and all(type(v) is int and low <= v <= high for v in value)
                and all(a < b for a, b in itertools.pairwise(value))
                and value[0] == 0
            )
            if not good:
                self._fail(
                    path, "needs whole years in rising order that start with 0, such as [0, 1, 5]"
                )
            return tuple(value)
        fits = type(value) is int or (kind == "float" and type(value) is float)
        if not fits or not low <= value <= high:
            number = "a whole number" if kind == "int" else "a number"
            self._fail(
                path,
                f"{value!r} does not fit; {spec.metadata['meaning']}: {number} "
                f"of {spec.metadata['unit']} from {low:g} to {high:g}",
            )
        return float(value) if kind == "float" else value

    def _rule(self, raw: Any, path: tuple[Any, ...]) -> IntervalRule:
        if not isinstance(raw, dict):
            self._fail(path, "write the rule as a block that starts with [[edition.interval]]")
        self._no_other_keys(raw, {"task", "dressing_type", "line_type", "days", "source"}, path)
        days = raw.get("days")
        if days != "none" and not (type(days) is int and 1 <= days <= 31):
            self._fail(
                (*path, "days"),
                f'{days!r} is neither "none" nor a whole number of days from 1 to 31',
            )
        task = self._word(raw, "task", Task, path)
        if task is None:
            self._fail(path, "has no task")
        return IntervalRule(
            task=task,
            dressing_type=self._word(raw, "dressing_type", DressingType, path),
            line_type=self._word(raw, "line_type", LineType, path),
            days=None if days == "none" else days,
            source=self._text(raw, "source", None, path),
        )

    def _word(
        self, raw: Mapping[str, Any], key: str, words: type[Any], path: tuple[Any, ...]
    ) -> Any:
        value = raw.get(key)
        if value is None:
            return None
        known = [str(w) for w in words]
        if value not in known:
            self._fail((*path, key), f"{value!r} is not one of {', '.join(known)}")
        return words(value)

    def _marks(self, entry: Mapping[str, Any], path: tuple[Any, ...]) -> frozenset[FindingMark]:
        known = [str(m) for m in FindingMark]
        value = entry.get("marks")
        if not isinstance(value, list) or not value or any(v not in known for v in value):
            self._fail((*path, "marks"), f"needs a list of {', '.join(known)}")
        return frozenset(FindingMark(v) for v in value)

    def _coded(
        self, block: Mapping[str, Any], key: str, here: tuple[Any, ...]
    ) -> list[tuple[str, Mapping[str, Any]]]:
        found: list[tuple[str, Mapping[str, Any]]] = []
        for code, entry in self._table(block, key, here).items():
            path = (*here, key, code)
            if not _CODE.match(code) or code in _TAKEN:
                taken = ", ".join(sorted(_TAKEN))
                self._fail(path, f"a code is small letters, digits and _, and none of {taken}")
            if not isinstance(entry, dict):
                self._fail(path, 'needs the form { label = "...", source = "..." }')
            found.append((code, entry))
        return found

    def _table(
        self, block: Mapping[str, Any], key: str, here: tuple[Any, ...]
    ) -> Mapping[str, Any]:
        value = block.get(key, {})
        if not isinstance(value, dict):
            self._fail((*here, key), f"write it as a table that starts with [edition.{key}]")
        return value

    def _text(
        self, block: Mapping[str, Any], key: str, default: str | None, path: tuple[Any, ...]
    ) -> str:
        value = block.get(key, default)
        if not isinstance(value, str) or not value.strip():
            what = 'a text; for a source write the publication or "common practice, no source"'
            self._fail((*path, key), f"needs {what if key == 'source' else 'a text'}")
        return value

    def _no_other_keys(
        self, block: Mapping[str, Any], known: set[str], path: tuple[Any, ...]
    ) -> None:
        for key in block:
            if key not in known:
                self._fail((*path, key), f"is not known here; known are {', '.join(sorted(known))}")

    def _fail(self, path: tuple[Any, ...], why: str) -> NoReturn:
        names = [p[0] if isinstance(p, tuple) else str(p) for p in path]
        raise PolicyError(f"{self.file} line {self._line(path)}, {'.'.join(names)}: {why}.")

    def _line(self, path: tuple[Any, ...]) -> int:
        """Line of a key, or of the nearest enclosing block that is written out."""
        best = 1
        section: list[Any] = []
        seen: dict[tuple[Any, ...], int] = {}
        for number, line in enumerate(self.text.splitlines(), start=1):
            bare = line.strip()
            header = re.match(r"(\[\[?)\s*([^\]]+?)\s*\]\]?\s*(#.*)?\Z", bare)
            if header:
                names = [n.strip().strip("\"'") for n in header[2].split(".")]
                section = []
                for depth, part in enumerate(names):
                    parent = tuple(section)
                    last = depth == len(names) - 1
                    if last and header[1] == "[[":
                        seen[(*parent, part)] = seen.get((*parent, part), -1) + 1
                    counted = (*parent, part) in seen
                    section.append((part, seen[(*parent, part)]) if counted else part)
                here = tuple(section)
            else:
                key = re.match(r"([A-Za-z0-9_\"'-]+)\s*=", bare)
                if not key:
                    continue
                here = (*section, key[1].strip("\"'"))
            if path[: len(here)] == here:
                best = number
                if len(here) == len(path):
                    break
        return best

"""Records as numbers: lines, entries, stays and outcomes as arrays instead of frames.

Every frame is turned once into int64 arrays: positions for lines, children and families,
positions in the word lists for codes, days since 1970 for dates. Dates after the as-of day
are cut here, after the versions were chosen (definitions §2). A line placed after the
as-of day is not there yet and has no row.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, cast
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow.compute as pc

from analysis import vocabulary
from analysis.days import NO_DAY, days_of
from analysis.tables import FrameError, Records
from analysis.tables.codes import as_arrow, positions_of
from analysis.timeline.axis import NEVER, Codes, Flags, Ints
from analysis.timeline.versions import DATED, times_of

DRESSING_TYPES = tuple(vocabulary.DressingType)
LINE_TYPES = tuple(vocabulary.LineType)
ENTRY_KINDS = tuple(vocabulary.EntryKind)
OUTCOMES = tuple(vocabulary.OutcomeKind)
_READ_OF_LOG = (
    "row",
    "line_id",
    "family_id",
    "done_on",
    "done_at",
    "kind",
    "change_reason",
    "dressing_type",
    "dressing_condition",
    "findings",
)


@dataclass(frozen=True)
class Lines:
    """Lines in order of family, child and line code; one position each in every array.

    What may change by version (`versions.DATED`) is in the frame as it holds on the as-of day.
    """

    frame: pd.DataFrame
    child: Ints
    family: Ints
    family_ids: pd.Series[Any]
    """By position of the family."""
    placed_on: Ints
    home_from: Ints
    end_on: Ints
    """Day of removal or leaving; `NEVER` when not by the as-of day."""
    removed: Flags
    """The end is a removal (also when the family leaves on that day)."""
    line_type: Codes
    dressing_on: Ints
    times: pd.DataFrame
    """One row a time in which one version of the line's row holds; see `versions.times_of`."""

    @property
    def is_port(self) -> Flags:
        """Which lines are implanted ports."""
        return self.line_type == LINE_TYPES.index(vocabulary.LineType.IMPLANTED_PORT)


@dataclass(frozen=True)
class Marks:
    """The codes of an entry that care depends on, packed in one byte."""

    kind: Codes
    """Position in `ENTRY_KINDS`."""
    dressing_type: Codes
    """Put on; -1: not written down."""
    found_compromised: Flags
    """The dressing was found loose, damp or soiled."""

    def in_one(self) -> npt.NDArray[np.uint8]:
        """Pack them: 4 bits, 3 bits, 1 bit."""
        put_on, found = self.dressing_type + np.int8(1), self.found_compromised
        return (self.kind | (put_on << 4)).astype(np.uint8) + found.astype(np.uint8) * np.uint8(128)

    @classmethod
    def read(cls, mark: npt.NDArray[np.uint8]) -> Marks:
        """Undo :meth:`in_one`."""
        return cls(
            (mark & 15).view(np.int8), ((mark >> 4) & 7).view(np.int8) - np.int8(1), mark > 127
        )


@dataclass(frozen=True)
class Entries:
    """Home-log entries dated up to the as-of day, one position each in every array."""

    line: Ints
    """-1: the registry does not know the line."""
    family: Ints
    """-1: the registry knows no line of the family."""
    day: Ints
    at: Ints
    """Microseconds UTC; `NO_DAY` when only the date was written down."""
    row: Ints
    mark: npt.NDArray[np.uint8]
    """Kind, dressing put on and whether it was found compromised; see `Marks`."""
    findings: Ints
    """Position in `findings_texts`."""
    findings_texts: tuple[str, ...]
    """Every cell of codes that occurs; a blank one is ``""``."""

    def rows(self, source: Ints) -> Ints:
        """Return the stored rows of entries; -1 for -1."""
        rows = np.full(len(source), -1, dtype=np.int64)
        known = source >= 0
        rows[known] = self.row[source[known]]
        return rows


@dataclass(frozen=True)
class Stays:
    """Stays begun by the as-of day, one position each in every array."""

    child: Ints
    from_on: Ints
    to_on: Ints
    """`NEVER`: still away on the as-of day."""
    dressing_on: Ints


@dataclass(frozen=True)
class Outcomes:
    """Outcomes of known lines that began by the as-of day, one position each in every array."""

    line: Ints
    outcome: Codes
    """Position in `OUTCOMES`."""
    onset_on: Ints
    row: Ints


def code_lines(records: Records, as_of: int, zone: ZoneInfo) -> Lines:
    """Number the lines placed by the as-of day.

    Parameters
    ----------
    records : Records
        What was known.
    as_of : int
        As-of day, days since 1970.
    zone : ZoneInfo
        The programme's time zone.

    Raises
    ------
    FrameError
        A line has more than one row.
    """
    frame = records.lines
    if frame["line_id"].duplicated().any():
        raise FrameError("frame lines: line_id is not unique")
    frame = frame[days_of(frame["placed_on"]) <= as_of]
    times = times_of(records, frame["line_id"], as_of, zone)
    now = times.drop_duplicates("line_id", keep="last").set_index("line_id")
    now = now.loc[frame["line_id"].to_numpy(), list(DATED)]
    frame = frame.assign(**{name: now[name].array for name in DATED})
    frame = frame.sort_values(["family_id", "child_id", "line_id"], ignore_index=True)
    times = times.assign(line=positions_of(times["line_id"], frame["line_id"]))
    times = _from_placement(times.sort_values("line", kind="stable", ignore_index=True), frame)
    line_type = codes_of(frame["line_type"], LINE_TYPES)
    dressing_type = codes_of(frame["dressing_type"].astype("category"), DRESSING_TYPES)
    frame = frame.assign(
        line_type=words_of(line_type, LINE_TYPES),
        dressing_type=words_of(dressing_type, DRESSING_TYPES),
        therapy=words_of(
            codes_of(frame["therapy"], tuple(vocabulary.Therapy)), tuple(vocabulary.Therapy)
        ),
    )
    removed_on = _known_by(as_of, frame["removed_on"])
    left_on = _known_by(as_of, frame["left_on"])
    family_ids = times["family_id"].drop_duplicates().sort_values().reset_index(drop=True)
    child, _ = pd.factorize(frame["child_id"])
    dressing_on = days_of(frame["dressing_on"])
    return Lines(
        frame=frame,
        child=child.astype(np.int64),
        family=positions_of(frame["family_id"], family_ids),
        family_ids=family_ids,
        placed_on=days_of(frame["placed_on"]),
        home_from=days_of(frame["home_from"]),
        end_on=np.minimum(removed_on, left_on),
        removed=removed_on <= left_on,
        line_type=line_type,
        dressing_on=np.where(dressing_on <= as_of, dressing_on, NO_DAY),
        times=times,
    )


def _from_placement(times: pd.DataFrame, frame: pd.DataFrame) -> pd.DataFrame:
    """Of the times that began by the placement of a line keep the last, as its first."""
    placed_on = days_of(frame["placed_on"])[times["line"].to_numpy()]
    start = times["start"].to_numpy(dtype=np.int64)
    times = times.assign(start=np.where(start <= placed_on, NO_DAY, start))
    return times.drop_duplicates(["line", "start"], keep="last", ignore_index=True)


def code_entries(records: Records, lines: Lines, as_of: int) -> Entries:
    """Number the home-log entries dated up to the as-of day.

    An entry is that of its line's family as of the as-of day (see `build.code` for families that
    changed); where the registry does not know the line, the family written in the entry is
    heard, and the entry counts for nothing else.
    """
    log = records.home_log[list(_READ_OF_LOG)]
    day = days_of(log["done_on"])
    known = day <= as_of
    if not known.all():
        log, day = log[known], day[known]
    line = positions_of(log["line_id"], lines.frame["line_id"])
    family = np.full(len(line), -1, dtype=np.int64)
    known = line >= 0
    family[known] = lines.family[line[known]]
    if not known.all():
        family[~known] = positions_of(log["family_id"][~known], lines.family_ids)
    kind = codes_of(log["kind"], ENTRY_KINDS)
    bad = np.zeros(len(log), dtype=bool)
    for column, words in (
        ("dressing_condition", tuple(vocabulary.DressingCondition)),
        ("change_reason", tuple(vocabulary.ChangeReason)),
    ):
        is_bad = np.array([str(w) in vocabulary.COMPROMISED_WORDS for w in words] + [False])
        says_so = is_bad[codes_of(log[column], words)]
        if column == "change_reason":
            says_so &= kind == ENTRY_KINDS.index(vocabulary.EntryKind.DRESSING_CHANGE)
        bad |= says_so
    findings, texts = _coded_texts(log["findings"])
    return Entries(
        line=line,
        family=family,
        day=day,
        at=log["done_at"].to_numpy().astype("datetime64[us]").astype(np.int64),
        row=log["row"].to_numpy(dtype=np.int64),
        mark=Marks(kind, codes_of(log["dressing_type"], DRESSING_TYPES), bad).in_one(),
        findings=findings,
        findings_texts=texts,
    )


def code_stays(records: Records, lines: Lines, as_of: int) -> Stays:
    """Number the stays begun by the as-of day; a stay without a night keeps its dressing_on."""
    stays = records.stays[days_of(records.stays["from_on"]) <= as_of]
    children = lines.frame["child_id"].drop_duplicates()
    dressing_on = days_of(stays["dressing_on"])
    return Stays(
        child=positions_of(stays["child_id"], children),
        from_on=days_of(stays["from_on"]),
        to_on=_known_by(as_of, stays["to_on"]),
        dressing_on=np.where(dressing_on <= as_of, dressing_on, NO_DAY),
    )


def code_outcomes(records: Records, lines: Lines, as_of: int) -> Outcomes:
    """Number the outcomes that began by the as-of day; those of unknown lines are left out."""
    onset_on = days_of(records.outcomes["onset_on"])
    line = positions_of(records.outcomes["line_id"], lines.frame["line_id"])
    known = (onset_on <= as_of) & (line >= 0)
    frame = records.outcomes[known]
    return Outcomes(
        line=line[known],
        outcome=codes_of(frame["outcome"], OUTCOMES),
        onset_on=onset_on[known],
        row=frame["row"].to_numpy(dtype=np.int64),
    )


def codes_of(column: pd.Series[Any], words: Sequence[str]) -> Codes:
    """Return each cell's position in the word list; -1 for a blank.

    Raises
    ------
    FrameError
        The column holds a word that is not in the list.
    """
    categories = [str(c) for c in column.cat.categories]
    position = {str(w): at for at, w in enumerate(words)}
    lookup = np.array([position.get(c, -2) for c in categories] + [-1], dtype=np.int8)
    codes: Codes = lookup[column.cat.codes.to_numpy()]
    if len(codes) and codes.min() == -2:
        word = categories[int(column.cat.codes.to_numpy()[np.argmin(codes)])]
        raise FrameError(f"column {column.name}: {word!r} is not one of {', '.join(words)}")
    return codes


def words_of(codes: npt.ArrayLike, words: Sequence[str]) -> pd.Categorical:
    """Return the words of positions in a list, as a category of the whole list; -1: blank."""
    dtype = pd.CategoricalDtype(pd.Index([str(w) for w in words], dtype=object))
    return pd.Categorical.from_codes(cast("Any", codes), dtype=dtype)


def _coded_texts(texts: pd.Series[Any]) -> tuple[Ints, tuple[str, ...]]:
    """Number the different texts of a column."""
    coded = pc.dictionary_encode(as_arrow(texts).fill_null(""))
    return coded.indices.to_numpy().astype(np.int64), tuple(coded.dictionary.to_pylist())


def _known_by(as_of: int, dates: pd.Series[Any]) -> Ints:
    days = days_of(dates)
    return np.where((days == NO_DAY) | (days > as_of), NEVER, days)


def order_days(days: pd.Series[Any]) -> Ints:
    """Return orders in days; 0: no order."""
    return days.to_numpy(dtype=np.int64, na_value=0)

"""What a morning's call list is made from: lines at home, entries and calls dated by then."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.decisions.attempts import attempts_of, reached, with_days_back
from analysis.policy import Edition
from analysis.tables.codes import is_among
from analysis.tables.records import Records
from analysis.timeline import Timeline
from analysis.vocabulary import Task


def log_of(timeline: Timeline, records: Records) -> pd.DataFrame:
    """The home log; an entry of a known line is of the family that the line has now."""
    log, moved = records.home_log, moved_lines(timeline, records)
    if moved.empty:
        return log
    now = timeline.lines.set_index("line_id")["family_id"]
    theirs = is_among(log["line_id"], moved)
    family = log["family_id"].copy()
    family[theirs] = log.loc[theirs, "line_id"].map(now)
    return log.assign(family_id=family)


def moved_lines(timeline: Timeline, records: Records) -> pd.Series[str]:
    """Codes of lines that were with another family before."""
    earlier = records.earlier_lines
    now = timeline.lines.set_index("line_id")["family_id"]
    changed = earlier["family_id"] != earlier["line_id"].map(now)
    return earlier.loc[changed.to_numpy(dtype=bool, na_value=False), "line_id"]


@dataclass(frozen=True)
class Day:
    """What the reasons are found in: lines at home, and entries dated up to the day."""

    timeline: Timeline
    records: Records
    edition: Edition

    @property
    def as_of(self) -> date:
        """The day of the list."""
        return self.timeline.as_of

    @property
    def now(self) -> pd.Timestamp:
        """The day of the list, to compare with dates in frames."""
        return pd.Timestamp(self.as_of)

    def since(self, days: int) -> pd.Timestamp:
        """The day this many days before the list's."""
        return self.now - pd.Timedelta(days=days)

    @cached_property
    def lines(self) -> pd.DataFrame:
        """One row a line at home."""
        lines = self.timeline.lines
        return lines[lines["at_home"]]

    @cached_property
    def log(self) -> pd.DataFrame:
        """See `log_of`."""
        return log_of(self.timeline, self.records)

    @cached_property
    def line_rows(self) -> pd.Series[int]:
        """The stored row of each line, by line code."""
        return self.records.lines.set_index("line_id")["row"]

    @cached_property
    def recent(self) -> pd.DataFrame:
        """One row a home-log entry of a line at home, as far back as a reason may look."""
        log, settings = self.log, self.edition.settings
        days = max(settings.red_flag_days, settings.skin_open_days, settings.sign_off_recent_days)
        recent = ((log["done_on"] >= self.since(days)) & (log["done_on"] <= self.now)).to_numpy()
        log = log[recent]
        return log[is_among(log["line_id"], self.lines["line_id"])]

    def entries(self, days: int) -> pd.DataFrame:
        """One row a home-log entry of a line at home, dated in ``[A - days, A]``."""
        return self.recent[(self.recent["done_on"] >= self.since(days)).to_numpy()]

    @cached_property
    def calls(self) -> pd.DataFrame:
        """One row a recorded call, made up to the as-of day, oldest first.

        A call without a day for the next one gets the policy's number of days.
        """
        calls = with_days_back(self.records.calls, self.edition.settings.recheck_days)
        return calls[calls["called_on"] <= self.now].sort_values(["called_at", "row"])

    @cached_property
    def reached_at(self) -> pd.Series[Any]:
        """Moment of the newest call that reached each family, by family."""
        return self.calls[reached(self.calls)].groupby("family_id")["called_at"].max()

    @cached_property
    def attempts(self) -> pd.DataFrame:
        """Calls without an answer, by family; see `decisions.attempts`."""
        return attempts_of(self.calls, self.as_of)

    @cached_property
    def arrangements(self) -> pd.DataFrame:
        """One row an arrangement for a family, made up to the as-of day, oldest first."""
        made = self.records.arrangements
        return made[made["made_on"] <= self.now].sort_values(["made_at", "row"])

    def care(self, task: Task) -> pd.DataFrame:
        """One row a line at home with the state of the task."""
        care = self.timeline.care
        care = care[(care["task"] == task).to_numpy() & self._at_home(care["line"])]
        return self._with_line(care, "line_id", "family_id", "family", "child_id", "unknown_since")

    @cached_property
    def dressing_intervals(self) -> pd.DataFrame:
        """One row a dressing interval of a line at home, by line, oldest first."""
        spans = self.timeline.intervals
        return spans[(spans["task"] == Task.DRESSING).to_numpy() & self._at_home(spans["line"])]

    def named(self, of_line: pd.DataFrame) -> pd.DataFrame:
        """Add the codes of line and family to rows that have the line's position."""
        return self._with_line(of_line, "line_id", "family_id")

    def _with_line(self, of_line: pd.DataFrame, *names: str) -> pd.DataFrame:
        """Add columns of the line to rows that have its position."""
        lines, at = self.timeline.lines, of_line["line"].to_numpy(dtype=np.int64)
        return of_line.assign(**{name: lines[name].array.take(at) for name in names}).reset_index(
            drop=True
        )

    def _at_home(self, line: pd.Series[Any]) -> npt.NDArray[np.bool_]:
        at_home = self.timeline.lines["at_home"].to_numpy(dtype=bool)
        return at_home[line.to_numpy(dtype=np.int64)]

    def labels(self, findings: pd.Series[Any], codes: frozenset[str]) -> pd.Series[str]:
        """The policy's labels, joined by ``;``, for those of `codes` that each text of findings holds."""
        known = self.edition.findings
        texts = findings.astype("string")
        labels = {
            text: ";".join(known[c].label for c in text.split(";") if c in codes)
            for text in texts.dropna().unique()
        }
        return texts.map(labels).astype("string")


def holds_code(texts: pd.Series[Any], codes: Iterable[str]) -> npt.NDArray[np.bool_]:
    """Whether each text of codes joined by ``;`` holds one of `codes`; blank holds none.

    Works on the distinct texts, of which there are few.

    Examples
    --------
    >>> holds_code(pd.Series(["redness;itch", "none", None]), {"itch"}).tolist()
    [True, False, False]
    """
    wanted = frozenset(codes)
    which, distinct = pd.factorize(texts)
    holds = np.array([not wanted.isdisjoint(str(t).split(";")) for t in distinct], dtype=bool)
    return np.append(holds, False)[which]

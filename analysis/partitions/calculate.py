"""Which numbers are calculated part by part, and how do they become those of all families?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any

import pandas as pd

from analysis.decisions.freshness import assumed_sentence, freshness_sentence, left_out_sentence
from analysis.measures.dwell import Dwell, curves_of, line_times
from analysis.measures.lines import line_table
from analysis.partitions.folder import Partitions, PartitionsError, read_part
from analysis.partitions.runners import Runner
from analysis.policy import Policy
from analysis.tables import Records
from analysis.tallies import Tallies, joined, tally
from analysis.timeline import Timeline, build
from analysis.vocabulary import Grouping, Task


@dataclass(frozen=True)
class Answer:
    """What one part gives."""

    value: Any
    line_ids: frozenset[str]
    families: pd.Series[str]
    """Code of each family, by position."""
    log_days: pd.Series[pd.Timestamp]
    """First day of the part's log, and the last up to the as-of day."""


@dataclass(frozen=True)
class Question:
    """What every part is asked; it can be sent to other processes."""

    ask: Callable[[Timeline, Records, Policy], Any]
    policy: Policy
    as_of: date

    def __call__(self, part: Path) -> Answer:
        """Read a part and answer."""
        records = read_part(part)
        timeline = build(records, self.policy, self.as_of)
        done = records.home_log["done_on"]
        by_then = done[done <= pd.Timestamp(self.as_of)]
        return Answer(
            value=self.ask(timeline, records, self.policy),
            line_ids=frozenset(records.lines["line_id"]),
            families=timeline.families["family_id"],
            log_days=pd.Series([done.min(), by_then.max()]).dropna(),
        )


@dataclass(frozen=True)
class Joined:
    """A value of all families, and the days of their log."""

    value: Any
    log_days: pd.Series[pd.Timestamp]


def tallies_of_parts(
    found: Partitions, as_of: date, run: Runner, policy: Policy | None = None
) -> Joined:
    """Return the `Tallies` of all parts: the same bits as of all families at once.

    Parameters
    ----------
    found : Partitions
        The folder.
    as_of : date
        Read in the morning of this day.
    run : Runner
        Where parts are calculated.
    policy : Policy, optional
        None: the folder's.

    Raises
    ------
    PartitionsError
        A part is damaged, or a line is in two of them.
    """
    answers = _answers(_tallies, found, as_of, run, policy)
    tallies = joined([a.value for a in answers], [a.families for a in answers])
    return Joined(tallies, _log_days(answers))


def lines_of_parts(
    found: Partitions, as_of: date, run: Runner, task: Task, policy: Policy | None = None
) -> Joined:
    """Return the `line_table` of all parts; parameters and errors as of `tallies_of_parts`."""
    answers = _answers(partial(_lines, task=task), found, as_of, run, policy)
    table = pd.concat([a.value for a in answers], ignore_index=True)
    order = ["family_id", "child_id", "line_id"]
    return Joined(table.sort_values(order, ignore_index=True), _log_days(answers))


def curves_of_parts(
    found: Partitions, as_of: date, run: Runner, by: Grouping, policy: Policy | None = None
) -> Joined:
    """Return the `Dwell` of all parts; parameters and errors as of `tallies_of_parts`."""
    answers = _answers(partial(_times, by=by), found, as_of, run, policy)
    times, n_lines = [], 0
    for answer in answers:
        frame = answer.value
        times.append(frame.assign(line=frame["line"] + n_lines))
        n_lines += len(answer.line_ids)
    dwell: Dwell = curves_of(pd.concat(times, ignore_index=True))
    return Joined(dwell, _log_days(answers))


def sentences_of_parts(found: Partitions, log_days: pd.Series[Any], as_of: date) -> list[str]:
    """The sentences that everything made from the parts has to show, as of `Snapshot.caveats`."""
    known_at = found.known_at.astimezone(found.policy.zone)
    sentences = (
        freshness_sentence(log_days, as_of),
        left_out_sentence(found.n_left_out, known_at),
        assumed_sentence(found.n_assumed),
    )
    return [sentence for sentence in sentences if sentence]


def _answers(
    ask: Callable[[Timeline, Records, Policy], Any],
    found: Partitions,
    as_of: date,
    run: Runner,
    policy: Policy | None,
) -> list[Answer]:
    answers: list[Answer] = []
    seen: set[str] = set()
    for answer in run(Question(ask, policy or found.policy, as_of), found.parts):
        if twice := seen & answer.line_ids:
            raise PartitionsError(
                f"Line {min(twice)} is in two parts: its family was split, and totals would be "
                "wrong. Write the partitions again with: linedays export partitions --write FOLDER."
            )
        seen |= answer.line_ids
        answers.append(answer)
    return answers


def _log_days(answers: list[Answer]) -> pd.Series[Any]:
    return pd.concat([a.log_days for a in answers], ignore_index=True)


def _tallies(timeline: Timeline, _records: Records, policy: Policy) -> Tallies:
    return tally(timeline, policy)


def _lines(timeline: Timeline, _records: Records, _policy: Policy, *, task: Task) -> pd.DataFrame:
    return line_table(timeline, task)


def _times(timeline: Timeline, records: Records, _policy: Policy, *, by: Grouping) -> pd.DataFrame:
    return line_times(timeline, records, by)

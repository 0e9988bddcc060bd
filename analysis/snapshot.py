"""What is known of every line on a day, as known at a time? One frozen object answers.

Screens, commands and notebooks take a snapshot and read their tables off it, so that they
cannot disagree.
"""

from __future__ import annotations

from collections.abc import Collection, Hashable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import cached_property
from typing import Any

import pandas as pd

from analysis.days import day_number
from analysis.decisions import CallList, call_list
from analysis.decisions.calls import CareReasons, care_reasons
from analysis.decisions.freshness import assumed_sentence, freshness_sentence, left_out_sentence
from analysis.decisions.order import in_order, model_on, order_words
from analysis.decisions.order_file import Fits, fits_of
from analysis.decisions.practice import practice, with_sign_offs
from analysis.policy import Edition, Policy
from analysis.store import Store
from analysis.store.added import Added
from analysis.tables import Records
from analysis.tables.codes import is_among
from analysis.tables.linked import Linked, linked_with, records_of_linked
from analysis.tallies import Tallies, tally
from analysis.tallies import of_lines as tallies_of_lines
from analysis.tallies import of_sites as tallies_of_sites
from analysis.tallies.renewed import renewed as renewed_tallies
from analysis.timeline import Timeline, build
from analysis.timeline.renewed import renewed as renewed_timeline
from analysis.timeline.versions import times_of
from analysis.words import day_year

PAST_AFTER_DAYS = 60
"""Entries received later than so many days after they were done are past logs loaded at the start."""


@dataclass(frozen=True)
class Snapshot:
    """Everything as of a day, known at a time; the parts are computed once, when first asked."""

    as_of: date
    known_at: datetime
    policy: Policy
    records: Records
    ingests: pd.DataFrame
    """Which files were imported, and up to which stored row of each table."""
    fits: Fits | None = None
    """Fitted orders of calling that the policy names."""
    sites: frozenset[str] | None = None
    """Only these sites are counted; None: all."""
    with_moved: Records | None = None
    """The records and those of families that these sites followed before; None: there are none."""

    @property
    def edition(self) -> Edition:
        """The policy edition in force on the as-of day."""
        return self.policy.on(self.as_of)

    @cached_property
    def timeline(self) -> Timeline:
        """Days, intervals, states and events of every line."""
        return self._timeline_of("timeline", self.records)

    @property
    def counted_records(self) -> Records:
        """The records from which days and events are counted, also of families that moved away."""
        return self.records if self.with_moved is None else self.with_moved

    @cached_property
    def counted_timeline(self) -> Timeline:
        """Days, intervals, states and events of the counted records."""
        if self.with_moved is None:
            return self.timeline
        return self._timeline_of("counted_timeline", self.with_moved)

    @cached_property
    def found(self) -> dict[Hashable, Any]:
        """What measures found of log and tallies, by question; see `measures.snapshot_data.once`."""
        return {}

    @cached_property
    def tallies(self) -> Tallies:
        """Counts that add up, by line, month, dressing type and age band."""
        counted = self.counted_tallies
        return counted if self.sites is None else tallies_of_sites(counted, self.sites)

    @cached_property
    def counted_tallies(self) -> Tallies:
        """The same of all lines of the counted records, at whichever site."""
        timeline, known = self.counted_timeline, self._before("counted_tallies")
        found = None if known is None else renewed_tallies(*known, timeline, self.policy)
        return tally(timeline, self.policy) if found is None else found

    def _timeline_of(self, part: str, records: Records) -> Timeline:
        known = self._before(part)
        found = None if known is None else renewed_timeline(*known, records, self.policy)
        return build(records, self.policy, self.as_of) if found is None else found

    def _before(self, part: str) -> tuple[Any, Timeline, Linked] | None:
        """A part of the snapshot that this one follows, and whose rows differ, with their timeline."""
        before, changed = vars(self).get(_EARLIER, {}).pop(part, None), self.changed
        if before is None or changed is None:
            return None
        records = self.records if part == "timeline" else self.counted_records
        made = vars(self).setdefault(_OWN, {})
        if id(records) not in made:
            made[id(records)] = build(records_of_linked(records, changed), self.policy, self.as_of)
        return before, made[id(records)], changed

    @cached_property
    def care_reasons(self) -> CareReasons:
        """Reasons to call that no recorded call changes."""
        return care_reasons(self.timeline, self.records, self.policy)

    @cached_property
    def calls(self) -> CallList:
        """Families to call, in calling order."""
        by_rules = call_list(self.timeline, self.records, self.policy, self.care_reasons)
        asked = (self.fits, self.edition, self.as_of, self._known_on)
        return in_order(
            by_rules, self.timeline, self.records, model_on(*asked), order_words(*asked)
        )

    @cached_property
    def practice(self) -> pd.DataFrame:
        """Every occasion that shows whether a step was done well; columns of `PRACTICE`."""
        asked = (self.timeline, self.records, self.policy)
        before = vars(self).get(_PRACTICE_BEFORE)
        return practice(*asked) if before is None else with_sign_offs(before, *asked)

    @cached_property
    def retraining(self) -> pd.DataFrame:
        """Who needs retraining on which step, and who was retrained; columns of `RETRAINING`."""
        # What shares need takes long to load, and others need none of it.
        from analysis.decisions.retraining import needs_of

        return needs_of(self.practice, self.timeline, self.records, self.policy)

    @property
    def known_on(self) -> date:
        """Last day whose receipts are known, in the programme's zone."""
        return self.known_at.astimezone(self.policy.zone).date()

    @cached_property
    def freshness_sentence(self) -> str | None:
        """How old the newest log entry is; None: not old."""
        return freshness_sentence(self.records.home_log["done_on"], self.as_of)

    @cached_property
    def first_received_on(self) -> date | None:
        """Day on which the first log entry was received, in the programme's zone; None: none was."""
        first = self.records.home_log["received_at"].min()
        if pd.isna(first):
            return None
        return first.tz_localize("UTC").tz_convert(self.policy.zone).date()

    @property
    def loaded_at_once_sentence(self) -> str | None:
        """Why past days look empty in a programme that has just begun; None: they do not.

        Its past log was loaded at once and counts as received then, so nothing is known of how late
        entries come in.
        """
        first, done = self.first_received_on, self.records.home_log["done_on"].min()
        if first is None or (first - done.date()).days <= PAST_AFTER_DAYS:
            return None
        if (self.as_of - first).days > PAST_AFTER_DAYS:
            return None
        return (
            f"All log entries were received since {day_year(first)}, also those of earlier days. So "
            "past weeks look empty as they were known then, and it is not known how late entries "
            "come in. To count past logs as received on the day they were done: linedays ingest "
            "--history."
        )

    @property
    def not_yet_known(self) -> int:
        """Stored rows that were received after `known_at`, and so are left out."""
        return self.records.not_yet_known

    @property
    def not_yet_known_sentence(self) -> str | None:
        """One sentence about the rows left out, for every list; None: all that is stored is known."""
        return left_out_sentence(self.not_yet_known, self.known_at.astimezone(self.policy.zone))

    def caveats_on(self, today: date) -> tuple[str, ...]:
        """The caveats for who looks today: what is received after today has a wrong receipt."""
        if not self.not_yet_known or self._known_on <= today:
            return self.caveats
        return (
            *self.caveats,
            "That day has not passed, so a clock was ahead: correct it and ingest the files again.",
        )

    @cached_property
    def history_sentence(self) -> str | None:
        """One sentence for every list that rests on history; None: it rests on none.

        Rows loaded as history count as received on the day they were done, which is assumed.
        """
        tables = self.records.history
        return assumed_sentence(sum(int(self.records.is_assumed(t).sum()) for t in tables))

    @cached_property
    def caveats(self) -> tuple[str, ...]:
        """The sentences that every list, page and report made from this snapshot has to show."""
        sentences = (self.freshness_sentence, self.not_yet_known_sentence, self.history_sentence)
        return tuple(sentence for sentence in sentences if sentence)

    @property
    def _known_on(self) -> date:
        """The day before which everything received is known."""
        return (self.known_at.astimezone(self.policy.zone) + timedelta(microseconds=1)).date()

    def with_acts(self, calls: pd.DataFrame, arrangements: pd.DataFrame) -> Snapshot:
        """The same rows with other calls and arrangements; parts that use neither are reused."""
        records = replace(self.records, calls=calls, arrangements=arrangements)
        after = replace(self, records=records)
        self._share(after, *_OF_THE_LOG, "found", _CHANGED, _EARLIER)
        self._share(after, "care_reasons", "practice", "retraining")
        return after

    def with_sign_offs(self, records: Records, ingests: pd.DataFrame) -> Snapshot:
        """The same rows but for sign-offs; parts that use none of these are reused."""
        after = replace(self, records=records, ingests=ingests)
        self._share(after, *_OF_THE_LOG, "found")
        before = vars(self).get("practice", vars(self).get(_PRACTICE_BEFORE))
        vars(after)[_PRACTICE_BEFORE] = before
        return after

    def with_added(self, added: Added, ingests: pd.DataFrame) -> Snapshot | None:
        """The snapshot with rows stored since; None: so many that all is computed again anyway."""
        changed = linked_with(added.changed, self.records, added.records, MOST_LINES)
        after = replace(self, records=added.records, ingests=ingests)
        return None if changed is None else after.following(self, changed)

    def following(self, before: Snapshot, changed: Linked) -> Snapshot:
        """The same, made from what was computed of one of the same day and sites; `changed`: who may differ."""
        parts = {part: vars(before)[part] for part in _OF_THE_LOG if part in vars(before)}
        if before.with_moved is None:
            parts.pop("counted_timeline", None)  # it is the timeline
        if changed != Linked():
            parts.pop("tallies", None)
            parts = {_EARLIER: parts}
        vars(self).update({_CHANGED: changed, **parts})
        return self

    @property
    def changed(self) -> Linked | None:
        """Who may differ from the snapshot that this one follows; None: it follows none."""
        return vars(self).get(_CHANGED)

    def _share(self, after: Snapshot, *parts: str) -> None:
        """Give another snapshot the parts that were computed for this one."""
        vars(after).update({part: vars(self)[part] for part in parts if part in vars(self)})


_PRACTICE_BEFORE = "practice_before"
"""Where a snapshot holds the occasions of the one before it, which had other sign-offs."""
_OF_THE_LOG = ("timeline", "counted_timeline", "counted_tallies", "tallies")
"""Parts that depend neither on acts nor on sign-offs."""
_CHANGED, _EARLIER, _OWN = "changed_since", "earlier_parts", "timelines_of_changed"
"""Where a snapshot holds who differs from the one it follows, parts of that one, and theirs now."""
MOST_LINES = 300
"""Lines of changed families at most that are computed by themselves."""


def end_of_day(day: date, policy: Policy) -> datetime:
    """Last microsecond of a day in the programme's time zone, in UTC.

    Examples
    --------
    >>> from analysis.policy import shipped_policy
    >>> end_of_day(date(2031, 3, 1), shipped_policy()).isoformat()
    '2031-03-01T23:59:59.999999+00:00'
    """
    next_midnight = datetime.combine(day + timedelta(days=1), time(), tzinfo=policy.zone)
    return next_midnight.astimezone(UTC) - timedelta(microseconds=1)


def take(
    store: Store, policy: Policy, as_of: date, known_at: date | datetime | None = None
) -> Snapshot:
    """Read the store as it was known at a time and look at it as of a day.

    Parameters
    ----------
    store : Store
        Where the rows are.
    policy : Policy
        Intervals and thresholds, by edition.
    as_of : date
        Read in the morning of this day: days before it count, entries up to it are known.
    known_at : date, datetime or None
        Rows received later are left out. A date means its end in the programme's zone; None:
        the end of the as-of day. A datetime needs a time zone.

    Returns
    -------
    Snapshot
        Frozen.

    Raises
    ------
    OrderError
        The fitted order that the policy names cannot be used.

    *Source:* project definition, definitions §2.
    """
    if known_at is None:
        known_at = as_of
    moment = known_at if isinstance(known_at, datetime) else end_of_day(known_at, policy)
    moment = moment.astimezone(UTC)
    ingests = store.ingests()  # first: of a file stored in between, the next snapshot learns
    return Snapshot(
        as_of=as_of,
        known_at=moment,
        policy=policy,
        records=store.records(moment),
        ingests=ingests,
        fits=fits_of(policy),
    )


def of_lines(found: Snapshot, wanted: Mapping[str, str]) -> Snapshot:
    """The snapshot with the counts of some lines only, such as ``{"site": "north"}``.

    How complete a period is follows from all reports: a few lines show it badly.
    """
    narrowed = replace(found)
    vars(narrowed)["timeline"] = found.timeline
    vars(narrowed)["counted_timeline"] = found.counted_timeline
    vars(narrowed)["tallies"] = tallies_of_lines(found.tallies, wanted)
    return narrowed


def of_sites(found: Snapshot, sites: Collection[str]) -> Snapshot:
    """The snapshot as people of some sites see it, as if nothing else were stored.

    Lists, families and their rows are those of families with a line that these sites follow on
    the as-of day, with all that was logged before. Days and events count while a line was at one
    of these sites: a family that moved counts at the old site up to the day before and at the
    new one from then on, and only the new site's people open its page.

    *Source:* project definition, definitions §2.
    """
    records = found.records
    day = day_number(found.as_of)
    times = times_of(records, records.lines["line_id"], day, found.policy.zone)
    here = times[times["site"].isin(list(sites)).to_numpy(bool, na_value=False)]
    now = times.drop_duplicates("line_id", keep="last")
    present = now[now["site"].isin(list(sites)).to_numpy(bool, na_value=False)]
    own = _those(now, "family_id", present["family_id"])
    ever = _those(times, "family_id", here["family_id"])
    # A day on which a child has several lines counts for one of them, so all of them are needed.
    with_children = _those(records.lines, "line_id", ever["line_id"])["child_id"]
    siblings = _those(records.lines, "child_id", with_children)
    ever = _those(times, "line_id", siblings["line_id"])
    moved_away = not ever["line_id"].isin(own["line_id"]).all()
    return replace(
        found,
        records=_records_of(records, own),
        sites=frozenset(sites),
        with_moved=_records_of(records, ever) if moved_away else None,
    )


def _records_of(records: Records, times: pd.DataFrame) -> Records:
    """The records of lines in these times, and of their families, children and caregivers."""
    families, line_ids = times["family_id"].unique(), times["line_id"].unique()
    lines = _those(records.lines, "line_id", line_ids)
    caregivers = _those(records.caregivers, "family_id", families)
    children = lines["child_id"].unique()
    log = records.home_log
    of_line = is_among(log["line_id"], line_ids)
    known = is_among(log["line_id"], records.lines["line_id"])
    logged = of_line | (~known & is_among(log["family_id"], families))
    return replace(
        records,
        lines=lines,
        stays=_those(records.stays, "child_id", children),
        caregivers=caregivers,
        sign_offs=_those(records.sign_offs, "caregiver_id", caregivers["caregiver_id"]),
        home_log=log[logged].reset_index(drop=True),
        outcomes=_those(records.outcomes, "child_id", children),
        calls=_those(records.calls, "family_id", families),
        arrangements=_those(records.arrangements, "family_id", families),
        earlier_lines=_those(records.earlier_lines, "line_id", line_ids),
    )


def _those(frame: pd.DataFrame, column: str, values: Iterable[str]) -> pd.DataFrame:
    return frame[is_among(frame[column], values)].reset_index(drop=True)

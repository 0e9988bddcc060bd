"""What is known of every line on a day, as known at a time? One frozen object answers.

Screens, commands and notebooks take a snapshot and read their tables off it, so that they
cannot disagree.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import cached_property
from typing import TYPE_CHECKING, Any

import pandas as pd

from analysis.decisions import CallList, call_list
from analysis.decisions.calls import CareReasons, care_reasons
from analysis.decisions.counted_practice import counted
from analysis.decisions.counted_practice import renewed as renewed_counts
from analysis.decisions.freshness import assumed_sentence, freshness_sentence, left_out_sentence
from analysis.decisions.order import in_order, model_on, order_words
from analysis.decisions.order_file import Fits
from analysis.decisions.practice import Occasions, occasions, with_sign_offs
from analysis.decisions.renewed_practice import renewed as renewed_occasions
from analysis.decisions.renewed_reasons import renewed as renewed_reasons
from analysis.policy import Edition, Policy
from analysis.store.added import Added
from analysis.tables import Records
from analysis.tables.codes import places_of, rows_at
from analysis.tables.linked import Linked, linked_with, records_of_linked
from analysis.tallies import Tallies, tally
from analysis.tallies import of_sites as tallies_of_sites
from analysis.tallies.renewed import renewed as renewed_tallies
from analysis.timeline import Timeline, build
from analysis.timeline.renewed import renewed as renewed_timeline
from analysis.words import day_year

if TYPE_CHECKING:
    from analysis.measures.snapshot_data import FoundOf
    from analysis.stats.averaged_shares import AveragedShares

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
    def found_of(self) -> FoundOf:
        """What measures found of numbers, also for earlier snapshots; see `snapshot_data.unless_same`."""
        return {}

    @cached_property
    def tallies(self) -> Tallies:
        """Counts that add up, by line, month, dressing type and age band."""
        counted = self.counted_tallies
        return counted if self.sites is None else tallies_of_sites(counted, self.sites)

    @cached_property
    def counted_tallies(self) -> Tallies:
        """The same of all lines of the counted records, at whichever site."""
        timeline, known = self.counted_timeline, self._earlier("counted_tallies")
        found = None
        if known is not None:
            before, own, changed = known
            found = renewed_tallies(before, own.timeline, changed, timeline, self.policy)
        return tally(timeline, self.policy) if found is None else found

    def _timeline_of(self, part: str, records: Records) -> Timeline:
        known = self._earlier(part)
        found = None
        if known is not None:
            before, own, changed = known
            found = renewed_timeline(before, own.timeline, changed, records, self.policy)
        return build(records, self.policy, self.as_of) if found is None else found

    def _earlier(self, part: str) -> tuple[Any, Snapshot, Linked] | None:
        """A part of an earlier snapshot, and who differs from it, with what is known of them now."""
        if part not in vars(self).get(_EARLIER, {}):
            return None
        before, changed = vars(self)[_EARLIER].pop(part)
        records = self.counted_records if part.startswith("counted") else self.records
        made = vars(self).setdefault(_OWN, {})
        key = (id(records), changed)
        if key not in made:
            own = replace(records_of_linked(records, changed), sign_offs=records.sign_offs)
            made[key] = replace(self, records=own, with_moved=None)
        return before, made[key], changed

    @cached_property
    def care_reasons(self) -> CareReasons:
        """Reasons to call that no recorded call changes."""
        known = self._earlier("care_reasons")
        if known is not None:
            (before, sign_offs, _), own, changed = known
            if sign_offs.equals(self.records.sign_offs):
                if changed == Linked():
                    return before
                asked = own.care_reasons, changed, self.timeline, self.records
                return renewed_reasons(before, *asked)
        return care_reasons(self.timeline, self.records, self.policy)

    @cached_property
    def calls(self) -> CallList:
        """Families to call, in calling order."""
        by_rules = call_list(self.timeline, self.records, self.policy, self.care_reasons)
        asked = (self.fits, self.edition, self.as_of, self._known_on)
        return in_order(
            by_rules, self.timeline, self.records, model_on(*asked), order_words(*asked)
        )

    @property
    def practice(self) -> pd.DataFrame:
        """Every occasion that shows whether a step was done well; columns of `PRACTICE`."""
        return self.occasions.seen

    @cached_property
    def occasions(self) -> Occasions:
        """The same with their lines."""
        asked = (self.timeline, self.records, self.policy)
        known = self._earlier("occasions")
        if known is None:
            return occasions(*asked)
        (before, sign_offs, _), own, changed = known
        found = before
        if changed != Linked():
            found = renewed_occasions(before, own.occasions, changed, self.timeline, self.policy)
        if found is None:
            return occasions(*asked)
        same = sign_offs is self.records.sign_offs
        return found if same else with_sign_offs(found, *asked)

    @cached_property
    def counted_practice(self) -> pd.DataFrame:
        """How often each caregiver did and missed each step; as `counted_practice.counted`."""
        known = self._earlier("counted_practice")
        if known is not None:
            (before, *people), own, changed = known
            same = zip(people, (self.records.sign_offs, self.records.caregivers), strict=True)
            if all(was.equals(now) for was, now in same):
                if changed == Linked():
                    return before
                return renewed_counts(before, self._counted(own.practice), changed)
        return self._counted(self.practice)

    def _counted(self, seen: pd.DataFrame) -> pd.DataFrame:
        return counted(seen, self.records, self.as_of, self.edition.settings)

    @cached_property
    def shares_missed(self) -> dict[str, AveragedShares]:
        """What is known of the shares missed, by step."""
        # What shares need takes long to load, and others need none of it.
        from analysis.decisions.retraining import shares_of

        return shares_of(self.counted_practice, self.found_of)

    @cached_property
    def retraining(self) -> pd.DataFrame:
        """Who needs retraining on which step, and who was retrained; columns of `RETRAINING`."""
        return self._needs_of(self.counted_practice, self.found_of)

    def retraining_of(self, family_id: str) -> pd.DataFrame:
        """The same of one family: of the others only what adjusts its shares is calculated."""
        every = self.retraining if "retraining" in vars(self) else self.counted_practice
        own = rows_at(every, places_of(every["family_id"], family_id)).reset_index(drop=True)
        return own if every is vars(self).get("retraining") else self._needs_of(own)

    def _needs_of(self, counts: pd.DataFrame, known: FoundOf | None = None) -> pd.DataFrame:
        from analysis.decisions.retraining import needs_of_counts

        settings = self.edition.settings
        return needs_of_counts(counts, self.shares_missed, self.timeline, settings, known)

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
        self._share(after, *_OF_THE_LOG, "found", "found_of", _CHANGED, _EARLIER)
        self._share(after, "care_reasons", *_OF_PRACTICE)
        return after

    def with_added(self, added: Added, ingests: pd.DataFrame) -> Snapshot | None:
        """The snapshot with rows stored since; None: so many that all is computed again anyway."""
        changed = linked_with(added.changed, self.records, added.records, MOST_LINES)
        after = replace(self, records=added.records, ingests=ingests)
        if added.records.links == self.records.links:
            self._share(after, "care_reasons", *_OF_PRACTICE, "found")
        elif added.changed == Linked():  # only sign-offs
            self._share(after, "found")
        return None if changed is None else after.following(self, changed)

    def following(self, before: Snapshot, changed: Linked) -> Snapshot:
        """The same, made from what was computed of one of the same day and sites; `changed`: who may differ."""
        known = vars(before)
        before._share(self, "found_of")
        earlier = {part: (was, of | changed) for part, (was, of) in known.get(_EARLIER, {}).items()}
        found = {part: (known[part], changed) for part in _RENEWED if part in known}
        people = before.records.sign_offs, before.records.caregivers
        for part in _OF_PEOPLE.intersection(found):
            found[part] = (known[part], *people), changed
        if before.with_moved is None:
            found.pop("counted_timeline", None)  # it is the timeline
        earlier |= found
        if changed == Linked():
            before._share(self, *_OF_THE_LOG)
        few = {part: one for part, one in earlier.items() if len(one[1].line_id) <= MOST_LINES}
        vars(self).update({_CHANGED: changed, _EARLIER: few})
        return self

    @property
    def changed(self) -> Linked | None:
        """Who may differ from the snapshot that this one follows; None: it follows none."""
        return vars(self).get(_CHANGED)

    def _share(self, after: Snapshot, *parts: str) -> None:
        """Give another snapshot the parts that were computed for this one."""
        vars(after).update({part: vars(self)[part] for part in parts if part in vars(self)})


_OF_THE_LOG = ("timeline", "counted_timeline", "counted_tallies", "tallies")
"""Parts that depend neither on acts nor on sign-offs."""
_OF_PRACTICE = ("occasions", "counted_practice", "shares_missed", "retraining")
"""Parts that no act changes."""
_RENEWED = (
    "timeline",
    "counted_timeline",
    "counted_tallies",
    "occasions",
    "counted_practice",
    "care_reasons",
)
"""Parts of which only what differs is calculated again."""
_OF_PEOPLE = frozenset({"occasions", "counted_practice", "care_reasons"})
"""Those of them that also depend on sign-offs and caregivers."""
_CHANGED, _EARLIER, _OWN = "changed_since", "earlier_parts", "of_changed"
"""Where a snapshot holds who differs from the one it follows, parts of that one or of one before it
with who differs since, and what is known of those alone."""
MOST_LINES = 300
"""Lines of changed families at most that are computed by themselves."""

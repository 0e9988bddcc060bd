"""How many skin events, findings and confirmed harms began on each line, and where?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.days import dates_of, days_of
from analysis.policy import Policy
from analysis.tables.timeline import EVENT_TALLY
from analysis.tallies.pieces import DressingInForce, Groups, sums
from analysis.timeline import Timeline
from analysis.timeline.axis import Flags, Ints, unique_sorted
from analysis.timeline.build import Coded
from analysis.timeline.coded import OUTCOMES, words_of
from analysis.timeline.episodes import entries_that_hold, finding_events

SKIN = "skin"
"""The word for a skin event, with any finding."""


def event_onsets(timeline: Timeline, coded: Coded, policy: Policy) -> pd.DataFrame:
    """Make the frame `EVENT_ONSETS`: every event that began before the as-of day.

    `line` is the position in `TALLY_LINES`.

    Besides skin events it holds events of each single finding code of the policy, by the same
    gap taken over that code's findings alone, and the outcomes.
    """
    axis = coded.axis
    edition = policy.on(timeline.as_of)
    words = [SKIN, *edition.findings, *(str(o) for o in OUTCOMES)]
    found = [_onsets(0, timeline.skin_events)]
    for at, finding in enumerate(edition.findings, start=1):
        chosen = entries_that_hold(coded.entries, [finding])
        events = finding_events(
            axis, coded.home, coded.entries, chosen, edition.settings.episode_gap_days
        )
        found.append((np.full_like(events.line, at), events.line, events.onset_on, events.at_home))
    outcome = timeline.outcome_events["outcome"].cat.codes.to_numpy().astype(np.int64)
    found.append(_onsets(outcome + 1 + len(edition.findings), timeline.outcome_events))
    event, line, day = (np.concatenate([f[i] for f in found]) for i in range(3))
    at_home = np.concatenate([f[3] for f in found])
    counts = day < axis.as_of
    time = coded.attributes.on(axis.pack(line, np.minimum(day, axis.as_of)))
    return pd.DataFrame(
        {
            "line": coded.attributes.holder[time][counts],
            "event": words_of(event[counts], words),
            "onset_on": dates_of(day[counts]),
            "at_home": at_home[counts],
        }
    )


def event_tally(
    onsets: pd.DataFrame, coded: Coded, age_band_starts: tuple[int, ...], dressing: DressingInForce
) -> pd.DataFrame:
    """Make the frame `EVENT_TALLY` from `EVENT_ONSETS`."""
    axis, lines = coded.axis, coded.lines
    groups = Groups.around(axis, coded.attributes)
    words = list(onsets["event"].cat.categories)
    event = onsets["event"].cat.codes.to_numpy().astype(np.int64)
    line = groups.line_of_holder[onsets["line"].to_numpy(dtype=np.int64)]
    day = days_of(onsets["onset_on"])
    at_home = onsets["at_home"].to_numpy(dtype=bool)
    # before: one row an event; after: one row a group and kind of event
    group = groups.of(axis.pack(line, day), axis, dressing)
    number = group * len(words) + event
    wanted = unique_sorted(number)
    columns = groups.columns(wanted // len(words), lines, age_band_starts)
    columns["event"] = words_of(wanted % len(words), words)
    place = np.searchsorted(wanted, number)
    columns["events"] = sums(place, len(wanted), at_home.astype(np.int64))
    columns["events_elsewhere"] = sums(place, len(wanted), (~at_home).astype(np.int64))
    return pd.DataFrame(columns)[EVENT_TALLY.names]


def _onsets(event: int | Ints, events: pd.DataFrame) -> tuple[Ints, Ints, Ints, Flags]:
    return (
        np.broadcast_to(np.asarray(event, dtype=np.int64), (len(events),)),
        events["line"].to_numpy(),
        days_of(events["onset_on"]),
        events["at_home"].to_numpy(),
    )

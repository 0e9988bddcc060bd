"""Has harm risen anywhere, since when, and how sure is that?"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass

import pandas as pd

from analysis.measures.surveillance import (
    FALSE_SIGNAL_YEARS,
    LARGE,
    PROGRAMME,
    FollowedRate,
    Rise,
    SignalCode,
    Surveillance,
)
from analysis.tables.measures import SIGNALS
from analysis.verdicts.model import Verdict
from analysis.verdicts.names import event_name, period_name, span_name
from analysis.vocabulary import SignalState
from analysis.words import counted, day_year, listed, number, percent, sentence

RULE = "shiryaev_roberts"
"""The rule that raises a signal, as tables name it."""


@dataclass(frozen=True)
class SignalVerdict(Verdict):
    """What is known of one event at one site or in the programme, and the numbers behind it."""

    code: SignalCode
    rate: FollowedRate
    short: str
    """A few words for a small figure."""

    @property
    def is_signal(self) -> bool:
        """Whether somebody has to look into it."""
        return self.rate.rise is not None


@dataclass(frozen=True)
class Headline(Verdict):
    """The answer to "has harm risen anywhere": the strongest signal, or that there is none."""

    code: SignalCode
    signals: tuple[SignalVerdict, ...]
    """Strongest first."""
    verdicts: tuple[SignalVerdict, ...]
    """All of them: signals first, then by event and site."""
    caution: str
    """How often a signal is false."""


def signal_headline(
    found: Surveillance, closed: Collection[tuple[str, str]] = frozenset()
) -> Headline:
    """Read everything that is followed: one answer for page, report, notebook and command.

    Parameters
    ----------
    found : Surveillance
        Of `measures.surveillance`.
    closed : collection of (str, str)
        Event and site of signals that somebody closed: the headline names open ones only.

    Returns
    -------
    Headline
        A site is named before the programme, and what still shows before what rose earlier.

    *Source:* project definition, definitions §9.
    """
    verdicts = [signal_verdict(rate, found.years) for rate in found.rates]
    ranked = sorted((v for v in verdicts if v.is_signal), key=_order)
    ordered = (*ranked, *(v for v in verdicts if not v.is_signal))
    signals = [v for v in ranked if (v.rate.event, v.rate.site) not in closed]
    caution = (
        "If nothing changed, expect about one false signal in "
        f"{FALSE_SIGNAL_YEARS:.0f} years over all sites and events together (simulated from this programme)."
    )

    def headline(code: SignalCode, text: str) -> Headline:
        return Headline(code, text, tuple(signals), ordered, caution)

    if signals:
        first = signals[0]
        others = [f"{event_name(v.rate.event)} {place_name(v.rate)}" for v in signals[1:]]
        also = f" Also a signal: {listed(others)}." if others else ""
        return headline(first.code, first.sentence + also)
    if ranked:
        many = counted(len(ranked), "signal is", "signals are")
        return headline(ranked[0].code, f"No open signal: {many} closed.")
    codes = {v.code for v in verdicts}
    events = len({v.rate.event for v in verdicts})
    sites = len({v.rate.site for v in verdicts}) - 1
    of = f"{counted(events, 'event', 'events')} at {counted(sites, 'site', 'sites')}"
    if not verdicts:
        return headline(
            SignalCode.TOO_EARLY, "No home line-days are known, so nothing is followed."
        )
    if SignalCode.STEADY in codes:
        few = sum(v.code is SignalCode.TOO_FEW_EVENTS for v in verdicts)
        rest = f" {few} of {len(verdicts)} rates have too few events to say." if few else ""
        return headline(
            SignalCode.STEADY, f"No sign of a rise at any site or in the programme ({of}).{rest}"
        )
    if SignalCode.TOO_FEW_EVENTS in codes:
        return headline(
            SignalCode.TOO_FEW_EVENTS, f"Too few events to say anything about a rise ({of})."
        )
    if SignalCode.TOO_EARLY in codes:
        return headline(SignalCode.TOO_EARLY, f"Too early to say: {_NO_BASELINE}.")
    return headline(SignalCode.NOT_JUDGED, "Not judged: too few days are logged.")


_NO_BASELINE = "a baseline needs 6 complete months, and at least one month after it"


def signal_verdict(rate: FollowedRate, years: float) -> SignalVerdict:
    """Read one rate.

    Parameters
    ----------
    rate : FollowedRate
        Of `measures.surveillance`.
    years : float
        Years followed, which the chance of a signal is about.
    """
    code = rate.code
    name, where = event_name(rate.event), place_name(rate)
    happened = counted(rate.events, *_one_and_many(rate.event))
    if rate.rise is not None:
        text = _rise_words(rate, rate.rise, code, years)
        short = f"{number(rate.rise.ratio)} times since {period_name(rate.rise.since)}"
        if code is SignalCode.ROSE_EARLIER:
            short = f"rose in {period_name(rate.rise.since)}, lower now"
        return SignalVerdict(code, text, rate, short)
    if code is SignalCode.TOO_EARLY:
        text = f"Too early to say for {name} {where}: {_NO_BASELINE}."
        return SignalVerdict(code, text, rate, "too early to say")
    before = span_name(*rate.baseline) if rate.baseline else ""
    seen = f"{happened} {where} since the baseline, {rate.baseline_events} in it ({before})"
    if code is SignalCode.NOT_JUDGED:
        text = f"Not judged: too few days are logged {where} to follow {name}."
        return SignalVerdict(code, text, rate, "not judged")
    if code is SignalCode.TOO_FEW_EVENTS:
        text = (
            f"Too few events to say: {seen}. "
            f"Even {LARGE:.0f} times the rate would probably not show within a year. {_wait(rate)}"
        )
        return SignalVerdict(code, text, rate, "too few events to say")
    text = (
        f"No sign of a rise in {name} {where}: {rate.events} since the baseline, "
        f"{rate.baseline_events} in it ({before})."
    )
    return SignalVerdict(code, text, rate, "no sign of a rise")


def signals_table(
    headline: Headline, states: Mapping[tuple[str, str], SignalState]
) -> pd.DataFrame:
    """Signals and verdicts as the command shows them.

    Parameters
    ----------
    headline : Headline
        Of `signal_headline`.
    states : mapping of (str, str) to SignalState
        State of each signal by event and site; a signal that is not there is new.

    Returns
    -------
    DataFrame
        SIGNALS: signals first, strongest first, then by event and site.
    """
    rows = []
    for verdict in headline.verdicts:
        rate, rise = verdict.rate, verdict.rate.rise
        rows.append(
            {
                "event": rate.event,
                "site": rate.site,
                "state": str(states.get((rate.event, rate.site), _usual_state(verdict))),
                "since": rise.since if rise else None,
                "since_earliest": rise.earliest if rise else None,
                "since_latest": rise.latest if rise else None,
                "ratio": rise.ratio if rise else math.nan,
                "ratio_lower": rise.lower if rise else math.nan,
                "ratio_upper": rise.upper if rise else math.nan,
                "rule": RULE if rise else None,
                "sentence": verdict.sentence,
            }
        )
    return SIGNALS.build({name: [row[name] for row in rows] for name in SIGNALS.names})


def _usual_state(verdict: SignalVerdict) -> SignalState:
    return SignalState.NEW if verdict.is_signal else SignalState(str(verdict.code))


def _order(verdict: SignalVerdict) -> tuple[bool, bool, float]:
    rate = verdict.rate
    return (verdict.code is SignalCode.ROSE_EARLIER, rate.site == PROGRAMME, -rate.strength)


def _rise_words(rate: FollowedRate, rise: Rise, code: SignalCode, years: float) -> str:
    """What rose, by how much, since when, and how sure that is; limits below 1 leave it open."""
    times = (
        f"about {number(rise.ratio)} times the rate before (95 % limits {number(rise.lower)} to "
        f"{number(rise.upper)})"
    )
    span = (
        ""
        if rise.earliest == rise.latest
        else f" (between {period_name(rise.earliest)} and {period_name(rise.latest)})"
    )
    name = sentence(event_name(rate.event))[:-1]
    now = code is SignalCode.RISEN
    rose = "may have risen" if rise.lower < 1 else "have risen" if now else "rose"
    text = f"{name} {place_name(rate)} {rose} to {times}, most likely since {period_name(rise.since)}{span}."
    if not now:
        text += " The newest complete month no longer shows it."
    if rise.provisional:
        text += " Only provisional months show it so far; late entries can only raise the rate."
    share = f"About {percent(rise.chance)}" if rise.chance >= 0.01 else "Fewer than 1 %"
    span_years = "a year" if years <= 1.05 else f"{number(years)} years"
    return (
        f"{text} {share} of steady programmes like this one would show a signal this strong at some site or "
        f"event within {span_years}."
    )


def _wait(rate: FollowedRate) -> str:
    limit = (
        f" With 95 % certainty the rate is below {number(rate.rate_upper)} per 1000 line-days."
        if not math.isnan(rate.rate_upper)
        else ""
    )
    if rate.last_event_on is None:
        return f"None in {counted(rate.days_since_last, 'day', 'days')}.{limit}"
    return (
        f"The last one was {counted(rate.days_since_last, 'day', 'days')} ago "
        f"({day_year(rate.last_event_on)}).{limit}"
    )


def place_name(rate: FollowedRate) -> str:
    """Where a rate is followed, as in "infections at north"."""
    return "in the programme" if rate.site == PROGRAMME else f"at {rate.site}"


def site_name(rate: FollowedRate) -> str:
    """The site of a rate in a table or title."""
    return "all sites" if rate.site == PROGRAMME else rate.site


def _one_and_many(event: str) -> tuple[str, str]:
    return event_name(event, one=True), event_name(event)

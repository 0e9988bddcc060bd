"""Has harm risen anywhere, at which sites, and what is behind it?"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pandas as pd

from analysis.decisions.behind_a_rise import BehindARise, behind_a_rise
from analysis.measures.surveillance import PROGRAMME
from analysis.snapshot import Snapshot
from analysis.verdicts import (
    Headline,
    SignalVerdict,
    event_name,
    group_name,
    period_name,
    site_name,
    span_name,
)
from analysis.vocabulary import Grouping
from dashboard.addresses.family import family_address
from dashboard.addresses.rates import RatesChoice, rates_address
from dashboard.addresses.retraining import RETRAINING
from dashboard.layout import words
from dashboard.rates.views import Opened, SignalsView, SitePanel
from dashboard.session.frames import distinct

NARROWED = {"site": Grouping.SITE, "line_type": Grouping.LINE_TYPE, "nurse": Grouping.NURSE}
"""What every figure of the page can be narrowed to, as the address names it."""
LABELS = {"site": "Only site", "line_type": "Only line type", "nurse": "Only nurse"}
MIX_NAMES = {
    Grouping.NURSE: "Nurse",
    Grouping.LINE_TYPE: "Line type",
    Grouping.DRESSING_TYPE: "Dressing",
    Grouping.AGE_BAND: "Age",
}
MOST_STEPS = 5


def values_of(found: Snapshot, name: str) -> tuple[str, ...]:
    """Values of the lines that a narrowing may have."""
    return tuple(str(value) for value in distinct(found.tallies.lines[name]))


def narrowings(found: Snapshot) -> tuple[tuple[str, str, tuple[tuple[str, str], ...]], ...]:
    """Lists to choose from: label, name in the address, and values with their names."""
    return tuple(
        (
            LABELS[name],
            name,
            (("", "all"), *((v, group_name(v, by)) for v in values_of(found, name))),
        )
        for name, by in NARROWED.items()
    )


def narrowed_words(asked: RatesChoice) -> str:
    """To what the figures are narrowed."""
    chosen = [
        f"{LABELS[name].removeprefix('Only ')} {group_name(value, by)}"
        for name, by in NARROWED.items()
        if (value := getattr(asked, name)) is not None
    ]
    return f"Figures below show only: {words.listed(chosen)}." if chosen else ""


def signals_view(found: Snapshot, asked: RatesChoice, headline: Headline) -> SignalsView:
    """The headline, a panel a site of the chosen event, and what is behind the open site."""
    ours = [v for v in headline.verdicts if v.rate.event == asked.event]
    by_site = {v.rate.site: v for v in ours}
    whole = by_site.get(PROGRAMME)
    sites = [site for site in by_site if site != PROGRAMME]
    order = sorted(sites, key=lambda site: (not by_site[site].is_signal, site))
    panels = [_panel(by_site[site], asked) for site in order]
    if whole is not None and len(order) > 1:
        panels.append(_panel(whole, asked))
    opened = by_site.get(asked.site or "")
    return SignalsView(
        headline=headline.sentence,
        is_signal=bool(headline.signals),
        caution=headline.caution,
        baseline=(
            f"Baseline of the programme: {span_name(*whole.rate.baseline)}."
            if whole is not None and whole.rate.baseline
            else ""
        ),
        panels=tuple(panels),
        opened=_opened(found, opened) if opened is not None else None,
        table=tuple(_row(verdict) for verdict in headline.verdicts),
    )


def _panel(verdict: SignalVerdict, asked: RatesChoice) -> SitePanel:
    rate = verdict.rate
    months = pd.DataFrame(
        {
            "label": [period_name(m.month) for m in rate.by_month],
            "rate_per_1000": [m.rate_per_1000 for m in rate.by_month],
            "provisional": [m.provisional for m in rate.by_month],
        }
    )
    names = [m.month for m in rate.by_month]
    is_open = asked.site == rate.site
    site = None if is_open or rate.site == PROGRAMME else rate.site
    return SitePanel(
        name="All sites" if rate.site == PROGRAMME else rate.site,
        address=rates_address(replace(asked, site=site)),
        is_open=is_open,
        is_signal=verdict.is_signal,
        short=words.sentence(verdict.short)[:-1],
        sentence=verdict.sentence,
        months=months,
        baseline_rate=rate.baseline_rate_per_1000,
        since=names.index(rate.rise.since) if rate.rise else None,
    )


def _row(verdict: SignalVerdict) -> tuple[str, ...]:
    rate, rise = verdict.rate, verdict.rate.rise
    return (
        words.sentence(event_name(rate.event))[:-1],
        site_name(rate),
        verdict.short,
        period_name(rise.since) if rise else "–",
        f"{words.number(rise.ratio)} ({words.limits(rise.lower, rise.upper)})" if rise else "–",
        f"{rate.baseline_events} / {rate.events}",
    )


def _opened(found: Snapshot, verdict: SignalVerdict) -> Opened:
    """What is behind a site's rate: since the rise, else since the baseline."""
    rate = verdict.rate
    followed = [m.month for m in rate.by_month if not m.in_baseline]
    since = rate.rise.since if rate.rise else next(iter(followed), rate.by_month[-1].month)
    behind = behind_a_rise(found, rate.event, rate.site, since)
    return Opened(
        name=rate.site,
        since_name=period_name(since),
        families=tuple(
            (
                str(row["family_id"]),
                family_address(str(row["family_id"])),
                str(row["events"]),
                words.day_year(row["last_on"].date()),
                words.thousands(row["line_days"]),
            )
            for row in behind.families.to_dict("records")
        ),
        mix=tuple(
            (MIX_NAMES[by], tuple(_mix_row(row, by) for row in table.to_dict("records")))
            for by, table in behind.mix.items()
        ),
        steps=tuple(
            _step_row(found, row) for row in behind.steps.head(MOST_STEPS).to_dict("records")
        ),
        steps_words=_steps_words(behind),
        kits_words=_kits_words(behind, found.edition.settings.kits_low),
        training=RETRAINING,
    )


def _mix_row(row: dict[Any, Any], by: Grouping) -> tuple[str, ...]:
    return (
        group_name(row["group"], by),
        words.percent(row["share_before"]),
        words.percent(row["share_since"]),
        f"{row['events_before']} / {row['events_since']}",
        words.number(row["rate_before"]) if row["days_before"] else "no rate",
        words.number(row["rate_since"]) if row["days_since"] else "no rate",
    )


def _step_row(found: Snapshot, row: dict[Any, Any]) -> tuple[str, ...]:
    steps = found.edition.steps
    name = steps[row["step"]].label if row["step"] in steps else words.plain(row["step"])
    return (
        words.sentence(name)[:-1],
        f"{row['missed']} of {words.thousands(row['seen'])}",
        _share(row["share"]),
        _share(row["elsewhere_share"]),
    )


def _share(value: float) -> str:
    return "–" if math.isnan(value) else f"{100 * value:.1f} %"


def _kits_words(behind: BehindARise, kits_low: int) -> str:
    parts = [
        f"{low} of {words.thousands(counts)} ({words.percent(low / counts)}) {when}"
        if counts
        else f"none counted {when}"
        for when, counts, low in behind.kits.itertuples()
    ]
    return f"Kit counts below {kits_low}: {', '.join(parts)}."


def _steps_words(behind: BehindARise) -> str:
    if behind.steps.empty:
        return "Too few self-checks since then to compare steps with other sites."
    return "Steps missed at this site more than elsewhere come first, by self-checks since then."

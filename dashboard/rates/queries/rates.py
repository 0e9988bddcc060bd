"""How often does an event happen, is the rate changing, and how sure is that?"""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from analysis.measures.charts import chart_false_alarms, rate_chart
from analysis.measures.comparison import SPAN, compare, compared_rates
from analysis.measures.completeness import settled_tallies
from analysis.measures.counts import MeasureError, usual_basis
from analysis.measures.coverage import log_coverage
from analysis.measures.funnels import group_funnel
from analysis.measures.gap_charts import gap_chart, since_last_event
from analysis.measures.logging_bias import logging_bias
from analysis.measures.rates import rates
from analysis.measures.trends import trend_ratio
from analysis.snapshot import Snapshot, of_lines
from analysis.verdicts import (
    Headline,
    chart_verdict,
    data_words,
    false_alarm_sentence,
    funnel_verdict,
    gap_verdict,
    group_name,
    groups_verdict,
    logging_verdict,
    period_name,
    rate_sentence,
    ratio_verdict,
    span_name,
    trend_verdict,
)
from analysis.vocabulary import Basis, ChartKind, Grouping, Limits, OutcomeKind
from dashboard.addresses.rates import RatesChoice
from dashboard.layout import words
from dashboard.rates import words as rate_words
from dashboard.rates.queries import signals
from dashboard.rates.views import Compared, Gaps, RatesView

SKIN = "skin"
EVENT_NAMES = {SKIN: "skin events"}
FIRST_PERIODS = {"month": 12, "quarter": 4}
"""Periods of the first year, from which frozen limits come."""
UNITS_OF_GAPS = ((ChartKind.G, "line-days"), (ChartKind.T, "days"))
NO_RATIO = pd.DataFrame(columns=["method", "ratio", "lower", "upper", "p"])


def understood(found: Snapshot, choice: RatesChoice) -> RatesChoice:
    """The choice with anything unknown replaced by its default."""
    events = _events(found)
    event = choice.event if any(choice.event == e for _, es in events for e, _ in es) else SKIN
    basis = choice.basis if choice.basis in rate_words.BASES else str(usual_basis(event))
    period = choice.period if choice.period in rate_words.PERIODS else "month"
    by = choice.by if choice.by in rate_words.GROUPINGS else "site"
    return RatesChoice(
        event=event,
        basis=basis,
        period=period,
        baseline="first" if choice.baseline == "first" else None,
        by=by,
        first=choice.first,
        second=choice.second,
        since=choice.since,
        **{name: _known(found, name, getattr(choice, name)) for name in signals.NARROWED},
    )


def _known(found: Snapshot, name: str, value: str | None) -> str | None:
    return value if value in signals.values_of(found, name) else None


def rates_view(whole_programme: Snapshot, asked: RatesChoice, headline: Headline) -> RatesView:
    """Everything the page of rates shows under a choice that `understood` has read."""
    found = _narrowed(whole_programme, asked)
    tallies, event = found.tallies, asked.event
    settled_only = settled_tallies(found, event)
    basis, by, period = Basis(str(asked.basis)), Grouping(asked.by), Grouping(asked.period)
    name = dict(pair for _, pairs in _events(found) for pair in pairs)[event]
    chart = _chart(found, asked)
    frozen = asked.baseline if len(chart) >= FIRST_PERIODS[asked.period] else None
    whole = _with_coverage(rates(tallies, event, Grouping.ALL, basis, Limits.EXACT), found, "all")
    by_group = _by_group(found, event, by, basis)
    groups = [str(g) for g in by_group.loc[by_group["line_days"] > 0, "group"].dropna()]
    first, second = _two(groups, asked)
    settled = [str(p) for p in chart.loc[~chart["provisional"].to_numpy(dtype=bool), "period"]]
    starts = settled[1:]
    since = asked.since if asked.since in starts else _usual_since(settled)
    funnel = group_funnel(settled_only, event, Grouping.SITE, basis)
    funnel["name"] = _names(funnel["group"], Grouping.SITE)
    bias, bias_words = _bias(found, event)
    return RatesView(
        choice=replace(
            asked, basis=str(basis), baseline=frozen, first=first, second=second, since=since
        ),
        events=_events(found),
        event_name=name,
        groups=tuple((g, group_name(g, by)) for g in groups),
        periods=tuple((p, period_name(p)) for p in reversed(starts)),
        whole=whole,
        whole_words=_whole(name, whole, str(basis)),
        loaded_at_once=whole_programme.loaded_at_once_sentence,
        signals=signals.signals_view(whole_programme, asked, headline),
        narrowings=signals.narrowings(whole_programme),
        narrowed=signals.narrowed_words(asked),
        months_over=_months_over(whole_programme),
        drift=chart_verdict(chart, period).sentence,
        trend_words=trend_verdict(trend_ratio(settled_only, event, period, basis), period).sentence,
        chart=chart,
        gaps=tuple(_gaps(found, event, basis, kind, unit) for kind, unit in UNITS_OF_GAPS),
        by_group=by_group,
        by_group_words=groups_verdict(by_group, by).sentence,
        two_groups=_two_groups(found, asked, first, second),
        two_periods=_two_periods(found, asked, settled, since),
        funnel=funnel,
        funnel_words=funnel_verdict(funnel, Grouping.SITE).sentence,
        bias=bias,
        bias_words=bias_words,
    )


def _narrowed(whole_programme: Snapshot, asked: RatesChoice) -> Snapshot:
    wanted = {n: getattr(asked, n) for n in signals.NARROWED if getattr(asked, n) is not None}
    return of_lines(whole_programme, wanted) if wanted else whole_programme


def false_alarms(whole_programme: Snapshot, view: RatesView) -> str:
    """How often a chart like the one of a view gives a false signal; empty: not known."""
    asked = view.choice
    period = Grouping(asked.period)
    rate = chart_false_alarms(
        _narrowed(whole_programme, asked),
        asked.event,
        period,
        Basis(str(asked.basis)),
        FIRST_PERIODS[asked.period] if asked.baseline else None,
    )
    return false_alarm_sentence(rate, chart_verdict(view.chart, period).settled, period)


def _events(found: Snapshot) -> tuple[tuple[str, tuple[tuple[str, str], ...]], ...]:
    """Events to choose from, grouped, with their names."""
    outcomes = [str(o) for o in OutcomeKind]
    labels = {code: f.label for code, f in found.edition.findings.items()}
    known = [str(e) for e in found.tallies.events["event"].cat.categories]
    findings = [e for e in known if e != SKIN and e not in outcomes]
    return (
        ("Logged at home", ((SKIN, EVENT_NAMES[SKIN]),)),
        ("Confirmed harm", tuple((o, words.plain(o)) for o in outcomes if o in known)),
        ("Single findings", tuple((f, labels.get(f, words.plain(f))) for f in findings)),
    )


def _gaps(found: Snapshot, event: str, basis: Basis, kind: ChartKind, unit: str) -> Gaps:
    chart = gap_chart(found, event, basis, kind)
    chart["label"] = [period_name(str(p)[:7]) for p in chart["period"]]
    wait = since_last_event(found, event, basis, kind)
    return Gaps(unit, chart, wait.since_last, gap_verdict(chart, wait, kind).sentence)


def _months_over(found: Snapshot) -> tuple[tuple[str, str], ...]:
    """Months with home line-days that are over, newest first."""
    known = found.tallies.days["month"].drop_duplicates()
    months = sorted(known.dt.strftime("%Y-%m"), reverse=True)
    return tuple((m, period_name(m)) for m in months if m < f"{found.as_of:%Y-%m}")


def _names(groups: pd.Series[str], by: Grouping) -> list[str]:
    return [group_name(g, by) for g in groups]


def _whole(name: str, whole: pd.DataFrame, basis: str) -> str:
    """The programme's rate over all dates."""
    title = words.sentence(name)[:-1]
    if not len(whole):
        return f"{title}: there are no home line-days, so there is no rate."
    rate = rate_sentence(whole.iloc[0])
    return f"{title}, all dates: {rate}; counted {rate_words.BASES[basis]}. {words.NOT_NHSN}"


def _with_coverage(table: pd.DataFrame, found: Snapshot, by: str) -> pd.DataFrame:
    heard = log_coverage(found.tallies, Grouping(by))
    return table.merge(heard[["group", "log_coverage"]], on="group", how="left")


def _chart(found: Snapshot, asked: RatesChoice) -> pd.DataFrame:
    """The control chart with names of periods and signals in words."""
    args = (found, asked.event, Grouping(asked.period), Basis(str(asked.basis)))
    try:
        chart = rate_chart(*args, baseline=FIRST_PERIODS[asked.period] if asked.baseline else None)
    except MeasureError:  # shorter than the first year: all periods then
        chart = rate_chart(*args)
    chart["label"] = [period_name(str(p)) for p in chart["period"]]
    chart["signal_words"] = [words.signal_words(s) for s in chart["signal"]]
    chart["data"] = [data_words(row) for row in chart.to_dict("records")]
    return chart


def _by_group(found: Snapshot, event: str, by: Grouping, basis: Basis) -> pd.DataFrame:
    table = rates(found.tallies, event, by, basis, Limits.EXACT)
    alike = rates(found.tallies, event, by, basis, Limits.CLUSTERED)
    table["clustered_lower"], table["clustered_upper"] = alike["lower"], alike["upper"]
    table = _with_coverage(table, found, str(by))
    table["name"] = _names(table["group"], by)
    return table


def _two(groups: list[str], asked: RatesChoice) -> tuple[str | None, str | None]:
    """The groups chosen, else the first two."""
    first = asked.first if asked.first in groups else next(iter(groups), None)
    others = [g for g in groups if g != first]
    return first, asked.second if asked.second in others else next(iter(others), None)


def _usual_since(settled: list[str]) -> str | None:
    """The later half of the complete periods begins here."""
    return settled[len(settled) // 2] if len(settled) > 1 else None


def _two_groups(
    found: Snapshot, asked: RatesChoice, first: str | None, second: str | None
) -> Compared:
    if first is None or second is None:
        return _nothing(
            "Fewer than two groups have home line-days, so there is nothing to compare."
        )
    by = Grouping(asked.by)
    names = (group_name(first, by), group_name(second, by))
    return _compared(found, asked, by, (first, second), names)


def _two_periods(
    found: Snapshot, asked: RatesChoice, settled: list[str], since: str | None
) -> Compared:
    """Complete periods from `since` on compared with those before it."""
    if since is None:
        one, many = rate_words.PERIODS[asked.period]
        return _nothing(f"Fewer than two {many} are complete: compare again in a {one}.")
    before = settled[settled.index(since) - 1]
    spans = ((since, settled[-1]), (settled[0], before))
    later, earlier = (f"{a}{SPAN}{b}" for a, b in spans)
    names = (span_name(*spans[0]), span_name(*spans[1]))
    return _compared(found, asked, Grouping(asked.period), (later, earlier), names)


def _nothing(reading: str) -> Compared:
    return Compared(("", ""), pd.DataFrame(), NO_RATIO, reading)


def _compared(
    found: Snapshot,
    asked: RatesChoice,
    by: Grouping,
    which: tuple[str, str],
    names: tuple[str, str],
) -> Compared:
    settled_only = settled_tallies(found, asked.event)
    args = (settled_only, asked.event, by, Basis(str(asked.basis)), Limits.EXACT)
    table = compared_rates(*args, list(which)).assign(name=list(names))
    try:
        ratios = compare(*args, *which)
    except MeasureError as fault:
        return Compared(names, table, NO_RATIO, words.sentence(str(fault)))
    return Compared(names, table, ratios, ratio_verdict(ratios, names).sentence)


def _bias(found: Snapshot, event: str) -> tuple[pd.DataFrame, str]:
    """What missing logs could hide; an outcome that the clinic confirms does not depend on them."""
    gap = found.edition.settings.episode_gap_days
    try:
        bias = logging_bias(found.tallies, event, Grouping.ALL, gap)
    except MeasureError:
        return pd.DataFrame(), (
            "The clinic confirms this event, so it does not depend on whether a family logs."
        )
    return bias, logging_verdict(bias).sentence

"""Commands on rates of harm: how high, compared, on a chart."""

from __future__ import annotations

import typer

from analysis.cli.opening import opened, snapshot, snapshot_of
from analysis.cli.options import rates as options
from analysis.cli.output import show
from analysis.cli.partitioned import tallies_asked
from analysis.decisions.signal_work import signals as worked_on
from analysis.errors import nearest
from analysis.measures.charts import chart_false_alarms, rate_chart
from analysis.measures.comparison import compare
from analysis.measures.completeness import provisional_rates, settled_tallies
from analysis.measures.counts import MeasureError, counts, is_logged_at_home, usual_basis
from analysis.measures.family_rates import family_rates
from analysis.measures.funnels import LEAGUE_TABLE_CAUTION, group_funnel
from analysis.measures.gap_charts import gap_chart, since_last_event
from analysis.measures.logging_bias import logging_bias
from analysis.measures.rates import rates
from analysis.measures.release import for_release
from analysis.measures.surveillance import surveillance
from analysis.measures.trends import standardised, trend
from analysis.verdicts import (
    Verdict,
    chart_verdict,
    compared_name,
    false_alarm_sentence,
    funnel_verdict,
    gap_verdict,
    heard_sentence,
    ratio_verdict,
    signals_table,
    trend_verdict,
)
from analysis.vocabulary import Basis, ChartKind, Grouping

STRATA = (Grouping.LINE_TYPE, Grouping.AGE_BAND)
"""What a standardised ratio is adjusted for."""


def _basis(asked: options.Counted) -> Basis:
    return asked.basis or usual_basis(asked.event)


def rates_table(asked: options.Rates) -> None:
    """Show rates with limits."""
    tallies, basis = tallies_asked(asked), _basis(asked)
    found = rates(tallies, asked.event, asked.by, basis, asked.limits)
    show(for_release(found) if asked.hide_small else found, asked)
    whole = counts(tallies, asked.event, Grouping.ALL, basis)
    if is_logged_at_home(asked.event) and not asked.hide_small and len(whole):
        typer.echo(f"linedays: {heard_sentence(whole.iloc[0])}", err=True)


def rates_trend(asked: options.RatesTrend) -> None:
    """Show the ratio from period to period."""
    period = Grouping(str(asked.by))
    tallies = settled_tallies(snapshot(asked), asked.event)
    found = trend(tallies, asked.event, period, _basis(asked))
    show(found, asked)
    _say(trend_verdict(found, period))


def rates_standardised(asked: options.RatesStandardised) -> None:
    """Show events observed over events expected."""
    tallies = settled_tallies(snapshot(asked), asked.event)
    show(standardised(tallies, asked.event, asked.by, STRATA, _basis(asked)), asked)


def rates_families(asked: options.RatesFamilies) -> None:
    """Show each family's adjusted rate."""
    show(family_rates(snapshot(asked).tallies, asked.event, _basis(asked)), asked)


def rates_provisional(asked: options.RatesProvisional) -> None:
    """Show rates with the late reports still expected."""
    seen, period = snapshot(asked), Grouping(str(asked.by))
    found = provisional_rates(seen, asked.event, period, _basis(asked))
    show(found, asked)


def rates_logging(asked: options.RatesLogging) -> None:
    """Show what missing logs could hide."""
    seen = snapshot(asked)
    gap = seen.edition.settings.episode_gap_days
    show(logging_bias(seen.tallies, asked.event, asked.by, gap), asked)


def comparison(asked: options.Compare) -> None:
    """Show the ratio of two rates."""
    found = compare(
        settled_tallies(snapshot(asked), asked.event),
        asked.event,
        asked.by,
        _basis(asked),
        asked.limits,
        asked.first,
        asked.second,
    )
    show(found, asked)
    first, second = (str(found[side].iloc[0]) for side in ("first", "second"))
    _say(ratio_verdict(found, (compared_name(first, asked.by), compared_name(second, asked.by))))


def chart(asked: options.Chart) -> None:
    """Show a control chart."""
    seen, basis = snapshot(asked), _basis(asked)
    if asked.kind is ChartKind.U:
        found = rate_chart(seen, asked.event, asked.by, basis, asked.baseline)
        show(found, asked)
        verdict = chart_verdict(found, asked.by)
        _say(verdict)
        rate = chart_false_alarms(seen, asked.event, asked.by, basis, asked.baseline)
        if text := false_alarm_sentence(rate, verdict.settled, asked.by):
            typer.echo(f"linedays: {text}", err=True)
        return
    found = gap_chart(seen, asked.event, basis, asked.kind, asked.baseline)
    show(found, asked)
    wait = since_last_event(seen, asked.event, basis, asked.kind)
    _say(gap_verdict(found, wait, asked.kind))


def funnel(asked: options.Funnel) -> None:
    """Show each group against all."""
    found = group_funnel(
        settled_tallies(snapshot(asked), asked.event),
        asked.event,
        asked.by,
        _basis(asked),
        allow_for_differences=asked.allow_for_differences,
    )
    show(found, asked)
    _say(funnel_verdict(found, asked.by))
    typer.echo(f"linedays: {LEAGUE_TABLE_CAUTION}", err=True)


def signals(asked: options.Signals) -> None:
    """Show signals, and the verdict of every event and site."""
    with opened(asked.store) as store:
        seen = snapshot_of(store, asked)
        acts = store.signal_acts(seen.known_at)
    found = worked_on(surveillance(seen), acts)
    headline = found.headline
    table = signals_table(headline, found.states)
    if asked.event is not None:
        known = list(dict.fromkeys(table["event"]))
        if asked.event not in known:
            raise MeasureError(
                f"event {asked.event!r} is not followed; followed are {', '.join(known)}."
                f"{nearest(asked.event, known)}"
            )
        table = table[(table["event"] == asked.event).to_numpy(dtype=bool)].reset_index(drop=True)
    show(table, asked)
    _say(headline)
    typer.echo(f"linedays: {headline.caution}", err=True)


def _say(verdict: Verdict) -> None:
    """Show the verdict of a statistic next to its table."""
    typer.echo(f"linedays: {verdict.sentence}", err=True)

"""Is harm changing, where, and how sure is that? Rates for infection prevention."""

from __future__ import annotations

from typing import Any

from dash import dcc, html
from dash.development.base_component import Component
from markupsafe import Markup

from dashboard.addresses.rates import read_rates
from dashboard.changes.parts import changes_place
from dashboard.figures import control_chart, rate_intervals, site_funnel
from dashboard.figures.gaps import gap_figure
from dashboard.figures.small_multiples import small_multiples
from dashboard.layout import frame as shell
from dashboard.layout import ids, words
from dashboard.layout.cards import figure_card, folded, numbers, scrolled
from dashboard.layout.choosing import choice, led_by, not_there
from dashboard.layout.serialised import serialised
from dashboard.layout.templates import render, static
from dashboard.layout.words import NOT_NHSN, limits, number, percent
from dashboard.rates import words as rate_words
from dashboard.rates.queries import RatesQueries
from dashboard.rates.queries.annotations import MOST_CHARACTERS
from dashboard.rates.queries.work import LONGEST_OWNER, STATES_TO_SET
from dashboard.rates.queries.work import MOST_CHARACTERS as MOST_CHARACTERS_OF_WORK
from dashboard.rates.views import Annotating, Compared, Gaps, NotesOfRates, RatesView
from dashboard.security.roles import Page
from dashboard.session.session import Session

PATH = "/rates"
TITLE = "Rates"
MOST_FAMILIES = 8
"""Families with events that are listed before the others open."""
FEWEST_GAPS, MOST_GAPS = 2, 120  # events rare enough for a chart of the gaps between them


def layout(session: Session, search: str | None) -> list[Component]:
    """The page under the choice in its address."""
    queries = RatesQueries(session)
    queries.keep_signals()
    head, work, chart, notes, body = parts_of_choice(queries, search)
    acted, added, removed = (
        html.P(id=name, role="status", className="annotation-message")
        for name in (ids.SIGNAL_MESSAGE, ids.ANNOTATION_MESSAGE, ids.ANNOTATION_REMOVED)
    )
    return shell.page(
        PATH,
        session.context(),
        [
            changes_place(queries.changes(), Page.RATES),
            added,
            html.Div(head, id=ids.RATES_HEAD),
            html.Div(
                [
                    _section(html.Div(work, id=ids.RATES_WORK), acted),
                    html.Div(chart, id=ids.RATES_CHART),
                    _section(html.Div(notes, id=ids.RATES_NOTES), removed),
                    html.Div(body, id=ids.RATES_BODY),
                ],
                className="cards",
            ),
            *(
                dcc.Store(id=name)
                for name in (ids.ANNOTATE, ids.WITHDRAW, ids.ANNOTATED, ids.SIGNAL_ACT)
            ),
        ],
    )


def _section(*parts: Component) -> Component:
    return html.Section(list(parts), className="line figure-card")


def parts_of_choice(
    queries: RatesQueries, search: str | None
) -> tuple[Component, Component, Component, Component, Component]:
    """What to choose from, work on signals, rates over time, notes on the chart, and the rest."""
    asked = read_rates(search)
    view = queries.rates(asked)
    noted, writing = queries.notes_of(view), queries.annotating()
    opens = tuple(
        queries.session.may_open(page) for page in (Page.FAMILY, Page.RETRAINING, Page.WEEK)
    )

    def build() -> tuple[Component, Component, Component]:
        over_time = [_sites(view), *_opened(view, *opens[:2]), _over_time(view, noted)]
        return (
            serialised(_head(view, opens[2], len(noted.annotations), writing)),
            serialised(html.Div(over_time, className="cards")),
            serialised(_body(view)),
        )

    head, chart, body = queries.session.cached(
        (PATH, view.choice, view.signals.headline, noted.annotations, opens, writing),
        build,
        lasting=True,
    )
    notes = static("rates/notes", notes=noted.annotations, writing=writing, removes=ids.WITHDRAW)
    work = static(
        "rates/work",
        signals=queries.work(),
        states=STATES_TO_SET,
        sends=ids.SIGNAL_ACT,
        most_characters=MOST_CHARACTERS_OF_WORK,
        longest_owner=LONGEST_OWNER,
    )
    return led_by(not_there(rate_words.ASKED, asked, view.choice), head), work, chart, notes, body


def _head(view: RatesView, may_report: bool, n_notes: int, writing: Annotating | None) -> Component:
    one_year = "the first 12 months" if view.choice.period == "month" else "the first 4 quarters"
    many = rate_words.PERIODS[view.choice.period][1]
    return static(
        "rates/head",
        view=view,
        bases=tuple(rate_words.BASES.items()),
        baselines=(("", f"all {many}"), ("first", one_year)),
        may_report=may_report,
        n_notes=n_notes,
        writing=writing,
        sends=ids.ANNOTATE,
        most_characters=MOST_CHARACTERS,
        groupings=tuple((k, f"by {v}") for k, v in rate_words.GROUPINGS.items()),
    )


def _sites(view: RatesView) -> Component:
    """The chosen event at each site, on one scale."""
    found = view.signals
    figures = small_multiples([(p.months, p.baseline_rate, p.since) for p in found.panels])
    return static(
        "rates/sites",
        title=f"{words.sentence(view.event_name)[:-1]} at each site",
        panels=tuple(zip(found.panels, figures, strict=True)),
        days="home line-days on which they could be known",
        baseline=found.baseline,
        caution=f"{found.caution} {NOT_NHSN}",
        table=found.table,
    )


def _opened(view: RatesView, may_open: bool, may_train: bool) -> list[Component]:
    """What is behind the rate of the open site; nothing where none is open."""
    opened = view.signals.opened
    if opened is None:
        return []
    sentence = next(p.sentence for p in view.signals.panels if p.is_open)
    return [
        static(
            "rates/opened",
            opened=opened,
            sentence=sentence,
            event=view.event_name,
            most_families=MOST_FAMILIES,
            may_open=may_open,
            may_train=may_train,
        )
    ]


def _body(view: RatesView) -> Component:
    return html.Div(
        [
            *_gaps(view),
            html.Div([_by_group(view), _funnel(view)], className="pair"),
            html.Div([_two_groups(view), _two_periods(view)], className="pair"),
            _silence(view),
        ],
        className="cards",
    )


def _over_time(view: RatesView, noted: NotesOfRates) -> Component:
    one, many = rate_words.PERIODS[view.choice.period]
    heads = (one.capitalize(), "Events", "Line-days", "Per 1000", "Limits", "Log coverage", "Data", "Signal")  # fmt: skip
    table = numbers(heads, [_period_row(row) for row in view.chart.to_dict("records")])
    return figure_card(
        f"Is the rate of {view.event_name} changing?",
        control_chart(view.chart, noted.marks) if len(view.chart) else None,
        f"Chart of {many}: {view.drift} {view.trend_words}",
        table=folded(f"Rates by {one}", table),
        notes=(f"{rate_words.CHART_NOTE.format(many=many)} {NOT_NHSN}",),
        explained=(("control_chart", "How the chart is calculated"),),
        later=ids.RATES_ALARMS,
    )


def _period_row(row: dict[Any, Any]) -> tuple[str, ...]:
    return (
        row["label"],
        str(row["events"]),
        words.thousands(row["line_days"]),
        number(row["rate_per_1000"]),
        limits(row["lower_limit"], row["upper_limit"]),
        percent(row["log_coverage"]),
        row["data"],
        row["signal_words"] or "none",
    )


def _gaps(view: RatesView) -> list[Component]:
    """From one event to the next, for one that is rare: a chart of months shows little then."""
    rare = [g for g in view.gaps if FEWEST_GAPS <= len(g.chart) <= MOST_GAPS]
    return [html.Div([_gap_card(view.event_name, gaps) for gaps in rare], className="pair")]


def _gap_card(event: str, gaps: Gaps) -> Component:
    heads = ("Event of", f"{gaps.unit.capitalize()} since the one before", "Limits", "Signal")
    rows = [
        (
            row["period"],
            words.thousands(row["gap"]),
            limits(row["lower_limit"], row["upper_limit"]),
            words.signal_words(row["signal"]) or "none",
        )
        for row in gaps.chart.to_dict("records")
    ]
    return figure_card(
        f"{words.sentence(event)[:-1]}: {gaps.unit} between events",
        gap_figure(gaps.chart, gaps.wait, gaps.unit),
        gaps.reading,
        table=folded(f"{gaps.unit.capitalize()} between events", numbers(heads, rows)),
        notes=(rate_words.GAP_NOTE,),
    )


def _by_group(view: RatesView) -> Component:
    by = rate_words.GROUPINGS[view.choice.by]
    rows = view.by_group.to_dict("records")
    heads = (
        by.capitalize(),
        "Events",
        "Line-days",
        "Per 1000",
        "95 % limits",
        "Adjusted for families",
        "Log coverage",
    )
    table = numbers(heads, [_group_row(row) for row in rows])
    rate = None if view.whole.empty else float(view.whole["rate_per_1000"].iloc[0])
    return figure_card(
        f"Rate of {view.event_name} by {by}, with uncertainty",
        rate_intervals(view.by_group, rate) if rows else None,
        view.by_group_words,
        table=scrolled(f"Rates by {by}", table),
        notes=(f"{rate_words.INTERVAL_NOTE} {NOT_NHSN}",),
        explained=(
            ("skin_rate", "What the rate means"),
            ("rate_limits", "How the limits are calculated"),
        ),
    )


def _group_row(row: dict[Any, Any]) -> tuple[str, ...]:
    return (
        row["name"],
        str(row["events"]),
        words.thousands(row["line_days"]),
        _rate(row),
        limits(row["lower"], row["upper"]),
        limits(row["clustered_lower"], row["clustered_upper"]),
        percent(row["log_coverage"]),
    )


def _rate(row: dict[Any, Any]) -> str:
    return number(row["rate_per_1000"]) if row["line_days"] else "no rate"


def _two_groups(view: RatesView) -> Component:
    chosen = view.choice
    return _comparison(
        f"Compare two {rate_words.MANY_GROUPS[chosen.by]}",
        view.two_groups,
        choice("First", "first", view.groups, chosen.first)
        + choice("Second", "second", view.groups, chosen.second)
        if len(view.groups) > 1
        else None,
        (rate_words.RATIO_CAUTION,),
    )


def _two_periods(view: RatesView) -> Component:
    one, _ = rate_words.PERIODS[view.choice.period]
    return _comparison(
        "Before and after",
        view.two_periods,
        choice("After-period starts", "since", view.periods, view.choice.since)
        if view.periods
        else None,
        (f"Provisional {one}s are left out. {rate_words.CHOSEN_AFTER}",),
    )


def _comparison(
    title: str, compared: Compared, choices: Markup | None, notes: tuple[str, ...]
) -> Component:
    rated = [
        (
            words.sentence(row["name"])[:-1],
            str(row["events"]),
            words.thousands(row["line_days"]),
            _rate(row),
            limits(row["lower"], row["upper"]),
            percent(row["log_coverage"]),
        )
        for row in compared.rates.to_dict("records")
    ]
    ratios = [
        (
            words.sentence(row["method"])[:-1],
            number(row["ratio"]),
            limits(row["lower"], row["upper"]),
            words.chance(row["p"]),
        )
        for row in compared.ratios.to_dict("records")
    ]
    return figure_card(
        title,
        None,
        compared.reading,
        table=render("rates/comparison", title=title, rates=rated, ratios=ratios),
        notes=(*notes, NOT_NHSN),
        explained=(("rate_ratio", "How the comparison is calculated"),),
        above=choices,
    )


def _funnel(view: RatesView) -> Component:
    rows = view.funnel.to_dict("records")
    heads = (
        *("Site", "Events", "Line-days", "Per 1000"),
        *("95 % limits", "99.8 % limits", "Log coverage"),
    )
    table = numbers(
        heads,
        [
            (
                row["name"],
                str(row["events"]),
                words.thousands(row["line_days"]),
                number(row["rate_per_1000"]),
                limits(row["lower_95"], row["upper_95"]),
                limits(row["lower_998"], row["upper_998"]),
                percent(row["log_coverage"]),
            )
            for row in rows
        ],
    )
    return figure_card(
        "Is any site different from the rest?",
        site_funnel(view.funnel) if len(rows) > 1 else None,
        view.funnel_words,
        table=folded("Sites and the limits around the rate of all", table),
        notes=(f"{rate_words.FUNNEL_CAUTION} {NOT_NHSN}",),
        explained=(("funnel", "How the funnel is calculated"),),
    )


def _silence(view: RatesView) -> Component:
    heads = ("Families", "Events", "Line-days", "Per 1000", "95 % limits", "Log coverage")
    rows: list[tuple[str, ...]] = []
    for row in view.bias.to_dict("records"):
        rows = [
            (
                "All",
                str(row["events"]),
                words.thousands(row["line_days"]),
                number(row["rate_per_1000"]),
                "as above",
                percent(row["log_coverage"]),
            ),
            (
                "Those that log well",
                str(row["well_logged_events"]),
                words.thousands(row["well_logged_days"]),
                number(row["well_logged_rate"]) if row["well_logged_days"] else "no rate",
                limits(row["well_logged_lower"], row["well_logged_upper"]),
                "95 % or more each",
            ),
            (
                "All, worst case if all silent days hid events",
                f"up to {words.thousands(row['hidden_at_most'])} more",
                words.thousands(row["line_days"]),
                f"up to {number(row['rate_at_most'])}",
                "–",
                percent(row["log_coverage"]),
            ),
        ]
    return figure_card(
        "Could missing logs change the rate?",
        None,
        view.bias_words,
        table=scrolled("Rate and logging", numbers(heads, rows)) if rows else None,
        notes=(NOT_NHSN,),
        explained=(("log_coverage", "What log coverage means"),),
    )

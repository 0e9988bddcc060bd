"""Is harm drifting, where, and how sure is that? Rates for infection prevention."""

from __future__ import annotations

from typing import Any

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.addresses.rates import read_rates
from dashboard.figures import control_chart, rate_intervals, site_funnel
from dashboard.layout import frame as shell
from dashboard.layout import group_words, ids, words
from dashboard.layout.cards import figure_card, folded, numbers, scrolled
from dashboard.layout.choosing import choice, choice_of_kinds
from dashboard.layout.drawn import drawn
from dashboard.layout.static import static
from dashboard.layout.words import limits, number, percent
from dashboard.rates import words as rate_words
from dashboard.rates.annotations import written_beside
from dashboard.rates.queries import RatesQueries
from dashboard.rates.views import BesideRates, Compared, RatesView
from dashboard.session.session import Session

PATH = "/rates"
TITLE = "Rates"
FUNNEL_CAUTION = (
    "A funnel does not rank sites. Those inside the limits are not told apart by this data; of "
    "twenty alike about one lies outside the 95 % limits by chance. One outside is a reason to "
    "look, not a verdict."
)
INTERVAL_NOTE = (
    "Broad line: exact 95 % limits, events taken as independent; thin line: families allowed for, "
    "where five or more have events."
)
CHART_NOTE = (
    "Steps above and below: limits that a steady rate passes about once in 370 {many}. Open points "
    "are provisional: they may still rise as late entries come in."
)


def layout(session: Session, search: str | None) -> list[Component]:
    """The page under the choice in its address."""
    queries = RatesQueries(session)
    head, chart, notes, body = parts_of_choice(queries, search)
    said = html.P(id=ids.ANNOTATION_SAID, role="status", className="annotation-said")
    return shell.page(
        PATH,
        queries.session.context(),
        [
            html.Div(head, id=ids.RATES_HEAD),
            html.Div(
                [
                    html.Div(chart, id=ids.RATES_CHART),
                    html.Section(
                        [html.Div(notes, id=ids.RATES_NOTES), said], className="line figure-card"
                    ),
                    html.Div(body, id=ids.RATES_BODY),
                ],
                className="cards",
            ),
            *(dcc.Store(id=name) for name in (ids.ANNOTATE, ids.WITHDRAW, ids.ANNOTATED)),
        ],
    )


def parts_of_choice(
    queries: RatesQueries, search: str | None
) -> tuple[Component, Component, Component, Component]:
    """What to choose from, the rate over time, what is written beside it, and the rest."""
    view = queries.rates(read_rates(search))
    beside = queries.beside_rates(view)

    def draw() -> tuple[Component, Component, Component]:
        shown = queries.rates(view.choice)
        return drawn(_head(shown)), drawn(_over_time(shown, beside)), drawn(_body(shown))

    head, chart, body = queries.session.cached(
        (PATH, view.choice, beside.annotations), draw, lasting=True
    )
    notes = static(*written_beside(beside.annotations, queries.annotating()))
    return head, chart, notes, body


def _head(view: RatesView) -> Component:
    chosen = view.choice
    first = "the first 12 months" if chosen.period == "month" else "the first 4 quarters"
    many = group_words.PERIODS[chosen.period][1]
    return static(
        html.H1(f"Rates: {view.event_name}"),
        html.P(view.drift, className="answer", role="status"),
        html.P(view.whole_words, className="whole"),
        html.Div(
            [
                choice_of_kinds("Event", "event", view.events, chosen.event),
                choice(
                    "Home line-days",
                    "basis",
                    tuple(rate_words.BASIS_CHOICES.items()),
                    chosen.basis,
                ),
                choice(
                    "Over time", "period", (("month", "by month"), ("quarter", "by quarter")),
                    chosen.period,
                ),
                choice(
                    "Limits from",
                    "baseline",
                    (("", f"all {many}"), ("first", first)),
                    chosen.baseline or "",
                ),
                choice(
                    "Groups",
                    "by",
                    tuple((k, f"by {v}") for k, v in rate_words.GROUPINGS.items()),
                    chosen.by,
                ),
            ],
            className="tools",
        ),
    )  # fmt: skip


def _body(view: RatesView) -> Component:
    return html.Div(
        [
            html.Div([_by_group(view), _funnel(view)], className="pair"),
            html.Div([_two_groups(view), _two_spells(view)], className="pair"),
            _silence(view),
        ],
        className="cards",
    )


def _over_time(view: RatesView, beside: BesideRates) -> Component:
    one, many = group_words.PERIODS[view.choice.period]
    heads = (one.capitalize(), "Events", "Line-days", "Per 1000", "Limits", "Log coverage", "Said")
    table = numbers(heads, [_period_row(row, one) for row in view.chart.to_dict("records")])
    return figure_card(
        f"Is the rate of {view.event_name} drifting from {one} to {one}?",
        control_chart(view.chart, beside.marks) if len(view.chart) else None,
        view.trend_words,
        table=folded(f"Rates by {one}", table),
        notes=(f"{CHART_NOTE.format(many=many)} {rate_words.NOT_NHSN}",),
        explained=(("control_chart", "How the chart is worked out"),),
    )


def _period_row(row: dict[Any, Any], period: str) -> tuple[str, ...]:
    said = [rate_words.provisional_words(row, period), row["said"]]
    return (
        row["label"],
        str(row["events"]),
        words.thousands(row["line_days"]),
        number(row["rate_per_1000"]),
        limits(row["lower_limit"], row["upper_limit"]),
        percent(row["log_coverage"]),
        "; ".join(s for s in said if s) or "within the limits",
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
        "Families allowed for",
        "Log coverage",
    )
    table = numbers(heads, [_group_row(row) for row in rows])
    rate = None if view.whole.empty else float(view.whole["rate_per_1000"].iloc[0])
    return figure_card(
        f"How sure is the rate of {view.event_name} of each {by}?",
        rate_intervals(view.by_group, rate) if rows else None,
        view.by_group_words,
        table=scrolled(f"Rates by {by}", table),
        notes=(f"{INTERVAL_NOTE} {rate_words.NOT_NHSN}",),
        explained=(
            ("skin_rate", "What the rate means"),
            ("rate_limits", "How the limits are worked out"),
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
    by = rate_words.GROUPINGS[chosen.by]
    return _comparison(
        f"Do two of them differ, by {by}?",
        view.two_groups,
        (
            choice("First", "first", view.groups, chosen.first),
            choice("Second", "second", view.groups, chosen.second),
        )
        if len(view.groups) > 1
        else (),
        (rate_words.RATIO_CAUTION,),
    )


def _two_spells(view: RatesView) -> Component:
    chosen = view.choice
    one, _ = group_words.PERIODS[chosen.period]
    return _comparison(
        "Did the rate change from one spell to the next?",
        view.two_spells,
        (choice(f"Later spell begins with the {one}", "since", view.periods, chosen.since),)
        if view.periods
        else (),
        (f"Provisional {one}s are left out. {rate_words.CHOSEN_AFTER}",),
    )


def _comparison(
    title: str, compared: Compared, choices: tuple[Component, ...], notes: tuple[str, ...]
) -> Component:
    rated = numbers(
        ("Compared", "Events", "Line-days", "Per 1000", "95 % limits", "Log coverage"),
        [
            (
                words.sentence(row["name"])[:-1],
                str(row["events"]),
                words.thousands(row["line_days"]),
                _rate(row),
                limits(row["lower"], row["upper"]),
                percent(row["log_coverage"]),
            )
            for row in compared.rates.to_dict("records")
        ],
    )
    ratios = numbers(
        ("Ratio of the rates", "First / second", "95 % limits", "p"),
        [
            (row["method"], number(row["ratio"]), limits(row["lower"], row["upper"]),
             group_words.chance(row["p"]))
            for row in compared.ratios.to_dict("records")
        ],
    )  # fmt: skip
    tables = html.Div(
        [
            scrolled(f"{title} Rates", rated) if len(compared.rates) else None,
            scrolled(f"{title} Ratios", ratios) if len(compared.ratios) else None,
        ],
        className="pair-of-tables",
    )
    return figure_card(
        title,
        None,
        compared.reading,
        table=tables,
        notes=(*notes, rate_words.NOT_NHSN),
        explained=(("rate_ratio", "How the comparison is worked out"),),
        above=html.Div(choices, className="tools") if choices else None,
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
        "Does any site stand apart from all sites together?",
        site_funnel(view.funnel) if len(rows) > 1 else None,
        view.funnel_words,
        table=folded("Sites and the limits about the rate of all", table),
        notes=(f"{FUNNEL_CAUTION} {rate_words.NOT_NHSN}",),
        explained=(("funnel", "How the funnel is worked out"),),
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
                "All, if silence hid what it can hold",
                f"{words.thousands(row['hidden_at_most'])} more at most",
                words.thousands(row["line_days"]),
                f"at most {number(row['rate_at_most'])}",
                "–",
                percent(row["log_coverage"]),
            ),
        ]
    return figure_card(
        "Could silence change the rate?",
        None,
        view.bias_words,
        table=scrolled("Rate and logging", numbers(heads, rows)) if rows else None,
        notes=(rate_words.NOT_NHSN,),
        explained=(("log_coverage", "What log coverage means"),),
    )

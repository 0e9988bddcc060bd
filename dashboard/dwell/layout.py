"""How long do lines stay in place, and how many end unplanned?"""

from __future__ import annotations

from typing import Any

import pandas as pd
from dash import html
from dash.development.base_component import Component
from markupsafe import Markup

from dashboard.addresses.dwell import read_dwell
from dashboard.dwell import words as dwell_words
from dashboard.dwell.queries import DwellQueries
from dashboard.dwell.views import DwellView
from dashboard.figures import ended_unplanned, share_in_place
from dashboard.layout import frame as shell
from dashboard.layout import ids, words
from dashboard.layout.cards import figure_card, folded, numbers, scrolled
from dashboard.layout.choosing import led_by, not_there
from dashboard.layout.serialised import serialised
from dashboard.layout.templates import static
from dashboard.layout.words import limits, number, percent
from dashboard.session.session import Session

PATH = "/dwell"
TITLE = "Dwell time"


def layout(session: Session, search: str | None) -> list[Component]:
    """The page under the choice in its address."""
    head, body = parts_of_choice(DwellQueries(session), search)
    return shell.page(
        PATH,
        session.context(),
        [html.Div(head, id=ids.DWELL_HEAD), html.Div(body, id=ids.DWELL_BODY)],
    )


def parts_of_choice(queries: DwellQueries, search: str | None) -> tuple[Component, Component]:
    """What to choose from, and what is shown of the choice."""
    asked = read_dwell(search)
    view = queries.dwell(asked)

    def build() -> tuple[Component, Component]:
        shown = queries.dwell(view.choice)
        return serialised(_head(shown)), serialised(_body(shown))

    head, body = queries.session.cached((PATH, view.choice), build, lasting=True)
    return led_by(not_there({"by": "grouping"}, asked, view.choice), head), body


def _head(view: DwellView) -> Component:
    return static(
        "dwell/head",
        view=view,
        title=dwell_words.DWELL_TITLES[view.choice.by],
        choices=tuple(dwell_words.DWELL_CHOICES.items()),
    )


def _body(view: DwellView) -> Component:
    return html.Div(
        [
            html.Div([_in_place(view), _unplanned(view)], className="pair"),
            _readings(view),
            _hazard(view),
        ],
        className="cards",
    )


def _in_place(view: DwellView) -> Component:
    table = _share_table(view, "Still in place", "in_place", "in_place")
    return figure_card(
        "How many lines are still in place?",
        share_in_place(view.curves, view.shown, view.at_risk, view.last_day)
        if len(view.shown)
        else None,
        view.in_place_words,
        table=folded("Share still in place by day", table),
        notes=tuple(n for n in (dwell_words.FIELD_NOTE, view.left_out) if n),
        explained=(("share_in_place", "How the share in place is calculated"),),
    )


def _days(view: DwellView) -> list[int]:
    return sorted({int(day) for day in view.at_risk["day"]})


def _share_table(view: DwellView, what: str, share: str, limit: str) -> Markup:
    """A share of each group on the days of the axis."""
    rows = [
        (
            words.sentence(row["name"])[:-1],
            str(row["day"]),
            str(row["at_risk"]),
            percent(row[share]),
            words.percents(row[f"{limit}_lower"], row[f"{limit}_upper"]),
        )
        for row in view.at_days.to_dict("records")
    ]
    return numbers(("Lines", "Day", "At risk", what, "95 % limits"), rows)


def _unplanned(view: DwellView) -> Component:
    table = _share_table(view, "Unplanned removal", "unplanned_share", "unplanned")
    return figure_card(
        "How many lines had an unplanned removal?",
        ended_unplanned(view.curves, view.shown, _days(view), view.last_day)
        if len(view.shown)
        else None,
        view.unplanned_words,
        table=folded("Share with unplanned removal by day", table),
        notes=(dwell_words.UNPLANNED_NOTE,),
        explained=(("cumulative_incidence", "How the share with unplanned removal is calculated"),),
    )


def _readings(view: DwellView) -> Component:
    names = [words.sentence(name)[:-1] for name in view.summary["name"]]
    return html.Section(
        static(
            "dwell/readings",
            readings=list(zip(names, view.summary["sentence"], strict=True)),
            rows=[_summary_row(row) for row in view.summary.to_dict("records")],
            tests=view.tests,
            caution=dwell_words.LOGRANK_CAUTION,
        ),
        className="line figure-card",
    )


def _summary_row(row: dict[Any, Any]) -> tuple[str, ...]:
    return (
        words.sentence(row["name"])[:-1],
        str(row["lines"]),
        str(row["removed"]),
        str(row["unplanned"]),
        str(row["planned"]),
        dwell_words.whole_day(row["median_day"]),
        dwell_words.day_limits(row),
        "too few for a curve"
        if pd.isna(row["start_day"])
        else dwell_words.given_from(row["start_day"]),
    )


def _hazard(view: DwellView) -> Component:
    row = view.hazard.iloc[0]
    heads = ("Lines", "Unplanned", "While out of date", "Hazard ratio", "95 % limits", "p")
    table = numbers(
        heads,
        [
            (
                str(row["lines"]),
                str(row["unplanned"]),
                str(row["unplanned_out_of_date"]),
                number(row["hazard_ratio"]),
                limits(row["lower"], row["upper"]),
                words.chance(row["p"]),
            )
        ],
    )
    return figure_card(
        "Are unplanned removals more frequent while the dressing is out of date?",
        None,
        view.hazard_words,
        table=scrolled("Hazard of unplanned removal", table),
        notes=(dwell_words.HAZARD_NOTE,),
        explained=(("overdue_hazard", "How the hazard ratio is calculated"),),
    )

"""Which families to call today, in what order, and why? The call list and its panel."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any, TypeVar

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.addresses.calls import Choice, read_choice, write_choice
from dashboard.calls.bands import band_choice
from dashboard.calls.call_table import RESTING_CAPTION, call_table, closed_rows, pager
from dashboard.calls.calls_done import calls_done
from dashboard.calls.panel import panel
from dashboard.calls.queries import CallsQueries
from dashboard.calls.views import CallsView, News
from dashboard.layout import frame as shell
from dashboard.layout import ids, words
from dashboard.layout.attributes import aria, chooses, downloads, in_page
from dashboard.layout.drawn import drawn
from dashboard.layout.static import Ready, ready, static
from dashboard.session.session import Session

PATH = "/"
Answer = TypeVar("Answer")


def title(session: Session) -> str:
    """Title of the page in the browser."""
    return f"Calls for {words.long_day(session.context().as_of)}"


def layout(session: Session, search: str | None) -> list[Component]:
    """The page as it stands under the choice in its address."""
    queries = CallsQueries(session)
    choice = read_choice(search)
    view = queries.calls(choice)
    opened = opened_first(choice, view)
    return shell.page(
        PATH,
        view.context,
        [
            dcc.Store(id=ids.RECORD),
            dcc.Store(id=ids.ARRANGE),
            dcc.Store(id=ids.TAKE_BACK),
            dcc.Store(id=ids.TAKE_BACK_ARRANGED),
            dcc.Store(id=ids.TAKE_OUT),
            dcc.Download(id=ids.DOWNLOAD),
            dcc.Store(id=ids.OPENED, data={"family": opened, "search": search, "changed": 0}),
            html.Div(
                [
                    html.H1(f"Calls for {words.long_day(view.context.as_of)}"),
                    html.Section(
                        [
                            html.Div(list_head(queries, view.choice), id=ids.CALLS_HEAD),
                            html.Div(list_part(queries, view.choice, opened), id=ids.CALLS_LIST),
                            html.P("", id=ids.CALLS_SAID, role="status", className="unseen"),
                        ],
                        className="list",
                        **aria(label="Call list"),
                    ),
                    html.Section(
                        [
                            html.Div(panel_part(queries, choice, opened, None), id=ids.PANEL),
                            html.P("", id=ids.PANEL_FAULT, role="alert", className="fault"),
                        ],
                        className="panel",
                        **aria(label="Opened family"),
                    ),
                ],
                className=split_class(choice),
                id=ids.SPLIT,
            ),
        ],
    )


def opened_first(choice: Choice, view: CallsView) -> str | None:
    """The family the reader opened, else the first one on the page."""
    if choice.family_id is not None:
        return choice.family_id
    return view.rows[0].family_id if view.rows else None


def list_head(queries: CallsQueries, choice: Choice) -> Component:
    """The answer, the bands and the filters of a choice."""
    return _same_for_all(queries, choice, "head", lambda shown: drawn(_drawn_head(shown)))


def _drawn_head(view: CallsView) -> Component:
    return static(
        html.P(_answer(view), className="answer"),
        band_choice(view),
        None if view.room is None else html.P(view.room.words, className="room"),
        html.P(_heard(view), className="coverage"),
        html.P(view.order, className="order-in-use"),
        html.P(_sheet(view), className="paper-line"),
        _tools(view),
    )


def _answer(view: CallsView) -> list[Any]:
    """The page's answer in one sentence: who is called first, and why."""
    chosen = [c for c in (view.choice.nurse, view.choice.site, view.choice.language) if c]
    whose = f" of {words.listed(chosen)}" if chosen else ""
    if view.first is None:
        waiting = view.counts["waiting"]
        after = (
            f" {words.counted(waiting, 'family waits', 'families wait')} for a recheck."
            if waiting
            else ""
        )
        return [f"No family{whose} has to be called.{after}"]
    first = view.first
    to = write_choice(replace(view.choice, band=None, page=1, family_id=first.family_id))
    return [
        "First: ",
        html.A(f"family {first.family_id}", href=to, **in_page(opens=True)),
        f". {words.sentence(first.sentences[0])}",
    ]


def _sheet(view: CallsView) -> str:
    """Which part of the list is on paper."""
    choice = view.choice
    whose = f"Nurse: {choice.nurse or 'all'}. Site: {choice.site or 'all'}."
    if choice.language:
        whose += f" Language: {choice.language}."
    band = words.BANDS[choice.band].title if choice.band in words.BANDS else "all to call"
    return f"{whose} Bands: {band}. Sheet {choice.page} of {view.pages}."


def _heard(view: CallsView) -> str:
    return (
        f"{words.thousands(view.families_silent)} of "
        f"{words.counted(view.families_at_home, 'family', 'families')} with a line at home "
        f"logged nothing for more than {view.silent_after_days} days. What looks overdue there "
        "may be done and not logged."
    )


def announcement(view: CallsView) -> str:
    """The list in one sentence, for those who hear it."""
    choice = view.choice
    if choice.band == words.DONE:
        return f"{words.counted(view.done_count, 'call', 'calls')} done today."
    what = words.BANDS[choice.band].title.lower() if choice.band in words.BANDS else "to call"
    return f"{words.counted(view.total, 'family', 'families')} shown: {what}."


def _tools(view: CallsView) -> Component:
    choice = view.choice
    return html.Div(
        [
            _select("Nurse", "nurse", view.nurses, choice.nurse, "All nurses"),
            _select("Site", "site", view.sites, choice.site, "All sites"),
            *(
                [_select("Language", "language", view.languages, choice.language, "All languages")]
                if view.languages
                else []
            ),
            _select(
                "Rows", "rows", tuple(str(n) for n in words.PER_PAGE), str(choice.per_page), None
            ),
            html.Button("Print this sheet", id="print", type="button", className="quiet-action"),
            html.Button(
                "Save as CSV", id="save", type="button", className="quiet-action", **downloads()
            ),
            html.P(
                [
                    html.Kbd("↓"),
                    html.Kbd("↑"),
                    " move, ",
                    html.Kbd("Enter"),
                    " opens, ",
                    html.Kbd("C"),
                    " records a call, ",
                    html.Kbd("S"),
                    " sets aside, ",
                    html.Kbd("A"),
                    " assigns, ",
                    html.Kbd("U"),
                    " takes back, ",
                    html.Kbd("Esc"),
                    " back to the list",
                ],
                className="keys",
            ),
        ],
        className="tools",
    )


def _select(
    label: str, name: str, values: tuple[str, ...], chosen: str | None, every: str | None
) -> Component:
    options = [] if every is None else [html.Option(every, value="")]
    options += [html.Option(v, value=v, selected=v == chosen) for v in values]
    choose = html.Select(options, id=f"choose-{name}", name=name, **chooses(name))
    return html.Div([html.Label(label, htmlFor=f"choose-{name}"), choose], className="select")


def list_part(queries: CallsQueries, choice: Choice, opened: str | None) -> Component:
    """The rows of a choice, with what waits and what is done below them."""
    view, closed, done = _same_for_all(queries, choice, "list", _list_parts)
    if view.choice.band == words.DONE:
        return static(done)
    if not view.rows and not view.resting:
        empty = html.P("No family stands in this part of the list.", className="empty")
        return static(empty, done)
    return static(
        call_table(view.rows, view, opened, closed),
        pager(view),
        call_table(view.resting, view, opened, closed, RESTING_CAPTION),
        done,
    )


def _list_parts(view: CallsView) -> tuple[CallsView, Mapping[str, Ready], Ready]:
    """The list, its rows while they are closed, and the calls done, which nobody opens."""
    return view, closed_rows(view), ready(calls_done(view))


def _same_for_all(
    queries: CallsQueries, choice: Choice, what: str, draw: Callable[[CallsView], Answer]
) -> Answer:
    """A part that is the same whoever looks and whichever family is opened, drawn once."""
    unopened = replace(choice, family_id=None)
    asked = (PATH, what, unopened, queries.session.seen_as())
    return queries.session.cached(asked, lambda: draw(queries.calls(unopened)))


def panel_part(
    queries: CallsQueries, choice: Choice, family_id: str | None, news: News | None
) -> Component:
    """The panel of a family, or that there is none."""
    if family_id is None:
        return static(html.P("No family is opened.", className="empty"))
    opened = queries.opened(family_id, choice)
    if opened is None:
        return static(
            html.H2("No such family"), html.P("There is no family with this code in the store.")
        )
    return panel(opened, choice, news)


def split_class(choice: Choice, news: News | None = None) -> str:
    """On a narrow screen the panel takes the list's place once it was asked for or has news."""
    return "split asked" if choice.family_id or news else "split"

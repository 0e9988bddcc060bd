"""Which family and caregiver needs retraining on which step, and how sure is that?"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from dash import Input, Output, State, dcc, html, no_update
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from dashboard import ids, need_words, shell, words
from dashboard.address import family_address, read_needs, read_session, write_needs
from dashboard.components.attributes import aria, in_page
from dashboard.components.choosing import choice as choose
from dashboard.components.drawn import drawn
from dashboard.components.figure_card import figure_card, folded, numbers, scrolled
from dashboard.components.need_list import need_address, need_table, pager
from dashboard.components.need_panel import need_panel
from dashboard.components.session_sheet import session_sheet, sessions_card
from dashboard.components.static import static
from dashboard.figures import step_picture
from dashboard.figures.step_picture import LIKELY
from dashboard.queries import Queries
from dashboard.security.guard import Guard
from dashboard.security.roles import Page, Right
from dashboard.training_views import (
    FAINT,
    NeedsChoice,
    NeedsView,
    PictureView,
    SessionName,
    SkillsView,
)
from dashboard.views import FamilyChoice

PATH = "/retraining"
TITLE = "Retraining"
SHOWN = (("likely", "probably above the limit"), ("all", "whatever was missed"))
WAITING = "Working out the rest of the page."
PICTURE_NOTE = (
    "Number: probability in percent that the step is missed more often than its limit, by the "
    "family's surest caregiver. Filled: half or more. No square: nothing missed."
)
Key = tuple[str, str | None, str]


def layout(queries: Queries, search: str | None) -> list[Component]:
    """The page as it stands under the choice in its address."""
    session = read_session(search)
    if session is not None:
        return _sheet(queries, session)
    choice = read_needs(search)
    view = queries.needs(choice)
    panel, key = _panel(queries, view, choice.opened)
    return shell.page(
        PATH,
        queries.standing(),
        [
            dcc.Store(id=ids.NEED_OPENED, data=_opened(key, 0)),
            dcc.Store(id=ids.NEEDS_DRAWN),
            html.Div(
                [
                    html.H1(TITLE),
                    html.Section(
                        [
                            html.Div(_head(view), id=ids.NEEDS_HEAD),
                            html.Div(_list(queries, view, key), id=ids.NEEDS_LIST),
                        ],
                        className="list",
                        **aria(label="Who needs retraining"),
                    ),
                    html.Section(
                        [
                            html.Div(panel, id=ids.NEED_PANEL),
                            html.P("", id=ids.NEED_FAULT, role="alert", className="fault"),
                        ],
                        className="panel",
                        **aria(label="Opened need"),
                    ),
                ],
                className=_split_class(choice),
                id=ids.NEEDS_SPLIT,
            ),
            html.Div(
                html.P(WAITING, className="empty", role="status"),
                id=ids.NEEDS_BODY,
                className="cards",
            ),
        ],
    )


def register(guard: Guard) -> None:
    """Register the callbacks of the page."""

    @guard.callback(
        Page.RETRAINING,
        Output(ids.NEEDS_HEAD, "children"),
        Output(ids.NEEDS_LIST, "children"),
        Output(ids.NEED_PANEL, "children"),
        Output(ids.NEED_OPENED, "data"),
        Output(ids.NEEDS_SPLIT, "className"),
        Input(ids.URL, "search"),
        State(ids.NEED_OPENED, "data"),
        State(ids.URL, "pathname"),
        prevent_initial_call=True,
    )
    def show(
        queries: Queries, search: str | None, before: Any, pathname: str
    ) -> tuple[object, ...]:
        if pathname != PATH:
            raise PreventUpdate
        choice = read_needs(search)
        view = queries.needs(choice)
        key = _key(view, choice)
        panel: object = no_update
        if _opened(key, 0) != before:
            panel, key = _panel(queries, view, choice.opened)
        head, rows = _head(view), _list(queries, view, key)
        return head, rows, panel, _opened(key, 0), _split_class(choice)

    @guard.callback(
        Page.RETRAINING,
        Output(ids.NEEDS_BODY, "children"),
        Output(ids.NEEDS_DRAWN, "data"),
        Input(ids.URL, "search"),
        State(ids.NEEDS_DRAWN, "data"),
        State(ids.URL, "pathname"),
    )
    def show_rest(
        queries: Queries, search: str | None, before: Any, pathname: str
    ) -> tuple[object, ...]:
        if pathname != PATH:
            raise PreventUpdate
        choice = _of_body(queries.needs(read_needs(search)).choice)
        name = write_needs(choice)
        if name == before:
            raise PreventUpdate
        asked = (PATH, choice, queries.standing().reader.may(Right.LANGUAGE))
        return queries.once(asked, lambda: drawn(_body(queries, choice))), name


def _sheet(queries: Queries, name: SessionName) -> list[Component]:
    """The sheet of one session instead of the page."""
    view, standing = queries.sheet(name), queries.standing()
    if view is None:
        return shell.not_found(
            standing,
            "No such session is planned on this day. Choose one on the page of retraining.",
        )
    return shell.page(PATH, standing, [session_sheet(view, standing.as_of)])


def _of_body(choice: NeedsChoice) -> NeedsChoice:
    """What of a choice the lower part of the page hangs on."""
    return NeedsChoice(
        site=choice.site, skill=choice.skill, together=choice.together, size=choice.size
    )


# The list


def _key(view: NeedsView, choice: NeedsChoice) -> Key | None:
    """The row to open: the one asked for, else the first of the page."""
    if choice.family_id is not None:
        return choice.family_id, choice.caregiver_id, choice.need or ""
    return view.rows[0].key if view.rows else None


def _opened(key: Key | None, count: int) -> dict[str, object]:
    return {"key": None if key is None else list(key), "changed": count}


def _split_class(choice: NeedsChoice) -> str:
    """On a narrow screen the panel takes the list's place once a row was asked for."""
    return "split asked" if choice.family_id else "split"


def _head(view: NeedsView) -> Component:
    return static(
        html.P(_answer(view), className="answer"),
        html.P(need_words.heard_of(view), className="coverage"),
        html.P(need_words.SHRINKAGE_NOTE, className="order-in-use"),
        _tools(view),
    )


def _answer(view: NeedsView) -> list[Any]:
    """The page's answer: who first, which step, why, how sure."""
    first = view.first
    if first is None:
        missed = sum(view.counts.values())
        none = "Nobody probably misses a step more often than its limit."
        if not missed or view.choice.show == "all":
            return [none]
        to = write_needs(replace(view.choice, show="all", page=1, family_id=None))
        return [f"{none} ", html.A("Show whatever was missed", href=to, **in_page())]
    missed_words = need_words.missed_words(first.step, first.missed, first.seen)
    likely = view.counts["sure"] + view.counts["likely"]
    return [
        "First: ",
        html.A(
            f"family {first.family_id}, {need_words.who(first)}",
            href=need_address(view, first),
            **in_page(opens=True),
        ),
        f". {words.sentence(first.step_name)[:-1]}: {missed_words}, {need_words.how_sure(first)}. ",
        html.Span(
            f"{words.counted(likely, 'caregiver and step is', 'caregivers and steps are')} "
            "probably above the limit.",
            className="rest",
        ),
    ]


def _tools(view: NeedsView) -> Component:
    choice = view.choice
    steps = (("", "All steps"), *view.steps)
    sites = (("", "All sites"), *((s, s) for s in view.sites))
    per_page = tuple((str(n), str(n)) for n in words.PER_PAGE)
    return html.Div(
        [
            choose("Show", "show", SHOWN, choice.show),
            choose("Step", "step", steps, choice.step or ""),
            choose("Site", "site", sites, choice.site or ""),
            choose("Rows", "rows", per_page, str(choice.per_page)),
            html.P(
                [
                    html.Kbd("↓"),
                    html.Kbd("↑"),
                    " move, ",
                    html.Kbd("Enter"),
                    " opens, ",
                    html.Kbd("Esc"),
                    " back to the list",
                ],
                className="keys",
            ),
        ],
        className="tools",
    )


def _list(queries: Queries, view: NeedsView, key: Key | None) -> Component:
    if not view.rows:
        return static(html.P("Nothing stands in this part of the list.", className="empty"))
    return static(need_table(view, queries.standing().as_of, key), pager(view))


def _panel(
    queries: Queries, view: NeedsView, asked: tuple[str, str | None, str | None] | None
) -> tuple[Component, Key | None]:
    """What is shown of the row asked for, else of the first of the page, and which that is."""
    wanted = asked or (view.rows[0].key if view.rows else None)
    if wanted is None:
        return static(html.P("No row is opened.", className="empty")), None
    opened = queries.need(*wanted)
    if opened is None:
        return static(
            html.H2("Nothing missed"),
            html.P("Nothing that was missed is known of a family with this code."),
        ), None
    return need_panel(opened, view.choice), opened.row.key


# The rest of the page


def _body(queries: Queries, choice: NeedsChoice) -> Component:
    return html.Div(
        [
            sessions_card(queries.sessions(choice)),
            _picture(queries.picture(choice)),
            _skills(queries.skills(choice)),
        ]
    )


def _picture(view: PictureView) -> Component:
    title = "Which families miss which steps?"
    if not view.families:
        return figure_card(
            title, None, "Nobody probably misses a step more often than its limit.", table=None
        )
    return html.Div(
        figure_card(
            title,
            step_picture(view.cells, view.families, view.steps),
            _picture_words(view),
            notes=(PICTURE_NOTE, *_left_out(view)),
            table=html.Div(
                [
                    folded("Steps by families", _picture_table(view)),
                    html.Div(_picture_list(view), className="narrow-only"),
                ]
            ),
            explained=(("drawn_share", "How the probability is worked out"),),
        ),
        className="picture",
    )


def _picture_words(view: PictureView) -> str:
    likely = view.cells[(view.cells["prob"] >= LIKELY).to_numpy(dtype=bool)]
    counts = likely["step_name"].value_counts()
    most = [
        f"{name} ({words.counted(int(n), 'family', 'families')})"
        for name, n in counts.head(3).items()
    ]
    shown = words.counted(len(view.families), "family", "families")
    return f"{shown} with the surest needs. Most often probable: {words.listed(most)}."


def _left_out(view: PictureView) -> tuple[str, ...]:
    said = []
    if view.families_left_out:
        more = words.counted(view.families_left_out, "family", "families")
        said.append(f"{more} more with a probable need: see the list above.")
    if view.steps_left_out:
        steps = words.listed(list(view.steps_left_out))
        said.append(f"Without a column, as hardly missed by these families: {steps}.")
    return tuple(said)


def _probs(view: PictureView) -> dict[tuple[str, str], float]:
    cells = view.cells
    keys = zip(cells["family_id"], cells["step_name"], strict=True)
    return dict(zip(keys, cells["prob"].astype(float), strict=True))


def _picture_table(view: PictureView) -> Component:
    probs = _probs(view)
    rows = [
        (
            family,
            *(
                need_words.probability(probs[family, step]) if (family, step) in probs else "–"
                for step in view.steps
            ),
        )
        for family in view.families
    ]
    return numbers(("Family", *(words.sentence(s)[:-1] for s in view.steps)), rows)


def _picture_list(view: PictureView) -> Component:
    """The same for a narrow screen: under each family its steps, the surest first."""
    items = []
    for family in view.families:
        own = view.cells[(view.cells["family_id"] == family).to_numpy(dtype=bool)]
        own = own[(own["prob"] >= FAINT).to_numpy(dtype=bool)].sort_values("prob", ascending=False)
        told = [
            html.Li([html.B(need_words.probability(prob)), f" {name}"])
            for name, prob in zip(own["step_name"], own["prob"], strict=True)
        ]
        way = html.A(family, href=family_address(family, FamilyChoice("all")), className="code")
        items.append(html.Li([way, html.Ul(told)]))
    return html.Ul(items, className="by-family")


def _skills(view: SkillsView) -> Component:
    name = need_words.SKILLS[view.skill]
    count = dict(view.counts)[view.skill]
    if count is None:
        said = f"No sign-off for the {name} is stored, so nobody can be told who lacks one."
    elif not count:
        said = f"Everybody who did a {name} in the last {view.recent_days} days is signed off."
    else:
        people = words.counted(count, "caregiver", "caregivers")
        said = (
            f"{people} did a {name} in the last {view.recent_days} days without a current sign-off."
        )
    notes = [
        (
            "Current: the newest demonstration was done alone and right, within "
            f"{view.valid_months} months. Caregivers whom the log does not name can't be told."
        )
    ]
    if view.more:
        notes.append(
            f"{view.more} more: linedays retraining --show not-signed-off lists those of the "
            "dressing change, or choose a site."
        )
    return figure_card(
        "Who is not signed off?",
        None,
        said,
        table=_unsigned(view) if view.rows else None,
        notes=tuple(notes),
        above=_skill_choice(view),
    )


def _skill_choice(view: SkillsView) -> Component:
    options = tuple(
        (
            skill,
            f"{need_words.SKILLS[skill]} ({'none stored' if count is None else count})",
        )
        for skill, count in view.counts
    )
    return html.Div(choose("Skill", "skill", options, view.skill, keeps=True), className="tools")


def _unsigned(view: SkillsView) -> Component:
    heads = ("Family", "Caregiver", "Site", "Times", "Last on", "Why", "Last shown on")
    rows = [
        html.Tr(
            [
                html.Th(html.A(row.family_id, href=family_address(row.family_id)), scope="row"),
                html.Td(row.caregiver_id),
                html.Td(words.listed(list(row.sites))),
                html.Td(str(row.times)),
                html.Td(words.day_year(row.last_on)),
                html.Td(row.why),
                html.Td("never" if row.signed_on is None else words.day_year(row.signed_on)),
            ]
        )
        for row in view.rows
    ]
    table = html.Table(
        [html.Thead(html.Tr([html.Th(h, scope="col") for h in heads])), html.Tbody(rows)],
        className="plain numbers",
    )
    return scrolled("Caregivers without a current sign-off", table)

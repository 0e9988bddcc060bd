"""One refused row as a form: mend it, see what is still wrong, go on to the next."""

from __future__ import annotations

from typing import Any

from dash import html
from dash.development.base_component import Component

from dashboard.incoming.views import CellField, MendedView, MendView
from dashboard.layout import frame as shell
from dashboard.layout import words
from dashboard.layout.attributes import aria
from dashboard.layout.static import choice_field, input_field, text_field
from dashboard.security import csrf
from dashboard.security.roles import PATHS, ROW, Page
from dashboard.session.views import PageContext

PATH = PATHS[Page.INCOMING]
LONG_TEXTS = frozenset({"note", "contact"})
KEPT = (
    "The row as it was sent is kept. It goes in with all checks, or nothing is changed and you "
    "are told what is still wrong."
)


def mend_page(view: MendView) -> str:
    """The row's cells as a form, the one at fault marked."""
    sheet = f", sheet {view.sheet}" if view.sheet else ""
    title = f"Mend row {view.row} of {view.file}"
    wrong = next((field.head for field in view.fields if field.wrong), None)
    told = [html.B(f"{wrong}: ")] if wrong else []
    return shell.whole(
        PATH,
        view.context,
        title,
        [
            html.H1(title),
            html.P(
                f"{words.TABLES.get(view.table, view.table)}{sheet}; number {view.number} on the "
                "list.",
                className="where",
            ),
            html.P(
                ["Still wrong, nothing is changed. " if view.tried else "", *told, view.told],
                id="told",
                className="why-now",
                role="alert" if view.tried else None,
            ),
            html.Form(
                [
                    input_field(type="hidden", name="csrf_token", value=csrf.token()),
                    html.Div([_field(f) for f in view.fields], className="cells"),
                    html.P(KEPT, className="hint"),
                    html.Div(
                        [
                            html.Button("Mend", type="submit", className="main-action"),
                            html.Button(
                                "Take off the list without using it",
                                type="submit",
                                name="take_off",
                                value="yes",
                                className="quiet-action",
                            ),
                        ],
                        className="acts",
                    ),
                ],
                action=f"{ROW}{view.number}",
                method="POST",
                className="form line",
            ),
            _back(),
        ],
    )


def _field(field: CellField) -> Component:
    label = [field.head, *([" (needed)"] if field.required else [])]
    described = [f"{field.name}-hint"] if field.hint else []
    described += ["told"] if field.wrong else []
    marks: dict[str, Any] = {"id": field.name, "name": field.name}
    if described:
        marks |= aria(describedby=" ".join(described))
    if field.wrong:
        marks |= {**aria(invalid="true"), "autofocus": True}
    return html.Div(
        [
            html.Label(label, htmlFor=field.name),
            _control(field, marks),
            *(
                [html.P(field.hint, id=f"{field.name}-hint", className="hint")]
                if field.hint
                else []
            ),
        ],
        className="field wrong" if field.wrong else "field",
    )


def _control(field: CellField, marks: dict[str, Any]) -> Any:
    if field.allowed:
        sent = [field.value] if field.value and field.value not in field.allowed else []
        options = [
            html.Option("", value="", selected=not field.value),
            *(html.Option(f"{v} (as sent)", value=v, selected=True) for v in sent),
            *(html.Option(v, value=v, selected=v == field.value) for v in field.allowed),
        ]
        return choice_field(*options, **marks)
    if field.head in LONG_TEXTS or "\n" in field.value:
        return text_field(**marks, children=field.value)
    return input_field(
        type="text",
        value=field.value,
        inputmode="numeric" if field.kind == "count" else None,
        autocomplete="off",
        spellcheck="false",
        **marks,
    )


def mended_page(view: MendedView) -> str:
    """The row is off the list; the way to the next one."""
    if not view.used:
        title, what = "Row taken off the list", "was taken off the list and is not used."
    elif view.known_before:
        title, what = "Row mended", "says what was known before and is off the list."
    else:
        title, what = "Row mended", "went in and is off the list."
    left = (
        "No row waits to be mended."
        if view.left == 0
        else f"{words.counted(view.left, 'row waits', 'rows wait')} to be mended."
    )
    ways: list[Any] = [html.A("Go to incoming logs", href=f"{PATH}#refused")]
    if view.next_number is not None:
        way = html.A("Mend the next row", href=f"{ROW}{view.next_number}")
        ways = [way, " ", *ways]
    return shell.whole(
        PATH,
        view.context,
        title,
        [
            html.H1(title),
            html.P(f"{view.place} {what} {left}", className="answer", role="status"),
            html.P(ways, className="ways screen"),
        ],
    )


def not_now_page(context: PageContext, what: str) -> str:
    """The row cannot be mended, and why."""
    return shell.whole(
        PATH,
        context,
        "Row not mended",
        [html.H1("Row not mended"), html.P(what, className="fault", role="alert"), _back()],
    )


def _back() -> Component:
    return html.P(html.A("Go to incoming logs", href=f"{PATH}#refused"), className="ways screen")

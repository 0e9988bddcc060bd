"""How is a choice offered that stands in the page's address?"""

from __future__ import annotations

from collections.abc import Sequence

from dash import html
from dash.development.base_component import Component

from dashboard.layout.attributes import chooses

Options = Sequence[tuple[str, str]]


def choice(
    label: str, name: str, options: Options, chosen: str | None, *, keeps: bool = False
) -> Component:
    """A list to choose one of; it sets `name` in the address. `keeps`: what is opened stays so."""
    items = [_option(value, text, chosen) for value, text in options]
    return _labelled(label, name, items, keeps=keeps)


def choice_of_kinds(
    label: str, name: str, kinds: Sequence[tuple[str, Options]], chosen: str | None
) -> Component:
    """The same with headings between the options."""
    return _labelled(
        label,
        name,
        [
            html.Optgroup([_option(value, text, chosen) for value, text in options], label=kind)
            for kind, options in kinds
        ],
    )


def _labelled(label: str, name: str, options: list[Component], *, keeps: bool = False) -> Component:
    place = f"choose-{name}"
    select = html.Select(options, id=place, name=name, **chooses(name, keeps=keeps))
    return html.Div([html.Label(label, htmlFor=place), select], className="select")


def _option(value: str, text: str, chosen: str | None) -> Component:
    return html.Option(text, value=value, selected=value == chosen)

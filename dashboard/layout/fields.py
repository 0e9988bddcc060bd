"""How does a field of a form stand with its label, and with a hint that is read out with it?"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from dash import html
from dash.development.base_component import Component

from dashboard.layout.attributes import aria
from dashboard.layout.static import Field


def field(label: str, hint: str, inside: Any) -> Component:
    """A field with its label and its hint."""
    field_id = inside.attributes["id"]
    described = {**inside.attributes, **aria(describedby=f"{field_id}-hint")}
    return html.Div(
        [
            html.Label(label, htmlFor=field_id),
            replace(inside, attributes=described),
            html.P(hint, className="hint", id=f"{field_id}-hint"),
        ],
        className="field",
    )


def choice_field(name: str, field_id: str, values: tuple[str, ...], chosen: str) -> Any:
    """A ``select`` of a form."""
    options = [html.Option(v, value=v, selected=v == chosen) for v in values]
    return Field("select", {"name": name, "id": field_id, "children": options})

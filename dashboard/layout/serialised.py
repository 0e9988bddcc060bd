"""How is a part of a page that many people ask for turned into JSON once and sent many times?

Building a figure and turning components into JSON takes far longer than sending it. What a page
shows of a choice is the same for everybody who may see it, so it is turned into JSON once, kept
with the answer it was made from, and put into each reply unchanged.
"""

from __future__ import annotations

from typing import Any

import orjson
from dash.development.base_component import Component
from plotly.io.json import to_json_plotly


class Serialised(Component):
    """Parts of a page as the JSON that the browser is sent for them."""

    _namespace = "dash_html_components"
    _type = "Div"
    _base_nodes: list[str] = []  # noqa: RUF012
    _children_props: list[str] = []  # noqa: RUF012
    _prop_names: list[str] = []  # noqa: RUF012
    _valid_wildcard_attributes: list[str] = []  # noqa: RUF012
    available_properties: list[str] = []  # noqa: RUF012
    available_wildcard_properties: list[str] = []  # noqa: RUF012

    def __init__(self, part: Component) -> None:
        super().__init__()  # type: ignore[no-untyped-call]
        self._sent = orjson.Fragment(to_json_plotly(part))

    def to_plotly_json(self) -> Any:
        """What is put into a reply: the JSON itself."""
        return self._sent


def serialised(part: Component) -> Component:
    """A component that is sent as this one is now, however often.

    Parameters
    ----------
    part : Component
        Later changes in it are not sent.

    Returns
    -------
    Component
        One component, without children of its own.

    Examples
    --------
    >>> from dash import html
    >>> to_json_plotly([serialised(html.P("1 < 2", id="so"))]) == to_json_plotly([html.P("1 < 2", id="so")])
    True
    """
    return Serialised(part)

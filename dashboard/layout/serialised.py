"""How is a part of a page that many people ask for turned into JSON once and sent many times?

Building a figure and turning components into JSON takes far longer than sending it. What a page
shows of a choice is the same for everybody who may see it, so it is turned into JSON once, kept
with the answer it was made from, and put into each reply unchanged.
"""

from __future__ import annotations

from typing import Any

import dash._callback
import orjson
from dash.development.base_component import Component
from plotly.io.json import to_json_plotly

OPTIONS = orjson.OPT_NON_STR_KEYS | orjson.OPT_SERIALIZE_NUMPY


def as_json(value: Any) -> bytes:
    """The JSON of an answer, as Dash's own but for the signs it escapes.

    Dash makes plain values of all components, then JSON, and then escapes each ``<``, ``>`` and ``/``
    in it, as if it were part of an HTML page: on a page of many rows that takes longer than all else,
    and an answer is not part of one.

    Raises
    ------
    TypeError
        A value is of no kind that JSON or Dash knows.
    """
    try:
        return orjson.dumps(value, default=_plain, option=OPTIONS)
    except TypeError:  # kinds that only Dash knows
        return to_json_plotly(value).encode()


def _plain(value: Any) -> Any:
    if isinstance(value, Component):
        return value.to_plotly_json()  # type: ignore[no-untyped-call]
    if hasattr(value, "to_plotly_json"):
        # Arrays and moments of a figure are Plotly's to write, in a list: alone, it writes a missing
        # moment as one of the year 1677.
        return orjson.Fragment(to_json_plotly([value])[1:-1])
    raise TypeError(f"{type(value).__name__} is no part of a page")


vars(dash._callback)["to_json"] = as_json
"""Dash has no setting for it."""


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
        self._sent = orjson.Fragment(as_json(part))

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
    >>> as_json([serialised(html.P("1 < 2", id="so"))]) == as_json([html.P("1 < 2", id="so")])
    True
    """
    return Serialised(part)

"""How is a part of a page without callbacks drawn, so that long lists stay quick?

The browser side of Dash takes time that grows with the square of the number of components, so
that a few hundred rows hold a page up for seconds. A part that nothing listens to is turned
into HTML here, every text escaped, and drawn as one component.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from html import escape
from typing import Any

from dash import html
from dash.development.base_component import Component
from markupsafe import Markup

from dashboard.layout.templates import Static

_SPELLED = {"className": "class", "htmlFor": "for"}
_WITHOUT_END = frozenset({"br", "hr", "input", "wbr"})
_NOT_FOR_HTML = frozenset({"children", "key", "n_clicks", "disable_n_clicks"})


@dataclass(frozen=True)
class Field:
    """A form field of plain HTML, which Dash's own components lack."""

    tag: str
    attributes: Mapping[str, Any]


def ready(*parts: Any) -> Markup:
    """The HTML of parts that are drawn again and again.

    Examples
    --------
    >>> to_html(html.Ul([ready(html.Li("1 < 2")), "&"]))
    '<ul><li>1 &lt; 2</li>&amp;</ul>'
    """
    return Markup(to_html(parts))  # noqa: S704 - every text in it is escaped


def input_field(**attributes: Any) -> Any:
    """An ``input`` of a form."""
    return Field("input", attributes)


def text_field(**attributes: Any) -> Any:
    """A ``textarea`` of a form; its text as `children`."""
    return Field("textarea", attributes)


def choice_field(*options: Any, **attributes: Any) -> Any:
    """A ``select`` of a form, with its options."""
    return Field("select", {**attributes, "children": options})


def static(*parts: Any) -> Component:
    """One component that draws the parts, which have to be plain HTML components."""
    return Static(html=to_html(parts))  # type: ignore[no-untyped-call]


def to_html(part: Any) -> str:
    """HTML of components and texts, every text and attribute escaped.

    Raises
    ------
    TypeError
        A part is a component that is more than HTML, such as a form field or a figure.

    Examples
    --------
    >>> to_html(html.P(["1 < 2 ", html.B("so", className="it")], tabIndex=0))
    '<p tabindex="0">1 &lt; 2 <b class="it">so</b></p>'
    """
    if part is None:
        return ""
    if isinstance(part, Markup):
        return str(part)
    if isinstance(part, list | tuple):
        return "".join(to_html(p) for p in part)
    if isinstance(part, Field):
        return _element(part.tag, part.attributes, part.attributes.get("children"))
    if not isinstance(part, Component):
        return escape(str(part))
    described = part.to_plotly_json()  # type: ignore[no-untyped-call]
    if described["namespace"] != html.Div._namespace:
        raise TypeError(f"{described['type']} is more than plain HTML")
    props = described["props"]
    return _element(str(described["type"]).lower(), props, props.get("children"))


def _element(tag: str, attributes: Mapping[str, Any], inside: Any) -> str:
    start = f"<{tag}{''.join(_attribute(n, v) for n, v in attributes.items())}>"
    return start if tag in _WITHOUT_END else f"{start}{to_html(inside)}</{tag}>"


def _attribute(name: str, value: Any) -> str:
    if name in _NOT_FOR_HTML or value is None or value is False:
        return ""
    spelled = _SPELLED.get(name, name.lower())
    return f" {spelled}" if value is True else f' {spelled}="{escape(str(value))}"'

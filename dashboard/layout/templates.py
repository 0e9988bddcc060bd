"""How does a part of a page that nothing listens to become HTML, every text in it escaped?

The browser side of Dash takes time that grows with the square of the number of components, so
that a few hundred rows hold a page up for seconds. What does not react is a Jinja template and
reaches the browser as one component; Dash components are for what reacts.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from dash.development.base_component import Component
from jinja2 import Environment, FunctionLoader, StrictUndefined, TemplateNotFound
from markupsafe import Markup, escape

from dashboard.layout import words
from dashboard.layout.row_tokens import row_token

DASHBOARD = Path(__file__).parents[1]


class Static(Component):
    """Ready markup of a template, put into the page by the browser script of the same name."""

    _namespace = "linedays_parts"
    _type = "Static"
    # Dash reads these off every component; it declares them as lists of the class.
    _base_nodes: list[str] = []  # noqa: RUF012
    _children_props: list[str] = []  # noqa: RUF012
    _prop_names: list[str] = ["html", "id"]  # noqa: RUF012
    _valid_wildcard_attributes: list[str] = []  # noqa: RUF012
    available_properties: list[str] = ["html", "id"]  # noqa: RUF012
    available_wildcard_properties: list[str] = []  # noqa: RUF012

    def __init__(self, html: str) -> None:
        # For each argument Dash would look for a package of the namespace's name, in vain.
        super().__init__()  # type: ignore[no-untyped-call]
        self.html = html


def render(name: str, **context: Any) -> Markup:
    """HTML of a template, with every text and attribute of the context escaped.

    Parameters
    ----------
    name : str
        ``feature/template``: the file ``dashboard/feature/templates/template.html``. Templates
        include and import each other by the same names.
    **context : object
        What the template names. `Markup` is used as it is; everything else is escaped. The
        functions of `layout.words` are known in every template as ``words``.

    Returns
    -------
    Markup
        It may be part of the context of another template, or of `static`.

    Raises
    ------
    jinja2.UndefinedError, jinja2.TemplateNotFound
        A fault of the program: the template names what the context lacks, or is not there.
    """
    made = _TEMPLATES.get_template(name).render(context)
    return Markup(made)  # noqa: S704 - the template has escaped every text in it


def static(name: str, **context: Any) -> Component:
    """A template as one component of a page; see `render`."""
    return shown(render(name, **context))


def macro(name: str, macro_name: str, *arguments: Any) -> Markup:
    """What a macro of a template makes of its arguments; see `render`."""
    return getattr(_TEMPLATES.get_template(name).module, macro_name)(*arguments)


def shown(*parts: Markup) -> Component:
    """Rendered parts, one after the other, as one component of a page.

    Raises
    ------
    TypeError
        A part is a text that nothing has escaped.
    """
    if not all(isinstance(part, Markup) for part in parts):
        raise TypeError("only rendered markup is shown as it is")
    return Static(str(Markup("").join(parts)))


def heading(text: str) -> Markup:
    """A heading of the second level."""
    return render("layout/heading", text=text)


def _source(name: str) -> tuple[str, str, None]:
    feature, _, template = name.partition("/")
    file = DASHBOARD / feature / "templates" / f"{template}.html"
    if not file.is_file():
        raise TemplateNotFound(name)
    return file.read_text(encoding="utf-8"), str(file), None


_CODE = re.compile(r"(\w+(?:-\w+)+)")


def unbroken(text: Any) -> Any:
    """A text whose codes are not broken over lines at their hyphens; markup as it is.

    Examples
    --------
    >>> unbroken("line L-02-1 (tunneled line), same-day")
    Markup('line <span class="unbroken">L-02-1</span> (tunneled line), same-day')
    """
    if not isinstance(text, str) or isinstance(text, Markup):
        return text
    if "-" not in text:
        return escape(text)
    parts = _CODE.split(text)  # every second part is words joined by hyphens
    span = Markup('<span class="unbroken">{}</span>')
    return Markup("").join(
        span.format(part) if at % 2 and any(c.isdigit() for c in part) else part
        for at, part in enumerate(parts)
    )


_TEMPLATES = Environment(
    loader=FunctionLoader(_source),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
    auto_reload=False,
)
_TEMPLATES.globals["words"] = words
_TEMPLATES.filters["unbroken"] = unbroken
_TEMPLATES.filters["row_token"] = row_token

"""How does a page offer a choice that is part of its address?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from dash import html
from dash.development.base_component import Component
from markupsafe import Markup

from dashboard.layout.templates import macro, static
from dashboard.layout.words import listed

Options = Sequence[tuple[str, str]]


def choice(
    label: str, name: str, options: Options, chosen: str | None, *, keeps: bool = False
) -> Markup:
    """A list to choose one of; it sets `name` in the address. `keeps`: what is open stays open."""
    return macro("layout/choosing", "choice", label, name, options, chosen, keeps)


def choice_of_kinds(
    label: str, name: str, kinds: Sequence[tuple[str, Options]], chosen: str | None
) -> Markup:
    """The same with headings between the options."""
    return macro("layout/choosing", "choice_of_kinds", label, name, kinds, chosen)


def not_there(labels: Mapping[str, str], asked: object, understood: object) -> str:
    """What an address asks for that there is not, in a sentence; blank: everything is there.

    Parameters
    ----------
    labels : mapping of str to str
        Parts of the choice that may be asked for, with their names in words.
    asked, understood : object
        The choice as the address has it, and with what is not known replaced.
    """
    wrong = [
        f"{label} \u201c{value}\u201d"
        for part, label in labels.items()
        if (value := getattr(asked, part)) not in (None, getattr(understood, part))
    ]
    return (
        f"There is no {listed(wrong)}, so the usual is shown. Choose from the list."
        if wrong
        else ""
    )


def led_by(sentence: str, part: Component) -> Component:
    """A part of a page below a sentence on what was asked for; the part alone without one."""
    return html.Div([static("layout/not_there", sentence=sentence), part]) if sentence else part

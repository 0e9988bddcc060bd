"""How does a page offer a choice that is part of its address?"""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from dashboard.layout.templates import macro

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

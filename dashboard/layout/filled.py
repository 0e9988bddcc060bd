"""How is a part that is the same for many filled with what belongs to one request?

A form holds a code of its own, or the token of its reader. All the rest of the part is rendered once,
with `PLACE` in their stead.
"""

from __future__ import annotations

import secrets

from markupsafe import Markup

PLACE = secrets.token_urlsafe(24)
"""No text that comes in from outside can hold it: it is new with every start and never sent."""


def filled(part: Markup, with_text: str) -> Markup:
    """A rendered part with a text at every `PLACE`, escaped.

    Examples
    --------
    >>> filled(Markup(f'<input value="{PLACE}">'), 'a"b')
    Markup('<input value="a&#34;b">')
    """
    return part.replace(PLACE, with_text)

"""Is whatever a file holds shown as text, and never run, in what templates make?"""

from __future__ import annotations

from html.parser import HTMLParser
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jinja2 import TemplateNotFound, UndefinedError
from markupsafe import Markup

import dashboard
from dashboard.layout.templates import _TEMPLATES, render, shown, static

HARM = '<img src=x onerror="alert(1)">'
TEMPLATES = sorted(Path(dashboard.__file__).parent.glob("*/templates/*.html"))


class Reader(HTMLParser):
    """What a browser makes of a piece of HTML."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.texts: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += attrs

    def handle_data(self, data):
        self.texts.append(data)


def numbers(*cells: object) -> str:
    made = _TEMPLATES.from_string(
        '{% from "layout/tables" import numbers, scrolled, folded %}'
        "{% call scrolled(label) %}{{ numbers(heads, rows) }}{% endcall %}"
        "{% call folded(label) %}{{ numbers(heads, rows) }}{% endcall %}"
    )
    return made.render(label=HARM, heads=[HARM], rows=[cells])


def test_texts_and_attributes_are_escaped():
    made = numbers(HARM, HARM * 3)
    assert "<img" not in made
    assert made.count("&lt;img") == 12
    assert dict(Reader(made).attributes)["aria-label"] == HARM


def test_long_cells_may_break_and_short_ones_may_not():
    assert 'class="words"' in numbers("a" * 25)
    assert 'class="words"' not in numbers("a" * 24)


@given(st.text())
def test_any_text_comes_back_from_the_page_as_it_was(text):
    made = _TEMPLATES.from_string('<p title="{{ text }}">{{ text }}</p>').render(text=text)
    found = Reader(made)
    assert found.tags == ["p"]
    assert "".join(found.texts) == text
    assert found.attributes == [("title", text)]


def test_a_text_that_nothing_has_escaped_is_not_shown_as_markup():
    with pytest.raises(TypeError, match="rendered markup"):
        shown("<b>so</b>")  # type: ignore[arg-type]
    assert shown(Markup("<b>"), Markup("so</b>")).html == "<b>so</b>"


def test_what_a_template_lacks_is_a_fault_and_not_a_blank():
    with pytest.raises(UndefinedError):
        _TEMPLATES.from_string("{{ nothing }}").render()
    with pytest.raises(TemplateNotFound):
        static("layout/nothing")
    with pytest.raises(TemplateNotFound):
        render("../layout/tables")


@pytest.mark.parametrize("file", TEMPLATES, ids=lambda f: f"{f.parts[-3]}/{f.stem}")
def test_no_template_switches_escaping_off(file):
    text = file.read_text(encoding="utf-8")
    assert "|safe" not in text.replace(" ", "")
    assert "autoescape" not in text
    _TEMPLATES.get_template(f"{file.parts[-3]}/{file.stem}")

"""Is whatever a file holds shown as text, and never run?"""

from __future__ import annotations

from importlib import resources

import pytest
from dash import dcc, html
from hypothesis import given
from hypothesis import strategies as st

from analysis.words import CAUTIONS
from dashboard.evidence.source_rows import source_row
from dashboard.evidence.views import Source
from dashboard.layout.attributes import aria
from dashboard.layout.static import input_field, static, text_field, to_html

HARM = '<img src=x onerror="alert(1)">'


def test_texts_are_escaped_wherever_they_stand():
    parts = [HARM, html.P(HARM), html.P([HARM, html.B(HARM)])]
    assert "<img" not in to_html(parts)
    assert to_html(HARM) == "&lt;img src=x onerror=&quot;alert(1)&quot;&gt;"


def test_attributes_are_escaped():
    shown = to_html(html.A("x", href='/?family="><script>', **aria(label=HARM)))
    assert "<script" not in shown
    assert shown.count('"') == 4
    assert to_html(input_field(value='" autofocus onfocus="alert(1)')).count('"') == 2


@given(st.text())
def test_any_text_comes_back_from_the_page_as_it_was(text):
    from html.parser import HTMLParser

    class Reader(HTMLParser):
        def __init__(self) -> None:
            super().__init__()
            self.tags: list[str] = []
            self.texts: list[str] = []
            self.titles: list[str | None] = []

        def handle_starttag(self, tag, attrs):
            self.tags.append(tag)
            self.titles += [value for name, value in attrs if name == "title"]

        def handle_data(self, data):
            self.texts.append(data)

    reader = Reader()
    reader.feed(to_html(html.P(text, title=text)))
    reader.close()
    assert reader.tags == ["p"]
    assert "".join(reader.texts) == text
    assert reader.titles == [text]


def test_a_source_row_shows_every_cell_as_text():
    source = Source(
        table="home_log",
        row=1,
        file=f"{HARM}.csv",
        sheet=HARM,
        row_number=2,
        received_at=None,
        cells=(("note", HARM), (HARM, "x")),
        doubts=(HARM,),
    )
    shown = to_html(source_row(source))
    assert "<img" not in shown
    assert shown.count("&lt;img") == 5


def test_absent_and_false_attributes_are_left_out_and_true_ones_stand_alone():
    shown = to_html(html.Details([html.Summary("s")], open=False, title=None))
    assert shown == "<details><summary>s</summary></details>"
    assert to_html(html.Details("x", open=True)) == "<details open>x</details>"
    option = to_html(html.Option("a", value="", selected=True))
    assert set(option.removesuffix(">a</option>").split()) == {"<option", 'value=""', "selected"}


def test_names_are_spelled_as_html_has_them():
    assert to_html(html.Label("a", htmlFor="b")) == '<label for="b">a</label>'
    assert to_html(html.Label("a", className="c")) == '<label class="c">a</label>'
    assert to_html(html.Td("a", colSpan=2)) == '<td colspan="2">a</td>'
    assert to_html(text_field(maxLength=5)) == '<textarea maxlength="5"></textarea>'


def test_a_part_that_listens_is_refused():
    with pytest.raises(TypeError, match="Graph is more than plain HTML"):
        static(html.Div(dcc.Graph()))


def test_every_printed_sheet_carries_the_cautions_as_they_are_worded():
    style = (resources.files("dashboard") / "assets" / "linedays.css").read_text()
    assert f'content: "{" ".join(CAUTIONS)}";' in style

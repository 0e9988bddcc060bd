"""A notebook exported to HTML shows its figures, without a network."""

import pytest
from nbconvert import HTMLExporter


@pytest.fixture(name="exported")
def _exported(ran, tmp_path):
    """An HTML file of a notebook that ran, and how many figures it drew."""
    notebook = ran("rates_and_charts")
    outputs = [o for cell in notebook.cells for o in cell.get("outputs", [])]
    exporter = HTMLExporter(mathjax_url="", require_js_url="", jquery_url="")
    page, _ = exporter.from_notebook_node(notebook)
    file = tmp_path / "notebook.html"
    file.write_text(page, encoding="utf-8")
    return file, sum("plotly-graph-div" in o.get("data", {}).get("text/html", "") for o in outputs)


def test_every_figure_is_shown_and_nothing_is_asked_of_a_network(exported, browser):
    file, figures = exported
    asked = []
    context = browser.new_context(offline=True)
    page = context.new_page()
    page.on("request", lambda request: asked.append(request.url))
    page.goto(file.as_uri())
    page.wait_for_function(
        "n => document.querySelectorAll('.js-plotly-plot .main-svg').length >= n", arg=figures
    )
    context.close()
    assert figures >= 2
    assert [url for url in asked if not url.startswith(("file:", "data:", "blob:"))] == []

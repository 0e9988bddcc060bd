"""Do browsers get the scripts that the pages are made for, and no others that take long?"""

from __future__ import annotations

import ast
import re
from importlib import resources
from pathlib import Path

from dash._dash_renderer import _js_dist_dependencies
from plotly.offline import get_plotlyjs_version

from dashboard.layout.plotly_bundle import ASKED_FOR, BUNDLE, ONE_BY_ONE
from tests.signed_in import app, browser_of, clock, programme_file, store_url

__all__ = ["app", "clock", "programme_file", "store_url"]

DRAWN = {"Figure", "Scatter", "Bar", "Pie"}
"""What the basic bundle draws; plotly.js, dist/README.md, section "plotly.js basic"; from memory."""


def test_the_bundle_is_of_the_version_that_plotly_has():
    head = (resources.files("dashboard.layout") / BUNDLE).read_text(encoding="utf-8")[:200]
    assert f"plotly.js (basic - minified) v{get_plotlyjs_version()}" in head
    assert "MIT license" in head


def test_no_figure_needs_more_than_the_bundle_draws():
    used = {
        node.attr
        for path in Path(str(resources.files("dashboard"))).rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Attribute)
        and isinstance(node.value, ast.Name)
        and node.value.id == "go"
    }
    assert "Scatter" in used
    assert used <= DRAWN


def test_a_browser_gets_the_bundle_once_and_then_keeps_it(app):
    browser = browser_of(app, "manager")
    first = browser.get(ASKED_FOR)
    assert first.status_code == 200
    for script in (BUNDLE, ONE_BY_ONE):
        assert (resources.files("dashboard.layout") / script).read_bytes() in first.data
    again = browser.get(ASKED_FOR, **{"If-None-Match": first.headers["ETag"]})
    assert again.status_code == 304


def test_a_page_asks_for_nothing_that_its_scripts_do_not_need(app):
    scripts = re.findall(r'<script src="([^"]+)"', browser_of(app, "manager").get("/").text)
    assert any("dash_renderer" in script for script in scripts)
    assert not any("polyfill" in script or "dash_table" in script for script in scripts)
    assert any(script.startswith("/assets/regenerator-runtime.min.js") for script in scripts)
    assert "polyfill@" in str(_js_dist_dependencies)  # else nothing is left out any more

"""Which part of plotly.js do browsers load to draw the figures?

Dash asks for the whole library. The figures have lines, dots and areas only, which its basic
bundle draws: a quarter of the size, so that pages with figures open sooner.
"""

from __future__ import annotations

from importlib import resources
from typing import TYPE_CHECKING

from flask import Response, request

if TYPE_CHECKING:
    from dash import Dash

BUNDLE = "plotly-basic.min.js"
ASKED_FOR = "/_dash-component-suites/plotly/package_data/plotly.min.js"

ONE_BY_ONE = "one_by_one.js"


def answer_with_basic_bundle(app: Dash) -> None:
    """Answer the address of the whole library with the basic bundle.

    The file is that of the package ``plotly.js-basic-dist-min`` in the version of plotly.js that
    the installed plotly holds; a test compares both. A script after it draws the figures of a page
    one after the other.
    """
    folder = resources.files("dashboard.layout")
    script = b"\n".join((folder / name).read_bytes() for name in (BUNDLE, ONE_BY_ONE))

    def bundle() -> Response:
        response = Response(script, mimetype="text/javascript")
        response.cache_control.no_cache = True  # kept, and asked each time whether it is the same
        response.add_etag()
        response.make_conditional(request)  # changes and returns the same response
        return response

    app.server.add_url_rule(ASKED_FOR, "plotly_basic_bundle", bundle)

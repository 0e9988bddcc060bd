"""How do pages, callbacks and safeguards become one web application?"""

from __future__ import annotations

from html import escape
from importlib import resources
from typing import Any

from dash import ClientsideFunction, Dash, Input, Output, State
from flask import request

from dashboard import ids, security, shell
from dashboard.address import read_family
from dashboard.config import DashboardConfig
from dashboard.pages import calls, definitions, dwell, family, rates
from dashboard.queries import Queries

TITLES = {page.PATH: page.TITLE for page in (rates, dwell, definitions)}


class _LinedaysDash(Dash):
    """Dash with the page's own title in the first bytes, before any script has run."""

    queries: Queries

    def interpolate_index(
        self,
        metas: str = "",
        title: str = "",  # noqa: ARG002 - one title for all pages
        css: str = "",
        config: str = "",
        scripts: str = "",
        app_entry: str = "",
        favicon: str = "",
        renderer: str = "",
    ) -> Any:
        """Put the parts into the page's first bytes."""
        own = escape(_title(self.queries, request.path))
        return super().interpolate_index(  # type: ignore[no-untyped-call]
            metas, own, css, config, scripts, app_entry, favicon, renderer
        )


def create_app(config: DashboardConfig) -> Dash:
    """Build the dashboard over one store.

    Parameters
    ----------
    config : DashboardConfig
        Store, policy and day.

    Returns
    -------
    Dash
        The application; its `server` is the WSGI application.

    Raises
    ------
    StoreError, PolicyError
        The store or the policy cannot be read; the text is a sentence for a user.
    """
    queries = Queries.open(config)
    app = _LinedaysDash(
        "linedays",
        assets_folder=str(resources.files("dashboard") / "assets"),
        index_string=shell.INDEX,
        suppress_callback_exceptions=True,
        update_title="",
        serve_locally=True,
        enable_mcp=False,
        compress=False,
    )
    app.queries = queries
    app.enable_dev_tools(debug=False)
    app.layout = shell.frame
    _register(app, queries)
    security.close_gate(app)
    security.protect_writes(app)
    security.add_headers(app)
    security.tell_faults(app)
    return app


def _register(app: Dash, queries: Queries) -> None:
    @app.callback(
        Output(ids.PAGE, "children"),
        Input(ids.URL, "pathname"),
        State(ids.URL, "search"),
    )
    def show_page(pathname: str | None, search: str | None) -> list[Any]:
        path = pathname or "/"
        if path == calls.PATH:
            return calls.layout(queries, search)
        if path == rates.PATH:
            return rates.layout(queries, search)
        if path == dwell.PATH:
            return dwell.layout(queries, search)
        if path == definitions.PATH:
            return definitions.layout(queries)
        if read_family(path) is not None:
            return family.layout(queries, path, search)
        return shell.not_found("There is no page at this address.")

    calls.register(app, queries)
    family.register(app, queries)
    rates.register(app, queries)
    dwell.register(app, queries)
    app.clientside_callback(  # type: ignore[no-untyped-call]
        ClientsideFunction("linedays", "focusPanel"),
        Output(ids.FOCUSED, "data"),
        Input(ids.PANEL, "children"),
        prevent_initial_call=True,
    )


def _title(queries: Queries, path: str) -> str:
    family_id = read_family(path)
    if path == calls.PATH:
        name = calls.title(queries)
    elif path in TITLES:
        name = TITLES[path]
    elif family_id is not None and queries.knows(family_id):
        name = family.title(family_id)
    else:
        name = "Nothing here"
    return f"{name} · linedays"

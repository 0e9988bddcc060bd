"""How do pages, callbacks and safeguards become one web application?"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from html import escape
from importlib import resources
from typing import Any

from dash import ClientsideFunction, Dash, Input, Output, State
from flask import request

from dashboard.access_log import layout as record
from dashboard.addresses.family import read_family
from dashboard.calls import layout as calls
from dashboard.config import DashboardConfig
from dashboard.definitions import layout as definitions
from dashboard.dwell import layout as dwell
from dashboard.family import layout as family
from dashboard.incoming import layout as incoming
from dashboard.incoming.routes import admit_files, answer_incoming
from dashboard.layout import frame as shell
from dashboard.layout import ids
from dashboard.rates import layout as rates
from dashboard.retraining import layout as retraining
from dashboard.security.csrf import protect_writes
from dashboard.security.faults import tell_faults
from dashboard.security.gate import check_shape, close_gate
from dashboard.security.guard import Guard
from dashboard.security.headers import add_headers
from dashboard.security.roles import Page, page_of
from dashboard.security.sign_in import let_in, signed_in
from dashboard.session.door import Queries
from dashboard.session.entrance import Entrance
from dashboard.week import layout as week
from dashboard.week.routes import answer_week

TITLES = {
    page.PATH: page.TITLE
    for page in (retraining, rates, dwell, week, incoming, definitions, record)
}
LAYOUTS: Mapping[str, Callable[[Queries, str | None], list[Any]]] = {
    calls.PATH: calls.layout,
    retraining.PATH: retraining.layout,
    rates.PATH: rates.layout,
    dwell.PATH: dwell.layout,
    week.PATH: week.layout,
    incoming.PATH: incoming.layout,
    definitions.PATH: lambda queries, _: definitions.layout(queries),
    record.PATH: lambda queries, _: record.layout(queries),
}
"""What is drawn at each path; the pages of families lie below one of their own."""


class LinedaysDash(Dash):
    """Dash with the page's own title in the first bytes, before any script has run."""

    entrance: Entrance

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
        own = escape(_title(self.entrance.queries_of(signed_in()), request.path))
        return super().interpolate_index(  # type: ignore[no-untyped-call]
            metas, own, css, config, scripts, app_entry, favicon, renderer
        )


def create_app(config: DashboardConfig) -> LinedaysDash:
    """Build the dashboard over one store.

    Parameters
    ----------
    config : DashboardConfig
        Store, policy and day.

    Returns
    -------
    LinedaysDash
        The application; its `server` is the WSGI application.

    Raises
    ------
    StoreError, PolicyError
        The store or the policy cannot be read; the text is a sentence for a user.
    """
    entrance = Entrance.open(config, all_day=True)
    app = LinedaysDash(
        "linedays",
        assets_folder=str(resources.files("dashboard") / "assets"),
        index_string=shell.index(signs_in=not config.demo),
        suppress_callback_exceptions=True,
        update_title="",
        serve_locally=True,
        enable_mcp=False,
        compress=False,
    )
    app.entrance = entrance
    app.enable_dev_tools(debug=False)
    app.layout = shell.frame
    _register(app, Guard(app, entrance))
    # The order counts: own address, then who asks (and may send files), then whether the page is
    # ours, then its shape.
    close_gate(app)
    let_in(app, entrance)
    admit_files(app, entrance)
    protect_writes(app)
    check_shape(app)
    add_headers(app)
    answer_incoming(app, entrance)
    answer_week(app, entrance)
    tell_faults(app, entrance)
    # Dash would do this with the first request, of each process, and answer those that come
    # meanwhile as if there were no such files.
    app._setup_server()  # type: ignore[no-untyped-call]
    return app


def _register(app: Dash, guard: Guard) -> None:
    @guard.callback(
        None,  # it looks itself at which page is asked for
        Output(ids.PAGE, "children"),
        Input(ids.URL, "pathname"),
        State(ids.URL, "search"),
    )
    def show_page(queries: Queries, pathname: str | None, search: str | None) -> list[Any]:
        path = pathname or "/"
        page = page_of(path)
        if page is not None:
            signed_in().must_open(page)
        if path in LAYOUTS:
            return LAYOUTS[path](queries, search)
        if page is Page.FAMILY:
            return family.layout(queries, path, search)
        return shell.not_found(queries.standing(), "There is no page at this address.")

    calls.register(guard)
    family.register(guard)
    retraining.register(guard)
    rates.register(guard)
    dwell.register(guard)
    week.register(guard)
    app.clientside_callback(  # type: ignore[no-untyped-call]
        ClientsideFunction("linedays", "focusPanel"),
        Output(ids.FOCUSED, "data"),
        Input(ids.PANEL, "children"),
        prevent_initial_call=True,
    )
    app.clientside_callback(  # type: ignore[no-untyped-call]
        ClientsideFunction("linedays", "focusPanel"),
        Output(ids.FOCUSED, "data", allow_duplicate=True),
        Input(ids.NEED_PANEL, "children"),
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

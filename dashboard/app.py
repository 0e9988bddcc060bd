"""How do pages, callbacks and safeguards become one web application?"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from html import escape
from importlib import resources
from typing import Any

from dash import ClientsideFunction, Dash, Input, Output, State
from flask import request

from dashboard.access_log import layout as record
from dashboard.account.routes import answer_account
from dashboard.addresses.family import read_family
from dashboard.call_sheet.routes import answer_call_sheet
from dashboard.calls import callbacks as calls_callbacks
from dashboard.calls import layout as calls
from dashboard.calls.contact_routes import answer_contacts
from dashboard.config import DashboardConfig
from dashboard.definitions import layout as definitions
from dashboard.dwell import callbacks as dwell_callbacks
from dashboard.dwell import layout as dwell
from dashboard.families import callbacks as families_callbacks
from dashboard.families import layout as families
from dashboard.families.routes import answer_families
from dashboard.family import callbacks as family_callbacks
from dashboard.family import layout as family
from dashboard.family_lists.routes import lead_to_own_choice
from dashboard.incoming import layout as incoming
from dashboard.incoming.routes import admit_files, answer_incoming
from dashboard.layout import frame as shell
from dashboard.layout import ids
from dashboard.layout.plotly_bundle import answer_with_basic_bundle
from dashboard.measured import Measured
from dashboard.rates import callbacks as rates_callbacks
from dashboard.rates import layout as rates
from dashboard.retraining import callbacks as retraining_callbacks
from dashboard.retraining import layout as retraining
from dashboard.retraining.queries import warm_up as warm_up_retraining
from dashboard.retraining.session_routes import answer_sessions
from dashboard.security.cookies import CookieNames
from dashboard.security.csrf import protect_writes
from dashboard.security.faults import report_faults
from dashboard.security.gate import check_shape, close_gate
from dashboard.security.guard import Guard
from dashboard.security.headers import add_headers
from dashboard.security.health import answer_health
from dashboard.security.provider_sign_in import let_in_by_provider
from dashboard.security.proxies import behind_proxies
from dashboard.security.roles import DEMO_READER, Page, page_of
from dashboard.security.sign_in import let_in, session_of_request
from dashboard.session.service import Service
from dashboard.session.session import Session
from dashboard.week import callbacks as week_callbacks
from dashboard.week import layout as week
from dashboard.week.routes import answer_week

TITLES = {
    page.PATH: page.TITLE
    for page in (families, retraining, rates, dwell, week, incoming, definitions, record)
}
LAYOUTS: Mapping[str, Callable[[Session, str | None], list[Any]]] = {
    calls.PATH: calls.layout,
    families.PATH: families.layout,
    retraining.PATH: retraining.layout,
    rates.PATH: rates.layout,
    dwell.PATH: dwell.layout,
    week.PATH: week.layout,
    incoming.PATH: incoming.layout,
    definitions.PATH: lambda session, _: definitions.layout(session),
    record.PATH: record.layout,
}
"""The layout of each path; the pages of families are below a path of their own."""
UNUSED_SCRIPT = re.compile(r'<script src="[^"]*/(?:deps/polyfill@|dash_table/)[^"]*"></script>\n?')
"""What older browsers lack, which takes a third of a page's time, and tables that no page has.

The part of it that Dash's own scripts ask for is ``assets/regenerator-runtime.min.js``.
"""


class LinedaysDash(Dash):
    """Dash with the page's own title in the first bytes, before any script has run."""

    service: Service

    def warm_up(self) -> bool:
        """Compute now what the pages would compute when they are first opened, and close the store.

        A process may be forked after it: what was computed is shared, no connection is. Returns
        whether anything has changed since the last time.
        """
        before = self.service.version
        try:
            loaded = self.service.loaded(None)
            if self.service.version == before:
                return False
            loaded.warm_up()
            warm_up_retraining(loaded)
            everything = self.service.session_of(DEMO_READER)
            with self.server.test_request_context():
                for path in (rates.PATH, dwell.PATH):
                    LAYOUTS[path](everything, None)
            return True
        finally:
            self.service.close()

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
        own = escape(_title(session_of_request(self.service), request.path))
        used = UNUSED_SCRIPT.sub("", scripts)
        return super().interpolate_index(  # type: ignore[no-untyped-call]
            metas, own, css, config, used, app_entry, favicon, renderer
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
    service = Service.open(config, all_day=True)
    names = CookieNames.of(config)
    app = LinedaysDash(
        "linedays",
        assets_folder=str(resources.files("dashboard") / "assets"),
        index_string=shell.index(signs_in=not config.demo),
        suppress_callback_exceptions=True,
        update_title="",
        serve_locally=True,
        enable_mcp=False,
        compress=False,
        csrf_token_name=names.csrf,
    )
    app.service = service
    app.enable_dev_tools(debug=False)
    app.layout = shell.frame
    _register(app, Guard(app, service))
    # The order counts: own address, then who asks (and may send files), then whether the page is
    # ours, then its shape.
    measured = Measured()
    measured.count(app)
    close_gate(app, config.web)
    let_in(app, service, names)
    let_in_by_provider(app, service, names)
    admit_files(app, service)
    protect_writes(app, names)
    check_shape(app)
    add_headers(app, config.web)
    answer_with_basic_bundle(app)
    lead_to_own_choice(app, service)
    answer_health(app, service, measured)
    answer_account(app, service, names)
    answer_call_sheet(app, service)
    answer_contacts(app, service)
    answer_families(app, service)
    answer_incoming(app, service)
    answer_sessions(app, service)
    answer_week(app, service)
    report_faults(app, service)
    app.server.wsgi_app = behind_proxies(app.server.wsgi_app, config.web)
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
    def show_page(session: Session, pathname: str | None, search: str | None) -> list[Any]:
        path = pathname or "/"
        page = page_of(path)
        if page is not None:
            session.reader.must_open(page)
        if path in LAYOUTS:
            return LAYOUTS[path](session, search)
        if page is Page.FAMILY:
            return family.layout(session, path, search)
        return shell.not_found(session.context(), "There is no page at this address.")

    calls_callbacks.register(guard)
    families_callbacks.register(guard)
    family_callbacks.register(guard)
    retraining_callbacks.register(guard)
    rates_callbacks.register(guard)
    dwell_callbacks.register(guard)
    week_callbacks.register(guard)
    app.clientside_callback(  # type: ignore[no-untyped-call]
        ClientsideFunction("linedays", "focusPanel"),
        Output(ids.FOCUSED, "data"),
        Input(ids.PANEL, "children"),
        prevent_initial_call=True,
    )
    for made_again in (ids.NEED_PANEL, ids.FAMILY_ACTS):
        app.clientside_callback(  # type: ignore[no-untyped-call]
            ClientsideFunction("linedays", "focusPanel"),
            Output(ids.FOCUSED, "data", allow_duplicate=True),
            Input(made_again, "children"),
            prevent_initial_call=True,
        )


def _title(session: Session, path: str) -> str:
    family_id = read_family(path)
    if path == calls.PATH:
        name = calls.title(session)
    elif path in TITLES:
        name = TITLES[path]
    elif family_id is not None and session.knows_family(family_id):
        name = family.title(family_id)
    else:
        name = "Page not found"
    return f"{name} · linedays"

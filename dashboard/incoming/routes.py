"""What is answered below the page of incoming data: files imported, rows corrected, downloads.

Plain forms and plain answers, so that nothing here needs a script.
"""

from __future__ import annotations

from dataclasses import replace

from dash import Dash
from flask import Response, make_response, redirect, request

from analysis.unfinished import temporary_folder
from dashboard.incoming.describe_page import describe_page
from dashboard.incoming.files_page import done_page, form_page
from dashboard.incoming.preview_page import preview_page
from dashboard.incoming.queries import IncomingQueries
from dashboard.incoming.row_routes import answer_causes, answer_rows, page_response
from dashboard.incoming.source_routes import answer_sources
from dashboard.incoming.views import TakenIn
from dashboard.incoming.words import megabytes
from dashboard.security import plain
from dashboard.security.roles import BELOW_INCOMING, FILES, PATHS, REFUSED, STARTER, Page, Right
from dashboard.security.sign_in import session_of_request, signed_in
from dashboard.session.forms import FormError
from dashboard.session.service import Service

STARTER_NAME = "linedays-starter.zip"
LONGEST_NAME = 200
"""Characters of a file's name that are kept."""
MULTIPART_BYTES = 100_000
"""Bytes that a form may add to its files."""
TOO_LARGE = (
    "The files are larger than {most} together. Nothing was imported: split them, or import them "
    "at the command line (linedays ingest)."
)


def admit_files(app: Dash, service: Service) -> None:
    """Accept larger bodies where files are imported, and only from people who may import.

    Has to be registered after the question who asks, and before the check of tokens, which reads
    the body.
    """

    def admit() -> Response | None:
        if request.path != FILES or request.method != "POST":
            return None
        signed_in().must(Right.BRING_FILES)
        most = service.config.most_upload_bytes
        request.max_content_length = most + MULTIPART_BYTES
        if (request.content_length or 0) > most + MULTIPART_BYTES:
            _read_to_the_end()
            return _form(service, TOO_LARGE.format(most=megabytes(most)), 413)
        return None

    app.server.before_request(admit)


def answer_incoming(app: Dash, service: Service) -> None:
    """Register the routes."""

    def files() -> Response:
        signed_in().must(Right.BRING_FILES)
        return _form(service, None, 200) if request.method == "GET" else _take_in(service)

    def refused(table: str) -> Response:
        content = IncomingQueries(session_of_request(service)).refused_file(table)
        if content is None:
            return nothing("")
        about = {"Content-Disposition": f'attachment; filename="{table}.csv"'}
        return Response(content, mimetype="text/csv", headers=about)

    def nothing(rest: str) -> Response:  # noqa: ARG001 - any path
        return plain.nothing_here("There is no page at this address.")

    rules = app.server.add_url_rule
    rules(FILES, "incoming_files", files, methods=["GET", "POST"])
    rules(f"{REFUSED}<table>.csv", "refused_file", refused)
    answer_rows(app, service)
    answer_causes(app, service)
    rules(STARTER, "starter_kit", lambda: _starter(service))
    answer_sources(app, service)
    rules(f"{BELOW_INCOMING}<path:rest>", "nothing_incoming", nothing)


def _starter(service: Service) -> Response:
    signed_in().must(Right.BRING_FILES)
    content = IncomingQueries(session_of_request(service)).starter_kit()
    about = {"Content-Disposition": f'attachment; filename="{STARTER_NAME}"'}
    return Response(content, mimetype="application/zip", headers=about)


def _read_to_the_end() -> None:
    """Read a body that is not accepted, or the browser is cut off before it reads the answer."""
    body = request.environ["wsgi.input"]
    while body.read(1 << 20):
        pass


def _form(service: Service, fault: str | None, status: int) -> Response:
    queries = IncomingQueries(session_of_request(service))
    return page_response(form_page(queries.session.context(), queries.bringing(), fault), status)


def _take_in(service: Service) -> Response:
    """Store the files under names of our own, import or preview them, and delete them.

    Files of a preview are held until it is answered.
    """
    queries = IncomingQueries(session_of_request(service))
    number, asked = request.form.get("held"), request.form.get("do")
    try:
        if number and asked == "leave":
            queries.leave_held(number)
            return make_response(redirect(PATHS[Page.INCOMING], 303))
        if number:
            return _done(queries.take_in_held(number))
    except FormError as fault:
        return _form(service, str(fault), 409)
    sent = [file for file in request.files.getlist("file") if file.filename]
    with temporary_folder() as folder:
        files = []
        for n, file in enumerate(sent):
            path = folder / f"file-{n}"
            file.save(path)
            files.append((path, known_as(file.filename or "")))
        try:
            if asked == "describe":
                return page_response(describe_page(queries.described(queries.hold(files), {})), 200)
            if asked == "preview":
                return page_response(
                    preview_page(queries.preview(files, request.form.get("source"))), 200
                )
            done = queries.take_in(files, request.form.get("source"))
            if done.to_describe:
                done = replace(done, number=queries.hold(files))
        except FormError as fault:
            return _form(service, str(fault), 409)
    return _done(done)


def _done(done: TakenIn) -> Response:
    return page_response(done_page(done), 200 if done.counts else 422)


def known_as(sent: str) -> str:
    r"""The name by which a file that was sent is known; it names no place on this machine.

    Examples
    --------
    >>> known_as("C:\\logs\\home_log.csv"), known_as("../../etc/passwd"), known_as("a\x00\n/")
    ('home_log.csv', 'passwd', 'unnamed')
    """
    last = sent.replace("\\", "/").rpartition("/")[2]
    shown = "".join(c for c in last if c.isprintable()).strip()
    return shown[-LONGEST_NAME:] if shown.strip(".") else "unnamed"

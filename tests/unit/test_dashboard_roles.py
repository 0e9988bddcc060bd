"""What each person gets of each page, callback and family; the rest never leaves the server."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from analysis.vocabulary import Role
from dashboard.access_log.queries import AccessLogQueries
from dashboard.access_log.views import AccessesView
from dashboard.addresses.access_log import AccessLogChoice
from dashboard.call_actions.queries import CallActions
from dashboard.evidence.queries import sources_of
from dashboard.layout.row_tokens import row_token
from dashboard.security.roles import ALLOWED, PATHS, Page, Reader, Right, page_of
from tests.signed_in import (
    CONTACT,
    LANGUAGE,
    OTHER_CONTACT,
    PEOPLE,
    app,
    app_looked_at,
    browser_of,
    callback_request,
    clock,
    is_named,
    page_request,
    programme_file,
    record_of,
    store_url,
)

__all__ = ["app", "app_looked_at", "clock", "programme_file", "store_url"]

# Whom each page answers: y yes, - not for the role, 0 no such family for this person.
WHO_SEES = """
person                | calls | record | definitions | F1 | F3 | none | contact | language | rates | dwell | retraining | incoming | week | families | account
manager               | y     | y      | y           | y  | y  | 0    | y       | y        | y     | y     | y          | y | y | y | y
manager.north         | y     | y      | y           | y  | 0  | 0    | y       | y        | y     | y     | y          | y | y | y | y
manager.south         | y     | y      | y           | 0  | y  | 0    | -       | -        | y     | y     | y          | y | y | y | y
N1                    | y     | -      | y           | y  | y  | 0    | y       | y        | -     | -     | -          | - | - | y | y
prevention            | -     | -      | y           | -  | -  | -    | -       | -        | y     | y     | -          | y | y | - | y
prevention.granted    | -     | -      | y           | y  | y  | 0    | -       | -        | y     | y     | -          | y | y | - | y
educator              | -     | -      | y           | y  | y  | 0    | -       | y        | -     | -     | y          | - | y | y | y
educator.north        | -     | -      | y           | y  | 0  | 0    | -       | y        | -     | -     | y          | - | y | y | y
educator.granted      | -     | -      | y           | y  | y  | 0    | y       | y        | -     | -     | y          | - | y | y | y
reader                | -     | -      | y           | -  | -  | -    | -       | -        | y     | -     | -          | - | - | - | y
reader.granted        | -     | -      | y           | y  | y  | 0    | -       | -        | y     | -     | -          | - | - | - | y
reader.granted.south  | -     | -      | y           | 0  | y  | 0    | -       | -        | y     | -     | -          | - | - | - | y
"""


def tells(text: str, word: str) -> bool:
    """Whether a reply holds a word that is no piece of a longer run, such as a token."""
    return re.search(rf"(?<![\w+=-]){re.escape(word)}(?![\w+=-])", text) is not None


def without_token(text: str) -> str:
    """A page without its form's token, which holds the second in which it was made."""
    return re.sub(r"[\w-]{20,}\.[\w-]{6}\.[\w-]{20,}", "", text)


def _table(text: str) -> dict[str, dict[str, str]]:
    head, *lines = [[c.strip() for c in line.split("|")] for line in text.strip().splitlines()]
    return {line[0]: dict(zip(head[1:], line[1:], strict=True)) for line in lines}


TABLE = _table(WHO_SEES)
STATUS = {"y": 200, "-": 403, "0": 404}


def test_the_table_names_everybody_and_every_page():
    assert list(TABLE) == [code for code, *_ in PEOPLE]
    columns = {*TABLE["manager"], "family"} - {"F1", "F3", "none", "contact", "language"}
    assert columns == {str(p) for p in Page}
    assert set(ALLOWED) == set(Role)
    assert [page_of(path) for page, path in PATHS.items() if page is not Page.FAMILY] == [
        page for page in Page if page is not Page.FAMILY
    ]


@pytest.mark.parametrize("code", list(TABLE))
def test_a_person_is_answered_the_pages_and_families_of_the_table(app_looked_at, code):
    app = app_looked_at
    expected = TABLE[code]
    person = browser_of(app, code)
    for page in Page:
        if page is Page.FAMILY:
            continue
        got = person.get(PATHS[page])
        asked = person.page(PATHS[page])
        if page is Page.CALLS and expected["calls"] == "-":
            assert got.status_code == 303, page  # to the first page of the role
            assert person.get(got.headers["Location"]).status_code == 200
        else:
            assert got.status_code == STATUS[expected[page]], page
        assert asked.status_code == (200 if expected[page] == "y" else 403), page
    for family in ("F1", "F3", "none"):
        mark = expected[family]
        got, asked = person.get(f"/family/{family}"), person.page(f"/family/{family}")
        assert got.status_code == STATUS[mark], family
        assert asked.status_code == (403 if mark == "-" else 200), family
        shown = f"Line L{family[1:]}" in asked.text
        assert shown is (mark == "y"), family
    everything = "".join(
        person.page(path, search).text
        for path, search in (("/", ""), ("/", "?family=F1"), ("/family/F1", "?time=all"))
    )
    assert (CONTACT in everything) is (expected["contact"] == "y")
    assert (LANGUAGE in everything) is (expected["language"] == "y")


@pytest.mark.parametrize("code", ["manager.north", "educator.north", "reader.granted.south"])
def test_a_family_of_another_site_and_no_family_cannot_be_told_apart(app, code):
    person = browser_of(app, code)
    other = "F1" if code.endswith("south") else "F3"
    for get in (person.get, person.page):
        told, none = get(f"/family/{other}"), get("/family/F9")
        assert told.status_code == none.status_code
        assert without_token(told.text).replace(other, "F9") == without_token(none.text)


def test_nothing_of_another_site_can_be_read_off_counts_orders_or_lists(app):
    text = browser_of(app, "manager.south").page("/").text
    assert "South" in text
    for hidden in ("North", "F1", "F2", "N1", "fever", "2 families"):
        assert not tells(text, hidden), hidden
    assert "0 of 1 family" in text or "1 of 1 family" in text
    text = browser_of(app, "manager.north").page("/").text
    assert "North" in text
    for hidden in ("South", "F3", "N2"):
        assert not tells(text, hidden), hidden


def test_a_nurse_starts_with_the_own_caseload_and_the_rest_is_one_step_away(app):
    person = browser_of(app, "N1")
    own = person.page("/").text
    assert tells(own, "F1")
    assert tells(own, "F2")
    assert not tells(own, "F3")
    every = person.page("/", "?nurse=*").text
    assert all(tells(every, family) for family in ("F1", "F2", "F3"))
    assert "All nurses" in own
    assert "My families" in every
    assert tells(person.page("/", "?nurse=N2").text, "F3")
    assert "All nurses" not in browser_of(app, "manager").page("/").text


def _source_request(app, path: str, table: str, row: object):
    shown = row_token(row, table) if isinstance(row, int) else row
    click = {"points": [{"customdata": [table, shown]}]}
    values = {"family-figure.clickData": click, "url.pathname": path}
    return callback_request(app, "family-source.children", **values)


def _rows(app, table: str) -> dict[str, int]:
    frame = getattr(app.service.snapshot(None).records, table)
    return dict(zip(frame["line_id"], frame["row"].astype(int), strict=True))


@pytest.mark.parametrize(
    ("code", "contact", "language"),
    [
        ("manager", True, True),
        ("educator", False, True),
        ("educator.granted", True, True),
        ("prevention.granted", False, False),
        ("reader.granted", False, False),
    ],
)
def test_a_source_row_holds_only_the_cells_that_a_person_may_see(app, code, contact, language):
    person = browser_of(app, code)
    answer = person.ask(_source_request(app, "/family/F1", "lines", _rows(app, "lines")["L1"]))
    assert answer.status_code == 200
    assert "lines.csv" in answer.text
    assert (CONTACT in answer.text) is contact
    assert (OTHER_CONTACT in answer.text) is contact
    assert (LANGUAGE in answer.text) is language


@pytest.mark.parametrize(
    ("code", "notes"),
    [
        ("manager.north", True),
        ("educator", True),
        ("prevention.granted", True),
        ("reader.granted", False),
    ],
)
def test_what_a_family_said_leaves_the_server_only_for_a_person_who_may_read_it(app, code, notes):
    person = browser_of(app, code)
    page = person.page("/family/F1", "?time=all").text
    row = person.ask(_source_request(app, "/family/F1", "home_log", _rows(app, "home_log")["L1"]))
    assert "skin finding" in page.lower()
    assert "home_log.csv" in row.text
    assert ("felt hot" in page, "felt hot" in row.text) == (notes, notes)


def test_a_row_of_another_family_is_not_shown_by_forged_ids(app):
    lines, log = _rows(app, "lines"), _rows(app, "home_log")
    north = browser_of(app, "manager.north")
    for path, table, row in (
        ("/family/F3", "lines", lines["L3"]),  # out of scope, and everything agrees
        ("/family/F1", "lines", lines["L3"]),  # own page, row of another site
        ("/family/F1", "lines", lines["L2"]),  # own page, row of another own family
        ("/family/F1", "home_log", log["L3"]),  # a line that the page does not have
        ("/family/F1", "users", 1),
        ("/family/F1", "lines", str(lines["L1"])),
        ("/family/F1", "lines", 10**9),
        ("/nowhere", "lines", lines["L1"]),
    ):
        answer = north.ask(_source_request(app, path, table, row))
        assert answer.status_code == 200, (path, table)
        assert "This marks a gap" in answer.text, (path, table)
    for code in ("reader", "prevention"):
        asked = _source_request(app, "/family/F1", "lines", lines["L1"])
        assert browser_of(app, code).ask(asked).status_code == 403


def test_what_stands_in_the_query_does_not_choose_the_family_of_a_page(app):
    person = browser_of(app, "manager.north")
    for search in ("?family=F3", "?pathname=/family/F3", "?fid=F3&family_id=F3"):
        text = person.page("/family/F1", search).text
        assert "Line L1" in text
        assert not tells(text, "L3")
        assert person.get(f"/family/F1{search}").status_code == 200
    assert not tells(person.page("/", "?family=F3").text, "L3")
    reader = browser_of(app, "reader")
    assert reader.page("/family/F1", "?pathname=/definitions").status_code == 403
    forged = page_request("/family/F1")
    forged["inputs"] = [{"id": "pathname", "property": "pathname", "value": "/definitions"}]
    assert reader.ask(forged).status_code == 400


def _record_request(app, family: str):
    name = next(n for n, c in app.callback_map.items() if c["inputs"][0]["id"] == "record-call")
    form = {
        "form": "a form of its own",
        "family_id": family,
        "made_by": "somebody.else",  # no such field: whoever signed in has called
        "reached": "yes",
        "agreed": "will change it today",
        "recheck_on": "2031-03-06",
    }
    return callback_request(app, name, **{"record-call.data": form, "changed.data": 0})


def test_a_call_is_recorded_as_of_the_person_who_is_signed_in(app):
    person = browser_of(app, "manager.north")
    answer = person.ask(_record_request(app, "F1"))
    assert answer.status_code == 200
    assert "Call recorded. F1" in answer.text
    calls = app.service.snapshot(None).records.calls
    assert calls[["family_id", "called_by"]].values.tolist() == [["F1", "manager.north"]]
    assert "Recorded as " in person.page("/", "?family=F1").text
    assert record_of(app)[-2:] == [
        ("manager.north", "recorded_call", "F1"),
        ("manager.north", "opened_family", "F1"),
    ]


def test_what_a_page_opens_by_itself_is_not_logged(app):
    person = browser_of(app, "manager.north")
    before = len(record_of(app))
    assert CONTACT in person.page("/").text  # the first family's, opened by the page
    assert person.page("/retraining").status_code == 200
    assert record_of(app)[before:] == []
    person.page("/", "?family=F2")
    assert record_of(app)[before:] == [("manager.north", "opened_family", "F2")]


def test_a_call_to_a_family_of_another_site_is_not_recorded(app):
    person = browser_of(app, "manager.north")
    assert "No family has this code" in person.ask(_record_request(app, "F3")).text
    for code in ("educator.granted", "reader.granted", "prevention.granted"):
        assert browser_of(app, code).ask(_record_request(app, "F1")).status_code == 403
    assert len(app.service.snapshot(None).records.calls) == 0


def test_a_call_of_another_site_is_not_taken_back(app):
    browser_of(app, "manager").ask(_record_request(app, "F1"))
    row = int(app.service.snapshot(None).records.calls["row"].iloc[0])
    south = Reader("manager.south", Role.MANAGER, frozenset({"South"}))
    with pytest.raises(Exception, match="no longer on the list"):
        CallActions(app.service.session_of(south)).undo(row)
    assert len(app.service.snapshot(None).records.calls) == 1
    north = Reader("manager.north", Role.MANAGER, frozenset({"North"}))
    assert CallActions(app.service.session_of(north)).undo(row) == "F1"
    assert record_of(app)[-1] == ("manager.north", "took_back_call", "F1")


def test_what_is_arranged_is_noted_and_refused_to_those_who_do_not_call(app):
    name = next(n for n, c in app.callback_map.items() if c["inputs"][0]["id"] == "arrange")
    form = {"form": "f", "family_id": "F2", "kind": "set_aside", "until_on": "2031-03-06"}
    form["reason"] = "at the lake"
    asked = callback_request(app, name, **{"arrange.data": form, "changed.data": 0})
    for code in ("educator.granted", "reader.granted", "prevention.granted"):
        assert browser_of(app, code).ask(asked).status_code == 403
    assert "No family has this code" in browser_of(app, "manager.south").ask(asked).text
    assert "F2 is postponed" in browser_of(app, "manager.north").ask(asked).text
    assert record_of(app)[-1] == ("manager.north", "set_family_aside", "F2")
    row = int(app.service.snapshot(None).records.arrangements["row"].iloc[0])
    south = Reader("manager.south", Role.MANAGER, frozenset({"South"}))
    with pytest.raises(Exception, match="no longer on the list"):
        CallActions(app.service.session_of(south)).undo(row, "arrangements")


def test_no_callback_answers_without_the_guard(app):
    answered_here = [c["callback"] for c in app.callback_map.values() if "callback" in c]
    assert len(answered_here) >= 5
    for callback in answered_here:
        assert hasattr(callback, "guarded_for"), callback
    for_everybody = [c for c in answered_here if c.guarded_for is None]
    assert [c.__name__ for c in for_everybody] == ["show_page"]


@pytest.mark.parametrize("code", [code for code, *_ in PEOPLE])
def test_every_callback_refuses_a_person_whose_role_does_not_include_its_page(app_looked_at, code):
    app = app_looked_at
    person = browser_of(app, code)
    for output, callback in app.callback_map.items():
        page = getattr(callback.get("callback"), "guarded_for", None)
        if page is None:
            continue
        answer = person.ask(callback_request(app, output))
        allowed = TABLE[code]["F1" if page is Page.FAMILY else page] != "-"
        assert (answer.status_code == 403) is not allowed, output
        if not allowed:
            assert answer.text == f"Your role does not include this: the page {page}.\n"


def test_there_is_no_route_but_those_that_are_known(app):
    known = {
        *(
            "/sign-in",
            "/sign-in/code",
            "/sign-out",
            "/assets/<path:filename>",
            "/static/<path:filename>",
        ),
        *(
            "/incoming/refused/<table>.csv",
            "/incoming/<path:rest>",
            "/incoming/files",
            "/incoming/row/<int:number>",
            "/incoming/entry/<int:number>",
            "/incoming/source",
            "/incoming/cause",
            "/incoming/starter.zip",
        ),
        *("/week/report.<kind>", "/week/<path:rest>"),
        *("/calls/sheet", "/calls/contacts", "/calls/<path:rest>"),
        *("/retraining/sessions/new", "/retraining/<path:rest>"),
        *(
            f"/retraining/sessions/<token>{rest}"
            for rest in (
                "",
                "/change",
                "/handouts",
                "/attendance",
                "/not-marked",
                "/cancel",
                "/undo",
            )
        ),
        *("/families/find", "/families/<path:rest>"),
        *("/account", "/account/password", "/account/sign-ins", "/account/two-steps"),
        *("/health", "/ready", "/metrics"),
    }
    rules = {str(rule) for rule in app.server.url_map.iter_rules()}
    assert known <= rules
    assert not [
        r for r in rules - known if not r.startswith("/_") and r not in {"/", "/<path:path>"}
    ]
    person = browser_of(app, "reader")
    for rule in sorted(rules - known):
        if "<" not in rule:
            stranger = person.app.server.test_client().get(rule, headers={"Host": "localhost"})
            assert stranger.status_code in {303, 401}, rule


def test_a_person_of_some_sites_does_not_see_where_in_a_file_a_row_is(app):
    found = app.service.snapshot(None)
    wanted = [("home_log", int(row)) for row in found.records.home_log["row"]]
    rows = {
        code: sources_of(wanted[:1], app.service.store, found, reader)
        for code, reader in (
            ("all", Reader("manager", Role.MANAGER)),
            ("north", Reader("manager.north", Role.MANAGER, frozenset({"North"}))),
        )
    }
    (of_all,), (of_north,) = (list(found.values()) for found in rows.values())
    assert ", row 2; received" in of_all.where
    assert ", row" not in of_north.where


def test_the_access_record_says_who_opened_what_and_who_was_refused(app, clock):
    before = len(record_of(app))
    manager, reader = browser_of(app, "manager.north"), browser_of(app, "reader")
    manager.page("/family/F1")
    manager.page("/family/F1")  # the same look again
    manager.page("/family/F3")
    manager.page("/family/nothing-stored-with-this-code")
    clock.move(minutes=11)
    manager.page("/family/F1")
    reader.page("/family/F1")
    manager.sign_out()
    assert record_of(app)[before:] == [
        ("manager.north", "signed_in", None),
        ("reader", "signed_in", None),
        ("manager.north", "opened_family", "F1"),
        ("manager.north", "refused", "F3"),
        ("manager.north", "opened_family", "F1"),
        ("reader", "refused", None),
        ("manager.north", "signed_out", None),
    ]
    page = browser_of(app, "manager").page("/record").text
    assert "opened family" in page
    assert is_named("F3", page)
    assert is_named("F1", page)
    south = browser_of(app, "manager.south").page("/record").text
    assert "manager.south" in south
    assert not is_named("F1", south)
    assert not is_named("reader", south)


def test_the_call_list_is_taken_out_by_those_who_call_and_it_is_noted(app):
    name = "download.data"
    asked = callback_request(app, name, **{"export-list.data": 1, "url.search": ""})
    answer = browser_of(app, "manager.north").ask(asked)
    assert answer.status_code == 200
    file = answer.json["response"]["download"]["data"]
    assert file["filename"] == "calls-2031-03-04.csv"
    assert [line.split(",")[1] for line in file["content"].splitlines()[1:]] == ["F1", "F2"]
    assert record_of(app)[-1] == ("manager.north", "exported_table", None)
    for code in ("educator.granted", "reader.granted", "prevention.granted"):
        assert browser_of(app, code).ask(asked).status_code == 403


def test_a_language_can_be_asked_for_only_where_it_may_be_known(app, monkeypatch):
    person = browser_of(app, "manager")
    assert "choose-language" in person.page("/").text
    assert tells(person.page("/", f"?language={LANGUAGE}").text, "1 family")
    without = replace(ALLOWED[Role.MANAGER], rights=frozenset({Right.RECORD_CALLS}))
    monkeypatch.setitem(ALLOWED, Role.MANAGER, without)
    assert LANGUAGE not in person.page("/").text
    for search in ("", f"?language={LANGUAGE}", "?language=none-such"):
        text = person.page("/", search).text
        assert "choose-language" not in text
        assert tells(text, "F2")  # nothing is filtered by what may not be known


def test_an_exported_table_is_noted(app):
    app.service.session_of(Reader("reader", Role.READER)).note_export("rates")
    assert record_of(app)[-1] == ("reader", "exported_table", None)


def test_a_granted_right_goes_no_further_than_the_table():
    granted = Reader("E1", Role.EDUCATOR, families=True)
    assert granted.may(Right.CONTACT)
    assert not granted.may(Right.RECORD_CALLS)
    assert not granted.may_open(Page.CALLS)
    assert not Reader("R1", Role.READER, families=True).may(Right.CONTACT)


@pytest.mark.parametrize("path", ["/rates", "/dwell", "/incoming", "/definitions"])
def test_what_was_drawn_for_one_person_does_not_name_this_person_to_the_next(app_looked_at, path):
    first, after = (
        browser_of(app_looked_at, code).page(path).text for code in ("manager", "prevention")
    )
    for shown, who in ((first, "manager"), (after, "prevention")):
        assert re.findall(r"Signed in: .{0,120}?strong\W+(\w+)", unescaped(shown)) == [who]
    assert "Access log" in first
    assert "Access log" not in after


def unescaped(text: str) -> str:
    """Texts of a reply as they stand in its HTML."""
    return text.encode().decode("unicode_escape")


@pytest.mark.parametrize("sites", [None, frozenset({"North"})])
def test_the_newest_entries_are_shown_and_whether_there_are_older_ones(app, sites, monkeypatch):
    most = 20
    monkeypatch.setattr("dashboard.access_log.queries.MOST_SHOWN", most)
    session = app.service.session_of(Reader("manager", Role.MANAGER, sites))

    def shown() -> AccessesView:
        return AccessLogQueries(session).accesses(AccessLogChoice())

    def export(times: int) -> None:
        for _ in range(times):
            session.note_export("calls")

    export(most - len(shown().rows))
    assert (len(shown().rows), shown().more) == (most, False)
    export(2)
    assert (len(shown().rows), shown().more) == (most, True)
    assert {row.about for row in shown().rows[:2]} == {"calls"}

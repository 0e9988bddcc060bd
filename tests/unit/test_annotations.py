"""Who may write notes on the rates, what stands there on which day, and what never gets out?"""

from __future__ import annotations

import logging
from datetime import UTC, date, datetime

import pandas as pd
import pytest
import sqlalchemy as sa

from analysis.store import Store, StoreError
from analysis.vocabulary import Role
from dashboard.addresses.rates import RatesChoice
from dashboard.figures import control_chart
from dashboard.layout.row_tokens import row_token
from dashboard.rates.queries import RatesQueries
from dashboard.rates.queries.annotations import AnnotationForm, marks_on
from dashboard.rates.views import Annotation
from dashboard.security.roles import NotAllowedError, Reader
from dashboard.session.forms import FormError
from tests.signed_in import (
    NOW,
    PEOPLE,
    app,
    browser_of,
    callback_request,
    clock,
    programme_file,
    record_of,
    store_url,
)

__all__ = ["app", "clock", "programme_file", "store_url"]

FORM = {"on_day": "2031-02-10", "site": "", "text": "new antiseptic <b>for all</b>"}
MAY_WRITE = {
    code for code, role, _, _ in PEOPLE if role in {Role.MANAGER, Role.PREVENTION}
}  # fmt: skip
MAY_WRITE_FOR_ALL = {c for c, _, sites, _ in PEOPLE if c in MAY_WRITE and sites is None}


@pytest.fixture(name="store")
def _store(tmp_path):
    with Store.open(f"sqlite:///{tmp_path / 'store.sqlite'}") as found:
        yield found


def at(day: int) -> datetime:
    return datetime(2031, 3, day, 12, tzinfo=UTC)


def test_an_annotation_stands_from_when_it_was_written_until_it_was_withdrawn(store):
    row = store.annotate(date(2031, 2, 1), "new antiseptic", None, "P1", at(2))
    store.withdraw_annotation(row, "P2", at(4))
    assert len(store.annotations(at(1))) == 0
    (stood,) = store.annotations(at(3)).to_dict("records")
    assert (stood["text"], stood["made_by"]) == ("new antiseptic", "P1")
    assert stood["on_day"] == pd.Timestamp("2031-02-01")
    assert pd.isna(stood["withdrawn_at"])
    (gone,) = store.annotations().to_dict("records")
    assert gone["withdrawn_by"] == "P2"
    assert gone["withdrawn_at"] == pd.Timestamp("2031-03-04T12:00")


def test_the_same_written_twice_is_one_until_it_is_withdrawn(store):
    note = (date(2031, 2, 1), "new antiseptic", "North", "P1")
    row = store.annotate(*note, at(2))
    assert store.annotate(*note, at(2)) is None
    assert store.annotate(date(2031, 2, 1), "new antiseptic", None, "P1", at(2)) is not None
    store.withdraw_annotation(row, "P1", at(3))
    assert store.annotate(*note, at(4)) is not None


def test_what_is_not_there_or_was_withdrawn_cannot_be_withdrawn(store):
    with pytest.raises(StoreError, match="no annotation number 7"):
        store.withdraw_annotation(7, "P1", at(2))
    row = store.annotate(date(2031, 2, 1), "new antiseptic", None, "P1", at(2))
    store.withdraw_annotation(row, "P1", at(3))
    with pytest.raises(StoreError, match="withdrawn already"):
        store.withdraw_annotation(row, "P1", at(4))
    with pytest.raises(StoreError, match="no annotation number 2"):
        store.withdraw_annotation(2, "P1", at(4))  # the row that withdrew it


def test_nobody_changes_or_deletes_an_annotation(store):
    store.annotate(date(2031, 2, 1), "new antiseptic", None, "P1", at(2))
    for act in ("UPDATE annotations SET text = 'other'", "DELETE FROM annotations"):
        with (
            pytest.raises(sa.exc.DBAPIError, match="only ever added"),
            store._database.writing() as connection,
        ):
            connection.exec_driver_sql(act)
    assert list(store.annotations()["text"]) == ["new antiseptic"]


def annotate_request(app, output: str, **given):
    name = next(n for n, c in app.callback_map.items() if c["inputs"][0]["id"] == output)
    return callback_request(app, name, **{f"{output}.data": given})


@pytest.mark.parametrize("code", [code for code, *_ in PEOPLE])
def test_no_role_without_the_right_writes_or_withdraws(app, code):
    kept = app.service.store.annotate(date(2031, 2, 1), "kept", None, "prevention", NOW)
    person = browser_of(app, code)
    written = person.ask(annotate_request(app, "annotate", **FORM))
    withdrawn = person.ask(annotate_request(app, "withdraw", row=row_token(kept, "rate_notes")))
    assert (written.status_code == 200) is (code in MAY_WRITE)
    assert (withdrawn.status_code == 200) is (code in MAY_WRITE)
    known = app.service.store.annotations()
    assert (len(known) == 2) is (code in MAY_WRITE_FOR_ALL)
    assert bool(known["withdrawn_at"].notna().any()) is (code in MAY_WRITE_FOR_ALL)
    if code not in MAY_WRITE:
        assert (written.status_code, withdrawn.status_code) == (403, 403)


def test_a_request_without_the_token_of_the_page_writes_nothing(app):
    person = browser_of(app, "prevention")
    body = annotate_request(app, "annotate", **FORM)
    assert person.ask(body, **{"X-CSRFToken": ""}).status_code == 400
    assert len(app.service.store.annotations()) == 0


def test_the_text_is_shown_escaped_and_stands_in_no_log_and_no_access_record(app, caplog):
    caplog.set_level(logging.DEBUG)
    person = browser_of(app, "prevention")
    assert person.ask(annotate_request(app, "annotate", **FORM)).status_code == 200
    page = person.page("/rates")
    shown = page.get_json()["response"]["page"]["children"]
    assert "new antiseptic &lt;b&gt;for all&lt;/b&gt;" in str(shown)
    assert "antiseptic <b>" not in str(shown)
    assert "antiseptic" not in caplog.text
    assert record_of(app)[-1] == ("prevention", "annotated_rates", None)
    notes = app.service.store.people.accesses()["about"].dropna()
    assert not notes.str.contains("antiseptic").any()


def test_a_reader_sees_what_is_written_and_no_form(app):
    app.service.store.annotate(date(2031, 2, 1), "new antiseptic", None, "prevention", NOW)
    page = browser_of(app, "reader").page("/rates").text
    assert "new antiseptic" in page
    assert "data-sends" not in page
    assert "data-undoes" not in page
    writer = browser_of(app, "prevention").page("/rates").text
    assert "data-sends" in writer
    assert "data-undoes" in writer


def ask(app, code: str):
    role, sites = next((r, s) for c, r, s, _ in PEOPLE if c == code)
    return app.service.session_of(Reader(code, role, None if sites is None else frozenset(sites)))


def noted(queries):
    return RatesQueries(queries).notes_of(RatesQueries(queries).rates(RatesChoice())).annotations


def test_a_person_of_one_site_sees_and_writes_of_that_site(app):
    store = app.service.store
    for text, site in (("of all", None), ("of north", "North"), ("of south", "South")):
        store.annotate(date(2031, 2, 1), text, site, "prevention", NOW)
    north = ask(app, "manager.north")
    seen = noted(north)
    assert [a.text for a in seen] == ["of all", "of north"]
    assert RatesQueries(north).annotating().sites == ("North",)
    with pytest.raises(FormError, match="Choose a site"):
        RatesQueries(north).annotate(AnnotationForm("2031-02-02", "", "mine"))
    with pytest.raises(FormError, match="Choose a site"):
        RatesQueries(north).annotate(AnnotationForm("2031-02-02", "South", "mine"))
    RatesQueries(north).annotate(AnnotationForm("2031-02-02", "North", "mine"))
    by_text = {a.text: a.row for a in noted(ask(app, "manager"))}
    with pytest.raises(FormError, match="all sites"):
        RatesQueries(north).withdraw_annotation(by_text["of all"])
    with pytest.raises(FormError, match="was removed"):
        RatesQueries(north).withdraw_annotation(by_text["of south"])
    RatesQueries(north).withdraw_annotation(by_text["of north"])
    assert [a.text for a in noted(north)] == ["of all", "mine"]


@pytest.mark.parametrize(
    ("form", "told"),
    [
        ({"text": "  "}, "Write what happened"),
        ({"text": None}, "Write what happened"),
        ({"text": "x" * 201}, "Shorten"),
        ({"on_day": "10/02/2031"}, "as a date"),
        ({"on_day": "2031-03-05"}, "up to 4 Mar 2031"),
        ({"on_day": ["2031-02-10"]}, "as a date"),
        ({"site": "Nowhere"}, "Choose a site"),
        ({"site": ["North"]}, "Choose a site"),
    ],
)
def test_what_does_not_fit_is_told_and_not_written(app, form, told):
    with pytest.raises(FormError, match=told):
        RatesQueries(ask(app, "prevention")).annotate(AnnotationForm.of({**FORM, **form}))
    assert len(app.service.store.annotations()) == 0


def test_the_right_is_asked_for_at_the_door_too(app):
    with pytest.raises(NotAllowedError):
        RatesQueries(ask(app, "reader")).annotate(AnnotationForm.of(FORM))
    with pytest.raises(NotAllowedError):
        RatesQueries(ask(app, "reader")).withdraw_annotation(1)


def annotation(day: date, mark: str) -> Annotation:
    return Annotation(1, mark, day, None, f"text {mark}", "P1", day)


def test_a_mark_stands_within_its_month_or_quarter_by_its_day():
    told = (annotation(date(2031, 2, 1), "A"), annotation(date(2031, 2, 15), "B"))
    months = pd.DataFrame({"period": ["2031-01", "2031-02"]})
    # February 2031 has 28 days: its month begins at 0.5 and the 15th lies half way.
    assert list(marks_on(told, months, "month")["at"]) == [0.5, 1.0]
    quarters = pd.DataFrame({"period": ["2031-Q1"]})
    # 31 days of 90 have gone by on 1 February.
    assert list(marks_on(told, quarters, "quarter")["at"]) == pytest.approx(
        [31 / 90 - 0.5, 45 / 90 - 0.5]
    )


def test_what_lies_outside_the_chart_has_no_mark_on_it():
    told = (annotation(date(2030, 2, 1), "A"),)
    assert len(marks_on(told, pd.DataFrame({"period": ["2031-01"]}), "month")) == 0
    assert len(marks_on((), pd.DataFrame({"period": ["2031-01"]}), "month")) == 0


def test_marks_are_upright_dashed_lines_with_their_letters_joined_where_they_crowd():
    chart = pd.DataFrame(
        {
            "label": [f"m{n}" for n in range(12)],
            "events": 1,
            "line_days": 1000,
            "rate_per_1000": 1.0,
            "judged_rate_per_1000": 1.0,
            "judged_days": 1000,
            "centre": 1.0,
            "lower_limit": 0.0,
            "upper_limit": 3.0,
            "signal_words": "",
            "provisional": False,
            "expected_rate_per_1000": 1.0,
        }
    )
    marks = pd.DataFrame(
        {"at": [2.0, 2.1, 8.0], "mark": ["A", "B", "C"], "text": ["one", "<two>", "three"]}
    )
    figure = control_chart(chart, marks)
    lines = [s for s in figure.layout.shapes if s.name == "annotation"]
    assert [line.x0 for line in lines] == [2.0, 2.1, 8.0]
    assert {line.line.dash for line in lines} == {"dash"}
    letters = [a for a in figure.layout.annotations if a.text in {"<b>A B</b>", "<b>C</b>"}]
    assert [a.x for a in letters] == [2.0, 8.0]
    assert letters[0].hovertext == "A: one<br>B: &lt;two&gt;"

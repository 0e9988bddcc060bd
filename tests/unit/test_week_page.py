"""Is the weekly summary on its page what the command writes, and only what is for the reader?"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pandas as pd
import pytest

from analysis.cli import main, reporting
from analysis.vocabulary import CallOutcome
from dashboard.addresses.week import WeekChoice
from dashboard.security.roles import Reader
from dashboard.week.queries import WeekQueries
from tests.signed_in import (
    CONTACT,
    NOW,
    OTHER_CONTACT,
    PEOPLE,
    app,
    app_looked_at,
    browser_of,
    callback_request,
    clock,
    programme_file,
    record_of,
    store_url,
)

__all__ = ["app", "app_looked_at", "clock", "programme_file", "store_url"]

WEEK = "2031-W09"
"""24 February to 2 March 2031; the programme is looked at on Tuesday 4 March."""
BODY = "..week-head.children...week-body.children...week-body.role.."
READERS = {code: Reader(code, role, frozenset(s) if s else None, f) for code, role, s, f in PEOPLE}


def shown(app, code, search=""):
    asked = callback_request(app, BODY, **{"url.search": search, "url.pathname": "/week"})
    answer = browser_of(app, code).ask(asked)
    assert answer.status_code == 200, answer.text
    return answer.json["response"]["week-body"]["children"]["props"]["html"]


@pytest.mark.parametrize(
    ("role", "copy", "known", "kinds"),
    [
        ("manager", "team", "now", ("html", "pdf")),
        ("prevention", "team", "end", ("html",)),
        ("educator", "team", "2031-03-03", ("html",)),
    ],
)
def test_the_files_are_those_that_the_command_writes(
    app_looked_at, tmp_path, monkeypatch, capsys, role, copy, known, kinds
):
    if "pdf" not in kinds:  # a PDF is made from the HTML and takes long
        monkeypatch.setattr(reporting, "pdf_file", lambda _: b"%PDF")
    monkeypatch.setattr(reporting, "today", lambda _: NOW.date())
    store = app_looked_at.service.config.store_url
    told = ["report", "--for", role, "--week", WEEK, "--store", store, "--out", str(tmp_path)]
    later = ["--known-at", "2031-03-03"] if known != "end" else []
    monkeypatch.setattr("sys.argv", ["linedays", *told, *later])
    with pytest.raises(SystemExit) as done:
        main()
    assert not done.value.code, capsys.readouterr().err
    person = browser_of(app_looked_at, role)
    for kind in kinds:
        got = person.get(f"/week/report.{kind}?week={WEEK}&for={role}&known={known}")
        name = f"linedays-{WEEK}-{role}-{copy}.{kind}"
        assert got.headers["Content-Disposition"] == f'attachment; filename="{name}"'
        assert got.data == (tmp_path / name).read_bytes()


def test_a_role_reads_its_own_summary_and_a_manager_every_one(app_looked_at):
    for code, role in (("prevention", "infection prevention"), ("educator", "educator")):
        for asked in ("manager", "prevention", "educator", "odd"):
            queries = app_looked_at.service.session_of(READERS[code])
            assert WeekQueries(queries).week_head(WeekChoice(whose=asked)).choice.whose == code
            way = f"/week/report.html?week={WEEK}&for={asked}"
            assert f"Weekly summary for {role}" in browser_of(app_looked_at, code).get(way).text
    queries = app_looked_at.service.session_of(READERS["manager"])
    for role in ("manager", "prevention", "educator"):
        assert WeekQueries(queries).week_head(WeekChoice(whose=role)).choice.whose == role


@pytest.fixture
def without_pdf(monkeypatch):
    """The command writes a file in place of each PDF, which takes long to make."""
    monkeypatch.setattr(reporting, "pdf_file", lambda _: b"%PDF")


def test_nobody_is_told_of_a_family_that_is_not_for_them(app_looked_at):
    north, south = (
        shown(app_looked_at, f"manager.{site}", "?known=now") for site in ("north", "south")
    )
    assert "F1" in north
    assert "F3" in south
    for hidden in ("F3", "South"):
        assert hidden not in north
    for hidden in ("F1", "F2", "North"):
        assert hidden not in south
    prevention = shown(app_looked_at, "prevention.granted", "?known=now")
    everything = north + south + prevention + shown(app_looked_at, "manager", "?known=now")
    assert not any(family in prevention for family in ("F1", "F2", "F3"))
    assert not any(secret in everything for secret in (CONTACT, OTHER_CONTACT, "felt hot"))


def test_a_report_of_some_sites_names_them_and_is_that_of_the_command(
    app_looked_at, tmp_path, monkeypatch, without_pdf
):
    monkeypatch.setattr(reporting, "today", lambda _: NOW.date())
    store = app_looked_at.service.config.store_url
    told = ["report", "--for", "educator", "--week", WEEK, "--site", "North", "--store", store]
    told += ["--known-at", "2031-03-03", "--out", str(tmp_path)]
    monkeypatch.setattr("sys.argv", ["linedays", *told])
    with pytest.raises(SystemExit) as done:
        main()
    assert not done.value.code
    way = f"/week/report.html?week={WEEK}&known=2031-03-03"
    got = browser_of(app_looked_at, "educator.north").get(way)
    assert got.data == (tmp_path / f"linedays-{WEEK}-educator-team.html").read_bytes()
    assert "Only families of the site North." in got.text
    whole = browser_of(app_looked_at, "educator").get(way)
    assert "Only families" not in whole.text


def test_a_site_that_is_not_known_is_told_by_the_command(
    app_looked_at, tmp_path, monkeypatch, capsys
):
    monkeypatch.setattr(reporting, "today", lambda _: NOW.date())
    store = app_looked_at.service.config.store_url
    told = ["report", "--for", "educator", "--week", WEEK, "--site", "Norht", "--store", store]
    monkeypatch.setattr("sys.argv", ["linedays", *told, "--out", str(tmp_path)])
    with pytest.raises(SystemExit) as done:
        main()
    assert done.value.code == 2
    assert "The site 'Norht' is not in the data" in (said := capsys.readouterr().err)
    assert "North" in said


@pytest.mark.parametrize("code", ["reader", "reader.granted"])
def test_a_reader_has_no_summary(app_looked_at, code):
    person = browser_of(app_looked_at, code)
    assert person.get("/week").status_code == 403
    assert person.get(f"/week/report.html?week={WEEK}&for=manager").status_code == 403
    assert person.ask(callback_request(app_looked_at, BODY)).status_code == 403


@pytest.mark.parametrize(
    ("week", "said"),
    [
        ("2031-W10", "2031-W10 is not over yet."),
        ("2031-W99", "'2031-W99' is not a week; write it as 2031-W11, with ISO week numbers."),
    ],
)
def test_a_week_that_cannot_be_shown_is_told_and_the_last_one_shown(app_looked_at, week, said):
    head = WeekQueries(app_looked_at.service.session_of(READERS["manager"])).week_head(
        WeekChoice(week)
    )
    assert head.mistaken == f"{said} This is the last week that is over."
    assert head.choice.week == WEEK


@pytest.mark.parametrize(
    ("known", "understood", "told"),
    [
        ("2031-03-03", "2031-03-03", None),
        ("2031-03-02", "end", None),
        ("", "end", None),
        ("2031-03-01", "end", "is not between"),
        ("2031-03-04", "end", "is not between"),
        ("soon", "end", "write it as"),
    ],
)
def test_a_week_is_chosen_by_a_day_in_it_and_by_the_day_up_to_which_it_is_known(
    app_looked_at, known, understood, told
):
    queries = app_looked_at.service.session_of(READERS["manager"])
    head = WeekQueries(queries).week_head(WeekChoice("2031-02-26", None, known))
    assert (head.choice.week, head.choice.known) == (WEEK, understood)
    assert (head.mistaken is None) if told is None else (told in head.mistaken)


def test_weeks_to_choose_reach_from_the_first_line_to_the_last_week_that_is_over(app_looked_at):
    queries = app_looked_at.service.session_of(READERS["manager"])
    head = WeekQueries(queries).week_head(WeekChoice())
    assert head.weeks[0] == (WEEK, "week 9 of 2031, 24 Feb to 2 Mar")
    assert head.weeks[-1][0] == "2030-W50"  # home from 10 December 2030
    assert (head.before, head.after) == ("2031-W08", None)
    first = WeekQueries(queries).week_head(WeekChoice("2030-W50"))
    assert (first.before, first.after) == (None, "2030-W51")


def test_exporting_a_summary_is_noted_and_looking_at_it_is_not(app):
    person = browser_of(app, "educator")
    shown(app, "educator")
    person.get(f"/week/report.html?week={WEEK}&for=educator")
    assert record_of(app)[-1] == ("educator", "exported_table", None)
    assert [what for _, what, _ in record_of(app)].count("exported_table") == 1


def test_a_kind_of_file_that_is_not_made_is_told(app_looked_at):
    person = browser_of(app_looked_at, "manager")
    for way in ("/week/report.docx", "/week/other"):
        answer = person.get(way)
        assert answer.status_code == 404
        assert "There is no page at this address." in answer.text


def test_without_the_library_for_pdf_one_sentence_is_told(app_looked_at, monkeypatch):
    from dashboard.week import queries as asked
    from dashboard.week.queries import PdfError

    def fails(_: str) -> bytes:
        raise PdfError("The PDF is not written: it needs the system library Pango.")

    monkeypatch.setattr(asked, "pdf_file", fails)
    answer = browser_of(app_looked_at, "manager").get(f"/week/report.pdf?week={WEEK}")
    assert answer.status_code == 501
    assert "needs the system library Pango" in answer.text


def test_a_recorded_call_does_not_make_past_weeks_again(app):
    queries = app.service.session_of(READERS["manager"])
    asked = WeekQueries(queries).week_head(WeekChoice()).choice
    before = WeekQueries(queries)._report(asked)
    now = app.service.now()
    outcome = CallOutcome.REACHED
    app.service.store.record_call("F1", "manager", outcome, None, now.date(), now)
    later = app.service.session_of(READERS["manager"])
    assert len(later.snapshot().records.calls) == 1
    assert WeekQueries(later)._report(asked) is before


def test_a_month_that_is_over_is_the_monthly_report_of_the_command(
    app_looked_at, tmp_path, monkeypatch, capsys, without_pdf
):
    monkeypatch.setattr(reporting, "today", lambda _: NOW.date())
    store = app_looked_at.service.config.store_url
    told = ["report", "--for", "prevention", "--month", "2031-02", "--store", store]
    monkeypatch.setattr("sys.argv", ["linedays", *told, "--out", str(tmp_path)])
    with pytest.raises(SystemExit) as done:
        main()
    assert not done.value.code, capsys.readouterr().err
    got = browser_of(app_looked_at, "prevention").get("/week/report.html?week=2031-02")
    name = "linedays-2031-02-prevention-team.html"
    assert got.headers["Content-Disposition"] == f'attachment; filename="{name}"'
    assert got.data == (tmp_path / name).read_bytes()
    queries = WeekQueries(app_looked_at.service.session_of(READERS["prevention"]))
    head = queries.week_head(WeekChoice("2031-02"))
    assert (head.kind, head.text, head.weeks[0]) == (
        "month",
        "February 2031",
        ("2031-02", "February 2031"),
    )
    assert "not over yet" in str(queries.week_head(WeekChoice("2031-03")).mistaken)


def test_a_week_of_which_nothing_was_known_yet_says_why_it_is_empty(app_looked_at):
    def page(search):
        asked = callback_request(
            app_looked_at, BODY, **{"url.search": search, "url.pathname": "/week"}
        )
        return browser_of(app_looked_at, "prevention").ask(asked).text

    why = "Nothing had been received by the end of this week: the first log entries came in on 3 Mar 2031."
    assert why in page("?week=2031-W08")
    assert why not in page("?week=2031-W08&known=now")


def test_a_programme_that_loaded_its_past_at_once_is_told_what_that_means(app_looked_at):
    found = app_looked_at.service.snapshot(None)
    assert found.loaded_at_once_sentence is None  # the oldest entry is two weeks old
    log = found.records.home_log
    old = log.assign(done_on=log["done_on"] - pd.Timedelta(days=200))
    past = replace(found, records=replace(found.records, home_log=old))
    assert "All log entries were received since 3 Mar 2031" in past.loaded_at_once_sentence
    later = replace(past, as_of=past.as_of + timedelta(days=90))
    assert later.loaded_at_once_sentence is None

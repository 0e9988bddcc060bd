"""What is due in the next 14 days, from today on, next to the list of calls."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from analysis.vocabulary import Role
from dashboard.addresses.calls import Choice
from dashboard.calls.queries import CallsQueries
from dashboard.layout.words import AHEAD
from dashboard.security.roles import Reader
from dashboard.session.session import Session
from tests.signed_in import app, browser_of, clock, programme_file, store_url

__all__ = ["app", "clock", "programme_file", "store_url"]

TODAY = date(2031, 3, 4)


def ahead(app: Any, **choice: Any) -> Any:
    reader = Reader("manager", Role.MANAGER)
    queries = CallsQueries(Session(app.service, reader))
    return queries.calls(Choice(band=AHEAD, **choice))


def test_the_days_ahead_begin_today_with_what_is_overdue(app: Any) -> None:
    # F2 was changed on 20 Feb, F3 on 18 Feb and F1 on 9 Dec: all are overdue, then every 7 days.
    view = ahead(app)
    assert [day.on for day in view.ahead] == [TODAY + timedelta(days=n) for n in range(14)]
    due = {day.on: day.due for day in view.ahead if day.n_due}
    assert due == {TODAY: ("F1", "F2", "F3"), TODAY + timedelta(days=7): ("F1", "F2", "F3")}
    assert view.n_ahead == 6


def test_the_days_ahead_follow_the_filters(app: Any) -> None:
    assert ahead(app, site="South").ahead[0].due == ("F3",)
    assert ahead(app, nurse="N1").ahead[0].due == ("F1", "F2")
    assert ahead(app, language="Finnish").ahead[0].due == ("F1",)
    assert ahead(app, site="South").n_ahead == 2


def test_the_page_names_the_families_of_each_day(app: Any) -> None:
    text = browser_of(app, "manager").page("/", "?show=ahead").text
    assert "Tue 4 Mar, today" in text
    assert "show=ahead&amp;family=F3" in text

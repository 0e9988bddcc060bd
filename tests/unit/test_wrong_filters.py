"""Is an address that asks for what there is not answered in a sentence?"""

from __future__ import annotations

import pytest

from tests.signed_in import app_looked_at, browser_of, programme_file

__all__ = ["app_looked_at", "programme_file"]


@pytest.mark.parametrize(
    ("path", "search", "says"),
    [
        ("/", "?nurse=N99", "has the nurse \u201cN99\u201d. Choose from the list."),
        ("/", "?nurse=N99&site=East", "the nurse \u201cN99\u201d and site \u201cEast\u201d."),
        ("/", "?language=Elvish", "the language \u201cElvish\u201d."),
        ("/", "?show=tomorrow", "No part of the list is called \u201ctomorrow\u201d"),
        ("/families", "?site=East", "No family has the site \u201cEast\u201d."),
        ("/families", "?place=moon", "No family has the place \u201cmoon\u201d."),
        (
            "/rates",
            "?event=hiccup&site=East",
            "no event \u201chiccup\u201d and site \u201cEast\u201d",
        ),
        ("/rates", "?by=moon", "There is no grouping \u201cmoon\u201d, so the usual is shown."),
        ("/dwell", "?by=moon", "There is no grouping \u201cmoon\u201d, so the usual is shown."),
        ("/families", "?q=none-such", "No family matches."),
    ],
)
def test_what_there_is_not_is_named(app_looked_at, path, search, says):
    assert says in browser_of(app_looked_at, "manager").page(path, search).text


def test_a_choice_that_there_is_gets_no_such_sentence(app_looked_at):
    person = browser_of(app_looked_at, "manager")
    for search in ("", "?nurse=N1", "?site=South&show=call_today", "?show=done", "?nurse=*"):
        assert "not-there" not in person.page("/", search).text
    for path, search in (
        ("/rates", ""),
        ("/rates", "?site=South&by=therapy"),
        ("/dwell", "?by=site"),
    ):
        assert "so the usual is shown" not in person.page(path, search).text
    shown = person.page("/families", "?place=waiting").text  # nobody waits now
    assert "No family matches." in shown

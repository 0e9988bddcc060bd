"""An answer computed once is sent to everyone who may see the same, and to nobody else."""

from __future__ import annotations

import re
import threading
from dataclasses import replace
from typing import Any

import pytest

from analysis.vocabulary import Role
from dashboard.security.roles import ALLOWED, Right
from dashboard.session.answers import AnswerCache
from tests.signed_in import (
    CONTACT,
    LANGUAGE,
    app,
    browser_of,
    clock,
    is_named,
    programme_file,
    record_of,
    store_url,
)

__all__ = ["app", "clock", "programme_file", "store_url"]


def test_a_second_question_waits_for_the_answer_that_is_being_computed() -> None:
    answers, begun, go_on = AnswerCache(), threading.Event(), threading.Event()
    times: list[int] = []

    def compute() -> int:
        times.append(1)
        begun.set()
        assert go_on.wait(60)
        return 7

    found: list[int] = []
    threads = [
        threading.Thread(target=lambda: found.append(answers.get("asked", compute)))
        for _ in range(4)
    ]
    for thread in threads:
        thread.start()
    assert begun.wait(60)
    assert answers.get("something else", lambda: 1) == 1  # other keys do not wait
    go_on.set()
    for thread in threads:
        thread.join(60)
    assert (found, times) == ([7, 7, 7, 7], [1])


def test_an_answer_that_failed_is_computed_by_the_next_question() -> None:
    answers = AnswerCache()
    with pytest.raises(ZeroDivisionError):
        answers.get("asked", lambda: 1 // 0)
    assert answers.get("asked", lambda: 2) == 2


def test_the_least_recently_used_answer_is_dropped_first() -> None:
    answers = AnswerCache(most_answers=2)
    for asked in ("a", "b", "a", "c"):
        answers.get(asked, lambda asked=asked: asked)  # type: ignore[misc]
    assert answers.get("a", lambda: "new") == "a"
    assert answers.get("b", lambda: "new") == "new"


def form_of(text: str) -> str:
    """The code of the form of a call on a page."""
    found = re.search(r'name=\\"form\\" value=\\"([^"\\]+)\\"', text)
    assert found is not None
    return found[1]


def without_its_own(text: str) -> str:
    """A page without what is of one answer alone: its forms and the token to sign out."""
    text = text.replace(form_of(text), "FORM")
    return re.sub(r'("value":"|value=\\")[\w.-]{60,}', "TOKEN", text)


def test_a_family_opened_from_a_cached_list_looks_as_on_a_fresh_page(app: Any) -> None:
    person = browser_of(app, "manager")
    fresh = {}
    for family in ("F1", "F2", "F3"):
        vars(app.service.loaded(None))["answers"] = AnswerCache()
        fresh[family] = without_its_own(person.page("/", f"?family={family}").text)
    for family in ("F3", "F1", "F2", "F1"):
        text = without_its_own(person.page("/", f"?family={family}").text)
        assert text == fresh[family]
        assert len(re.findall(r'class=."open."', text)) == 1


def test_each_form_has_its_own_code_and_each_opening_is_logged(app: Any) -> None:
    first, again = (browser_of(app, "manager").page("/", "?family=F1").text for _ in range(2))
    assert form_of(first) != form_of(again)
    browser_of(app, "manager.north").page("/", "?family=F1")
    openings = [
        who for who, what, family in record_of(app) if (what, family) == ("opened_family", "F1")
    ]
    assert openings == ["manager", "manager.north"]


@pytest.mark.parametrize("hidden", [(Right.CONTACT, CONTACT), (Right.LANGUAGE, LANGUAGE)])
def test_what_a_role_may_not_see_does_not_come_out_of_cached_answers(
    app: Any, monkeypatch: pytest.MonkeyPatch, hidden: tuple[Right, str]
) -> None:
    right, text = hidden
    person = browser_of(app, "manager")
    for path in ("/", "/family/F1"):
        assert text in person.page(path, "?family=F1" if path == "/" else "").text
    less = replace(ALLOWED[Role.MANAGER], rights=ALLOWED[Role.MANAGER].rights - {right})
    monkeypatch.setitem(ALLOWED, Role.MANAGER, less)
    for path in ("/", "/family/F1"):
        assert text not in person.page(path, "?family=F1" if path == "/" else "").text


def test_a_person_of_one_site_gets_nothing_that_was_made_for_all(app: Any) -> None:
    everything = browser_of(app, "manager").page("/").text
    south = browser_of(app, "manager.south").page("/").text
    assert is_named("F1", everything)
    assert is_named("N1", everything)
    assert is_named("F3", south)
    assert not is_named("F1", south)
    assert not is_named("N1", south)

"""Parts of a page that are made once for many still belong to the person who asks."""

from __future__ import annotations

import json
import re
from datetime import timedelta
from pathlib import Path
from typing import Any

from analysis.store import Store
from analysis.vocabulary import Access
from tests.signed_in import NOW, Browser, app, browser_of, clock, programme_file, store_url

__all__ = ["app", "clock", "programme_file", "store_url"]


def asked(browser: Browser, path: str, search: str = "") -> str:
    """The answer, with the markup in it readable."""
    return json.dumps(browser.page(path, search).get_json(), ensure_ascii=False)


def tokens(page: str) -> set[str]:
    return set(re.findall(r'name=\\"csrf_token\\" value=\\"([^"\\]+)', page))


def of_session(token: str | None) -> str:
    """The part of a token that names the session; the rest is when it was made."""
    assert token
    return token.partition(".")[0]


def forms(page: str) -> set[str]:
    return set(re.findall(r'name=\\"form\\" value=\\"([^"\\]+)', page))


def test_each_reader_of_incoming_data_gets_the_token_of_the_own_session(app: Any) -> None:
    first, second = browser_of(app, "manager"), browser_of(app, "manager")
    own = {browser: of_session(browser.cookie("_csrf_token")) for browser in (first, second)}
    for browser in (first, second, first):
        assert set(map(of_session, tokens(asked(browser, "/incoming")))) == {own[browser]}
    assert own[first] != own[second]


def test_each_form_to_record_a_call_has_a_code_of_its_own(app: Any) -> None:
    browser = browser_of(app, "manager")
    pages = [asked(browser, "/", "?family=F1") for _ in range(3)]
    codes = [{code.partition("-")[0] for code in forms(page)} for page in pages]
    assert [len(found) for found in codes] == [1, 1, 1]
    assert len(set.union(*codes)) == 3


def test_who_records_is_named_in_the_own_form_alone(app: Any) -> None:
    pages = {who: asked(browser_of(app, who), "/", "?family=F1") for who in ("manager", "N1")}
    for who, page in pages.items():
        assert set(re.findall(r'name=\\"recorded_as\\" value=\\"([^"\\]+)', page)) == {who}


def test_of_many_others_at_a_family_the_newest_are_named_and_the_rest_are_counted(
    app: Any,
) -> None:
    browser = browser_of(app, "manager")
    for number in range(5):
        at = NOW - timedelta(minutes=10 - number)
        app.service.store.people.note(f"P{number}", Access.OPENED_FAMILY, at, family_id="F1")
        named = [f"P{n} opened this family at 08:{50 + n}." for n in range(number, -1, -1)][:3]
        more = {3: ["1 other person opened it earlier."], 4: ["2 other people opened it earlier."]}
        expected = named + more.get(number, [])
        assert " ".join(expected) in asked(browser, "/", "?family=F1")


def acts(browser: Browser) -> list[str]:
    rows = re.findall(r"<tr><td>.*?</tr>", asked(browser, "/record"))
    return [re.sub(r"<[^>]+>", " ", row) for row in rows]


def test_an_act_is_on_the_access_log_when_it_is_next_opened(app: Any) -> None:
    all_sites, north, south = (browser_of(app, f"manager{at}") for at in ("", ".north", ".south"))
    before = {browser: len(acts(browser)) for browser in (all_sites, north, south)}
    people = app.service.store.people
    people.note("N1", Access.OPENED_FAMILY, NOW, family_id="F1")
    assert [len(acts(b)) - before[b] for b in (all_sites, north, south)] == [1, 1, 0]
    people.note("N1", Access.OPENED_FAMILY, NOW, family_id="F3")
    assert [len(acts(b)) - before[b] for b in (all_sites, north, south)] == [2, 1, 1]


def test_an_act_that_waits_for_a_long_file_is_on_the_access_log_at_once(app: Any) -> None:
    browser, people = browser_of(app, "manager"), app.service.store.people
    before = len(acts(browser))
    with app.service.store._database.writing():  # a long file
        for minutes, number in ((20, 1), (40, 2)):
            at = NOW - timedelta(minutes=minutes)
            people.note("N1", Access.OPENED_FAMILY, at, family_id="F1")
            assert len(acts(browser)) == before + number
    people.note("N1", Access.OPENED_FAMILY, NOW, family_id="F2")  # moves those that wait
    assert len(acts(browser)) == before + 3


def test_the_access_log_of_another_store_is_another_one(tmp_path: Path) -> None:
    versions = []
    for name in ("one", "other"):
        with Store.open(f"sqlite:///{tmp_path}/{name}.sqlite") as store:
            store.people.note("N1", Access.OPENED_FAMILY, NOW, family_id="F1")
            versions += [store.people.accesses_version(), store.people.accesses_version()]
    assert versions[0] == versions[1] != versions[2] == versions[3]

"""An educator plans a session, several people share it, and who came leaves the list."""

from __future__ import annotations

import re
import shutil
from dataclasses import replace
from datetime import date
from html import unescape

import pytest

from analysis.policy import shipped_policy
from analysis.starter import texts_in_english
from analysis.starter.texts import as_toml
from analysis.store import Change
from analysis.tables.training_sessions import SessionPlan
from analysis.vocabulary import Role
from dashboard.addresses.retraining import NeedsChoice, dated_address
from dashboard.app import create_app
from dashboard.config import DashboardConfig
from dashboard.retraining.queries import RetrainingQueries
from dashboard.security.roles import Reader
from tests.retrained import fill
from tests.signed_in import Browser, Clock, browser_of, is_named, knows


@pytest.fixture(scope="module")
def programme(tmp_path_factory):
    return fill(tmp_path_factory.mktemp("session-pages"))


@pytest.fixture
def clock():
    return Clock()


def app_in(folder, programme, clock):
    file = shutil.copy(programme, folder / "store.sqlite")
    return create_app(DashboardConfig(store_url=f"sqlite:///{file}", clock=clock))


@pytest.fixture
def app(programme, tmp_path, clock):
    made = app_in(tmp_path, programme, clock)
    knows(made.service, programme)
    yield made
    made.service.close()


@pytest.fixture(scope="module")
def app_without_sessions(programme, tmp_path_factory):
    """Nothing is stored in it."""
    made = app_in(tmp_path_factory.mktemp("no-sessions"), programme, Clock())
    yield made
    made.service.close()


def token(person: Browser, path: str) -> dict[str, str]:
    text = person.get(path).text
    hidden = r'name="(csrf_token|form|since|row)" value="([^"]*)"'
    return dict(re.findall(hidden, text))


def plan(person: Browser, path: str = "/retraining/sessions/new", **typed):
    sent = {
        **token(person, path),
        "held_on": "2031-03-04",
        "starts_at": "10:00",
        "venue": "room 2",
        "held_by": "E1, E2",
        "skills": ["dressing_change"],
        "invited": ["F1;K1", "F2;K2"],
        **typed,
    }
    return person.post(path, sent)


def act(person: Browser, name: str, number: int = 1, **typed: str):
    path = dated_address(number)
    return person.post(f"{path}/{name}", {**token(person, path), **typed})


def listed(app) -> list[tuple[str, str | None]]:
    session = app.service.session_of(Reader("E1", Role.EDUCATOR))
    view = RetrainingQueries(session).needs(NeedsChoice())
    return [(row.family_id, row.caregiver_id) for row in view.rows]


def test_from_the_list_to_a_session_whose_attendance_takes_all_off_the_list(app, clock):
    educator = browser_of(app, "E1")
    assert ("F2", "K2") in listed(app)
    form = educator.get("/retraining/sessions/new?family=F2&caregiver=K2").text
    assert re.findall(r'value="(F\d;K\d)" checked', form) == ["F2;K2"]
    group = "/retraining/sessions/new?sheet=1&site=North&need=mask&size=8"
    checked = re.findall(r'value="(F\d;K\d)" checked', educator.get(group).text)
    assert checked == ["F1;K1", "F2;K2"]
    assert plan(educator).headers["Location"] == f"{dated_address(1)}?done=planned"
    clock.move(minutes=1)
    done = act(
        educator,
        "attendance",
        **{"dressing_change K1": "with_help", "dressing_change K2": "independent"},
    )
    assert "Marked: 2 caregivers." in done.text
    assert set(listed(app)) == {("F3", "K3"), ("F6", "K6")}
    rows = app.service.store.ingests()
    assert rows.iloc[-1][["table", "stored", "brought_by"]].tolist() == ["sign_offs", 2, "E1"]
    noted = app.service.store.people.accesses()
    assert set(noted.loc[noted["what"] == "marked_refresher", "family_id"]) == {"F1", "F2"}
    again = act(educator, "attendance", **{"dressing_change K2": "independent"})
    assert "Nothing was recorded" in again.text  # sent twice, stored once
    other = act(educator, "attendance", **{"dressing_change K2": "not_yet"})
    assert "stored already" in other.text
    for name in ("cancel", "undo"):
        assert "Who came is recorded already." in act(educator, name, row="1").text
    clock.move(minutes=1)
    assert "Undone" in act(educator, "not-marked").text
    assert ("F2", "K2") in listed(app)


def test_two_educators_share_a_session_and_the_second_change_is_asked_again(app):
    first, second = browser_of(app, "E1"), browser_of(app, "M1")
    plan(first)
    path = f"{dated_address(1)}/change"
    old = token(first, path)
    moved = plan(second, path, held_on="2031-03-11")
    assert moved.headers["Location"].endswith("?done=changed")
    late = plan(first, path, **old, venue="room 9")
    assert late.status_code == 422
    assert "Somebody else changed this session" in late.text
    page = first.get(dated_address(1)).text
    assert "Tuesday 11 March 2031, 10:00" in page
    assert "Who came?" not in page  # it has not taken place
    sent = {"dressing_change K1": "independent"}
    assert "has not taken place" in act(first, "attendance", **sent).text
    assert act(first, "cancel").headers["Location"].endswith("?done=cancelled")
    assert "This session is cancelled." in first.get(dated_address(1)).text
    row = token(first, dated_address(1))["row"]
    assert act(first, "undo", row=row).headers["Location"].endswith("?done=undone")
    assert "This session is cancelled." not in first.get(dated_address(1)).text
    assert "changed again meanwhile" in act(first, "undo", row=row).text


def test_people_of_a_site_see_and_mark_their_own_families_alone(app):
    everybody, south = browser_of(app, "E1"), browser_of(app, "E.south")
    plan(everybody, invited=["F1;K1", "F6;K6"])
    plan(everybody)  # of North alone
    assert south.get(dated_address(2)).status_code == 404
    page = south.get(dated_address(1)).text
    assert is_named("F6", page)
    assert not is_named("F1", page)
    assert "2 families, 1 of other sites" in page
    assert not is_named("F1", south.get(f"{dated_address(1)}/handouts").text)
    assert "Families of other sites are invited too" in act(south, "cancel").text
    both = {"dressing_change K1": "independent", "dressing_change K6": "independent"}
    assert "Marked: 1 caregiver." in act(south, "attendance", **both).text
    assert ("F1", "K1") in listed(app)
    unknown = plan(south, invited=[], others="K1")
    assert "Not known: K1." in unknown.text
    assert 'value="F1;K1"' not in south.get("/retraining/sessions/new?family=F1&caregiver=K1").text


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"held_on": ""}, "Enter the day of the session."),
        ({"starts_at": "9 am"}, "Enter the time as hours and minutes"),
        ({"skills": []}, "Choose at least one skill."),
        ({"invited": []}, "Invite at least one family or caregiver."),
        ({"others": "K99"}, "Not known: K99."),
    ],
)
def test_what_does_not_fit_is_shown_at_its_field_and_what_was_typed_stays(
    app_without_sessions, typed, sentence
):
    app = app_without_sessions
    sent = plan(browser_of(app, "E1"), **{"venue": "upstairs", **typed})
    assert sent.status_code == 422
    assert sentence in sent.text
    assert 'value="upstairs"' in sent.text
    assert app.service.store.sessions.known().empty


def test_a_hand_out_has_each_caregivers_own_steps_and_the_cautions(app):
    educator = browser_of(app, "E1")
    plan(educator, invited=["F2;K2", "F3;K3", "F4;"], language="Finnish")
    text = unescape(educator.get(f"{dated_address(1)}/handouts").text)
    sheets = text.split("<article")[1:]
    assert len(sheets) == 3
    own = next(sheet for sheet in sheets if "K2" in sheet)
    assert "Put on your mask" in own
    counts = "left out in 9 of the 12 changes that you checked yourselves"
    assert f"From your log since 4 September 2030: {counts}." in own
    assert "Let dry" not in own
    assert all("follow your programme's emergency protocol" in sheet for sheet in sheets)
    noted = app.service.store.people.accesses()
    opened = noted[noted["about"] == "hand-out of the session of 2031-03-04"]
    assert set(opened["family_id"]) == {"F2", "F3", "F4"}


def test_a_hand_out_is_in_the_language_of_the_family_where_it_is_translated(
    app, tmp_path, monkeypatch
):
    file = tmp_path / "fi.toml"
    text = as_toml(texts_in_english(shipped_policy().editions[-1]))
    for english, finnish in (
        ('language = "en"', 'language = "fi"'),
        ("{day} {month} {year}", "{day}. {month} {year}"),
        ('"January", "February", "March"', '"tammikuuta", "helmikuuta", "maaliskuuta"'),
        ("Your next training: {day}", "Seuraava koulutus: {day}"),
        ("left out in {missed} of the {seen} changes", "unohtui {missed}/{seen}"),
    ):
        assert english in text
        text = text.replace(english, finnish)
    file.write_text(text, encoding="utf-8")
    broken = tmp_path / "sv.toml"
    broken.write_text('language = "sv"', encoding="utf-8")
    config = replace(app.service.config, texts=(file, broken))
    monkeypatch.setattr(app.service, "config", config)
    educator = browser_of(app, "E1")
    plan(educator, invited=["F2;K2"], held_on="2031-03-18", language="fi-FI")
    plan(educator, invited=["F3;K3"], held_on="2031-03-18", language="ar")
    translated = educator.get(f"{dated_address(1)}/handouts").text
    assert '<article class="handout" lang="fi"' in translated
    assert "Seuraava koulutus: 18. maaliskuuta 2031" in translated
    assert "unohtui 9/12" in translated
    assert "hand-out is in English" not in translated
    assert f"{broken}: these texts are missing" in translated
    other = unescape(educator.get(f"{dated_address(2)}/handouts").text)
    assert '<article class="handout" lang="en"' in other
    assert "1 hand-out is in English, because no texts are translated for the language ar" in other


def test_people_of_a_site_do_not_learn_how_many_sessions_others_plan(app):
    north = Change(
        SessionPlan(date(2031, 3, 4), *[None] * 3, ("flush",), ("E1",), ("F1",), ("K1",))
    )
    app.service.store.sessions.record([north] * 40, "E1", app.service.now())
    south = browser_of(app, "E.south")
    answer = plan(south, invited=["F6;K6"])
    path = answer.headers["Location"].partition("?")[0]
    assert path == dated_address(41)
    shown = [south.get(path).text, south.get(f"{path}/change").text, south.page("/retraining").text]
    south.get(f"{path}/handouts")
    assert path.rpartition("/")[2] in shown[2]
    log = app.service.store.people.accesses()
    noted = log.loc[(log["who"] == "E.south").to_numpy(dtype=bool), "about"].dropna().tolist()
    assert "session of 2031-03-04" in noted
    assert [text for text in (*shown, *noted) if re.search(r"(?<![\w:.])41(?![\w.%])", text)] == []
    assert south.get("/retraining/sessions/41").status_code == 404


def test_a_session_in_the_past_is_entered_afterwards(app):
    educator = browser_of(app, "E1")
    plan(educator, held_on="2031-02-20")
    done = act(educator, "attendance", **{"dressing_change K2": "independent"})
    assert "Marked: 1 caregiver." in done.text
    # K2 left out the mask after that day too, so new evidence decides.
    assert ("F2", "K2") not in listed(app)


def test_roles_without_the_page_get_nothing_of_sessions(app):
    plan(browser_of(app, "E1"))
    for code in ("P1", "R1"):
        person = browser_of(app, code)
        one = dated_address(1)
        for path in ("/retraining/sessions/new", one, f"{one}/change", f"{one}/handouts"):
            assert person.get(path).status_code == 403
    assert browser_of(app, "E1").get(dated_address(7)).status_code == 404
    assert browser_of(app, "E1").get("/retraining/nowhere").status_code == 404

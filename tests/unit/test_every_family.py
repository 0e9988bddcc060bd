"""Can every family be found, and is it shown where it is listed?"""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from analysis.decisions.every_family import every_family
from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.snapshot import take
from analysis.store import Store
from dashboard.addresses.families import FamiliesChoice
from dashboard.families.queries import FamiliesQueries
from dashboard.family_lists.queries import neighbours
from dashboard.security.roles import Reader
from dashboard.session.frames import natural
from tests.signed_in import (
    app_looked_at,
    browser_of,
    is_named,
    programme_file,
)

__all__ = ["app_looked_at", "programme_file"]

AS_OF = datetime(2031, 3, 4, 9, tzinfo=UTC)
# F1: overdue. F2: in date. F3: in hospital. F4: the line is out. F5: one line out, one at home.
LINES = """\
line_id,child_id,family_id,site,nurse,line_type,placed_on,home_from,removed_on,removal_reason,dressing_type,dressing_on
L1,C1,F1,North,N2,picc,2031-01-01,2031-01-10,,,transparent,2031-02-10
L2,C2,F2,North,N10,picc,2031-01-01,2031-01-10,,,transparent,2031-03-01
L3,C3,F3,South,,picc,2031-01-01,2031-01-10,,,transparent,2031-02-10
L4,C4,F4,South,N2,picc,2031-01-01,2031-01-10,2031-02-01,therapy_complete,transparent,2031-01-30
L5,C5,F5,South,N2,picc,2031-01-01,2031-01-10,2031-02-01,therapy_complete,transparent,2031-01-30
L6,C5,F5,North,N10,picc,2031-02-01,2031-02-20,,,transparent,2031-03-01
"""
STAYS = "child_id,from_on,to_on\nC3,2031-03-01,\n"


@pytest.fixture(scope="module")
def families(tmp_path_factory):
    folder = tmp_path_factory.mktemp("every")
    (folder / "lines.csv").write_text(LINES)
    (folder / "stays.csv").write_text(STAYS)
    with Store.open(f"sqlite:///{folder / 'store.sqlite'}") as store:
        files = [folder / "lines.csv", folder / "stays.csv"]
        received = datetime(2031, 3, 3, 20, tzinfo=UTC)
        assert ingest(store, files, shipped_policy(), received_at=received).refused == 0
        found = take(store, shipped_policy(), AS_OF.date())
    return every_family(found.calls, found.timeline).set_index("family_id")


def test_a_family_is_where_its_lines_put_it(families):
    assert dict(families["place"].astype(str)) == {
        "F1": "call_today",
        "F2": "call_this_week",  # at home for weeks and nothing logged
        "F3": "not_at_home",
        "F4": "no_line",
        "F5": "call_this_week",
    }
    assert list(families["n_lines"]) == [1, 1, 0, 0, 1]
    assert list(families["days_overdue"]) == [15, 0, 0, 0, 0]


def test_nurse_and_site_are_those_of_the_line_that_counts_and_codes_those_of_all(families):
    assert list(families["site"]) == ["North", "North", "South", "South", "North"]
    assert list(families["nurse"].fillna("")) == ["N2", "N10", "", "N2", "N10"]
    assert families.loc["F5", "codes"] == "F5 C5 L5 L6"


def queries(app, code: str) -> FamiliesQueries:
    people = {user.code: user for user in app.service.store.people.all()}
    user = people[code]
    sites = None if user.sites is None else frozenset(user.sites)
    return FamiliesQueries(app.service.session_of(Reader(code, user.role, sites, user.families)))


@pytest.mark.parametrize(
    ("text", "family"),
    [("F1", "F1"), ("f3", "F3"), ("L2", "F2"), ("c3", "F3"), ("south", "F3"), ("n1 f2", "F2")],
)
def test_a_search_finds_a_family_by_any_code_nurse_or_site(app_looked_at, text, family):
    assert queries(app_looked_at, "manager").found(text) == family


def test_a_search_for_several_families_or_none_shows_the_list(app_looked_at):
    asked = queries(app_looked_at, "manager")
    assert [asked.found(text) for text in ("", "North", "F", "nobody")] == [None] * 4
    view = asked.families(FamiliesChoice(q="north"))
    assert [row.family_id for row in view.rows] == ["F1", "F2"]
    assert (view.total, view.every) == (2, 3)


def test_people_of_one_site_find_the_families_of_that_site_alone(app_looked_at):
    person = browser_of(app_looked_at, "manager.south")
    assert "/family/" not in person.get("/families/find?q=F1").headers["Location"]
    assert person.get("/families/find?q=F3").headers["Location"] == "/family/F3"
    shown = person.page("/families").text
    assert is_named("F3", shown)
    assert not is_named("F1", shown)
    assert "North" not in shown
    assert person.get("/families/elsewhere").status_code == 404


def test_nobody_searches_without_the_page(app_looked_at):
    for code in ("prevention.granted", "reader.granted"):
        person = browser_of(app_looked_at, code)
        assert person.get("/families/find?q=F1").status_code == 403
        assert 'role=\\"search\\"' not in person.page("/definitions").text
    assert 'role=\\"search\\"' in browser_of(app_looked_at, "educator").page("/definitions").text


@pytest.mark.parametrize(
    ("opened_from", "family", "expected"),
    [
        ("/", "F1", (None, "F3", 1, 3)),
        ("/?nurse=N1", "F1", (None, "F2", 1, 2)),
        ("/?nurse=N1", "F3", (None, "F1", None, 2)),  # not on it: the first comes next
        ("/families?sort=heard", "F3", (None, "F2", 1, 3)),
        ("/families?q=none-such", "F3", None),
    ],
)
def test_a_family_has_a_place_on_the_list_it_was_opened_from(
    app_looked_at, opened_from, family, expected
):
    session = queries(app_looked_at, "manager").session
    at = neighbours(session, opened_from, family)
    assert (at and (at.before, at.after, at.place, at.of)) == expected


def test_nobody_is_led_along_a_list_that_the_role_does_not_open(app_looked_at):
    session = queries(app_looked_at, "educator").session
    assert neighbours(session, "/", "F1") is None
    assert neighbours(session, "/families", "F1") is not None


@pytest.mark.parametrize("sort", ["family", "place", "overdue", "heard", "nurse", "site"])
def test_families_can_be_sorted_by_every_column(app_looked_at, sort):
    view = queries(app_looked_at, "manager").families(FamiliesChoice(sort=sort))
    assert view.rows[0].family_id == ("F3" if sort == "heard" else "F1")
    assert sorted(row.family_id for row in view.rows) == ["F1", "F2", "F3"]


def test_codes_are_sorted_as_people_do():
    assert sorted(["N10", "N2", "N1-10", "N1-9"], key=natural) == ["N1-9", "N1-10", "N2", "N10"]

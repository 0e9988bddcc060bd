"""Is a family's page of an earlier day what it would have been on that day, and nothing more?"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta

import pandas as pd
import pytest

from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.snapshot import Snapshot, of_sites, take
from analysis.store import Store
from analysis.tables import KNOWN
from analysis.vocabulary import Arrangement, CallOutcome, Role
from dashboard.addresses.family import FamilyChoice
from dashboard.config import DashboardConfig
from dashboard.family.queries import FamilyQueries
from dashboard.family.queries import earlier_day as back_in_time
from dashboard.security.roles import Reader
from dashboard.session.service import Service
from dashboard.session.session import Session

NOW = datetime(2031, 3, 10, 9, tzinfo=UTC)

# e1 is corrected on 3 March and moved from F1's line to F2's on 7 March, e2 withdrawn on 5 March;
# L1's dressing order changes on 4 March; L3 becomes known on 6 March alone.
FILES = {
    "lines.csv": """\
line_id,child_id,family_id,site,line_type,placed_on,home_from,dressing_type,change_every_days,received_at
L1,C1,F1,North,tunneled_cvc,2031-02-01,2031-02-05,transparent,,2031-02-05T08:00
L2,C2,F2,South,picc,2031-02-01,2031-02-05,transparent,,2031-02-05T08:00
L1,C1,F1,North,tunneled_cvc,2031-02-01,2031-02-05,transparent,3,2031-03-04T08:00
L3,C3,F3,South,picc,2031-03-01,2031-03-05,transparent,,2031-03-06T08:00
""",
    "stays.csv": """\
child_id,from_on,to_on,place,received_at
C1,2031-02-20,,hospital,2031-02-20T10:00
C1,2031-02-20,2031-02-24,hospital,2031-02-24T10:00
""",
    "caregivers.csv": """\
caregiver_id,family_id,relation,received_at
K1,F1,parent,2031-02-05T08:00
""",
    "sign_offs.csv": """\
caregiver_id,skill,signed_on,outcome,received_at
K1,dressing_change,2031-02-04,with_help,2031-02-06T08:00
K1,dressing_change,2031-02-04,independent,2031-03-02T08:00
""",
    "home_log.csv": """\
entry_id,line_id,done_at,kind,findings,note,void,received_at
e1,L1,2031-03-01,dressing_change,none,first word,,2031-03-01T18:00
e2,L1,2031-03-02,skin_check,fever,,,2031-03-02T18:00
e1,L1,2031-03-01,dressing_change,redness,second word,,2031-03-03T18:00
e3,L2,2031-03-01,dressing_change,none,,,2031-03-04T18:00
e2,L1,2031-03-02,skin_check,fever,,yes,2031-03-05T18:00
e1,L2,2031-03-01,dressing_change,redness,third word,,2031-03-07T18:00
e4,L1,2031-03-06,dressing_change,none,,,2031-03-09T18:00
""",
}


@pytest.fixture(name="url", scope="module")
def _url(tmp_path_factory) -> str:
    folder = tmp_path_factory.mktemp("look-back")
    for name, text in FILES.items():
        (folder / name).write_text(text)
    url = f"sqlite:///{folder / 'store.sqlite'}"
    with Store.open(url) as store:
        summary = ingest(store, [folder / n for n in FILES], shipped_policy(), received_at=NOW)
        assert (summary.refused, summary.faults) == (0, ())
        at = datetime(2031, 3, 3, 9, tzinfo=UTC)
        row = store.record_call("F1", "N1", CallOutcome.REACHED, "will look", date(2031, 3, 5), at)
        store.undo_call(row, "N1", at + timedelta(days=1))
        row = store.arrange(
            Arrangement.ASSIGNED, "F1", "N1", at, made_on=at.date(), assigned_to="N2"
        )
        store.undo_arrangement(row, "N1", at + timedelta(days=1))
    return url


@pytest.fixture(name="service", scope="module")
def _entrance(url) -> Iterator[Service]:
    found = Service.open(DashboardConfig(store_url=url, clock=lambda: NOW))
    yield found
    found.close()


@pytest.fixture(name="queries")
def _queries(service) -> Session:
    return service.session_of(Reader("N1", Role.MANAGER))


@pytest.fixture(name="mornings", scope="module")
def _mornings(service) -> dict[date, Snapshot]:
    """What was known on the day of each change, and on the day before it."""
    news = [date(2031, 2, day) for day in (5, 6, 20, 24)]
    news += [date(2031, 3, day) for day in (*range(1, 8), 9)]
    days = sorted({day - timedelta(days=back) for day in news for back in (0, 1)})
    return {day: take(service.store, shipped_policy(), day) for day in days}


@pytest.mark.parametrize("family", ["F1", "F2", "F3"])
def test_a_family_looked_back_at_is_as_a_look_on_that_day_would_have_found_it(
    service, mornings, family
):
    loaded = service.loaded(None)
    revised = back_in_time.revised_rows(service.store)
    checked = 0
    for day, then in mornings.items():
        found = back_in_time.family_on(loaded, revised, family, day)
        if not (then.records.lines["family_id"] == family).any():
            assert found is None
            continue
        checked += 1
        lines = then.records.lines.query("family_id == @family")
        people = then.records.caregivers.query("family_id == @family")
        expected = {
            "lines": lines,
            "caregivers": people,
            "stays": then.records.stays[then.records.stays["child_id"].isin(lines["child_id"])],
            "outcomes": then.records.outcomes.iloc[:0],
            "sign_offs": then.records.sign_offs[
                then.records.sign_offs["caregiver_id"].isin(people["caregiver_id"])
            ],
            "home_log": then.records.home_log.query("family_id == @family"),
            "calls": then.records.calls.query("family_id == @family"),
            "arrangements": then.records.arrangements.query("family_id == @family"),
            "earlier_lines": then.records.earlier_lines[
                then.records.earlier_lines["line_id"].isin(lines["line_id"])
            ],
        }
        assert found.known_at == then.known_at
        for name in KNOWN:
            pd.testing.assert_frame_equal(
                getattr(found.records, name).reset_index(drop=True),
                expected[name].reset_index(drop=True),
                check_dtype=False,
                check_categorical=False,
            )
    assert checked >= 4


def labels(queries: Session, day: date | None) -> str:
    view = FamilyQueries(queries).family("F1", FamilyChoice(time="all", known_on=day))
    return " ".join(row.label for row in view.table)


def test_the_page_says_what_was_known_then_and_not_what_was_corrected_later(queries):
    assert "first word" in labels(queries, date(2031, 3, 2))
    assert "skin finding" not in labels(queries, date(2031, 3, 2))
    assert "second word" in labels(queries, date(2031, 3, 3))
    assert "red flag: fever" in labels(queries, date(2031, 3, 4))
    assert "red flag" not in labels(queries, date(2031, 3, 5))
    assert "word" not in labels(queries, date(2031, 3, 8))
    assert "call, reached" in labels(queries, date(2031, 3, 3))
    assert "call, reached" not in labels(queries, date(2031, 3, 4))


def test_state_and_reasons_are_those_of_that_morning(queries):
    then = FamilyQueries(queries).family("F1", FamilyChoice(known_on=date(2031, 3, 4)))
    assert then.as_of == date(2031, 3, 4)
    assert then.row.band == "same_day_review"
    # Changed on 1 March; the order of 4 March holds from that day on, so 7 days are allowed.
    assert [(line.state, line.allowed_until) for line in then.lines] == [
        ("in_date", date(2031, 3, 8))
    ]
    before = FamilyQueries(queries).family("F1", FamilyChoice(known_on=date(2031, 3, 3)))
    assert [line.allowed_until for line in before.lines] == [date(2031, 3, 8)]


def test_a_day_that_is_not_earlier_is_today(queries):
    today = FamilyQueries(queries).family("F1", FamilyChoice())
    for day in (NOW.date(), date(2031, 5, 1)):
        view = FamilyQueries(queries).family("F1", FamilyChoice(known_on=day))
        assert view.as_of == today.as_of == NOW.date()
        assert view.choice.known_on is None


def test_a_family_not_yet_known_has_no_page_of_that_day(queries):
    assert FamilyQueries(queries).family("F3", FamilyChoice(known_on=date(2031, 3, 5))) is None
    assert FamilyQueries(queries).family("F3", FamilyChoice(known_on=date(2031, 3, 6))) is not None


def row_of(store: Store, table: str, number: int) -> int:
    """The stored row of a row of its file, counted from the first under the head."""
    frame = store.versions()[table].frame
    return int(frame["row"].iloc[number - 1])


def test_a_source_row_comes_with_the_versions_before_it_newest_first(queries, service):
    second = row_of(service.store, "home_log", 3)
    found = FamilyQueries(queries).source("F1", "home_log", second, date(2031, 3, 4))
    assert dict(found.row.cells)["note"] == "second word"
    assert [dict(v.cells)["note"] for v in found.earlier] == ["first word"]
    assert (found.row.row_number, found.earlier[0].row_number) == (4, 2)
    assert "kits_left" in found.row.blank
    assert "note" not in found.row.blank


def test_a_version_received_later_is_not_shown_in_a_look_back(queries, service):
    first, second = (row_of(service.store, "home_log", n) for n in (1, 3))
    found = FamilyQueries(queries).source("F1", "home_log", first, date(2031, 3, 2))
    assert dict(found.row.cells)["note"] == "first word"
    assert found.earlier == ()
    assert FamilyQueries(queries).source("F1", "home_log", second, date(2031, 3, 2)) is None


def test_what_an_earlier_version_said_of_another_family_stays_with_that_family(queries, service):
    third = row_of(service.store, "home_log", 6)
    assert FamilyQueries(queries).source("F1", "home_log", third) is None
    found = FamilyQueries(queries).source("F2", "home_log", third)
    assert (found.earlier, found.left_out) == ((), 2)


def test_a_person_of_another_site_cannot_look_back_at_a_family(service):
    south = service.session_of(Reader("N2", Role.MANAGER, frozenset({"South"})))
    assert FamilyQueries(south).family("F1", FamilyChoice(known_on=date(2031, 3, 4))) is None
    first = row_of(service.store, "home_log", 1)
    assert FamilyQueries(south).source("F1", "home_log", first, date(2031, 3, 2)) is None
    north = service.session_of(Reader("N1", Role.MANAGER, frozenset({"North"})))
    alone = of_sites(service.snapshot(None), ["North"])
    assert set(alone.records.lines["family_id"]) == {"F1"}
    assert "first word" in labels(north, date(2031, 3, 2))

"""A family moves from one site to another: who sees which of its days, and who calls it?"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pandas as pd
import pytest

from analysis import reports
from analysis.cli.replaying import read_history
from analysis.days import day_number
from analysis.decisions.history import morning_of
from analysis.decisions.mornings import morning
from analysis.ingest import ingest
from analysis.measures.adherence import adherence
from analysis.measures.counts import usual_basis
from analysis.measures.rates import Limits, rates
from analysis.policy import shipped_policy
from analysis.snapshot import of_sites, take
from analysis.store import Store
from analysis.timeline.versions import times_of
from analysis.vocabulary import Grouping, Role, Task
from dashboard.addresses.calls import Choice
from dashboard.addresses.family import FamilyChoice
from dashboard.app import create_app
from dashboard.calls.queries import CallsQueries
from dashboard.config import DashboardConfig
from dashboard.family import layout as family_layout
from dashboard.family.queries import FamilyQueries
from dashboard.security.roles import Reader
from dashboard.session.service import Service

HEADS = "line_id,child_id,family_id,site,line_type,placed_on,home_from,dressing_type,dressing_on"
BEFORE = f"""\
{HEADS}
L1,C1,F1,North,picc,2031-01-01,2031-01-11,transparent,2031-01-11
L2,C2,F2,North,picc,2031-01-01,2031-01-11,transparent,2031-01-11
"""
AFTER = f"""\
{HEADS},valid_from
L1,C1,F1,South,picc,2031-01-01,2031-01-11,transparent,2031-01-11,2031-02-01
"""
LOG = """\
entry_id,line_id,done_at,kind,findings
e1,L1,2031-01-18,dressing_change,none
e2,L1,2031-01-25,dressing_change,rash
e3,L1,2031-02-01,dressing_change,none
e4,L1,2031-02-10,dressing_change,redness
e5,L2,2031-02-16,dressing_change,none
"""
AS_OF = date(2031, 2, 21)
NOW = datetime(2031, 2, 21, 9, tzinfo=UTC)
POLICY = shipped_policy()


@pytest.fixture(name="url", scope="module")
def _url(tmp_path_factory) -> str:
    """F1 moves from North to South on 1 February."""
    return stored(tmp_path_factory.mktemp("moved"), AFTER)


def stored(folder: Path, after: str, received_on: str = "2031-02-03") -> str:
    """A store with the lines, the log and the lines' later rows."""
    url = f"sqlite:///{folder / 'store.sqlite'}"
    with Store.open(url) as store:
        for day, name, text in sorted(
            (
                ("2031-01-11", "lines.csv", BEFORE),
                (received_on, "lines.csv", after),
                ("2031-02-17", "home_log.csv", LOG),
            )
        ):
            path = folder / day / name
            path.parent.mkdir()
            path.write_text(text)
            at = datetime.fromisoformat(day).replace(hour=8, tzinfo=UTC)
            assert ingest(store, [path], POLICY, received_at=at, ingested_at=NOW).refused == 0
    return url


@pytest.fixture(name="store", scope="module")
def _store(url):
    with Store.open(url, create=False) as opened:
        yield opened


def rate(found, by=Grouping.SITE):
    table = rates(found.tallies, "skin", by, usual_basis("skin"), Limits.EXACT)
    return {row["group"]: (row["events"], row["line_days"]) for row in table.to_dict("records")}


def test_each_site_counts_the_days_and_events_while_the_family_was_there(store):
    whole = take(store, POLICY, AS_OF)
    north, south = (of_sites(whole, [site]) for site in ("North", "South"))
    # North: L1 for the 21 days up to the move and L2 for 41; South: L1 for the 20 days since.
    assert rate(whole) == {"North": (1, 62), "South": (1, 20)}
    assert (rate(north), rate(south)) == ({"North": (1, 62)}, {"South": (1, 20)})
    assert rate(north, Grouping.FAMILY) == {"F1": (1, 21), "F2": (0, 41)}
    assert rate(south, Grouping.FAMILY) == {"F1": (1, 20)}
    scored = [adherence(s.tallies, Grouping.ALL, Task.DRESSING) for s in (north, south)]
    # The interval that ended on the day of the move covers North's days.
    assert [list(t["intervals_scored"]) for t in scored] == [[4], [2]]


def test_lists_and_the_familys_page_are_for_the_site_that_follows_it_now(url):
    service = Service.open(DashboardConfig(store_url=url, clock=lambda: NOW))
    north, south = (
        service.session_of(Reader("N1", Role.MANAGER, frozenset({site})))
        for site in ("North", "South")
    )
    listed = [
        {row.family_id for row in CallsQueries(person).calls(Choice()).rows}
        for person in (north, south)
    ]
    assert ("F1" in listed[0], "F1" in listed[1]) == (False, True)
    assert FamilyQueries(north).family("F1", FamilyChoice()) is None
    seen = FamilyQueries(south).family("F1", FamilyChoice("all"))
    assert seen.first < date(2031, 2, 1)
    assert not set(north.snapshot().records.home_log["line_id"]) & {"L1"}
    service.close()


def test_a_move_that_lies_ahead_changes_no_list_yet(store):
    whole = take(store, POLICY, date(2031, 1, 31), date(2031, 2, 3))
    assert set(of_sites(whole, ["North"]).records.lines["line_id"]) == {"L1", "L2"}
    assert of_sites(whole, ["South"]).records.lines.empty


def test_the_reports_of_each_site_count_what_happened_there(store):
    week = reports.week("2031-W05")
    counted = {}
    for site in ("North", "South"):
        data = reports.gather(store, POLICY, week, date(2031, 3, 1), date(2031, 3, 2), [site])
        table = rates(data.tallies, "skin", Grouping.FAMILY, usual_basis("skin"), Limits.EXACT)
        counted[site] = {r["group"]: r["line_days"] for r in table.to_dict("records")}
    # Monday 27 January to Sunday 2 February; F1 is at South from Saturday on.
    assert counted == {"North": {"F1": 5, "F2": 7}, "South": {"F1": 2}}


def test_a_line_of_another_family_since_keeps_its_history_on_that_familys_page(tmp_path):
    after = AFTER.replace("F1,South", "F9,North").replace("2031-02-01", "2031-02-20")
    url = stored(tmp_path, after, "2031-02-20")
    app = create_app(DashboardConfig(store_url=url, clock=lambda: NOW))
    service = app.service
    queries = FamilyQueries(service.session_of(Reader("N1", Role.MANAGER, None)))
    seen = queries.family("F9", FamilyChoice("all"))
    assert [line.last_change_on for line in seen.lines] == [date(2031, 2, 10)]
    listed = service.snapshot(None).timeline
    care = listed.care[(listed.care["task"] == "dressing").to_numpy()]
    in_scored = dict(zip(listed.lines["line_id"], care["intervals_scored"], strict=True))["L1"]
    alone = queries.session.loaded().of_family("F9").timeline.care
    assert alone["intervals_scored"].max() == in_scored
    assert "rash" in " ".join(mark.label for mark in seen.marks)
    then = queries.family("F9", FamilyChoice(known_on=date(2031, 2, 20)))
    assert [line.last_change_on for line in then.lines] == [date(2031, 2, 10)]
    assert queries.family("F1", FamilyChoice()) is None
    with app.server.test_request_context():
        page = str(family_layout.layout(queries.session, "/family/F1", None))
    assert "No line of family F1 is known any more." in page
    service.close()
    # A replayed morning reads the entries of families at home alone, and none is missing.
    history, at = read_history(url), morning_of(AS_OF, POLICY)
    pd.testing.assert_frame_equal(
        morning(history.records(at, by=AS_OF), POLICY, AS_OF),
        morning(history.records(at), POLICY, AS_OF),
    )


def test_earlier_rows_of_lines_that_are_gone_count_for_no_line(url):
    with Store.open(url) as store:
        records = store.records()
    assert not records.earlier_lines.empty
    none = records.lines.iloc[:0]
    words = {
        name: none[name].cat.remove_unused_categories() for name in none.select_dtypes("category")
    }
    without = replace(records, lines=none.assign(**words))
    times = times_of(without, without.lines["line_id"], day_number(AS_OF), POLICY.zone)
    assert times.empty
    assert {"line_id", "start", "site"} <= set(times.columns)

"""Old data, rows not yet known and assumed history are shown on every page, report and command."""

from __future__ import annotations

import shutil
import sys
from datetime import UTC, date, datetime

import pytest

from analysis import reports
from analysis.cli.app import main
from analysis.ingest import ingest
from analysis.measures.completeness import DataStatus, provisional_rates
from analysis.measures.delays import delays
from analysis.measures.late_reports import lateness
from analysis.policy import shipped_policy
from analysis.reports import html_file
from analysis.snapshot import of_sites, take
from analysis.store import Store
from analysis.vocabulary import Basis, Copy, Grouping, Role
from dashboard.app import create_app
from dashboard.config import DashboardConfig
from dashboard.security.roles import PATHS, Page
from tests.ingest_files import CAREGIVERS, LINES, STAYS, written
from tests.signed_in import Clock, app_looked_at, browser_of, programme_file

__all__ = ["app_looked_at", "programme_file"]

POLICY = shipped_policy()
NOW = datetime(2032, 6, 1, 12, tzinfo=UTC)
LATE = "2031-02-20T09:00Z"
LOG = "entry_id,line_id,caregiver_id,done_at,kind,findings,received_at\n" + "".join(
    f"E{day},L1,P1,2031-02-{day:02d}T20:00,skin_check,none,{LATE if day == 8 else ''}\n"
    for day in range(1, 11)
)
KNOWN_AT = date(2031, 2, 14)
"""The newest entry is 4 days old, one is received later, the others are history."""


@pytest.fixture(scope="module")
def file(tmp_path_factory):
    folder = tmp_path_factory.mktemp("history")
    texts = {"lines": LINES, "stays": STAYS, "caregivers": CAREGIVERS, "home_log": LOG}
    paths = [written(folder, f"{name}.csv", text) for name, text in texts.items()]
    with Store.open(f"sqlite:///{folder / 'store.sqlite'}") as store:
        summary = ingest(store, paths, POLICY, received_at=NOW, ingested_at=NOW, history=True)
        assert summary.refused == 0
    return folder / "store.sqlite"


@pytest.fixture(scope="module")
def found(file):
    with Store.open(f"sqlite:///{file}", create=False) as store:
        return take(store, POLICY, KNOWN_AT)


STARTS = ("The newest log entry is 4 days old", "stored row", "loaded as history")


def test_a_person_of_some_sites_sees_what_the_data_rest_on_too(found):
    assert len(found.caveats) == 3
    for sentence, part in zip(found.caveats, STARTS, strict=True):
        assert part in sentence
    sites = found.records.lines["site"].unique()
    some = of_sites(found, sites[:1])
    assert len(some.caveats) == 3
    assert some.records.is_assumed("home_log").any()


def test_rows_of_history_show_no_reporting_delay(found):
    late = lateness(found.records, found.ingests, POLICY, KNOWN_AT)
    assert late.weeks.empty
    (source,) = delays(found.records, found.ingests, POLICY, KNOWN_AT).to_dict("records")
    assert source["entries"] == 0
    months = provisional_rates(found, "skin", Grouping.MONTH, Basis.LINE)
    assert DataStatus.COMPLETE not in set(months["data_status"])


COMMANDS = """
calls
calls done
calls arranged
lines
adherence
rates --event skin
rates provisional --event skin
rates logging --event skin
chart --event skin --by month
chart --event skin --kind t
funnel --event skin
signals
dwell
retraining
retraining sign-offs
retraining sessions
capacity
capacity kits
""".strip().splitlines()


@pytest.mark.parametrize("command", COMMANDS)
def test_each_command_shows_each_caveat_once(command, file, monkeypatch, capsys):
    # The weeks before, which `capacity` replays, have no part in it.
    monkeypatch.setattr("analysis.cli.planning.RECENT_MORNINGS", 2)
    words = [*command.split(), "--store", f"sqlite:///{file}", "--as-of", str(KNOWN_AT)]
    monkeypatch.setattr(sys, "argv", ["linedays", *words])
    with pytest.raises(SystemExit) as stop:
        main()
    err = capsys.readouterr().err
    assert not stop.value.code, err
    assert err.startswith(f"linedays: {STARTS[0]}")
    for part in STARTS:
        assert err.count(part) == 1, err


@pytest.fixture(scope="module")
def data(file):
    with Store.open(f"sqlite:///{file}", create=False) as store:
        return reports.gather(store, POLICY, reports.week("2031-W07"), None, date(2031, 3, 10))


@pytest.mark.parametrize("role", list(reports.REPORTS))
def test_each_report_shows_each_caveat(role, data):
    text = html_file(reports.REPORTS[role](data, Copy.TEAM))
    assert len(data.now.caveats) == 3
    for sentence in data.now.caveats:
        assert text.count(sentence) == 1


def test_a_copy_for_outside_shows_what_it_rests_on_without_numbers_of_rows(file):
    with Store.open(f"sqlite:///{file}", create=False) as store:
        period, known_at = reports.outside_request(reports.month("2031-03"), None, None)
        data = reports.gather(store, POLICY, period, known_at, date(2031, 12, 1))
    text = html_file(reports.REPORTS[Role.PREVENTION](data, Copy.OUTSIDE))
    assert data.now.freshness_sentence in text
    assert "Some rows were loaded as history" in text
    assert data.now.history_sentence not in text


@pytest.fixture(scope="module")
def later(programme_file, tmp_path_factory):
    """The dashboard of the programme five days later."""
    file = shutil.copy(programme_file, tmp_path_factory.mktemp("later") / "programme.sqlite")
    clock = Clock()
    clock.move(days=5)
    made = create_app(DashboardConfig(store_url=f"sqlite:///{file}", clock=clock))
    yield made
    made.service.close()


PATHS_SHOWN = [*(PATHS[p] for p in Page if p is not Page.FAMILY), "/family/F1"]


@pytest.mark.parametrize("code", ["manager", "manager.north"])
def test_each_page_shows_that_the_newest_entry_is_old(code, later):
    person, said = browser_of(later, code), "The newest log entry is 6 days old"
    assert PATHS_SHOWN
    assert [path for path in PATHS_SHOWN if said not in person.page(path).text] == []


def test_files_are_imported_under_the_same_sentence(later):
    # By people of all sites alone.
    text = browser_of(later, "manager").get("/incoming/files").text
    assert "The newest log entry is 6 days old" in text


def test_pages_with_new_data_show_no_caveat(app_looked_at):
    assert "The newest log entry" not in browser_of(app_looked_at, "manager").page("/").text

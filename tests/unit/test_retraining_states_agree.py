"""The call panel, the family's page, the educator's page, report and export show one state."""

from __future__ import annotations

import shutil
import sys

import pandas as pd
import pytest

from analysis import reports
from analysis.cli.app import main
from analysis.policy import shipped_policy
from analysis.snapshot import take
from analysis.store import Store
from analysis.vocabulary import Copy, Role
from dashboard.addresses.calls import Choice
from dashboard.addresses.family import FamilyChoice
from dashboard.addresses.retraining import NeedsChoice
from dashboard.calls.queries import CallsQueries
from dashboard.config import DashboardConfig
from dashboard.family.queries import FamilyQueries
from dashboard.retraining.queries import RetrainingQueries
from dashboard.security.roles import Reader
from dashboard.session.service import Service
from tests.browser.small_programme import take_in
from tests.retrained import NOW, fill

# K2's refresher is of yesterday, K6's of before the last five changes, which all went well.
LATER = """\
caregiver_id,skill,signed_on,outcome,kind
K2,dressing_change,2031-03-02,independent,refresher
K6,dressing_change,2031-01-22,independent,refresher
"""


@pytest.fixture(scope="module")
def url(tmp_path_factory) -> str:
    folder = tmp_path_factory.mktemp("states")
    file = shutil.copy(fill(folder), folder / "store.sqlite")
    with Store.open(f"sqlite:///{file}", create=False) as store:
        take_in(store, folder / "sign_offs.csv", LATER)
    return f"sqlite:///{file}"


def test_every_surface_shows_the_same_state_of_each_caregiver_and_step(url, tmp_path, monkeypatch):
    service = Service.open(DashboardConfig(store_url=url, clock=lambda: NOW))
    manager = service.session_of(Reader("M1", Role.MANAGER))
    page = {
        (r.family_id, r.caregiver_id, r.step_name): r.state
        for r in RetrainingQueries(manager).needs(NeedsChoice(show="all")).rows
    }
    panel, family, words = {}, {}, {}
    for code in {family for family, _, _ in page}:
        opened = CallsQueries(manager).opened(code, Choice())
        own = FamilyQueries(manager).family(code, FamilyChoice())
        panel |= {(code, n.caregiver_id, n.step_name): n.state for n in opened.needs}
        words |= {(code, n.caregiver_id, n.step_name): n.words for n in opened.needs}
        family |= {(code, n.caregiver_id, n.step_name): n.state for n in own.needs}
        assert opened.needs == own.needs
    service.close()
    assert {page[key] for key in page} >= {"retrain", "too_early", "improved"}
    assert panel == family == {k: state for k, state in page.items() if state != "no_need"}

    file = tmp_path / "needs.csv"
    command = ["linedays", "retraining", "--store", url, "--as-of", "2031-03-04"]
    monkeypatch.setattr(sys, "argv", [*command, "--out", str(file)])
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 0
    table = pd.read_csv(file)
    names = {key[2].replace(" ", "_"): key[2] for key in page}
    exported = {
        (row["family_id"], row["caregiver_id"], names.get(row["step"], row["step"])): row["state"]
        for row in table[table["step"] != "no_sign_off"].to_dict("records")
    }
    assert len(exported) == len(page)
    assert sorted(exported.values()) == sorted(page.values())

    with Store.open(url, create=False) as store:
        found = take(store, shipped_policy(), NOW.date())
        week = reports.week("2031-W09")
        mornings = dict.fromkeys(week.mornings, found)
        data = reports.ReportData(week, found, mornings, refused=None)
        report = reports.REPORTS[Role.EDUCATOR](data, Copy.TEAM)
    part = next(p for p in report.parts if p.title == "Who needs retraining first?")
    shown = {tuple(row[:3]) for row in part.tables[0].rows}
    watched = {tuple(row[:3]): row[3] for row in part.tables[1].rows}
    assert shown == {key for key, state in page.items() if state == "retrain"}
    assert set(watched) == {k for k, s in page.items() if s not in ("retrain", "no_need")}
    assert watched.items() <= words.items()
    assert any("watch (0 changes since, 0 missed; before, 9 of 12)" in w for w in words.values())

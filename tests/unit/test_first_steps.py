"""Where there is nothing to show, does each page say what to do first?"""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.store import Store
from analysis.vocabulary import Role
from dashboard.app import create_app
from dashboard.config import DashboardConfig
from tests.signed_in import PASSWORD, browser_of

NOW = datetime(2031, 3, 4, 9, tzinfo=UTC)
PATHS = ("/", "/families", "/retraining", "/rates", "/dwell", "/definitions")
ENDED = """\
line_id,child_id,family_id,site,line_type,placed_on,home_from,removed_on,removal_reason,dressing_type
L1,C1,F1,North,picc,2031-01-01,2031-01-10,2031-02-01,therapy_complete,transparent
"""


@pytest.fixture(scope="module")
def app_over(tmp_path_factory):
    """Serve a store with the lines of a text, or none."""
    made = []

    def serve(lines: str | None):
        folder = tmp_path_factory.mktemp("first")
        with Store.open(f"sqlite:///{folder / 'store.sqlite'}") as store:
            store.people.add("M1", PASSWORD, Role.MANAGER, NOW, by="command line")
            store.people.add("N1", PASSWORD, Role.NURSE, NOW, by="command line")
            if lines is not None:
                (folder / "lines.csv").write_text(lines)
                received = datetime(2031, 3, 3, tzinfo=UTC)
                ingest(store, [folder / "lines.csv"], shipped_policy(), received_at=received)
        config = DashboardConfig(f"sqlite:///{folder / 'store.sqlite'}", clock=lambda: NOW)
        made.append(create_app(config))
        return made[-1]

    yield serve
    for app in made:
        app.service.close()


def test_an_empty_store_asks_for_the_line_registry_on_every_page(app_over):
    app = app_over(None)
    manager, nurse = browser_of(app, "M1"), browser_of(app, "N1")
    for path in PATHS:
        shown = manager.page(path)
        assert shown.status_code == 200, path
        assert "First import the line registry" in shown.text, path
        assert ">Import files<" in shown.text, path
    assert "Someone who may import files" in nurse.page("/").text


def test_a_store_with_nobody_at_home_leads_to_where_each_family_is(app_over):
    manager = browser_of(app_over(ENDED), "M1")
    for path in PATHS:
        shown = manager.page(path).text
        assert "of 1 known line none is" in shown, path
    assert "No line now" in manager.page("/families").text

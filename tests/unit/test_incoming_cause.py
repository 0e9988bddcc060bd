"""All refused rows of one cause are corrected on the page: shown first, saved, undone."""

from __future__ import annotations

import re
from datetime import timedelta
from html import unescape
from pathlib import Path

from analysis.ingest import ingest
from analysis.policy import shipped_policy
from tests.signed_in import NOW, app, browser_of, clock, programme_file, store_url
from tests.unit.test_incoming_page import seen
from tests.unit.test_incoming_source import form_of

__all__ = ["app", "clock", "programme_file", "store_url"]

BAD = "entry_id,line_id,done_at,kind\n" + "".join(f"c{n},L1,2031-03-0{n},bath\n" for n in (1, 2, 3))


def test_rows_of_one_cause_are_corrected_shown_first_and_undone(app, tmp_path: Path) -> None:
    (log := tmp_path / "home_log.csv").write_text(BAD)
    at = NOW - timedelta(hours=1)
    ingest(app.service.store, [log], shipped_policy(), received_at=at, ingested_at=at)
    manager = browser_of(app, "manager")
    found = re.search(r'/incoming/cause\?[^"\\]*', seen(manager))
    assert found is not None
    page = manager.get(unescape(found[0]))
    assert "3 rows, kind" in page.text
    form = {**form_of(page.text), "written": "skin_check"}
    shown = manager.post("/incoming/cause", {**form, "do": "show"})
    assert "Nothing is stored yet: 3 would be stored, none still refused." in shown.text
    assert len(app.service.store.refused()) == 3
    done = manager.post("/incoming/cause", {**form, "do": "save"})
    assert "3 were stored, none still refused." in done.text
    assert app.service.store.refused().empty
    undone = manager.post("/incoming/cause", {**form_of(done.text), "do": "undo"})
    assert "The correction is undone." in undone.text
    assert len(app.service.store.refused()) == 3
    assert manager.post("/incoming/cause", {**form, "written": "", "do": "save"}).status_code == 409
    other = browser_of(app, "prevention")
    assert "/incoming/cause" not in seen(other)
    assert other.get(unescape(found[0])).status_code == 403

"""A person of one site learns nothing of how much other sites send: no page holds a row number."""

from __future__ import annotations

import json
import re
from datetime import timedelta

import pytest

from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.vocabulary import CallOutcome
from dashboard.layout.row_tokens import row_behind, row_token
from tests.signed_in import (
    NOW,
    app,
    browser_of,
    callback_request,
    clock,
    programme_file,
    store_url,
)

__all__ = ["app", "clock", "programme_file", "store_url"]

MANY = 800
NUMBERED = re.compile(r"(row-[a-z_]+-|remove-)?-?\d+")


def send(app, tmp_path, site: str, line: str, n: int) -> None:
    """Entries of a line, numbered in the store after those of before."""
    file = tmp_path / f"home_log_{site}_{n}.csv"
    days = [NOW - timedelta(hours=9 + 2 * k) for k in range(n)]
    rows = [f"{site}-{k},{line},{day:%Y-%m-%dT%H:%M},skin_check,none" for k, day in enumerate(days)]
    file.write_text("\n".join(["entry_id,line_id,done_at,kind,findings", *rows]) + "\n")
    summary = ingest(app.service.store, [file], shipped_policy(), received_at=NOW)
    assert summary.refused == 0


def rows_of(text: str) -> set[str]:
    """What a page holds as names of rows: attributes, fields and data of figures."""
    text = text.replace('\\"', '"')
    attributes = re.findall(r'data-(?:row|undoes|key)="([^"]*)"', text)
    fields = re.findall(r'name="(?:newest_call|row|since)" value="([^"]*)"', text)
    points = re.findall(
        r'\["(?:home_log|stays|lines|calls|sign_offs|outcomes)", ?("?[^"\]]*"?)\]', text
    )
    return {*attributes, *fields, *(point.strip('"') for point in points)}


@pytest.fixture
def of_both_sites(app, tmp_path):
    send(app, tmp_path, "South", "L3", MANY)
    send(app, tmp_path, "North", "L1", 3)
    record = app.service.store.record_call
    for reader, family, times in (("manager.south", "F3", 40), ("manager.north", "F1", 1)):
        for k in range(times):
            at = NOW - timedelta(minutes=60 - k)
            record(family, reader, CallOutcome.NO_ANSWER, None, None, at, form=f"{reader} {k}")
    return app


def test_no_page_of_one_site_holds_the_number_of_a_row(of_both_sites):
    app = of_both_sites
    person = browser_of(app, "manager.north")
    pages = [person.page("/"), person.page("/", "?family=F1"), person.page("/family/F1")]
    assert [page.status_code for page in pages] == [200, 200, 200]
    found = set().union(*(rows_of(page.text) for page in pages))
    assert len(found) > 5
    assert [name for name in sorted(found) if NUMBERED.fullmatch(name)] == []
    records = app.service.snapshot(None).records
    numbers = {str(n) for n in records.home_log["row"][records.home_log["line_id"] == "L1"]}
    assert max(map(int, numbers)) > MANY
    text = "".join(page.text for page in pages)
    assert [
        n for n in sorted(numbers) if len(n) > 2 and re.search(rf"(?<![\w.]){n}(?![\w.])", text)
    ] == []


def test_a_token_opens_the_row_of_its_table_and_no_other():
    token = row_token(812, "home_log")
    assert row_behind(token, "home_log") == 812
    assert row_behind(token, "calls") is None
    for other in (812, "812", None, "", token[:-4], "é", [token]):
        assert row_behind(other, "home_log") is None


def test_a_click_on_a_mark_still_shows_its_row(of_both_sites):
    app = of_both_sites
    person = browser_of(app, "manager.north")
    page = person.page("/family/F1").text
    tokens = re.findall(r'\["home_log", ?"([^"]+)"\]', page.replace('\\"', '"'))
    token = next(t for t in tokens if row_behind(t, "home_log") > 0)  # no gap
    click = {"points": [{"customdata": ["home_log", token]}]}
    values = {"family-figure.clickData": click, "url.pathname": "/family/F1"}
    asked = callback_request(app, "family-source.children", **values)
    asked["changedPropIds"] = ["family-figure.clickData"]
    assert "skin check" in json.dumps(person.ask(asked).json)

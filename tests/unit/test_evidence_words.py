"""Is a stored row shown in words, in the programme's own time, one label a cell?"""

from __future__ import annotations

from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from analysis.vocabulary import Role
from dashboard.evidence.queries import sources_of, worded
from dashboard.layout import words
from dashboard.security.roles import Reader
from tests.signed_in import app_looked_at, programme_file

__all__ = ["app_looked_at", "programme_file"]


@pytest.fixture
def found(app_looked_at):
    return app_looked_at.service.snapshot(None)


@pytest.mark.parametrize(
    ("table", "head", "text", "shown"),
    [
        ("home_log", "kind", "skin_check", "skin check"),
        ("home_log", "findings", "redness;line_pulled", "redness, line pulled"),
        ("home_log", "findings", "none", "looked, nothing seen"),
        ("home_log", "steps_missed", "none", "none"),
        ("home_log", "done_on", "2031-03-03", "3 Mar 2031"),
        ("home_log", "done_on", "tomorrow", "tomorrow"),
        ("home_log", "note", "skin_check on 2031-03-03", "skin_check on 2031-03-03"),
        ("home_log", "a column of its own", "a_b", "a_b"),
        ("lines", "line_type", "tunneled_cvc", "tunneled line"),
    ],
)
def test_a_cell_is_shown_as_a_person_reads_it(found, table, head, text, shown):
    assert worded(table, head, text, found) == shown


def test_a_moment_is_shown_in_the_programmes_own_time(found):
    zone = ZoneInfo("Asia/Tokyo")
    policy = replace(found.policy, time_zone=str(zone))
    there = replace(found, policy=policy)
    assert worded("home_log", "done_at", "2031-03-03 22:30:00 UTC", there) == "4 Mar 2031, 07:30"


def test_no_row_has_two_cells_of_one_label_or_a_raw_code(app_looked_at, found):
    records = found.records
    wanted = [
        (name, int(row)) for name in ("home_log", "lines") for row in getattr(records, name)["row"]
    ]
    reader = Reader("N1", Role.MANAGER)
    sources = sources_of(wanted, app_looked_at.service.store, found, reader)
    assert len(sources) == len(wanted)
    for source in sources.values():
        labels = [words.head(name) for name, _ in source.cells]
        assert len(labels) == len(set(labels))
        shown = " ".join(text for _, text in source.cells)
        assert "_" not in shown
        assert "UTC" not in shown

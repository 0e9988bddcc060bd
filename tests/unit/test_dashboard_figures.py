"""Does the history of a line hold what was logged, and does each mark lead to its row?"""

from __future__ import annotations

from datetime import date

import pandas as pd
import pytest

from analysis import timeline
from analysis.policy import shipped_policy
from analysis.tables import KNOWN, Records
from dashboard import history
from dashboard.figures import line_history

AS_OF = date(2031, 3, 10)
CODES = history.Codes(
    labels={"redness": "redness", "itch": "itch", "fever": "fever", "pus": "pus"},
    skin=frozenset({"redness", "pus"}),
    red=frozenset({"fever", "pus"}),
    compromised=frozenset({"loose", "damp", "soiled"}),
    nothing_seen="none",
)

LOG = """
row done_on    kind            dressing_condition change_reason findings
11  2031-02-03 dressing_change intact             scheduled     none
12  2031-02-07 skin_check      damp               -             redness;itch
13  2031-02-08 dressing_change damp               damp          -
14  2031-02-10 skin_check      -                  -             itch
15  2031-02-12 note            -                  -             pus;fever
16  2031-02-23 dressing_change intact             scheduled     none
"""
STAYS = """
row from_on    to_on      place    dressing_on
41  2031-02-17 2031-02-20 hospital 2031-02-18
"""


def table(text: str, name: str, **fixed: object) -> pd.DataFrame:
    """A frame of the catalogue from a table written as text; ``-`` is blank."""
    head, *lines = (line.split() for line in text.strip().splitlines())
    columns = {
        column: [None if cells[at] == "-" else cells[at] for cells in lines]
        for at, column in enumerate(head)
    }
    columns["row"] = [int(r) for r in columns["row"]]
    received = {"received_at": ["2031-03-09"] * len(lines)}
    return KNOWN[name].build(
        {**columns, **received, **{k: [v] * len(lines) for k, v in fixed.items()}}
    )


@pytest.fixture(name="records", scope="module")
def _records() -> history.LineRecords:
    lines = KNOWN["lines"].build(
        {
            "row": [1],
            "received_at": ["2031-01-01"],
            "line_id": ["L1"],
            "child_id": ["C1"],
            "family_id": ["F1"],
            "site": ["North"],
            "line_type": ["tunneled_cvc"],
            "placed_on": ["2031-01-20"],
            "home_from": ["2031-02-01"],
            "dressing_type": ["transparent"],
            "dressing_on": ["2031-01-30"],
        }
    )
    log = table(LOG, "home_log", line_id="L1", family_id="F1")
    stays = table(STAYS, "stays", child_id="C1")
    calls = KNOWN["calls"].build(
        {
            "row": [71, 72],
            "made_at": ["2031-02-13T10:00", "2031-02-14T10:00"],
            "made_on": ["2031-02-13", "2031-02-14"],
            "family_id": ["F1", "F1"],
            "made_by": ["N1", "N1"],
            "reached": [False, True],
            "recheck_on": ["2031-02-15", "2031-02-16"],
        }
    )
    known = Records.of({"lines": lines, "home_log": log, "stays": stays, "calls": calls})
    found = timeline.build(known, shipped_policy(), AS_OF)
    spans = found.intervals
    return history.LineRecords(
        intervals=spans[spans["task"] == "dressing"].reset_index(drop=True),
        entries=log,
        family_entries=log,
        line=lines,
        stays=stays,
        outcomes=known.outcomes,
        calls=calls,
        heard_from=pd.Timestamp("2031-02-01"),
        silent_after_days=8,
    )


def days(frame: pd.DataFrame, column: str) -> list[str]:
    return [f"{d:%m-%d}" for d in frame[column]]


def of_kind(frame: pd.DataFrame, kind: str) -> pd.DataFrame:
    return frame[frame["kind"] == kind]


def test_changes_of_the_family_and_of_the_clinic_are_told_apart_and_lead_to_their_rows(records):
    marks = history.marks_of(records, CODES, AS_OF)
    home, clinic = of_kind(marks, "changed"), of_kind(marks, "changed_by_clinic")
    assert list(zip(days(home, "on"), home["table"], home["row"], strict=True)) == [
        ("02-03", "home_log", 11),
        ("02-08", "home_log", 13),
        ("02-23", "home_log", 16),
    ]
    assert list(zip(days(clinic, "on"), clinic["table"], clinic["row"], strict=True)) == [
        ("01-30", "lines", 1),
        ("02-18", "stays", 41),
    ]


def test_a_dressing_found_damp_is_out_of_date_from_that_day(records):
    spans = history.spans_of(records, AS_OF)
    late = of_kind(spans, "out_of_date")
    # Damp on 7 Feb, changed on 8 Feb; 7 days from 8 Feb pass on 15 Feb; from 23 Feb on 2 March.
    assert list(zip(days(late, "start_on"), days(late, "end_on"), strict=True)) == [
        ("02-07", "02-08"),
        ("02-15", "02-17"),
        ("03-02", "03-10"),
    ]


def test_a_night_away_leads_to_the_stay(records):
    away = of_kind(history.spans_of(records, AS_OF), "away")
    assert days(away, "start_on") == ["02-17"]
    assert days(away, "end_on") == ["02-20"]
    assert list(away["row"]) == [41]
    assert list(away["label"]) == ["away: hospital"]


def test_only_runs_without_an_entry_longer_than_the_limit_are_shown_as_silence(records):
    silent = of_kind(history.spans_of(records, AS_OF), "silent")
    # 12 to 23 Feb is 11 days, 23 Feb to the as-of day 15; 3 to 7 Feb is not longer than 8.
    assert list(zip(days(silent, "start_on"), days(silent, "end_on"), strict=True)) == [
        ("02-13", "02-23"),
        ("02-24", "03-10"),
    ]


def test_findings_watched_signs_and_clear_looks_are_three_kinds(records):
    marks = history.marks_of(records, CODES, AS_OF)
    assert list(of_kind(marks, "finding")["label"]) == [
        "skin finding: redness",
        "skin finding: pus",
    ]
    assert list(of_kind(marks, "watched")["row"]) == [14]
    assert list(of_kind(marks, "clear")["row"]) == [11, 16]


def test_a_code_with_two_marks_is_shown_as_both(records):
    marks = history.marks_of(records, CODES, AS_OF)
    assert list(of_kind(marks, "red_flag")["label"]) == ["red flag: fever, pus"]
    assert 15 in set(of_kind(marks, "finding")["row"])


def test_a_blank_finding_is_no_clear_look(records):
    marks = history.marks_of(records, CODES, AS_OF)
    assert 13 not in set(of_kind(marks, "clear")["row"])


def test_a_call_on_which_nobody_was_reached_is_shown_apart(records):
    marks = history.marks_of(records, CODES, AS_OF)
    assert list(of_kind(marks, "not_reached")["row"]) == [71]
    assert list(of_kind(marks, "reached")["row"]) == [72]


def test_nothing_dated_after_the_as_of_day_is_shown(records):
    marks = history.marks_of(records, CODES, date(2031, 2, 9))
    assert set(marks.loc[marks["table"] == "home_log", "row"]) <= {11, 12, 13, 16}
    assert set(marks.loc[marks["track"] == "log", "row"]) == {11, 12, 13}


@pytest.fixture(name="figure", scope="module")
def _figure(records):
    spans, marks = history.spans_of(records, AS_OF), history.marks_of(records, CODES, AS_OF)
    return line_history(spans, marks, as_of=AS_OF, start_on=date(2031, 1, 20))


def test_no_trace_needs_webgl(figure):
    assert {trace.type for trace in figure.data} == {"bar", "scatter"}


def test_every_mark_and_bar_carries_its_row(figure, records):
    marks = history.marks_of(records, CODES, AS_OF)
    drawn = [tuple(point) for trace in figure.data for point in trace.customdata]
    assert all(len(point) == 2 for point in drawn)
    for trace in figure.data:
        assert len(trace.customdata) == len(trace.y), trace.name
    expected = set(zip(marks["table"], marks["row"], strict=True))
    assert expected <= set(drawn)


def test_marks_and_spans_are_told_apart_without_colour(figure):
    points = [t for t in figure.data if t.type == "scatter"]
    symbols = {(t.y[0], t.marker.symbol) for t in points}
    assert len(symbols) == len(points)
    bars = {
        t.name: (t.marker.pattern.shape, t.marker.color) for t in figure.data if t.type == "bar"
    }
    assert bars["out_of_date"][0] == "/"
    assert bars["away"][0] == "-"
    assert bars["in_date"][0] is None


def test_every_row_of_the_figure_is_named_in_words(figure):
    named = " ".join(str(note.text) for note in figure.layout.annotations)
    for words in (
        "Dressing",
        "Found loose, damp or soiled",
        "Skin",
        "Red flag",
        "Nights away",
        "Log",
        "Calls",
    ):
        assert words in named


def test_a_row_with_nothing_in_it_says_so():
    empty_spans = pd.DataFrame({c: pd.Series([], dtype="object") for c in history.SPANS})
    empty_marks = pd.DataFrame({c: pd.Series([], dtype="object") for c in history.MARKS})
    for frame, columns in ((empty_spans, ("start_on", "end_on")), (empty_marks, ("on",))):
        for column in columns:
            frame[column] = frame[column].astype("datetime64[s]")
    figure = line_history(empty_spans, empty_marks, as_of=AS_OF, start_on=date(2031, 2, 1))
    assert len(figure.data) == 0
    said = [str(note.text) for note in figure.layout.annotations]
    assert sum("none in this time" in text for text in said) == 7


def test_a_span_is_cut_at_the_first_day_shown_but_says_its_whole_length(records):
    spans, marks = history.spans_of(records, AS_OF), history.marks_of(records, CODES, AS_OF)
    figure = line_history(spans, marks, as_of=AS_OF, start_on=date(2031, 3, 5))
    late = next(t for t in figure.data if t.name == "out_of_date")
    assert list(late.base) == ["2031-03-05"]
    assert "02 Mar 2031 to 10 Mar 2031, 8 days" in late.hovertext[0]


def test_a_due_day_ahead_is_named(records):
    spans, marks = history.spans_of(records, AS_OF), history.marks_of(records, CODES, AS_OF)
    figure = line_history(
        spans, marks, as_of=AS_OF, start_on=date(2031, 2, 1), due_on=date(2031, 3, 14)
    )
    assert any("due 14 Mar" in str(note.text) for note in figure.layout.annotations)


def test_names_beside_marks_give_way_where_marks_crowd():
    marks = pd.DataFrame(
        {
            "track": "red_flag",
            "kind": "red_flag",
            "on": pd.to_datetime(["2031-02-01", "2031-03-05", "2031-03-07"]).as_unit("s"),
            "label": ["red flag: fever", "red flag: chills", "red flag: bleeding"],
            "table": "home_log",
            "row": [1, 2, 3],
        }
    )
    spans = pd.DataFrame({c: pd.Series([], dtype="object") for c in history.SPANS})
    spans = spans.astype({"start_on": "datetime64[s]", "end_on": "datetime64[s]"})
    figure = line_history(spans, marks, as_of=AS_OF, start_on=date(2031, 1, 20))
    (flags,) = figure.data
    assert [text.strip() for text in flags.text] == ["fever", "chills", ""]
    assert list(flags.textposition[:2]) == ["middle left", "middle left"]

"""Does the history of a family hold what was logged, and does each mark lead to its row?"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from zoneinfo import ZoneInfo

import pandas as pd
import plotly.graph_objects as go
import pytest

from analysis import timeline
from analysis.policy import shipped_policy
from analysis.tables import KNOWN, Records
from dashboard.family import history
from dashboard.figures import Group, Mark, Span, family_strip
from dashboard.session.frames import plain_cells

AS_OF = date(2031, 3, 10)
CODES = history.Codes(
    labels={"redness": "redness", "itch": "itch", "fever": "fever", "pus": "pus"},
    skin=frozenset({"redness", "pus"}),
    red=frozenset({"fever", "pus"}),
    compromised=frozenset({"loose", "damp", "soiled"}),
    nothing_seen="none",
)

LOG = """
row done_on    received_at kind            dressing_condition change_reason findings     note
11  2031-02-03 2031-02-03  dressing_change intact             scheduled     none         -
12  2031-02-07 2031-02-07  skin_check      damp               -             redness;itch -
13  2031-02-08 2031-02-08  dressing_change damp               damp          -            -
14  2031-02-10 2031-02-12  skin_check      -                  -             itch         -
15  2031-02-12 2031-02-20  note            -                  -             pus;fever    warm
16  2031-02-23 2031-03-04  dressing_change intact             scheduled     none         -
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
        {**received, **columns, **{k: [v] * len(lines) for k, v in fixed.items()}}
    )


LINES = """
row line_id child_id placed_on  home_from  dressing_on removed_on
1   L1      C1       2031-01-20 2031-02-01 2031-01-30  -
2   L2      C2       2031-03-01 2031-03-03 -           2031-03-08
"""
SIGNED = """
row signed_on  skill           outcome     kind
81  2031-02-01 dressing_change independent first
82  2031-02-25 dressing_change with_help   refresher
"""


def rows_of(found, known) -> dict[str, history.Rows]:
    """What is known of one family as plain values."""
    frames = {
        "lines": (found.lines, history.OF_LINES),
        "registry": (known.lines, history.OF_REGISTRY),
        "home_periods": (found.home_periods, history.OF_PERIODS),
        "accessed_periods": (found.accessed_periods, history.OF_PERIODS),
        "intervals": (found.intervals, history.OF_INTERVALS),
        "entries": (known.home_log, history.OF_ENTRIES),
        "stays": (known.stays, history.OF_STAYS),
        "outcomes": (known.outcomes, history.OF_OUTCOMES),
        "calls": (known.calls, history.OF_CALLS),
        "sign_offs": (known.sign_offs, history.OF_SIGN_OFFS),
    }
    return {name: plain_cells(frame, *columns) for name, (frame, columns) in frames.items()}


@pytest.fixture(name="records", scope="module")
def _records() -> history.FamilyRecords:
    lines = table(
        LINES,
        "lines",
        family_id="F1",
        site="North",
        line_type="tunneled_cvc",
        dressing_type="transparent",
    )
    log = table(LOG, "home_log", line_id="L1", family_id="F1")
    stays = table(STAYS, "stays", child_id="C1")
    calls = KNOWN["calls"].build(
        {
            "row": [71, 72],
            "received_at": ["2031-02-13T10:00", "2031-02-14T10:00"],
            "called_at": ["2031-02-13T10:00", "2031-02-14T10:00"],
            "called_on": ["2031-02-13", "2031-02-14"],
            "family_id": ["F1", "F1"],
            "called_by": ["N1", "N1"],
            "outcome": ["no_answer", "reached"],
            "recheck_on": ["2031-02-15", "2031-02-16"],
        }
    )
    signed = table(SIGNED, "sign_offs", caregiver_id="K1")
    known = Records.of(
        {"lines": lines, "home_log": log, "stays": stays, "calls": calls, "sign_offs": signed}
    )
    found = timeline.build(known, shipped_policy(), AS_OF)
    return history.FamilyRecords(
        **rows_of(found, known),
        silent_after_days=8,
        zone=ZoneInfo("UTC"),
        sees_notes=True,
    )


def spans_of(*known) -> pd.DataFrame:
    return as_frame(history.spans_of(*known), Span)


def marks_of(*known) -> pd.DataFrame:
    return as_frame(history.marks_of(*known), Mark)


def as_frame(rows, kind) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=list(kind._fields))


def days(frame: pd.DataFrame, column: str) -> list[str]:
    return [f"{d:%m-%d}" for d in frame[column]]


def of_kind(frame: pd.DataFrame, kind: str) -> pd.DataFrame:
    return frame[frame["kind"] == kind]


def test_changes_of_the_family_and_of_the_clinic_are_told_apart_and_lead_to_their_rows(records):
    marks = marks_of(records, CODES, AS_OF)
    home, clinic = of_kind(marks, "changed"), of_kind(marks, "changed_by_clinic")
    assert set(home["track"]) == {"dressing"}
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
    spans = spans_of(records, AS_OF)
    late = of_kind(spans, "out_of_date")
    # Damp on 7 Feb, changed on 8 Feb; 7 days from 8 Feb pass on 15 Feb; from 23 Feb on 2 March.
    assert list(zip(days(late, "start_on"), days(late, "end_on"), strict=True)) == [
        ("02-07", "02-08"),
        ("02-15", "02-17"),
        ("03-02", "03-10"),
    ]


def test_a_night_away_leads_to_the_stay(records):
    away = of_kind(spans_of(records, AS_OF), "away")
    assert list(away["group"]) == ["L1"]
    assert days(away, "start_on") == ["02-17"]
    assert days(away, "end_on") == ["02-20"]
    assert list(away["row"]) == [41]
    assert list(away["label"]) == ["child C1 away: hospital"]


def test_only_runs_without_an_entry_longer_than_the_limit_are_shown_as_silence(records):
    silent = of_kind(spans_of(records, AS_OF), "silent")
    # 12 to 23 Feb is 11 days, 23 Feb to the as-of day 15; 3 to 7 Feb is not longer than 8.
    assert list(zip(days(silent, "start_on"), days(silent, "end_on"), strict=True)) == [
        ("02-13", "02-23"),
        ("02-24", "03-10"),
    ]


def test_findings_watched_signs_and_clear_looks_are_three_kinds(records):
    marks = marks_of(records, CODES, AS_OF)
    assert list(of_kind(marks, "finding")["label"]) == [
        "skin finding: redness",
        "skin finding: pus",
    ]
    assert list(of_kind(marks, "watched")["row"]) == [14]
    assert list(of_kind(marks, "clear")["row"]) == [11, 16]


def test_a_code_with_two_marks_is_shown_as_both(records):
    marks = marks_of(records, CODES, AS_OF)
    assert list(of_kind(marks, "red_flag")["label"]) == ["red flag: fever, pus"]
    assert 15 in set(of_kind(marks, "finding")["row"])


def test_a_blank_finding_is_no_clear_look(records):
    marks = marks_of(records, CODES, AS_OF)
    assert 13 not in set(of_kind(marks, "clear")["row"])


def test_a_call_on_which_nobody_was_reached_is_shown_apart(records):
    marks = marks_of(records, CODES, AS_OF)
    assert list(of_kind(marks, "not_reached")["row"]) == [71]
    assert list(of_kind(marks, "reached")["row"]) == [72]


def test_nothing_dated_after_the_as_of_day_is_shown(records):
    marks = marks_of(records, CODES, date(2031, 2, 9))
    assert set(marks.loc[marks["table"] == "home_log", "row"]) <= {11, 12, 13, 16}
    assert set(marks.loc[marks["track"] == "log", "row"]) == {11, 12, 13}


def test_days_at_home_without_a_known_change_are_not_scored(records):
    unscored = of_kind(spans_of(records, AS_OF), "unscored")
    # L1 is at home from 1 Feb with the dressing of 30 Jan; the stay of 17 to 20 Feb cuts the
    # interval of 8 Feb, and its own change of 18 Feb starts the next. L2 never had a change.
    assert list(unscored["group"]) == ["L2"]
    assert days(unscored, "start_on") == ["03-03"]
    assert days(unscored, "end_on") == ["03-08"]


def test_a_change_before_a_line_was_placed_is_none_of_that_line(records):
    lines = [(line, code, "C1", *more) for line, code, _, *more in records.lines]
    # As if L1's intervals were those of L2.
    moved = [(1, *more) for line, *more in records.intervals if line == 0]
    both = replace(records, lines=lines, intervals=moved)
    marks = marks_of(both, CODES, AS_OF)
    assert not (marks["kind"].isin(["changed", "changed_by_clinic"])).any()
    spans = spans_of(both, AS_OF)
    placed = date(2031, 3, 1)
    care = spans[(spans["group"] == "L2") & (spans["track"] == "dressing")]
    assert (care["start_on"] >= placed).all()


def test_a_port_that_is_not_accessed_is_shown_as_such():
    lines = KNOWN["lines"].build(
        {
            "row": [1],
            "received_at": ["2031-01-01"],
            "line_id": ["P1"],
            "child_id": ["C1"],
            "family_id": ["F1"],
            "site": ["North"],
            "line_type": ["implanted_port"],
            "placed_on": ["2031-01-01"],
            "home_from": ["2031-02-01"],
            "dressing_type": ["transparent"],
        }
    )
    log = table(
        """
row done_on    kind
11  2031-02-05 port_accessed
12  2031-02-09 port_deaccessed
""",
        "home_log",
        line_id="P1",
        family_id="F1",
    )
    known = Records.of({"lines": lines, "home_log": log})
    found = timeline.build(known, shipped_policy(), AS_OF)
    records = history.FamilyRecords(
        **rows_of(found, known),
        silent_after_days=8,
        zone=ZoneInfo("UTC"),
        sees_notes=True,
    )
    spans = spans_of(records, AS_OF)
    closed = of_kind(spans, "not_accessed")
    assert list(zip(days(closed, "start_on"), days(closed, "end_on"), strict=True)) == [
        ("02-01", "02-05"),
        ("02-09", "03-10"),
    ]
    assert len(of_kind(spans, "unscored")) == 0
    marks = marks_of(records, CODES, AS_OF)
    assert list(of_kind(marks, "port_accessed")["row"]) == [11]


def test_what_came_in_late_has_the_day_it_was_done_and_the_day_it_was_received(records):
    late = of_kind(marks_of(records, CODES, AS_OF), "late")
    # Row 14 came 2 days later, which is not late; 15 came 8 days and 16 came 9 days later.
    assert list(late["row"]) == [15, 16]
    assert days(late, "on") == ["02-12", "02-23"]
    assert days(late, "received_on") == ["02-20", "03-04"]


def test_notes_are_marks_only_for_who_may_see_them(records):
    notes = of_kind(marks_of(records, CODES, AS_OF), "note")
    assert list(notes["label"]) == ["note: warm"]
    others = marks_of(replace(records, sees_notes=False), CODES, AS_OF)
    assert not others["label"].str.contains("warm").any()


def test_sign_offs_and_refreshers_are_told_apart(records):
    marks = marks_of(records, CODES, AS_OF)
    assert list(of_kind(marks, "sign_off")["row"]) == [81]
    assert list(of_kind(marks, "refresher")["label"]) == [
        "refresher: dressing change, with help (K1)"
    ]


def test_the_table_holds_each_stored_row_once_newest_first(records):
    marks = marks_of(records, CODES, AS_OF)
    listed = as_frame(
        history.table_of(history.spans_of(records, AS_OF), history.marks_of(records, CODES, AS_OF)),
        history.Row,
    )
    assert listed["on"].is_monotonic_decreasing
    of_day = listed[listed["until"].isna()]
    assert not of_day.duplicated(["table", "row"]).any()
    expected = set(zip(marks["table"], marks["row"], strict=True))
    assert set(zip(of_day["table"], of_day["row"], strict=True)) == expected
    (fever,) = listed[listed["row"] == 15]["label"]
    assert "red flag: fever, pus" in fever
    assert "note: warm" in fever
    assert "entry" not in fever
    assert set(listed[listed["row"] == 14]["label"]) == {"watched: itch"}


def test_a_history_of_nothing_is_a_table_of_nothing():
    assert history.table_of([], []) == []


GROUPS = [Group("L1", "Line L1"), Group("L2", "Line L2"), Group("", "Family F1")]


def drawn(records, **settings):
    spans = history.spans_of(records, AS_OF)
    marks = history.marks_of(records, CODES, AS_OF)
    chosen = {"start_on": date(2031, 1, 20), "as_of": AS_OF, **settings}
    return go.Figure(family_strip(chosen.pop("groups", GROUPS), spans, marks, **chosen))


@pytest.fixture(name="figure", scope="module")
def _figure(records):
    return drawn(records)


def trace(figure, name: str):
    (found,) = [t for t in figure.data if t.name == name]
    return found


def test_no_trace_needs_webgl(figure):
    assert {t.type for t in figure.data} == {"bar", "scatter"}


def test_every_mark_and_bar_carries_its_row(figure, records):
    marks = marks_of(records, CODES, AS_OF)
    with_rows = [t for t in figure.data if t.name != "done to received"]
    for one in with_rows:
        assert len(one.customdata) == len(one.y), one.name
    drawn_rows = {tuple(point) for one in with_rows for point in one.customdata}
    assert set(zip(marks["table"], marks["row"], strict=True)) <= drawn_rows


def test_a_late_report_is_drawn_at_both_days_joined_by_a_line(figure):
    assert list(trace(figure, "done").x) == ["2031-02-12", "2031-02-23"]
    assert list(trace(figure, "received").x) == ["2031-02-20", "2031-03-04"]
    line = trace(figure, "done to received")
    assert list(line.x) == ["2031-02-12", "2031-02-20", None, "2031-02-23", "2031-03-04", None]
    assert trace(figure, "done").customdata[0] == ["home_log", 15]
    assert trace(figure, "received").customdata[0] == ["home_log", 15]
    assert "8 days later" in trace(figure, "received").hovertext[0]


def test_a_report_of_days_before_the_first_day_shown_begins_at_the_edge(records):
    figure = drawn(records, start_on=date(2031, 2, 26))
    assert list(trace(figure, "done to received").x[:2]) == ["2031-02-26", "2031-03-04"]
    assert "done" not in {t.name for t in figure.data}


def test_all_groups_share_one_axis_of_days_and_no_two_rows_a_height(figure):
    assert {t.xaxis for t in figure.data} <= {None, "x"}
    of_line_1 = set(trace(figure, "changed").y)
    of_family = set(trace(figure, "entry").y)
    assert len(of_line_1) == 1
    assert of_line_1.isdisjoint(of_family)
    assert figure.layout.yaxis.range[0] < min(of_family)


def test_marks_and_spans_are_told_apart_without_colour(figure):
    points = [t for t in figure.data if t.type == "scatter" and t.mode != "lines"]
    symbols = {(t.y[0], t.marker.symbol) for t in points}
    assert len(symbols) == len(points)
    bars = {
        t.name: (t.marker.pattern.shape, t.marker.color) for t in figure.data if t.type == "bar"
    }
    shapes = [shape for shape, _ in bars.values()]
    assert bars["out_of_date"][0] == "/"
    assert bars["away"][0] == "-"
    assert bars["unscored"][0] == "."
    assert bars["in_date"][0] is None
    assert shapes.count(None) == len({"in_date", "silent"} & set(bars))


def test_every_row_of_the_figure_is_named_in_words(figure):
    named = " ".join(str(note.text) for note in figure.layout.annotations)
    for said in (
        "Line L1", "Line L2", "Family F1", "Dressing", "◆ loose, damp or soiled", "Skin",
        "Red flag", "Nights away", "Log", "Calls", "◊ a note", "✚ refresher",
        "○ done – ▶ received", "░ not scored",
    ):  # fmt: skip
        assert said in named, said


def test_a_row_with_nothing_in_it_says_so():
    shown = family_strip(
        GROUPS[1:],
        [],
        [],
        as_of=AS_OF,
        start_on=date(2031, 2, 1),
    )
    figure = go.Figure(shown)
    assert len(figure.data) == 0
    said = [str(note.text) for note in figure.layout.annotations]
    assert sum("none in this time" in text for text in said) == 4


def test_a_span_is_cut_at_the_first_day_shown_but_says_its_whole_length(records):
    late = trace(drawn(records, start_on=date(2031, 3, 5)), "out_of_date")
    assert list(late.base) == ["2031-03-05"]
    assert "02 Mar 2031 to 10 Mar 2031, 8 days" in late.hovertext[0]


def test_a_due_day_ahead_is_named(records):
    figure = drawn(records, groups=[Group("L1", "Line L1", date(2031, 3, 14))])
    assert any("due 14 Mar" in str(note.text) for note in figure.layout.annotations)


def test_names_beside_marks_give_way_where_marks_crowd():
    flags = {
        date(2031, 2, 1): "red flag: fever",
        date(2031, 3, 5): "red flag: chills",
        date(2031, 3, 7): "red flag: bleeding",
    }
    marks = [
        Mark("L1", "red_flag", "red_flag", on, label, "home_log", 1) for on, label in flags.items()
    ]
    shown = family_strip(GROUPS, [], marks, as_of=AS_OF, start_on=date(2031, 1, 20))
    figure = go.Figure(shown)
    (flags,) = figure.data
    assert [text.strip() for text in flags.text] == ["fever", "chills", ""]
    assert list(flags.textposition[:2]) == ["middle left", "middle left"]

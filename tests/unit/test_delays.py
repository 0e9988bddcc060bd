"""How late each source's entries come in, and how long it has been quiet."""

from __future__ import annotations

import pandas as pd
from hypothesis import given
from hypothesis import strategies as st

from analysis.measures.delays import delays
from analysis.policy import shipped_policy
from dashboard.figures import days_to_receipt
from dashboard.incoming.words import how_late, quiet
from tests.cases import cases
from tests.written import day, written

POLICY = shipped_policy()
ONE_LINE = "line_id | home_from\nL1 | 2030-01-01"


def log(*rows: tuple[str, str]) -> str:
    lines = ["line_id | done_at | kind | received_at"]
    return "\n".join(lines + [f"L1 | {done} | note | {came}T12:00" for done, came in rows])


def files(*sources: tuple[str, int]) -> pd.DataFrame:
    """Files of home logs by source, with the last row of each."""
    return pd.DataFrame(
        {
            "table": "home_log",
            "last_row": [last for _, last in sources],
            "source": [source for source, _ in sources],
        }
    )


def test_half_nine_in_ten_and_the_share_later_than_a_week_are_told_by_source():
    own = [("2031-03-01", f"2031-03-{1 + late:02d}") for late in (0, 0, 1, 2, 3, 4, 7, 8, 9, 20)]
    ward = [("2031-03-02", "2031-03-03"), ("2031-03-10", "2031-03-25")]
    records = written(lines=ONE_LINE, home_log=log(*own, *ward))
    ingests = files(("", 10), ("ward sheet", 12))
    found = delays(records, ingests, POLICY, day("2031-03-31")).set_index("source")
    first = found.loc[found.index.isna()].iloc[0]
    # In order 0 0 1 2 3 | 4 7 8 9 | 20: five of ten within 3 days, nine within 9; 8, 9 and 20
    # are later than a week. The last came on the 21st.
    assert (first["entries"], first["median_days"], first["nine_in_ten_days"]) == (10, 3, 9)
    assert (first["later_than_week"], first["later_than_week_share"]) == (3, 0.3)
    assert (f"{first['last_received_on']:%Y-%m-%d}", first["quiet_days"]) == ("2031-03-21", 10)
    second = found.loc["ward sheet"]
    assert (second["median_days"], second["nine_in_ten_days"]) == (1, 15)
    assert second["quiet_days"] == 6


def test_the_longest_quiet_source_stands_first_even_when_nothing_came_for_half_a_year():
    records = written(
        lines=ONE_LINE, home_log=log(("2031-03-30", "2031-03-30"), ("2030-03-01", "2030-03-02"))
    )
    found = delays(records, files(("", 1), ("old form", 2)), POLICY, day("2031-03-31"))
    assert found["source"].iloc[0] == "old form"
    old = found.iloc[0]
    assert (old["entries"], old["quiet_days"]) == (0, 394)
    assert pd.isna(old["median_days"])
    assert pd.isna(old["later_than_week_share"])


def test_what_is_received_after_the_day_is_not_looked_at():
    records = written(
        lines=ONE_LINE, home_log=log(("2031-03-01", "2031-03-02"), ("2031-03-03", "2031-04-02"))
    )
    found = delays(records, files(("", 2)), POLICY, day("2031-03-31")).iloc[0]
    assert (found["entries"], found["quiet_days"]) == (1, 29)


def test_no_entry_at_all_gives_no_source():
    assert delays(written(lines=ONE_LINE), files(), POLICY, day("2031-03-31")).empty


@cases(60)
@given(st.lists(st.integers(0, 40), min_size=1, max_size=30))
def test_the_days_told_are_the_least_within_which_so_many_came(lateness):
    came = pd.Timestamp("2031-03-31")
    rows = [(f"{came - pd.Timedelta(days=n):%Y-%m-%d}", f"{came:%Y-%m-%d}") for n in lateness]
    found = delays(
        written(lines=ONE_LINE, home_log=log(*rows)),
        files(("", len(rows))),
        POLICY,
        day("2031-03-31"),
    ).iloc[0]
    for share, column in ((5, "median_days"), (9, "nine_in_ten_days")):
        enough = [d for d in range(41) if 10 * sum(n <= d for n in lateness) >= share * len(rows)]
        assert found[column] == enough[0]
    assert found["later_than_week"] == sum(n > 7 for n in lateness)


def told(*rows: tuple[str, int, int | None, int | None, int, int]) -> pd.DataFrame:
    """Sources by name, entries, half, nine in ten, later than a week and quiet days."""
    names = ("name", "entries", "median_days", "nine_in_ten_days", "later_than_week", "quiet_days")
    table = pd.DataFrame(rows, columns=names).astype(
        {"median_days": "Int64", "nine_in_ten_days": "Int64"}
    )
    share = table["later_than_week"] / table["entries"].where(table["entries"] > 0)
    return table.assign(later_than_week_share=share)


def test_sources_quiet_for_more_than_a_week_are_named_and_the_many_counted():
    assert quiet(told(("a", 1, 0, 0, 0, 7))) == "Every source has sent something within a week."
    assert quiet(told()) == ""
    few = told(("a", 1, 0, 0, 0, 9), ("b", 1, 0, 0, 0, 8))
    assert quiet(few) == "No data for more than a week: a for 9 days and b for 8 days."
    many = told(*((name, 1, 0, 0, 0, 20) for name in "abcde"))
    assert quiet(many).endswith("a for 20 days, b for 20 days and 3 other sources.")


def test_the_slowest_source_is_named_with_the_share_of_all_entries_later_than_a_week():
    table = told(("a", 10, 0, 2, 0, 0), ("b", 30, 3, 12, 8, 0), ("c", 0, None, None, 0, 300))
    assert how_late(table) == (
        "Slowest is b: nine in ten were received within 12 days. "
        "8 of 40 entries (20 %) were received more than a week after their day."
    )
    assert how_late(told(("c", 0, None, None, 0, 300))).startswith("No entry was received")


def test_the_figure_draws_a_dot_a_source_and_says_where_nothing_came():
    figure = days_to_receipt(told(("a", 10, 0, 2, 0, 0), ("c", 0, None, None, 0, 300)))
    drawn = {trace.name: list(trace.x) for trace in figure.data}
    assert drawn["half"] == [0]
    assert drawn["nine in ten"] == [2]
    words = " ".join(note.text for note in figure.layout.annotations)
    assert "half 0, 90 % 2 days" in words
    assert "nothing in these weeks" in words
    assert not days_to_receipt(told(("c", 0, None, None, 0, 300))).data[1].x

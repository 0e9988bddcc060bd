"""How late each source's entries come in, and how long it has been quiet."""

from __future__ import annotations

import pandas as pd
from hypothesis import given
from hypothesis import strategies as st

from analysis.measures import delays
from analysis.policy import shipped_policy
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

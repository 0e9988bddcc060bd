"""The four questions in pandas, from the same files: group-by and merge_asof."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

NEVER = pd.Timestamp("2200-01-01")
DAY = pd.Timedelta(days=1)
BAD = ("loose", "damp", "soiled")
INTERVAL_DAYS = {"transparent": 7, "transparent_chg": 7, "gauze": 2}


def read(folder: Path, table: str) -> pd.DataFrame:
    """Every version of a table's rows, as text; blank is missing."""
    files = sorted(folder.glob(f"{table}*.csv"))
    rows = pd.concat([pd.read_csv(file, dtype="string") for file in files])
    return rows.sort_values("received_at", kind="stable", ignore_index=True)


def newest(rows: pd.DataFrame, *key: str) -> pd.DataFrame:
    """The newest version of each key that is not withdrawn."""
    kept = rows.drop_duplicates(list(key), keep="last")
    return kept[kept["void"].isna()].drop(columns=["void", "received_at"])


def days(cells: pd.Series, until: pd.Timestamp | None = None) -> pd.Series:
    """A column as dates; one after `until` has not happened yet."""
    found = pd.to_datetime(cells.str[:10], format="%Y-%m-%d")
    return found if until is None else found.where(found <= until)


def spanning(rows: pd.DataFrame, spans: pd.DataFrame, on: str = "day") -> pd.DataFrame:
    """Add `start` and `stop` of the last span of the line that began by a day; blank: none."""
    left, right = rows.sort_values(on), spans.sort_values("start")
    return pd.merge_asof(left, right, left_on=on, right_on="start", by="line_id")


def lines_of(folder: Path, as_of: pd.Timestamp) -> pd.DataFrame:
    """One row a line placed by the day."""
    rows = newest(read(folder, "lines"), "line_id")
    lines = rows[["line_id", "child_id", "family_id"]].assign(
        placed_on=days(rows["placed_on"]),
        home_from=days(rows["home_from"]),
        registry_type=rows["dressing_type"],
        port=rows["line_type"].eq("implanted_port").astype(bool),
        ordered=rows["change_every_days"].astype("float"),
        dressing_on=days(rows["dressing_on"], as_of),
        removed_on=days(rows["removed_on"], as_of).fillna(NEVER),
        left_on=days(rows["left_on"], as_of).fillna(NEVER),
    )
    lines["end_on"] = lines[["removed_on", "left_on"]].min(axis=1)
    return lines[lines["placed_on"] <= as_of]


def stays_of(folder: Path, as_of: pd.Timestamp) -> pd.DataFrame:
    """One row a stay begun by the day."""
    rows = newest(read(folder, "stays"), "child_id", "from_on")
    stays = rows[["child_id"]].assign(
        from_on=days(rows["from_on"]),
        to_on=days(rows["to_on"], as_of).fillna(as_of + DAY),
        stay_dressing_on=days(rows["dressing_on"], as_of),
    )
    return stays[stays["from_on"] <= as_of]


def away_of(stays: pd.DataFrame, lines: pd.DataFrame) -> pd.DataFrame:
    """One row a line and run of nights away."""
    nights = stays[stays["from_on"] < stays["to_on"]].sort_values(["child_id", "from_on"])
    to_on = nights["to_on"].astype("int64").groupby(nights["child_id"])
    before = pd.to_datetime(to_on.cummax()).groupby(nights["child_id"]).shift()
    run = (before.isna() | (nights["from_on"] > before)).cumsum().rename("run")
    runs = nights.groupby(["child_id", run]).agg(start=("from_on", "min"), stop=("to_on", "max"))
    return runs.reset_index().merge(lines, on="child_id")[["line_id", "start", "stop"]]


def entries_of(folder: Path, lines: pd.DataFrame, as_of: pd.Timestamp) -> pd.DataFrame:
    """One row a log entry in force, with its line."""
    sent = read(folder, "home_log")
    is_numbered = sent["entry_id"].notna()
    others = sent[~is_numbered].drop(columns=["void", "received_at"]).drop_duplicates()
    entries = pd.concat([newest(sent[is_numbered], "entry_id"), others], ignore_index=True)
    entries["day"] = days(entries["done_at"])
    entries["moment"] = entries["done_at"].where(entries["done_at"].str.len() > 10)
    nameless = entries[entries["line_id"].isna()].drop(columns="line_id").reset_index(names="nth")
    found = nameless.merge(lines, on="family_id")
    found = found[found["day"].between(found["placed_on"], found["end_on"])]
    found = found.drop_duplicates("nth", keep=False)[entries.columns]
    entries = pd.concat([entries[entries["line_id"].notna()], found], ignore_index=True)
    facts = lines[["line_id", "port", "placed_on", "home_from", "end_on"]]
    entries = entries[entries["day"] <= as_of].merge(facts, on="line_id")
    reason = entries["kind"].eq("dressing_change") & entries["change_reason"].isin(BAD)
    entries["compromised"] = entries["dressing_condition"].isin(BAD) | reason
    return entries


def accessed_of(entries: pd.DataFrame, as_of: pd.Timestamp) -> pd.DataFrame:
    """One row a time in which a port was accessed."""
    at_port = entries["port"] & entries["kind"].isin(["port_accessed", "port_deaccessed"])
    turns = entries[at_port & (entries["day"] < entries["end_on"])]
    turns = turns.sort_values(["line_id", "day", "moment"], na_position="first")
    turns = turns.drop_duplicates(["line_id", "day"], keep="last")
    opens = turns["kind"].eq("port_accessed").astype(bool)
    turns = turns[opens != opens.groupby(turns["line_id"]).shift(fill_value=False)]
    following = turns.groupby("line_id")["day"].shift(-1)
    stop = following.fillna(turns["end_on"].clip(upper=as_of + DAY))
    spans = turns.assign(start=turns["day"], stop=stop)
    return spans.loc[opens[turns.index], ["line_id", "start", "stop"]]


def changes_of(
    lines: pd.DataFrame, stays: pd.DataFrame, entries: pd.DataFrame, accessed: pd.DataFrame
) -> pd.DataFrame:
    """One row a line and date with a change of the dressing."""
    facts = ["line_id", "day", "port", "end_on"]
    accesses = entries["port"] & entries["kind"].eq("port_accessed")
    logged = entries[entries["kind"].eq("dressing_change") | accesses]
    logged = logged[[*facts, "moment", "dressing_type"]].assign(logged=True)
    of_registry = lines.rename(columns={"dressing_on": "day"})[facts]
    of_stay = stays.merge(lines, on="child_id")
    of_stay = of_stay[of_stay["stay_dressing_on"] >= of_stay["placed_on"]]
    of_stay = of_stay.rename(columns={"stay_dressing_on": "day"})[facts]
    noted = pd.concat([of_registry, of_stay]).dropna(subset="day").assign(logged=False)
    done = pd.concat([logged, noted], ignore_index=True)
    done = spanning(done[done["day"] < done["end_on"]], accessed)
    done = done[~done["port"] | (done["day"] < done["stop"])]
    done = done.sort_values(["line_id", "day", "moment"], na_position="first")
    return done.groupby(["line_id", "day"], as_index=False).agg(
        moment=("moment", "last"), logged=("logged", "any"), put_on=("dressing_type", "last")
    )


def timed(
    lines: pd.DataFrame, away: pd.DataFrame, accessed: pd.DataFrame, changes: pd.DataFrame,
    as_of: pd.Timestamp,
) -> pd.DataFrame:  # fmt: skip
    """One row an interval: where it begins at home, where it ends, and what ended it."""
    come = spanning(lines[["line_id", "home_from"]], away, "home_from")
    come["first_on"] = come[["home_from", "stop"]].max(axis=1)
    found = spanning(changes, away).merge(come[["line_id", "first_on"]], on="line_id")
    back = found["stop"].where(found["stop"] > found["day"])
    found["home_on"] = pd.concat([found["day"], found["first_on"], back], axis=1).max(axis=1)
    found = found.drop(columns=["start", "stop"])
    for name, spans in (("start", away), ("stop", accessed)):
        cuts = spans[["line_id", name]].rename(columns={name: f"cut_{name}"})
        found = pd.merge_asof(
            found.sort_values("day"), cuts.sort_values(f"cut_{name}"), left_on="day",
            right_on=f"cut_{name}", by="line_id", direction="forward", allow_exact_matches=False,
        )  # fmt: skip
    found = found.merge(lines, on="line_id").sort_values(["line_id", "day"], ignore_index=True)
    by_line = found.assign(by_home=found["logged"] & (found["home_on"] == found["day"]))
    by_line = by_line.groupby("line_id")
    following, home_next = by_line["day"].shift(-1), by_line["by_home"].shift(-1, fill_value=False)
    cut = found[["cut_start", "cut_stop"]].min(axis=1).fillna(NEVER)
    is_cut = following.isna() | (cut <= following)
    last = following.fillna(found["end_on"].clip(upper=as_of))
    dressing = found["put_on"].fillna(found["registry_type"])
    return found.assign(
        ends=np.minimum(cut, last),
        ended_by=np.select([is_cut, home_next], ["cut", "change"], "clinic"),
        days=found["ordered"].fillna(dressing.map(INTERVAL_DAYS).astype("float")),
    )


def judged(intervals: pd.DataFrame, entries: pd.DataFrame, away: pd.DataFrame) -> pd.DataFrame:
    """The intervals that can be due: scored, on time, days in date and out of date."""
    at_home = (entries["day"] >= entries["home_from"]) & (entries["day"] < entries["end_on"])
    reports = spanning(entries[entries["compromised"] & at_home], away)
    reports = reports[~(reports["stop"] > reports["day"])]
    reports = reports[["line_id", "moment", "day"]].rename(columns={"day": "reported_on"})
    changes = intervals[["line_id", "day", "ends", "moment"]].sort_values("day")
    changes = changes.rename(columns={"moment": "change_moment"})
    spoken = pd.merge_asof(reports, changes, left_on="reported_on", right_on="day", by="line_id")
    later = (spoken["moment"] > spoken["change_moment"]).fillna(False).astype(bool)
    before = (spoken["day"] == spoken["reported_on"]) & ~later
    spoken["speaks_on"] = spoken["reported_on"].where(~before, spoken["reported_on"] - DAY)
    spoken = spoken[["line_id", "reported_on", "speaks_on"]].sort_values("speaks_on")
    spoken = pd.merge_asof(spoken, changes, left_on="speaks_on", right_on="day", by="line_id")
    spoken = spoken[spoken["reported_on"] <= spoken["ends"]]
    first = spoken.groupby(["line_id", "day"], as_index=False)["reported_on"].min()
    found = intervals[intervals["days"].notna()].merge(first, on=["line_id", "day"], how="left")
    due = np.maximum(found["day"] + pd.to_timedelta(found["days"], unit="D"), found["home_on"])
    until = np.minimum(due, found["reported_on"].fillna(NEVER))
    on_time = found["ends"] <= until
    changed, cut = found["ended_by"].eq("change"), found["ended_by"].eq("cut")
    return found[["line_id"]].assign(
        intervals_scored=changed | (cut & ~on_time),
        intervals_on_time=changed & on_time,
        in_date_days=(np.minimum(found["ends"], until) - found["home_on"]).dt.days.clip(0),
        out_of_date_days=(found["ends"] - np.maximum(until, found["home_on"])).dt.days.clip(0),
    )


def home_days_of(lines: pd.DataFrame, away: pd.DataFrame, as_of: pd.Timestamp) -> pd.DataFrame:
    """One row a line and day at home."""
    n = (lines["end_on"].clip(upper=as_of) - lines["home_from"]).dt.days.clip(0)
    found = lines.loc[lines.index.repeat(n), ["line_id", "port", "home_from"]]
    nth = found.groupby("line_id").cumcount()
    found["day"] = found["home_from"] + pd.to_timedelta(nth, unit="D")
    found = spanning(found.drop(columns="home_from"), away)
    return found[~(found["stop"] > found["day"])].drop(columns=["start", "stop"])


def rates_of(
    entries: pd.DataFrame, home: pd.DataFrame, as_of: pd.Timestamp, skin: str
) -> pd.DataFrame:
    """Skin events and home line-days by month."""
    is_skin = entries["findings"].str.contains(f"(?:^|;)(?:{skin})(?:;|$)").fillna(False)
    found = entries.loc[is_skin.astype(bool), ["line_id", "day"]].sort_values(["line_id", "day"])
    gap = found.groupby("line_id")["day"].diff()
    onsets = found[(gap.isna() | (gap > 7 * DAY)) & (found["day"] < as_of)]
    here = home[["line_id", "day"]]
    at_home = pd.concat([here, here.assign(day=here["day"] + DAY)]).drop_duplicates()
    events = onsets.merge(at_home, on=["line_id", "day"])["day"].dt.strftime("%Y-%m")
    table = home["day"].dt.strftime("%Y-%m").value_counts().sort_index().to_frame("line_days")
    table["events"] = events.value_counts().reindex(table.index, fill_value=0)
    table["rate_per_1000"] = 1000 * table["events"] / table["line_days"]
    return table.rename_axis("month").reset_index()


def dwell_of(lines: pd.DataFrame, as_of: pd.Timestamp) -> pd.DataFrame:
    """Kaplan-Meier with delayed entry, from the first day with ten lines at risk."""
    seen = lines[lines["home_from"] < lines["end_on"].clip(upper=as_of)]
    entry = (seen["home_from"] - seen["placed_on"]).dt.days
    leave = (seen["end_on"].clip(upper=as_of) - seen["placed_on"]).dt.days
    removed = (seen["removed_on"] == seen["end_on"]) & (seen["end_on"] <= as_of)
    by_day = pd.DataFrame(
        {"came": entry.value_counts(), "left": leave.value_counts(),
         "removed": leave[removed].value_counts()},
        index=range(int(leave.max()) + 1),
    ).fillna(0).astype("int64")  # fmt: skip
    at_risk = (by_day["came"] - by_day["left"]).cumsum().shift(fill_value=0)
    curve = by_day.assign(at_risk=at_risk)[(at_risk >= 10).cummax()]
    curve["in_place"] = (1 - curve["removed"] / curve["at_risk"]).fillna(1).cumprod()
    curve = curve[curve["removed"] > 0].rename_axis("day").reset_index()
    return curve[["day", "at_risk", "removed", "in_place"]]


def answers(folder: Path, as_of: date, skin: tuple[str, ...]) -> dict[str, pd.DataFrame]:
    """Days and intervals by line, rates by month, and the curve of lines in place."""
    on = pd.Timestamp(as_of)
    lines, stays = lines_of(folder, on), stays_of(folder, on)
    away, entries = away_of(stays, lines), entries_of(folder, lines, on)
    accessed = accessed_of(entries, on)
    changes = changes_of(lines, stays, entries, accessed)
    care = judged(timed(lines, away, accessed, changes, on), entries, away)
    home = home_days_of(lines, away, on)
    at_home = spanning(home, accessed)
    at_home["closed"] = at_home["port"] & ~(at_home["stop"] > at_home["day"])
    days_of_line = at_home.groupby("line_id").agg(
        home_line_days=("day", "size"), not_accessed_days=("closed", "sum")
    )
    found = lines.set_index("line_id")[[]].join(days_of_line).join(care.groupby("line_id").sum())
    return {
        "days": found.fillna(0).astype("int64").reset_index(),
        "rates": rates_of(entries, home, on, "|".join(skin)),
        "dwell": dwell_of(lines, on),
    }

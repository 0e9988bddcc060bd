"""The four questions in polars, from the same files."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import pandas as pd
import polars as pl

NEVER = pl.lit(date(9999, 1, 1))
BAD = ("loose", "damp", "soiled")
INTERVAL_DAYS = {"transparent": 7, "transparent_chg": 7, "gauze": 2}
LATEST_SPAN = {"by": "line_id", "check_sortedness": False}


def read(folder: Path, table: str) -> pl.DataFrame:
    """Every version of a table's rows, as text; blank is missing."""
    return pl.read_csv(folder / f"{table}*.csv", infer_schema=False).sort(
        "received_at", maintain_order=True
    )


def newest(rows: pl.DataFrame, *key: str) -> pl.DataFrame:
    """The newest version of each key that is not withdrawn."""
    kept = rows.unique(key, keep="last", maintain_order=True)
    return kept.filter(pl.col("void").is_null()).drop("void", "received_at")


def day(column: str, until: date | None = None) -> pl.Expr:
    """A column as a date; one after `until` has not happened yet."""
    found = pl.col(column).str.head(10).str.to_date()
    return found if until is None else pl.when(found <= until).then(found)


def spanning(rows: pl.DataFrame, spans: pl.DataFrame, on: str = "day") -> pl.DataFrame:
    """Add `start` and `stop` of the last span of the line that began by a day; blank: none."""
    return rows.sort(on).join_asof(
        spans.sort("start"), left_on=on, right_on="start", coalesce=False, **LATEST_SPAN
    )


def lines_of(folder: Path, as_of: date) -> pl.DataFrame:
    """One row a line placed by the day."""
    return (
        newest(read(folder, "lines"), "line_id")
        .select(
            "line_id", "child_id", "family_id", day("placed_on"), day("home_from"),
            registry_type="dressing_type",
            port=pl.col("line_type") == "implanted_port",
            ordered=pl.col("change_every_days").cast(pl.Int64),
            dressing_on=day("dressing_on", as_of),
            removed_on=day("removed_on", as_of).fill_null(NEVER),
            left_on=day("left_on", as_of).fill_null(NEVER),
        )
        .filter(pl.col("placed_on") <= as_of)
        .with_columns(end_on=pl.min_horizontal("removed_on", "left_on"))
    )  # fmt: skip


def stays_of(folder: Path, as_of: date) -> pl.DataFrame:
    """One row a stay begun by the day."""
    return (
        newest(read(folder, "stays"), "child_id", "from_on")
        .select(
            "child_id",
            day("from_on"),
            to_on=day("to_on", as_of).fill_null(as_of + timedelta(days=1)),
            stay_dressing_on=day("dressing_on", as_of),
        )
        .filter(pl.col("from_on") <= as_of)
    )


def away_of(stays: pl.DataFrame, lines: pl.DataFrame) -> pl.DataFrame:
    """One row a line and run of nights away."""
    before = pl.col("to_on").cum_max().shift().over("child_id")
    return (
        stays.filter(pl.col("from_on") < pl.col("to_on"))
        .sort("child_id", "from_on")
        .with_columns(run=(pl.col("from_on") > before).fill_null(True).cum_sum())
        .group_by("child_id", "run")
        .agg(start=pl.col("from_on").min(), stop=pl.col("to_on").max())
        .join(lines.select("child_id", "line_id"), on="child_id")
        .select("line_id", "start", "stop")
    )


def entries_of(folder: Path, lines: pl.DataFrame, as_of: date) -> pl.DataFrame:
    """One row a log entry in force, with its line."""
    sent = read(folder, "home_log")
    numbered = newest(sent.filter(pl.col("entry_id").is_not_null()), "entry_id")
    others = sent.filter(pl.col("entry_id").is_null()).drop("void", "received_at").unique()
    entries = pl.concat([numbered, others]).with_columns(
        day=day("done_at"), moment=pl.when(pl.col("done_at").str.len_chars() > 10).then("done_at")
    )
    nameless = entries.filter(pl.col("line_id").is_null()).drop("line_id").with_row_index("nth")
    found = (
        nameless.join(lines, on="family_id")
        .filter(pl.col("day").is_between("placed_on", "end_on"))
        .filter(pl.len().over("nth") == 1)
        .select(entries.columns)
    )
    condition = pl.col("dressing_condition").is_in(BAD)
    reason = (pl.col("kind") == "dressing_change") & pl.col("change_reason").is_in(BAD)
    return (
        pl.concat([entries.filter(pl.col("line_id").is_not_null()), found])
        .filter(pl.col("day") <= as_of)
        .join(lines.select("line_id", "port", "placed_on", "home_from", "end_on"), on="line_id")
        .with_columns(compromised=condition.fill_null(False) | reason.fill_null(False))
    )


def accessed_of(entries: pl.DataFrame, as_of: date) -> pl.DataFrame:
    """One row a time in which a port was accessed."""
    at_port = pl.col("kind").is_in(["port_accessed", "port_deaccessed"])
    opens = pl.col("opens")
    return (
        entries.filter(pl.col("port") & at_port & (pl.col("day") < pl.col("end_on")))
        .sort("line_id", "day", "moment", nulls_last=False)
        .group_by("line_id", "day", maintain_order=True)
        .agg(opens=pl.col("kind").last() == "port_accessed", end_on=pl.col("end_on").last())
        .filter(opens != opens.shift().over("line_id").fill_null(False))
        .with_columns(
            stop=pl.col("day").shift(-1).over("line_id")
            .fill_null(pl.min_horizontal("end_on", pl.lit(as_of + timedelta(days=1))))
        )
        .filter(opens)
        .select("line_id", "stop", start="day")
    )  # fmt: skip


def changes_of(
    lines: pl.DataFrame, stays: pl.DataFrame, entries: pl.DataFrame, accessed: pl.DataFrame
) -> pl.DataFrame:
    """One row a line and date with a change of the dressing."""
    facts = ["line_id", "day", "port", "end_on"]
    is_change = (pl.col("kind") == "dressing_change") | (
        pl.col("port") & (pl.col("kind") == "port_accessed")
    )
    logged = entries.filter(is_change).select(*facts, "moment", "dressing_type", logged=True)
    of_registry = lines.rename({"dressing_on": "day"}).select(facts)
    of_stay = stays.join(lines, on="child_id").filter(
        pl.col("stay_dressing_on") >= pl.col("placed_on")
    )
    noted = [of_registry, of_stay.rename({"stay_dressing_on": "day"}).select(facts)]
    done = pl.concat([logged, *noted], how="diagonal").filter(pl.col("day") < pl.col("end_on"))
    return (
        spanning(done, accessed)
        .filter(~pl.col("port") | (pl.col("day") < pl.col("stop")))
        .sort("line_id", "day", "moment", nulls_last=False)
        .group_by("line_id", "day", maintain_order=True)
        .agg(
            moment=pl.col("moment").max(),
            logged=pl.col("logged").any(),
            put_on=pl.col("dressing_type").drop_nulls().last(),
        )
    )


def timed(
    lines: pl.DataFrame, away: pl.DataFrame, accessed: pl.DataFrame, changes: pl.DataFrame,
    as_of: date,
) -> pl.DataFrame:  # fmt: skip
    """One row an interval: where it begins at home, where it ends, and what ended it."""
    first_on = pl.max_horizontal("home_from", pl.col("stop"))
    come = spanning(lines.select("line_id", "home_from"), away, "home_from")
    found = spanning(changes, away).join(come.select("line_id", first_on=first_on), on="line_id")
    found = found.with_columns(
        home_on=pl.max_horizontal(
            "day", "first_on", pl.when(pl.col("stop") > pl.col("day")).then("stop")
        )
    ).drop("start", "stop")
    for name, cuts in (("start", away), ("stop", accessed)):
        found = found.sort("day").join_asof(
            cuts.select("line_id", pl.col(name).alias(f"cut_{name}")).sort(f"cut_{name}"),
            left_on="day", right_on=f"cut_{name}", strategy="forward", allow_exact_matches=False,
            **LATEST_SPAN,
        )  # fmt: skip
    found = found.join(lines, on="line_id").sort("line_id", "day")
    following = pl.col("day").shift(-1).over("line_id")
    home_next = (pl.col("logged") & (pl.col("home_on") == pl.col("day"))).shift(-1).over("line_id")
    last = pl.min_horizontal("end_on", pl.lit(as_of))
    cut = pl.min_horizontal("cut_start", "cut_stop").fill_null(NEVER)
    return found.with_columns(
        ends=pl.min_horizontal(cut, following.fill_null(last)),
        ended_by=pl.when(following.is_null() | (cut <= following)).then(pl.lit("cut"))
        .when(home_next).then(pl.lit("change")).otherwise(pl.lit("clinic")),
        days=pl.coalesce(
            "ordered",
            pl.coalesce("put_on", "registry_type").replace_strict(INTERVAL_DAYS, default=None),
        ),
    )  # fmt: skip


def judged(intervals: pl.DataFrame, entries: pl.DataFrame, away: pl.DataFrame) -> pl.DataFrame:
    """The intervals that can be due: scored, on time, days in date and out of date."""
    at_home = pl.col("day").is_between("home_from", "end_on", closed="left")
    reports = spanning(entries.filter(pl.col("compromised") & at_home), away)
    reports = reports.filter(pl.col("stop").is_null() | (pl.col("stop") <= pl.col("day")))
    reports = reports.select("line_id", "moment", reported_on="day")
    changes = intervals.select("line_id", "day", "ends", change_moment="moment").sort("day")
    by = {"right_on": "day", "coalesce": False, **LATEST_SPAN}
    answers = reports.sort("reported_on").join_asof(changes, left_on="reported_on", **by)
    later = (pl.col("moment") > pl.col("change_moment")).fill_null(False)
    speaks_on = pl.when((pl.col("day") == pl.col("reported_on")) & ~later)
    speaks_on = speaks_on.then(pl.col("reported_on").dt.offset_by("-1d")).otherwise("reported_on")
    spoken = answers.select("line_id", "reported_on", speaks_on=speaks_on).sort("speaks_on")
    first = (
        spoken.join_asof(changes, left_on="speaks_on", **by)
        .filter(pl.col("reported_on") <= pl.col("ends"))
        .group_by("line_id", "day")
        .agg(pl.col("reported_on").min())
    )
    due = pl.col("day") + pl.duration(days="days")
    until = pl.min_horizontal(pl.max_horizontal(due, "home_on"), "reported_on")
    on_time = pl.col("ends") <= pl.col("until")
    changed, cut = (pl.col("ended_by") == word for word in ("change", "cut"))
    in_date = pl.min_horizontal("ends", "until") - pl.col("home_on")
    out_of_date = pl.col("ends") - pl.max_horizontal("until", "home_on")
    return (
        intervals.filter(pl.col("days").is_not_null())
        .join(first, on=["line_id", "day"], how="left")
        .with_columns(until=until)
        .select(
            "line_id",
            intervals_scored=changed | (cut & ~on_time),
            intervals_on_time=changed & on_time,
            in_date_days=in_date.dt.total_days().clip(0),
            out_of_date_days=out_of_date.dt.total_days().clip(0),
        )
    )


def home_days_of(lines: pl.DataFrame, away: pl.DataFrame, as_of: date) -> pl.DataFrame:
    """One row a line and day at home."""
    until = pl.min_horizontal("end_on", pl.lit(as_of))
    days = (
        lines.filter(pl.col("home_from") < until)
        .select("line_id", "port", day=pl.date_ranges("home_from", until, closed="left"))
        .explode("day")
    )
    found = spanning(days, away)
    return found.filter(pl.col("stop").is_null() | (pl.col("stop") <= pl.col("day"))).drop(
        "start", "stop"
    )


def rates_of(entries: pl.DataFrame, home: pl.DataFrame, as_of: date, skin: str) -> pl.DataFrame:
    """Skin events and home line-days by month."""
    gap = pl.col("day").diff().over("line_id")
    onsets = (
        entries.filter(pl.col("findings").str.contains(f"(^|;)({skin})(;|$)"))
        .sort("line_id", "day")
        .filter(gap.is_null() | (gap > pl.duration(days=7)))
        .filter(pl.col("day") < as_of)
        .select("line_id", "day")
    )
    here = home.select("line_id", "day")
    day_after = here.with_columns(pl.col("day").dt.offset_by("1d"))
    events = onsets.join(pl.concat([here, day_after]).unique(), on=["line_id", "day"], how="semi")
    month = pl.col("day").dt.strftime("%Y-%m").alias("month")
    return (
        home.group_by(month).agg(line_days=pl.len())
        .join(events.group_by(month).agg(events=pl.len()), on="month", how="left")
        .with_columns(pl.col("events").fill_null(0))
        .with_columns(rate_per_1000=1000 * pl.col("events") / pl.col("line_days"))
        .sort("month")
    )  # fmt: skip


def dwell_of(lines: pl.DataFrame, as_of: date) -> pl.DataFrame:
    """Kaplan-Meier with delayed entry, from the first day with ten lines at risk."""
    last = pl.min_horizontal("end_on", pl.lit(as_of))
    seen = lines.filter(pl.col("home_from") < last).select(
        entry=(pl.col("home_from") - pl.col("placed_on")).dt.total_days(),
        leave=(last - pl.col("placed_on")).dt.total_days(),
        removed=(pl.col("removed_on") == pl.col("end_on")) & (pl.col("end_on") <= as_of),
    )
    at_risk = pl.col("came").cum_sum().shift(fill_value=0) - pl.col("left").cum_sum().shift(
        fill_value=0
    )
    return (
        pl.DataFrame({"day": range(seen["leave"].max() + 1)}, schema={"day": pl.Int64})
        .join(seen.group_by(day="entry").agg(came=pl.len().cast(pl.Int64)), on="day", how="left")
        .join(
            seen.group_by(day="leave").agg(
                left=pl.len().cast(pl.Int64), removed=pl.col("removed").sum().cast(pl.Int64)
            ),
            on="day", how="left",
        )
        .fill_null(0)
        .with_columns(at_risk=at_risk)
        .filter((pl.col("at_risk") >= 10).cum_max())
        .with_columns(in_place=(1 - pl.col("removed") / pl.col("at_risk")).fill_nan(1).cum_prod())
        .filter(pl.col("removed") > 0)
        .select("day", "at_risk", "removed", "in_place")
    )  # fmt: skip


def answers(folder: Path, as_of: date, skin: tuple[str, ...]) -> dict[str, pd.DataFrame]:
    """Days and intervals by line, rates by month, and the curve of lines in place."""
    lines, stays = lines_of(folder, as_of), stays_of(folder, as_of)
    away, entries = away_of(stays, lines), entries_of(folder, lines, as_of)
    accessed = accessed_of(entries, as_of)
    changes = changes_of(lines, stays, entries, accessed)
    care = judged(timed(lines, away, accessed, changes, as_of), entries, away)
    home = home_days_of(lines, away, as_of)
    closed = pl.col("port") & (pl.col("stop").is_null() | (pl.col("stop") <= pl.col("day")))
    at_home = spanning(home, accessed).group_by("line_id").agg(
        home_line_days=pl.len(), not_accessed_days=closed.sum()
    )  # fmt: skip
    days = (
        lines.select("line_id")
        .join(at_home, on="line_id", how="left")
        .join(care.group_by("line_id").agg(pl.all().sum()), on="line_id", how="left")
        .fill_null(0)
    )
    found = {
        "days": days,
        "rates": rates_of(entries, home, as_of, "|".join(skin)),
        "dwell": dwell_of(lines, as_of),
    }
    return {name: table.to_pandas() for name, table in found.items()}

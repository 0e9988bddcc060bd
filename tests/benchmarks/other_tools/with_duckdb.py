"""The four questions in DuckDB SQL, from the same files."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import duckdb
import pandas as pd

RECORDS = """
CREATE TABLE line AS
WITH newest AS (
  SELECT * FROM read_csv('{folder}/lines*.csv', all_varchar = true)
  QUALIFY row_number() OVER (PARTITION BY line_id ORDER BY received_at DESC) = 1
), dated AS (
  SELECT line_id, child_id, family_id, line_type = 'implanted_port' AS port,
    placed_on::DATE AS placed_on, home_from::DATE AS home_from, dressing_type,
    change_every_days::INT AS ordered, dressing_on::DATE AS dressing_on,
    CASE WHEN removed_on::DATE <= as_of() THEN removed_on::DATE ELSE never() END AS removed_on,
    CASE WHEN left_on::DATE <= as_of() THEN left_on::DATE ELSE never() END AS left_on
  FROM newest WHERE void IS NULL
)
SELECT *, least(removed_on, left_on) AS end_on FROM dated WHERE placed_on <= as_of();

CREATE TABLE stay AS
SELECT child_id, from_on::DATE AS from_on, dressing_on::DATE AS dressing_on,
  CASE WHEN to_on::DATE <= as_of() THEN to_on::DATE ELSE as_of() + 1 END AS to_on
FROM (
  SELECT * FROM read_csv('{folder}/stays*.csv', all_varchar = true)
  QUALIFY row_number() OVER (PARTITION BY child_id, from_on ORDER BY received_at DESC) = 1
) WHERE void IS NULL AND from_on::DATE <= as_of();

CREATE TABLE away AS
WITH reached AS (
  SELECT *, max(to_on) OVER (PARTITION BY child_id ORDER BY from_on
    ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING) AS before
  FROM stay WHERE from_on < to_on
), numbered AS (
  SELECT *, sum(CASE WHEN from_on <= before THEN 0 ELSE 1 END)
    OVER (PARTITION BY child_id ORDER BY from_on) AS run
  FROM reached
)
SELECT line_id, min(from_on) AS start, max(to_on) AS stop
FROM numbered JOIN line USING (child_id) GROUP BY line_id, run;

CREATE TABLE entry AS
WITH sent AS (
  SELECT * FROM read_csv('{folder}/home_log*.csv', all_varchar = true)
), newest AS (
  SELECT * EXCLUDE (received_at, void) FROM (
    SELECT * FROM sent WHERE entry_id IS NOT NULL
    QUALIFY row_number() OVER (PARTITION BY entry_id ORDER BY received_at DESC) = 1
  ) WHERE void IS NULL
  UNION ALL
  SELECT DISTINCT * EXCLUDE (received_at, void) FROM sent WHERE entry_id IS NULL
), dated AS (
  SELECT *, left(done_at, 10)::DATE AS day,
    CASE WHEN length(done_at) > 10 THEN done_at END AS moment
  FROM newest
), of_line AS (
  SELECT * FROM dated WHERE line_id IS NOT NULL
  UNION ALL
  SELECT dated.* REPLACE (any_value(line.line_id) AS line_id)
  FROM dated JOIN line ON dated.family_id = line.family_id
    AND day >= placed_on AND day <= line.end_on
  WHERE dated.line_id IS NULL
  GROUP BY ALL HAVING count(*) = 1
)
SELECT line_id, day, moment, kind, e.dressing_type, findings,
  coalesce(dressing_condition IN ('loose', 'damp', 'soiled'), false) OR coalesce(
    kind = 'dressing_change' AND change_reason IN ('loose', 'damp', 'soiled'), false
  ) AS compromised
FROM of_line AS e JOIN line USING (line_id) WHERE day <= as_of();
"""

HOME_DAYS = """
CREATE TABLE home_day AS
WITH day AS (
  SELECT line_id, unnest(range(home_from, least(end_on, as_of()), INTERVAL 1 DAY))::DATE AS day
  FROM line
)
SELECT day.line_id, day.day FROM day ASOF LEFT JOIN away
  ON day.line_id = away.line_id AND day.day >= away.start
WHERE away.stop IS NULL OR away.stop <= day.day;
"""

INTERVALS = """
CREATE TABLE accessed AS
WITH turn AS (
  SELECT line_id, day, end_on, arg_max(kind, coalesce(moment, '')) = 'port_accessed' AS opens
  FROM entry JOIN line USING (line_id)
  WHERE port AND kind IN ('port_accessed', 'port_deaccessed') AND day < end_on
  GROUP BY line_id, day, end_on
), changed AS (
  SELECT * FROM turn
  QUALIFY opens <> coalesce(lag(opens) OVER (PARTITION BY line_id ORDER BY day), false)
)
SELECT line_id, day AS start, coalesce(stop, least(end_on, as_of() + 1)) AS stop FROM (
  SELECT *, lead(day) OVER (PARTITION BY line_id ORDER BY day) AS stop FROM changed
) WHERE opens;

CREATE TABLE change AS
WITH done AS (
  SELECT line_id, day, moment, e.dressing_type, true AS logged, port, end_on
  FROM entry AS e JOIN line USING (line_id)
  WHERE kind = 'dressing_change' OR (port AND kind = 'port_accessed')
  UNION ALL
  SELECT line_id, dressing_on, NULL, NULL, false, port, end_on FROM line
  UNION ALL
  SELECT line_id, stay.dressing_on, NULL, NULL, false, port, end_on
  FROM stay JOIN line USING (child_id)
  WHERE stay.dressing_on >= placed_on AND stay.dressing_on <= as_of()
)
SELECT done.line_id, day, max(moment) AS moment, bool_or(logged) AS logged,
  arg_max(dressing_type, coalesce(moment, '')) AS put_on
FROM done ASOF LEFT JOIN accessed ON done.line_id = accessed.line_id AND day >= accessed.start
WHERE day < end_on AND day <= as_of() AND (NOT port OR day < accessed.stop)
GROUP BY done.line_id, day;

CREATE TABLE timed AS
WITH come_home AS (
  SELECT line.line_id, greatest(home_from, coalesce(stop, home_from)) AS first_on
  FROM line ASOF LEFT JOIN away
    ON line.line_id = away.line_id AND line.home_from >= away.start
), back AS (
  SELECT change.*, greatest(day, first_on, CASE WHEN stop > day THEN stop ELSE day END) AS home_on
  FROM change JOIN come_home USING (line_id)
  ASOF LEFT JOIN away ON change.line_id = away.line_id AND change.day >= away.start
), admitted AS (
  SELECT back.*, away.start AS admitted_on FROM back
  ASOF LEFT JOIN away ON back.line_id = away.line_id AND back.day < away.start
), cut AS (
  SELECT admitted.*, accessed.stop AS deaccessed_on FROM admitted
  ASOF LEFT JOIN accessed
    ON admitted.line_id = accessed.line_id AND admitted.day < accessed.stop
), following AS (
  SELECT *, lead(day) OVER next AS next_on, lead(logged AND home_on = day) OVER next AS next_home,
    least(coalesce(admitted_on, never()), coalesce(deaccessed_on, never())) AS cut_on
  FROM cut WINDOW next AS (PARTITION BY line_id ORDER BY day)
)
SELECT f.line_id, f.day, f.moment, f.home_on,
  least(cut_on, coalesce(next_on, least(end_on, as_of()))) AS end_on,
  CASE WHEN next_on IS NULL OR cut_on <= next_on THEN 'cut'
    WHEN next_home THEN 'change' ELSE 'clinic' END AS ended_by,
  coalesce(ordered, CASE coalesce(put_on, dressing_type)
    WHEN 'transparent' THEN 7 WHEN 'transparent_chg' THEN 7 WHEN 'gauze' THEN 2 END) AS days
FROM following AS f JOIN line USING (line_id);

CREATE TABLE report AS
WITH at_home AS (
  SELECT entry.line_id, entry.day, entry.moment
  FROM entry JOIN line USING (line_id)
  ASOF LEFT JOIN away ON entry.line_id = away.line_id AND entry.day >= away.start
  WHERE compromised AND day >= home_from AND day < end_on
    AND (away.stop IS NULL OR away.stop <= day)
), answered AS (
  SELECT r.line_id, r.day,
    CASE WHEN c.day = r.day AND (c.moment IS NULL OR r.moment IS NULL OR r.moment <= c.moment)
      THEN r.day - 1 ELSE r.day END AS speaks_on
  FROM at_home AS r ASOF LEFT JOIN change AS c ON r.line_id = c.line_id AND r.day >= c.day
)
SELECT r.line_id, t.day AS change_on, min(r.day) AS reported_on
FROM answered AS r ASOF JOIN timed AS t ON r.line_id = t.line_id AND r.speaks_on >= t.day
WHERE r.day <= t.end_on GROUP BY r.line_id, t.day;

CREATE TABLE judged AS
WITH bounded AS (
  SELECT timed.*, least(greatest(timed.day + days, home_on), coalesce(reported_on, never())) AS until
  FROM timed LEFT JOIN report ON timed.line_id = report.line_id AND timed.day = change_on
  WHERE days IS NOT NULL
)
SELECT line_id, end_on <= until AS on_time,
  ended_by = 'change' OR (ended_by = 'cut' AND end_on > until) AS scored,
  greatest(least(end_on, until) - home_on, 0) AS in_date_days,
  greatest(end_on - greatest(until, home_on), 0) AS out_of_date_days
FROM bounded;
"""

DAYS = """
WITH home AS (
  SELECT h.line_id, count(*) AS home_line_days,
    count(*) FILTER (port AND (accessed.stop IS NULL OR accessed.stop <= h.day)) AS not_accessed_days
  FROM home_day AS h JOIN line USING (line_id)
  ASOF LEFT JOIN accessed ON h.line_id = accessed.line_id AND h.day >= accessed.start
  GROUP BY h.line_id
), care AS (
  SELECT line_id, sum(in_date_days) AS in_date_days, sum(out_of_date_days) AS out_of_date_days,
    count(*) FILTER (scored) AS intervals_scored,
    count(*) FILTER (scored AND on_time) AS intervals_on_time
  FROM judged GROUP BY line_id
)
SELECT line.line_id, coalesce(home_line_days, 0) AS home_line_days,
  coalesce(in_date_days, 0) AS in_date_days, coalesce(out_of_date_days, 0) AS out_of_date_days,
  coalesce(not_accessed_days, 0) AS not_accessed_days,
  coalesce(intervals_scored, 0) AS intervals_scored,
  coalesce(intervals_on_time, 0) AS intervals_on_time
FROM line LEFT JOIN home USING (line_id) LEFT JOIN care USING (line_id)
"""

RATES = """
WITH finding AS (
  SELECT line_id, day, day - lag(day) OVER (PARTITION BY line_id ORDER BY day) AS gap
  FROM entry WHERE regexp_matches(findings, '(^|;)({skin})(;|$)')
), onset AS (
  SELECT line_id, day FROM finding WHERE (gap IS NULL OR gap > 7) AND day < as_of()
), at_home AS (
  SELECT DISTINCT onset.line_id, onset.day FROM onset JOIN home_day AS h
    ON onset.line_id = h.line_id AND h.day IN (onset.day, onset.day - 1)
), event AS (
  SELECT strftime(day, '%Y-%m') AS month, count(*) AS events FROM at_home GROUP BY ALL
)
SELECT strftime(day, '%Y-%m') AS month, coalesce(any_value(events), 0) AS events,
  count(*) AS line_days, 1000 * coalesce(any_value(events), 0) / count(*) AS rate_per_1000
FROM home_day LEFT JOIN event ON month = strftime(day, '%Y-%m') GROUP BY ALL ORDER BY month
"""

DWELL = """
WITH seen AS (
  SELECT home_from - placed_on AS entry_day, least(end_on, as_of()) - placed_on AS exit_day,
    removed_on = end_on AND end_on <= as_of() AS removed
  FROM line WHERE home_from < least(end_on, as_of())
), day AS (SELECT unnest(range(1, (SELECT max(exit_day) FROM seen) + 1)) AS day
), counted AS (
  SELECT day, count(*) AS at_risk, count(*) FILTER (removed AND exit_day = day) AS removed
  FROM day JOIN seen ON entry_day < day AND day <= exit_day GROUP BY day
)
SELECT day, at_risk, removed, product(1 - removed / at_risk) OVER (ORDER BY day) AS in_place
FROM counted WHERE day >= (SELECT min(day) FROM counted WHERE at_risk >= 10)
QUALIFY removed > 0 ORDER BY day
"""


def answers(folder: Path, as_of: date, skin: tuple[str, ...]) -> dict[str, pd.DataFrame]:
    """Days and intervals by line, rates by month, and the curve of lines in place."""
    with duckdb.connect() as base:
        base.execute(f"CREATE MACRO as_of() AS DATE '{as_of}'")
        base.execute("CREATE MACRO never() AS DATE '9999-01-01'")
        for part in (RECORDS.format(folder=folder), HOME_DAYS, INTERVALS):
            base.execute(part)
        return {
            "days": base.sql(DAYS).df(),
            "rates": base.sql(RATES.format(skin="|".join(skin))).df(),
            "dwell": base.sql(DWELL).df(),
        }

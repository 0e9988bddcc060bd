"""How is one rate worded, and how final is it?"""

from __future__ import annotations

from typing import Any

import pandas as pd

from analysis.words import counted, limits, number, percent

PER = "per 1000 home line-days"


def rate_sentence(row: Any) -> str:
    """A rate with its limits and counts, without a full stop; zero events and no days in words.

    Parameters
    ----------
    row : mapping
        A row of RATES; with ``log_coverage`` that is added.

    Examples
    --------
    >>> row = {"events": 0, "line_days": 300, "rate_per_1000": 0.0, "upper": 12.3, "lower": 0.0}
    >>> rate_sentence(row)
    'no events in 300 home line-days: at most 12.3 per 1000 (95 % limit)'
    """
    events, days = int(row["events"]), int(row["line_days"])
    happened = counted(events, "event", "events") if events else "no events"
    if days == 0:
        return f"{happened} and no home line-days: no rate"
    of = f"{happened} in {counted(days, 'home line-day', 'home line-days')}"
    logged = f"; log coverage {percent(row['log_coverage'])}" if "log_coverage" in row else ""
    if events == 0:
        return f"{of}: at most {number(row['upper'])} per 1000 (95 % limit){logged}"
    return (
        f"{number(row['rate_per_1000'])} {PER} (95 % limits "
        f"{limits(row['lower'], row['upper'])}), {of}{logged}"
    )


def heard_sentence(row: Any) -> str:
    """The rate over the days on which families were logging, with a full stop.

    Parameters
    ----------
    row : mapping
        ``events``, ``line_days`` and ``judged_days`` of an event that only home logs report.

    Examples
    --------
    >>> heard_sentence({"events": 3, "line_days": 2000, "judged_days": 1500})
    'Families were logging on 75 % of these home line-days; over those 1500 days alone the rate is 2.00 per 1000 home line-days.'
    >>> heard_sentence({"events": 0, "line_days": 20, "judged_days": 0})
    'Families were logging on none of these home line-days, so events could not be known.'
    """
    events, days, heard = (int(row[n]) for n in ("events", "line_days", "judged_days"))
    if heard == 0:
        return (
            "Families were logging on none of these home line-days, so events could not be known."
        )
    return (
        f"Families were logging on {percent(heard / days)} of these home line-days; over those "
        f"{heard} days alone the rate is {number(1000 * events / heard)} {PER}."
    )


def data_words(row: Any) -> str:
    """How final a period is, in a few words.

    Parameters
    ----------
    row : mapping
        ``provisional``, ``not_over``, ``completeness``, ``expected_rate_per_1000`` of a chart.

    Examples
    --------
    >>> settled = {"provisional": False, "not_over": False}
    >>> data_words(settled)
    'complete'
    >>> late = {"provisional": True, "not_over": False, "completeness": 0.8}
    >>> data_words({**late, "expected_rate_per_1000": 2.5})
    'provisional: 80 % of entries received, 2.50 expected when all are'
    """
    if not row["provisional"]:
        return "complete"
    if row["not_over"]:
        return "provisional: not over yet"
    if pd.isna(row["completeness"]):
        return "provisional: not known how complete"
    expected = row["expected_rate_per_1000"]
    more = "" if pd.isna(expected) else f", {number(expected)} expected when all are"
    return f"provisional: {percent(row['completeness'])} of entries received{more}"

"""An invented programme of three sites whose families log weekly, with so many rashes a month."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from analysis.snapshot import Snapshot
from tests.written import received_daily, snapshot_of, written

SITES = ("north", "south", "west")
FAMILIES = 16
"""Of each site."""
MONTHS = tuple(f"{d:%Y-%m}" for d in pd.date_range("2029-03-01", "2031-02-01", freq="MS"))
DOUBLED = MONTHS[16:]
"""The last eight months."""


def two_years(
    a_month: Mapping[str, Mapping[str, int]], as_of: str = "2031-03-01", outcomes: str = ""
) -> Snapshot:
    """The programme as of a day; `a_month` holds the rashes of each site by month."""
    lines, log = [], []
    days = pd.date_range("2029-03-01", as_of, freq="7D", inclusive="left")
    for site in SITES:
        for n in range(FAMILIES):
            of = f"{site[0].upper()}{n}"
            lines.append(f"L{of} | C{of} | F{of} | {site} | 2029-03-01")
            log += [f"L{of} | {d:%Y-%m-%d} | skin_check | none" for d in days]
        for month, count in a_month[site].items():
            turn = MONTHS.index(month)
            log += [
                f"L{site[0].upper()}{(5 * turn + n) % FAMILIES} | {month}-{3 + 4 * (n % 6):02d} "
                "| skin_check | rash"
                for n in range(count)
            ]
    tables = {
        "lines": "\n".join(["line_id | child_id | family_id | site | home_from", *lines]),
        "home_log": "\n".join(["line_id | done_at | kind | findings", *log]),
    }
    if outcomes:
        tables["outcomes"] = outcomes
    records = written(**tables)
    last = pd.Timestamp(as_of) - pd.Timedelta(days=1)
    return snapshot_of(received_daily(records), as_of, f"{last:%Y-%m-%d}")


STEADY = dict.fromkeys(MONTHS, 3)
ONE_DOUBLED = {
    "north": STEADY,
    "south": {**STEADY, **dict.fromkeys(DOUBLED, 6)},
    "west": STEADY,
}
"""One of three sites doubled eight months ago."""
ALL_STEADY = dict.fromkeys(SITES, STEADY)

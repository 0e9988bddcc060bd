"""People of one site see exactly what their site's part of the whole programme is."""

from __future__ import annotations

import random
from datetime import date

import pandas as pd

from analysis.measures.surveillance import surveillance
from analysis.policy import Policy
from analysis.snapshot import Snapshot, end_of_day, of_sites
from analysis.tallies import Tallies
from tests.cases import histories
from tests.properties.strategies import (
    AS_OF,
    messy_family,
    messy_policy,
    numbered_rows,
    records_of,
    together,
)
from tests.properties.test_timeline import rows_of

HELD = ("line_id", "family_id", "site", "nurse", "held_from")
INGESTS = pd.DataFrame({"table": pd.Series(dtype="string")})


def seen(records, policy: Policy, as_of: date = AS_OF) -> Snapshot:
    """A snapshot of records, with everything known."""
    return Snapshot(as_of, end_of_day(date(2031, 12, 31), policy), policy, records, INGESTS)


def cells_of(tallies: Tallies, site: str) -> dict[str, list[tuple]]:
    """Rows of the tallies of a site, each with its line and what held."""
    found = {}
    for name in ("days", "events", "onsets"):
        frame = getattr(tallies, name)
        of = tallies.lines.iloc[frame["line"]].reset_index(drop=True)
        named = frame.reset_index(drop=True).drop(columns="line")
        named = named.assign(**{column: of[column].to_numpy() for column in HELD})
        rows = named[(of["site"] == site).to_numpy(dtype=bool)]
        found[name] = sorted(rows_of(rows, tuple(rows.columns)), key=repr)
    return found


def test_tallies_of_a_site_are_its_part_of_the_whole_also_where_families_move():
    chance = random.Random(20310314)
    moved = 0
    for _ in range(histories() // 50):
        families = [messy_family(chance, f"f{i}") for i in range(25)]
        found = seen(records_of(together(numbered_rows(chance, families))), messy_policy(chance))
        for site in ("north", "south"):
            alone = of_sites(found, [site])
            assert set(alone.tallies.lines["site"]) <= {site}
            assert cells_of(alone.tallies, site) == cells_of(found.tallies, site)
            now = set(alone.timeline.lines["family_id"])
            moved += len(set(alone.tallies.lines["family_id"]) - now)
    assert moved > 10


def test_a_site_alone_is_followed_with_the_counts_it_has_in_the_whole_programme():
    chance = random.Random(20310315)
    families = [messy_family(chance, f"f{i}") for i in range(20)]
    found = seen(records_of(together(numbered_rows(chance, families))), messy_policy(chance))
    counts = [
        {
            (rate.event, m.month): (m.events, m.line_days)
            for rate in surveillance(seen_by).rates
            if rate.site == "north"
            for m in rate.by_month
        }
        for seen_by in (found, of_sites(found, ["north"]))
    ]
    assert counts[1]
    assert counts[1].items() <= counts[0].items()

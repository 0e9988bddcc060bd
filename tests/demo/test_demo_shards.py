"""Sixteen parts of the programme, families whole, add up to the whole to the last bit."""

from dataclasses import fields, replace
from functools import reduce
from operator import add

import numpy as np
import pandas as pd
import pytest

from analysis.measures.charts import rate_chart
from analysis.measures.counts import counts
from analysis.measures.dwell import line_times
from analysis.measures.rates import rates
from analysis.stats.charts import u_chart
from analysis.stats.competing import aalen_johansen
from analysis.stats.day_table import day_table, has_time
from analysis.stats.intervals import exact_rate_interval
from analysis.stats.survival import kaplan_meier
from analysis.tallies import tally
from analysis.timeline import build
from analysis.vocabulary import Basis, Grouping, Limits
from tests.demo.conftest import AS_OF, POLICY

N_SHARDS = 16


def of_families(records, families):
    """Records of some families only, each row of them."""
    lines = records.lines[records.lines["family_id"].isin(families)]
    people = records.caregivers[records.caregivers["family_id"].isin(families)]
    return replace(
        records,
        lines=lines,
        stays=records.stays[records.stays["child_id"].isin(lines["child_id"])],
        caregivers=people,
        sign_offs=records.sign_offs[records.sign_offs["caregiver_id"].isin(people["caregiver_id"])],
        home_log=records.home_log[records.home_log["family_id"].isin(families)],
        outcomes=records.outcomes[records.outcomes["line_id"].isin(lines["line_id"])],
    )


@pytest.fixture(scope="module")
def shards(whole_demo):
    records = whole_demo.snapshot().records
    families = records.lines["family_id"].unique()
    return [of_families(records, families[at::N_SHARDS]) for at in range(N_SHARDS)]


def table_of(records):
    times = line_times(build(records, POLICY, AS_OF), records, Grouping.ALL)
    entry, leave = times["entry_day"].to_numpy(), times["exit_day"].to_numpy()
    timed = has_time(entry, leave)
    return day_table(entry[timed], leave[timed], times["cause"].to_numpy()[timed], n_causes=3)


def same_bits(first, second):
    for field in fields(first):
        a, b = getattr(first, field.name), getattr(second, field.name)
        assert np.asarray(a).tobytes() == np.asarray(b).tobytes(), field.name


def test_kaplan_meier_and_aalen_johansen_of_summed_parts_have_the_same_bits(whole_demo, shards):
    whole = table_of(whole_demo.snapshot().records)
    summed = reduce(add, (table_of(part) for part in shards))
    same_bits(kaplan_meier(whole), kaplan_meier(summed))
    same_bits(aalen_johansen(whole), aalen_johansen(summed))


@pytest.mark.parametrize("event", ["skin", "bloodstream_infection"])
def test_rates_and_charts_of_summed_parts_have_the_same_bits(whole_demo, shards, event):
    tallies = whole_demo.snapshot().tallies
    parts = [tally(build(part, POLICY, AS_OF), POLICY) for part in shards]
    for by in (Grouping.MONTH, Grouping.SITE, Grouping.AGE_BAND, Grouping.DRESSING_TYPE):
        whole = rates(tallies, event, by, Basis.CHILD, Limits.EXACT)
        stacked = pd.concat([counts(part, event, by, Basis.CHILD) for part in parts])
        sums = ["events", "line_days", "judged_days"]
        summed = stacked.groupby("group", dropna=False)[sums].sum()
        summed = summed.reindex(whole["group"])
        assert summed["events"].tolist() == whole["events"].tolist()
        assert summed["line_days"].tolist() == whole["line_days"].tolist()
        judged = counts(tallies, event, by, Basis.CHILD)["judged_days"]
        assert summed["judged_days"].tolist() == judged.tolist()
        limits = exact_rate_interval(summed["events"], summed["line_days"])
        assert limits.lower.tobytes() == whole["lower"].to_numpy().tobytes()
        assert limits.upper.tobytes() == whole["upper"].to_numpy().tobytes()
        if by is Grouping.MONTH:
            chart = rate_chart(whole_demo.snapshot(), event, by, Basis.CHILD)
            again = u_chart(
                summed["events"],
                summed["judged_days"],
                settled=~chart["provisional"],
                judged=chart["judged"],
                dispersion=chart["dispersion"],
            )
            assert again.upper_limit.tobytes() == chart["upper_limit"].to_numpy().tobytes()

# ---
# jupyter:
#   jupytext:
#     text_representation:
#       extension: .py
#       format_name: percent
#   kernelspec:
#     display_name: Python 3
#     language: python
#     name: python3
# ---

# %% [markdown]
# # Validation against published values
#
# **Question:** do the program's formulas give the values that published sources print, and those
# that other programs compute from open data?
#
# linedays supports trained staff and does not diagnose: what agrees here is arithmetic, not a
# decision about a child. The values are those of the tests in `tests/reference`; *printed* was seen
# in the source named, *computed* came from another program and open data, *analytic* follows from
# a formula. Run it in a clone of the project: the open data are in its tests.

# %%
import sys
from pathlib import Path

import numpy as np
import pandas as pd

from analysis.decisions.scores import net_benefit
from analysis.stats.comparison import exact_rate_ratio, midp_rate_ratio
from analysis.stats.competing import aalen_johansen
from analysis.stats.cox import cox
from analysis.stats.day_table import day_tables
from analysis.stats.delays import DelayTriangle, delay_distribution, nowcast
from analysis.stats.gaps import g_chart
from analysis.stats.intervals import (
    exact_count_interval,
    exact_rate_interval,
    exact_share_interval,
    midp_count_interval,
)
from analysis.stats.logrank import logrank
from analysis.stats.recurrent import cluster_squares, count_table, mean_count
from analysis.stats.survival import kaplan_meier, median_days, restricted_mean

pd.set_option("display.precision", 9, "display.max_rows", 200, "display.max_colwidth", 110)

# %% tags=["parameters"]
CLONE = None  # a clone of the project; None: the one that holds the working folder

# %%
here = Path.cwd()
clones = [Path(CLONE)] if CLONE else [here, *here.parents]
DATA = next((p for one in clones if (p := one / "tests" / "reference" / "data").is_dir()), None)
if DATA is None:
    raise SystemExit(
        "This notebook compares with open data in tests/reference/data: run it in a clone of the "
        "project, or set CLONE above to the folder of a clone."
    )
clone = DATA.parents[2]
sys.path.insert(0, str(clone))

from tests.printed import printed  # equal when rounded as the source rounds

PRINTED, COMPUTED, ANALYTIC = "printed", "computed", "analytic"
checks = []


def check(kind: str, source: str, what: str, value: str, found: object) -> None:
    """Note one value, as the source gives it, with the program's value."""
    ours = float(found)
    checks.append((kind, source, what, value, ours, ours == printed(value)))


def each(kind: str, source: str, values: dict[str, tuple[str, object]]) -> None:
    """Note several values of one source."""
    for what, (value, found) in values.items():
        check(kind, source, what, value, found)


# %% [markdown]
# ## Rates and their limits

# %%
R_LIMITS = "R 4.2, poisson.test"
for events, lower, upper in (
    (1, "0.025318", "5.571643"),
    (2, "0.242209", "7.224688"),
    (5, "1.623486", "11.668332"),
    (10, "4.795389", "18.390356"),
    (50, "37.110964", "65.918767"),
):
    limits = exact_count_interval(events)
    check(COMPUTED, R_LIMITS, f"exact lower limit of {events}", lower, limits.lower)
    check(COMPUTED, R_LIMITS, f"exact upper limit of {events}", upper, limits.upper)
check(COMPUTED, R_LIMITS, "exact upper limit of 0", "3.688879", exact_count_interval(0).upper)
for events, lower, upper in ((1, "0.050020", "4.931861"), (20, "12.559738", "30.339601")):
    limits = midp_count_interval(events)
    check(
        ANALYTIC, "half the count in either tail", f"mid-P lower of {events}", lower, limits.lower
    )
    check(
        ANALYTIC, "half the count in either tail", f"mid-P upper of {events}", upper, limits.upper
    )
check(
    PRINTED, "R package survival, help page of cipoisson", "exact lower limit of 4", "1.089865",
    exact_count_interval(4).lower,
)  # fmt: skip
ambulatory = exact_rate_interval(55, 84_705)
each(
    PRINTED,
    "Rinke et al., Pediatr Blood Cancer 2013, abstract: 55 in 84 705 line-days",
    {
        "infections per 1000 line-days": ("0.65", ambulatory.rate_per_1000),
        "lower limit": ("0.49", ambulatory.lower),
        "upper limit": ("0.85", ambulatory.upper),
    },
)
check(
    PRINTED, "Jumani et al., JAMA Pediatr 2013;167:429, abstract: 534 in 46 021 catheter-days",
    "complications per 1000", "11.6", exact_rate_interval(534, 46_021).rate_per_1000,
)  # fmt: skip
check(
    PRINTED, "Bough et al., Pediatr Surg Int 2021;37:109, abstract: 261 of 684 devices",
    "share failed, %", "38.2", 100 * exact_share_interval(261, 684).share,
)  # fmt: skip

# %% [markdown]
# ## Two rates compared

# %%
two = (17, 100_025, 3, 122_268)
midp, exact = midp_rate_ratio(*two), exact_rate_ratio(*two)
each(
    PRINTED,
    "OpenEpi documentation, comparing two person-time rates: 17 in 100 025, 3 in 122 268",
    {
        "ratio": ("6.927", midp.ratio),
        "mid-P lower limit": ("2.21", midp.lower),
        "mid-P upper limit": ("29.63", midp.upper),
        "mid-P p": ("0.0003127", midp.p),
        "exact lower limit": ("2.004", exact.lower),
        "exact upper limit": ("36.89", exact.upper),
    },
)
central = exact_rate_ratio(2, 17_877, 10, 20_000)
each(
    PRINTED,
    "Fay, vignette of the R package exactci, central method: 2 in 17 877, 10 in 20 000",
    {
        "ratio": ("0.2237512", central.ratio),
        "exact lower limit": ("0.02383738", central.lower),
        "exact upper limit": ("1.04995468", central.upper),
        "central p": ("0.06056", central.p),
    },
)

# %% [markdown]
# ## Dwell time

# %%
kidney = pd.read_csv(DATA / "km_kidney.csv")
half_months = (2 * kidney["time"]).astype("int64")  # the data are in half months
surgical, through_skin = by_type = day_tables(
    np.zeros(len(kidney), dtype=np.int64), half_months, kidney["delta"], kidney["type"] - 1,
    n_causes=1, n_groups=2,
)  # fmt: skip
R_KIDNEY = "R 4.2, survival 3.5-3; data of Klein & Moeschberger 1997, section 1.4 (KMsurv)"
curve = kaplan_meier(surgical)
for month, value in {
    5.5: ".87216350",
    10.5: ".72762222",
    15.5: ".62472615",
    20.5: ".49978092",
}.items():
    at = curve.at([int(2 * month)]).survival[0]
    check(COMPUTED, R_KIDNEY, f"share of surgical catheters free at {month} months", value, at)
last = curve.at([41])
test, mean = logrank(by_type), restricted_mean(curve, 40)
each(
    COMPUTED,
    R_KIDNEY,
    {
        "lower limit at 20.5 months": (".27257193", last.lower[0]),
        "upper limit at 20.5 months": (".69067309", last.upper[0]),
        "median, half months": ("37", median_days(curve).day),
        "mean over 20 months, surgical": ("15.4653534348", 0.5 * mean.days),
        "its standard error": ("1.040167720", 0.5 * mean.std_error),
        "mean over 20 months, through the skin": (
            "16.9785478638",
            0.5 * restricted_mean(kaplan_meier(through_skin), 40).days,
        ),
        "log-rank chi-squared": ("2.52950631756", test.statistic),
        "log-rank p": ("0.111735169713", test.p),
    },
)

# %%
ends = pd.read_csv(DATA / "etm_abortion.csv")
ETM = "Allignol, vignette of etm on etmCIF; data of Meister & Schaefer, Reprod Toxicol 2008;26:31"
by_group = day_tables(
    ends["entry"], ends["exit"], ends["cause"], ends["group"], n_causes=3, n_groups=2
)
SPONTANEOUS = 2  # column of cause 3
for name, table, share, error, lower, upper in (
    ("control", by_group[0], ".16078139", ".021326113", ".12359648", ".20775707"),
    ("exposed", by_group[1], ".3623231", ".04947340", ".27449870", ".467854"),
):
    found = aalen_johansen(table)
    for what, value, values in (
        ("share ended", share, found.share),
        ("standard error", error, found.std_error),
        ("lower limit", lower, found.lower),
        ("upper limit", upper, found.upper),
    ):
        check(PRINTED, ETM, f"{what}, {name}", value, values[-1, SPONTANEOUS])

# %%
waiting = pd.read_csv(DATA / "jasa_tmerge.csv")
NAMES = ["age", "trt", "surgery", "year", "age and trt"]
columns = waiting.assign(**{"age and trt": waiting["age"] * waiting["trt"]})[NAMES].to_numpy(float)
fit = cox(
    waiting["tstart"], waiting["tstop"], waiting["death"], columns, waiting["subject"], names=NAMES
)
for name, value, error in (
    ("age", "0.01527", "0.01750"),
    ("surgery", "-0.62113", "0.36786"),
    ("year", "-0.13608", "0.07090"),
):
    at, source = NAMES.index(name), "R survival, vignette timedep, section 3.3 (Crowley & Hu 1977)"
    check(PRINTED, source, f"coefficient of {name}", value, fit.coefficients[at])
    check(PRINTED, source, f"standard error of {name}", error, fit.naive_errors[at])

# %%
R_CGD = "R 4.2, survival 3.5-3, survfit with id; data set cgd"
infections = pd.read_csv(DATA / "cgd.csv")
for treat, values in {
    "placebo": (".215384615", ".407932569", ".738600845", "1.262657794"),
    "rIFN-g": (".031746032", ".127496160", ".254480207", ".332111786"),
}.items():
    own = infections[infections["treat"] == treat]
    event = own[own["status"] == 1]
    table = count_table(own["tstart"], own["tstop"], event["tstop"])
    squares = cluster_squares(
        table, own["tstart"], own["tstop"], own["id"], event["tstop"], event["id"]
    )
    found = mean_count(table, squares, clusters=own["id"].nunique())
    for day, value in zip((90, 180, 270, 360), values, strict=True):
        check(COMPUTED, R_CGD, f"mean infections by day {day}, {treat}", value, found.mean[day])

# %% [markdown]
# ## Charts, late reports, scores

# %%
gaps = g_chart([25, 26]).upper_limit[0]
check(ANALYTIC, ".99865 quantile of a geometric distribution of mean 25.5", "limit", "171", gaps)

# %%
rows = pd.read_csv(DATA / "boot_aids_delay.csv")
open_ = rows["dud"].eq(1).to_numpy().reshape(38, 15)
reports = rows["y"].to_numpy().reshape(38, 15)
expected = nowcast(DelayTriangle(np.where(open_, 0, reports), ~open_)).expected_total[-4:]
R_DELAY = "R 4.2, Poisson glm; data of Davison & Hinkley, Bootstrap Methods and their Application"
for value, found in zip(
    ("389.522915", "440.970588", "440.052837", "436.562318"), expected, strict=True
):
    check(COMPUTED, R_DELAY, "reports of a late quarter when all are in", value, found)
observable = np.add.outer(np.arange(7), np.arange(7)) < 7
halving = DelayTriangle(np.where(observable, [512, 256, 128, 64, 32, 16, 16], 0), observable)
share = delay_distribution(halving).share_within
for value, found in zip(("0.5", "0.75", "0.875", "0.9375", "0.96875"), share, strict=False):
    check(ANALYTIC, "geometric delays, half of the rest each period", "share come", value, found)

# %%
people = pd.read_csv(DATA / "dcurves_binary.csv")
for threshold, value in {
    0.05: "0.105544", 0.1: "0.087407", 0.15: "0.079216", 0.2: "0.067333", 0.3: "0.054667"
}.items():  # fmt: skip
    called = people["cancerpredmarker"] >= threshold
    found = net_benefit(people["cancer"], called, threshold)
    check(
        COMPUTED, "package dcurves, its example data", f"net benefit at {threshold}", value, found
    )

# %% [markdown]
# ## All of it

# %%
COLUMNS = ["kind", "source", "what", "value", "found", "agrees"]
table = pd.DataFrame(checks, columns=COLUMNS)
table

# %%
# No value is listed twice, and every value agrees at the precision with which it is given.
assert not table.duplicated(["source", "what", "value"]).any()
assert table["agrees"].all(), table[~table["agrees"]].to_string()

# %% [markdown]
# ## Answer

# %%
agreed = table[table["agrees"]]
print(
    f"{len(agreed)} of {len(table)} values agree at the precision with which they are given: "
    + ", ".join(
        f"{(agreed['kind'] == kind).sum()} of {(table['kind'] == kind).sum()} {kind}"
        for kind in (PRINTED, COMPUTED, ANALYTIC)
    )
    + f", from {table['source'].nunique()} sources."
)
differ = table[~table["agrees"]]
print(
    "Values that differ: " + ("; ".join(differ["source"] + ", " + differ["what"]) or "none") + "."
)
print(
    "This checks the formulas, not the data: whether a programme's log is complete and its "
    "definitions fit is another question."
)

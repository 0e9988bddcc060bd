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
# # Coverage by simulation
#
# **Question:** do 95 % limits include the true value as often as they claim, how often do charts and
# funnels raise false alarms, and are the probabilities given for families right?
#
# linedays supports trained staff and does not diagnose. Everything here is simulated from
# a seed, so the truth is known; the claims are those in the formulas' own docstrings. Every share
# comes with its Monte Carlo error, as exact 95 % limits for that many draws. Longer runs, more cases:
# `python -m tests.benchmarks.simulate_rates`.

# %%
import numpy as np
import pandas as pd
from IPython.display import SVG, display

from analysis.reports.figures import Point, shares
from analysis.reports.render import svg
from analysis.stats.averaged_rates import average_rates
from analysis.stats.bootstrap import cluster_share_interval
from analysis.stats.charts import u_chart
from analysis.stats.funnel import funnel
from analysis.stats.intervals import exact_rate_interval, exact_share_interval, midp_rate_interval
from analysis.stats.shrinkage import fit_beta_binomial
from analysis.words import number, percent, thousands

pd.set_option("display.width", 160, "display.max_columns", 20)

# %% tags=["parameters"]
SEED = 20310401
DRAWS = 20_000  # counts of each mean
PROGRAMMES = 600  # invented programmes of each size, for shares and funnels
FITTED = 300  # invented programmes of families with a probability each
CHARTS = 400  # of each mean
CALLED = 0.8  # probability from which a family counts as called

# %%
LIMITS = 0.95  # exact limits of a count: at least (analysis.stats.intervals)
RESAMPLED = 0.90  # limits that resample families: at least (analysis.stats.bootstrap)
ANY_RULE = 0.18  # steady charts of 24 months with a false signal: at most (analysis.stats.charts)
OUTSIDE_95, OUTSIDE_998 = 0.05, 0.002  # groups outside a funnel: at most (analysis.stats.funnel)

COLUMNS = ["case", "hits", "draws", "share", "lower", "upper"]


def simulated(case: str, hits: object, draws: int) -> tuple[object, ...]:
    """A share of draws with its Monte Carlo error."""
    found = exact_share_interval(int(hits), draws)
    return case, int(hits), draws, float(found.share), float(found.lower), float(found.upper)


def shares_figure(table: pd.DataFrame, unit: str) -> SVG:
    """The shares of a table with their Monte Carlo error."""
    points = [Point(row.case, row.share, row.lower, row.upper) for row in table.itertuples()]
    return SVG(svg(shares(points, unit)))


# %% [markdown]
# ## Limits of a rate
# Events are independent; the truth is the mean number expected.

# %%
random = np.random.default_rng([SEED, 1])
held = {"exact": [], "mid-P": []}
for mean in (0.5, 1, 2, 5, 10, 20, 50):
    events = random.poisson(mean, DRAWS)
    for name, interval in (("exact", exact_rate_interval), ("mid-P", midp_rate_interval)):
        found = interval(events, np.full(DRAWS, 1000))
        holds = (found.lower <= mean) & (mean <= found.upper)
        held[name].append(simulated(f"{mean} expected", holds.sum(), DRAWS))
exact, midp = (pd.DataFrame(rows, columns=COLUMNS) for rows in held.values())
display(shares_figure(exact, "% of exact limits that include the true rate, by events expected"))
display(shares_figure(midp, "% of mid-P limits that include the true rate, by events expected"))
pd.concat({"exact": exact, "mid-P": midp}).round(4)

# %% [markdown]
# ## Limits of adherence
# Intervals of one family are alike: each family has its own share. Limits that resample families are
# compared with limits that treat intervals as independent.

# %%
random = np.random.default_rng([SEED, 2])
alike, independent = [], []
for share, size in ((0.7, 5), (0.95, 10)):
    for families in (5, 12, 50):
        scored = 1 + random.poisson(6, (PROGRAMMES, families))
        own = random.beta(share * size, (1 - share) * size, scored.shape)
        on_time = random.binomial(scored, own)
        group = np.repeat(np.arange(PROGRAMMES), families)
        case = f"{percent(share)} of {families}"
        found = cluster_share_interval(on_time.ravel(), scored.ravel(), group)
        holds = (found.lower <= share) & (share <= found.upper)
        alike.append(simulated(case, holds.sum(), PROGRAMMES))
        plain = exact_share_interval(on_time.sum(axis=1), scored.sum(axis=1))
        holds = (plain.lower <= share) & (share <= plain.upper)
        independent.append(simulated(case, holds.sum(), PROGRAMMES))
alike, independent = (pd.DataFrame(rows, columns=COLUMNS) for rows in (alike, independent))
display(
    shares_figure(
        alike, "% of resampled limits that include the true share, by share on time and families"
    )
)
pd.concat({"resampled": alike, "as if independent": independent}).round(3)

# %% [markdown]
# ## Control charts of a steady rate
# A false signal within 24 months, about a centre frozen over the 12 months before.

# %%
random = np.random.default_rng([SEED, 3])
alarms, points_out = [], []
for mean in (0.5, 2, 10):
    charts = months = outside = 0
    for _ in range(CHARTS):
        days = random.integers(700, 1300, 36)
        chart = u_chart(random.poisson(0.001 * mean * days), days, baseline=12)
        later = np.array([broken[12:] for broken in chart.signals.values()])
        charts += bool(later.any())
        months += 24
        rate = chart.rate_per_1000[12:]
        outside += ((rate > chart.upper_limit[12:]) | (rate < chart.lower_limit[12:])).sum()
    alarms.append(simulated(f"{mean} events a month", charts, CHARTS))
    points_out.append(simulated(f"{mean} events a month", outside, months))
alarms, points_out = (pd.DataFrame(rows, columns=COLUMNS) for rows in (alarms, points_out))
pd.concat({"charts with a signal": alarms, "months outside a limit": points_out}).round(4)

# %% [markdown]
# ## Funnels of sites that are alike

# %%
random = np.random.default_rng([SEED, 4])
GROUPS = 12
far = {"95 %": [], "99.8 %": []}
for mean in (2, 20):
    outside_95 = outside_998 = 0
    for _ in range(PROGRAMMES):
        days = random.integers(200, 1800, GROUPS)
        found = funnel(random.poisson(0.001 * mean * days), days)
        rate = found.rate_per_1000
        outside_95 += ((rate > found.upper_95) | (rate < found.lower_95)).sum()
        outside_998 += ((rate > found.upper_998) | (rate < found.lower_998)).sum()
    far["95 %"].append(simulated(f"{mean} events a group", outside_95, PROGRAMMES * GROUPS))
    far["99.8 %"].append(simulated(f"{mean} events a group", outside_998, PROGRAMMES * GROUPS))
far_95, far_998 = (pd.DataFrame(rows, columns=COLUMNS) for rows in far.values())
pd.concat({"outside 95 %": far_95, "outside 99.8 %": far_998}).round(4)

# %% [markdown]
# ## Families called with a probability
# Families' true rates and shares differ. Of those called, the probabilities add up to as many as
# should truly be above the limit. And where nobody differs, how often is anybody called?

# %%
random = np.random.default_rng([SEED, 5])
N_FAMILIES, FAMILY_DAYS = 60, 180
days = np.full(N_FAMILIES, FAMILY_DAYS)
weeks = np.full(N_FAMILIES, 26)
sums = {"rate above twice the programme's": [], "share missed above 0.4": []}
nobody = 0
for _ in range(FITTED):
    factor, missed = random.gamma(1, 1, N_FAMILIES), random.beta(1, 4, N_FAMILIES)
    events, late = random.poisson(0.004 * factor * days), random.binomial(weeks, missed)
    rate = average_rates(events, days).probability_above(0.008, events, days)
    share = fit_beta_binomial(late, weeks).probability_above(0.4, late, weeks)
    for name, p, true in zip(sums, (rate, share), (factor > 2, missed > 0.4), strict=True):
        called = p >= CALLED
        sums[name].append((called.sum(), p[called].sum(), true[called].sum()))
    same = random.poisson(0.004 * days)
    p = average_rates(same, days).probability_above(0.008, same, days)
    nobody += bool((p >= CALLED).any())
rows = []
for name, parts in sums.items():
    called, expected, true = np.array(parts).sum(axis=0)
    rows.append((*simulated(name, true, int(called)), float(expected)))
families = pd.DataFrame(rows, columns=[*COLUMNS, "added_up"])
called_by_chance = simulated("all alike", nobody, FITTED)
display(families.round(3))
pd.DataFrame([called_by_chance], columns=COLUMNS).round(3)

# %% [markdown]
# ## Answer


# %%
def verdict(holds: bool) -> str:
    """Whether the simulations agree with a claim."""
    return "as claimed" if holds else "NOT as claimed"


def with_error(row: object) -> str:
    """A share with its Monte Carlo error."""
    error = f"Monte Carlo limits {100 * row.lower:.2f} to {100 * row.upper:.2f} %"
    return f"{100 * row.share:.2f} % ({error}, n = {thousands(row.draws)}, {row.case})"


def least(table: pd.DataFrame) -> object:
    """The case with the smallest share."""
    return table.loc[table["share"].idxmin()]


def most(table: pd.DataFrame) -> object:
    """The case with the largest share."""
    return table.loc[table["share"].idxmax()]


print(
    f"Exact limits of a rate included the true rate in {with_error(least(exact))} or more, claimed at least "
    f"{percent(LIMITS)}: {verdict((exact['upper'] >= LIMITS).all())}. Mid-P limits, which claim 95 % only "
    f"on average: {with_error(least(midp))} or more."
)
print(
    f"Limits that resample families included the true share in {with_error(least(alike))} or more, claimed at least "
    f"{percent(RESAMPLED)}: {verdict((alike['upper'] >= RESAMPLED).all())}. Limits that treat intervals as "
    f"independent: as few as {with_error(least(independent))}."
)
print(
    f"A false signal within two years was in {with_error(most(alarms))} or less of steady charts, claimed at "
    f"most {percent(ANY_RULE)}: {verdict((alarms['lower'] <= ANY_RULE).all())}."
)
print(
    f"Of alike sites {with_error(most(far_95))} or less lay outside the 95 % limits of a funnel and "
    f"{with_error(most(far_998))} outside the 99.8 % limits, claimed at most {percent(OUTSIDE_95)} and "
    f"{number(100 * OUTSIDE_998)} %: "
    f"{verdict((far_95['lower'] <= OUTSIDE_95).all() and (far_998['lower'] <= OUTSIDE_998).all())}."
)
for row in families.itertuples():
    low, high = row.lower * row.draws, row.upper * row.draws
    calibration = "right within Monte Carlo error"
    if row.added_up > high:
        calibration = "somewhat too sure"
    elif row.added_up < low:
        calibration = "not sure enough"
    print(
        f"{row.case.capitalize()}: of {thousands(row.draws)} families called with a probability of "
        f"{percent(CALLED)} or more the probabilities add up to {number(row.added_up)} and "
        f"{thousands(row.hits)} truly were above (Monte Carlo limits {low:.0f} to {high:.0f}): {calibration}."
    )
print(
    f"Where all families are alike, a family was called in {100 * called_by_chance[3]:.1f} % of "
    f"{thousands(called_by_chance[2])} programmes: a call by probability is a reason to look, not a "
    "verdict."
)
print(
    "Simulated families are simpler than real ones: real events of a family are alike in more ways."
)

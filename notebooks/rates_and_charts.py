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
# # Rates and charts
#
# **Question:** is harm per 1000 home line-days drifting, where, and how sure is that?
#
# The programme is invented unless `STORE` names another. The cautions printed below hold for all
# that follows.

# %%
import pandas as pd
from IPython.display import display

from analysis.definitions import DEFINITIONS
from analysis.measures.family_rates import family_rates
from analysis.measures.funnels import LEAGUE_TABLE_CAUTION
from analysis.measures.gap_charts import gap_chart
from analysis.measures.rates import rates
from analysis.measures.trends import standardised
from analysis.stats.change_point import change_point
from analysis.verdicts import period_name
from analysis.vocabulary import Basis, ChartKind, Grouping, Limits
from analysis.words import NOT_NHSN, chance, families, listed, long_day, number, percent, sentence
from dashboard.addresses.rates import RatesChoice
from dashboard.figures import control_chart, rate_intervals, site_funnel
from dashboard.rates.queries import RatesQueries
from dashboard.rates.words import CHOSEN_AFTER, GROUPINGS

from _start import open_programme

# %% tags=["parameters"]
STORE = None  # URL of a store; None: an invented programme is made
POLICY = None  # path of the programme's policy file; None: the policy shipped with linedays
AS_OF = None  # day to view; None: the day of the newest log entry of the store
KNOWN_AT = None  # last day of receipt; None: the as-of day
SITES = None  # names of sites; None: all of them
FAMILIES, SEED = 240, 1  # of the invented programme
EVENTS = ("skin", "bloodstream_infection")
PERIOD = "month"
SURE = 0.8  # probability above twice the programme's rate from which a family is named

# %%
programme = open_programme(STORE, POLICY, AS_OF, KNOWN_AT, SITES, families=FAMILIES, seed=SEED)
asked, found, AS_OF = programme.session, programme.snapshot, programme.as_of

# %% [markdown]
# ## What the numbers mean

# %%
MEANT = ("home_line_days", "skin_rate", "rate_limits", "rate_ratio", "control_chart", "funnel")
print(*(d for d in DEFINITIONS if d.key in MEANT), sep="\n\n")

# %% [markdown]
# ## Over time
# Open points are provisional: late entries may still raise them.

# %%
views = {
    event: RatesQueries(asked).rates(RatesChoice(event=event, period=PERIOD)) for event in EVENTS
}
for view in views.values():
    print(
        sentence(view.event_name),
        view.signals.headline,
        view.whole_words,
        view.drift,
        view.trend_words,
        sep="\n",
    )
    if len(view.chart):
        display(control_chart(view.chart))

# %%
for view in views.values():
    columns = [
        "label",
        "events",
        "line_days",
        "rate_per_1000",
        "lower_limit",
        "upper_limit",
        "signal_words",
    ]
    display(
        view.chart[[*columns, "provisional", "expected_rate_per_1000", "log_coverage"]].round(2)
    )

# %% [markdown]
# ## By group
# Broad lines: exact 95 % limits for independent events. Thin lines: adjusted for families.

# %%
for event, view in views.items():
    whole = None if view.whole.empty else float(view.whole["rate_per_1000"].iloc[0])
    for by, name in GROUPINGS.items():
        split = RatesQueries(asked).rates(RatesChoice(event=event, period=PERIOD, by=by))
        print(f"{sentence(split.event_name)[:-1]}, by {name}. {split.by_group_words}")
        if len(split.by_group):
            display(rate_intervals(split.by_group, whole))

# %% [markdown]
# ## Sites against the rate of all

# %%
print(LEAGUE_TABLE_CAUTION)
for view in views.values():
    print(f"{sentence(view.event_name)[:-1]}: {view.funnel_words}")
    if len(view.funnel):
        display(site_funnel(view.funnel))

# %% [markdown]
# Observed over expected events, adjusted for line type and age.

# %%
STRATA = (Grouping.LINE_TYPE, Grouping.AGE_BAND)
for event, view in views.items():
    basis = Basis(view.choice.basis)
    display(standardised(found.tallies, event, Grouping.SITE, STRATA, basis).round(2))

# %% [markdown]
# ## Two groups, before and after

# %%
print(CHOSEN_AFTER)
for view in views.values():
    for compared in (view.two_groups, view.two_periods):
        print(f"{sentence(view.event_name)[:-1]}: {compared.reading}")
        display(compared.ratios.round(3))

# %% [markdown]
# ## Each site: did its rate step up or down, and when?
# One step between two steady rates, settled months only; p is adjusted for the search over months.
# About 1 in 20 steady sites is named by chance.

# %%
sites = sorted(found.timeline.lines["site"].unique())
steps = []
for event in EVENTS:
    for site in sites:
        own = programme.of_site(site)
        chart = RatesQueries(own).rates(RatesChoice(event=event, period=PERIOD)).chart
        chart = chart[~chart["provisional"].to_numpy(bool)].reset_index(drop=True)
        step = change_point(chart["events"], chart["line_days"])
        since = chart["period"].iloc[step.first_period] if step.first_period >= 0 else None
        likely = chart["period"].iloc[step.likely_periods]
        before_after = (step.rate_before_per_1000, step.rate_after_per_1000)
        steps.append((event, site, since, likely.min(), likely.max(), *before_after, step.p))
COLUMNS = ["event", "site", "since", "likely_from", "likely_to", "before", "after", "p"]
steps = pd.DataFrame(steps, columns=COLUMNS)
steps.round(3)

# %% [markdown]
# ## Rare harm: home line-days between events
# Long gaps are good news, short ones bad news.

# %%
for event, view in views.items():
    if event != "skin":
        basis = Basis(view.choice.basis)
        gaps = gap_chart(found, event, basis, ChartKind.G)
        display(gaps.tail(12).round(2))

# %% [markdown]
# ## Families
# Each family's rate is adjusted towards the programme's average, so that one bad week does not make a
# bad family.

# %%
shrunk = family_rates(found.tallies, "skin", Basis.LINE)
shrunk.head(10).round(3)

# %%
# The screens' tables are those of the command line, and groups and months add up to the whole.
for event, view in views.items():
    basis = Basis(view.choice.basis)
    for by in (Grouping.SITE, Grouping.LINE_TYPE, Grouping.MONTH):
        table = rates(found.tallies, event, by, basis, Limits.EXACT)
        assert (
            table[["events", "line_days"]].sum().equals(view.whole[["events", "line_days"]].sum())
        )
    assert view.chart["events"].sum() == view.whole["events"].sum()
    again = rates(found.tallies, event, Grouping.SITE, basis, Limits.EXACT)
    assert view.by_group[list(again.columns)].equals(again)
programme.close()

# %% [markdown]
# ## Answer

# %%
print(f"As of {long_day(AS_OF)}.")
for event, view in views.items():
    print(view.whole_words, view.drift, sep="\n")
    print(view.funnel_words)
    stepped = steps[(steps["event"] == event) & (steps["p"] <= 0.05)].to_dict("records")
    for step in stepped:
        way = "up" if step["after"] > step["before"] else "down"
        print(
            f"At {step['site']} the rate stepped {way}, most likely from {period_name(step['since'])} "
            f"({period_name(step['likely_from'])} to {period_name(step['likely_to'])}): "
            f"{number(step['before'])} before, {number(step['after'])} after per 1000 home "
            f"line-days, {chance(step['p'])}."
        )
    if not stepped:
        print("At no site is there evidence of a step.")
high = list(shrunk.loc[shrunk["prob_above"] >= SURE, "family_id"])
named = f"{families(len(high))} ({listed(high)})" if high else "No family"
print(
    f"{named} {'have' if len(high) > 1 else 'has'} a rate of skin events above twice the programme's "
    f"with a probability of {percent(SURE)} or more."
)
print(
    f"Recent {PERIOD}s may still rise, and an event is known only when it is logged. {NOT_NHSN} "
    "A signal is a reason to look, not a verdict."
)

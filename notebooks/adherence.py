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
# # Adherence
#
# **Question:** how often is care done on time and in date, in which months and at which sites less
# often than usual, and which families change late again and again?
#
# The programme is invented unless `STORE` names another. The cautions printed below hold for all
# that follows.

# %%
import pandas as pd
from IPython.display import SVG, display

from analysis.definitions import DEFINITIONS
from analysis.measures.adherence import adherence
from analysis.measures.lines import line_table
from analysis.reports.figures import Point, shares
from analysis.reports.render import svg
from analysis.verdicts import group_name, period_name, period_of
from analysis.vocabulary import Grouping, Reason, Task
from analysis.words import counted, listed, long_day, percent, percents, thousands
from dashboard.addresses.family import FamilyChoice
from dashboard.family.history_chart import history_figure
from dashboard.family.queries import FamilyQueries

from _start import open_programme

# %% tags=["parameters"]
STORE = None  # URL of a store; None: an invented programme is made
POLICY = None  # path of the programme's policy file; None: the policy shipped with linedays
AS_OF = None  # day to view; None: the day of the newest log entry of the store
KNOWN_AT = None  # last day of receipt; None: the as-of day
SITES = None  # names of sites; None: all of them
FAMILIES, SEED = 240, 1  # of the invented programme
MONTHS_SHOWN = 13
MOST_NAMED = 12

# %%
programme = open_programme(STORE, POLICY, AS_OF, KNOWN_AT, SITES, families=FAMILIES, seed=SEED)
asked, found, AS_OF = programme.session, programme.snapshot, programme.as_of

# %% [markdown]
# ## What the numbers mean

# %%
MEANT = ("home_line_days", "on_time_share", "in_date_share", "out_of_date_days", "log_coverage")
print(*(d for d in DEFINITIONS if d.key in MEANT), sep="\n\n")

# %% [markdown]
# ## All lines together, task by task
# Limits resample families: days and intervals of one family are alike. Fewer than five families
# give a share without limits.

# %%
by_task = {str(task): adherence(found.tallies, Grouping.ALL, task) for task in Task}
pd.concat(by_task, names=["task"]).droplevel(1).round(3).T

# %% [markdown]
# ## Dressings by site, line type and month

# %%
tables = {
    by: adherence(found.tallies, by, Task.DRESSING)
    for by in (Grouping.SITE, Grouping.LINE_TYPE, Grouping.DRESSING_TYPE, Grouping.MONTH)
}
SHARES = [f"{of}_{part}" for of in ("on_time", "in_date") for part in ("share", "lower", "upper")]
for by, table in tables.items():
    names = [group_name(group, by) for group in table["group"]]
    shown = table[["families", "home_line_days", "intervals_scored", *SHARES]]
    display(shown.set_axis(pd.Index(names, name=str(by))).round(3))

# %% [markdown]
# A hollow point is a month that is not over; lines are 95 % limits.

# %%
months = tables[Grouping.MONTH].tail(MONTHS_SHOWN)
this_month = period_of(AS_OF, Grouping.MONTH)
points = [
    Point(period_name(month), share, lower, upper, open=month == this_month)
    for month, share, lower, upper in zip(
        months["group"],
        *(months[f"in_date_{part}"].astype(float) for part in ("share", "lower", "upper")),
        strict=True,
    )
]
display(SVG(svg(shares(points, "% of home line-days with a known change that were in date"))))

# %% [markdown]
# ## Families that change late again and again
# As the call list has it: on-time share below the policy's limit over the last scored intervals.

# %%
reasons = found.calls.reasons
late = reasons[reasons["reason"] == Reason.LATE_PATTERN]
late[["family_id", "sentence"]].drop_duplicates()

# %% [markdown]
# ## One family's days
# The history of the lines of the first of them (else of the first family of the call list), as the
# family's page shows it. Looking is noted in the store's access record.

# %%
families = found.calls.families
shown = next(iter([*late["family_id"], *families["family_id"]]), None)
view = FamilyQueries(asked).family(shown, FamilyChoice(time="all"))
if view:
    states = [f"line {line.line_id} {line.state.replace('_', ' ')}" for line in view.lines]
    print(f"Family {view.family_id}: {listed(states)}.")
    display(history_figure(view))

# %%
# Every line's days add up to the programme's, and sites and months to the whole.
lines = line_table(found.timeline, Task.DRESSING)
whole = by_task[str(Task.DRESSING)]
COUNTED = ["home_line_days", "in_date_days", "out_of_date_days", "intervals_scored"]
for table in (whole, *tables.values()):
    assert (table[COUNTED].sum() == lines[COUNTED].sum()).all()
programme.close()

# %% [markdown]
# ## Answer


# %%
def usual_or_not(table: pd.DataFrame, by: Grouping, many: str) -> str:
    """Groups whose limits lie wholly below the programme's own share."""
    usual = whole["in_date_share"].iloc[0]
    apart = table[(table["in_date_upper"] < usual).to_numpy(bool)]
    if apart.empty:
        return f"By their limits no {many} lie below that."
    named = [
        f"{group_name(row['group'], by)} ({percent(row['in_date_share'])}, limits "
        f"{percents(row['in_date_lower'], row['in_date_upper'])})"
        for row in apart.to_dict("records")
    ]
    return f"By their limits these {many} lie below that: {listed(named)}."


if whole.empty or not whole["intervals_scored"].iloc[0]:
    print(f"Up to {long_day(AS_OF)} no dressing interval is scored: nothing is known of adherence.")
else:
    row = whole.iloc[0]
    names = list(late["family_id"].drop_duplicates())
    more = len(names) > MOST_NAMED
    print(
        f"Up to {long_day(AS_OF)}, {thousands(int(row['intervals_on_time']))} of "
        f"{counted(int(row['intervals_scored']), 'scored dressing interval', 'scored dressing intervals')} "
        f"ended on time: {percent(row['on_time_share'])} (95 % limits "
        f"{percents(row['on_time_lower'], row['on_time_upper'])}).",
        f"The dressing was in date on {counted(int(row['in_date_days']), 'home line-day', 'home line-days')} "
        f"and out of date on {thousands(int(row['out_of_date_days']))}: in date "
        f"{percent(row['in_date_share'])} (limits "
        f"{percents(row['in_date_lower'], row['in_date_upper'])}).",
        usual_or_not(tables[Grouping.SITE], Grouping.SITE, "sites"),
        usual_or_not(months, Grouping.MONTH, "months"),
        "With a pattern of late changes: "
        f"{listed(names[:MOST_NAMED]) or 'no family'}{' and others' if more else ''}.",
        f"The log covers {percent(row['log_coverage'])} of home line-days: not logged is not the "
        "same as not done.",
        sep="\n",
    )

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
# # Dwell time
#
# **Question:** how long do lines stay in place, how many end unplanned, and do groups of lines
# differ in that?
#
# The programme is invented unless `STORE` names another. The cautions printed below hold for all
# that follows.

# %%

from IPython.display import display

from analysis.definitions import DEFINITIONS
from analysis.measures.dwell import HORIZON_DAYS, dwell
from analysis.measures.skin_course import skin_course
from analysis.vocabulary import Grouping
from analysis.words import limits, long_day, number, sentence
from dashboard.addresses.dwell import DwellChoice
from dashboard.dwell.queries import DwellQueries
from dashboard.dwell.words import (
    DWELL_GROUPINGS,
    DWELL_TITLES,
    FIELD_NOTE,
    HAZARD_NOTE,
    LOGRANK_CAUTION,
)
from dashboard.figures import ended_unplanned, share_in_place

from _start import open_programme

# %% tags=["parameters"]
STORE = None  # URL of a store; None: an invented programme is made
POLICY = None  # path of the programme's policy file; None: the policy shipped with linedays
AS_OF = None  # day to view; None: the day of the newest log entry of the store
KNOWN_AT = None  # last day of receipt; None: the as-of day
SITES = None  # names of sites; None: all of them
FAMILIES, SEED = 240, 1  # of the invented programme

# %%
programme = open_programme(STORE, POLICY, AS_OF, KNOWN_AT, SITES, families=FAMILIES, seed=SEED)
asked, found, AS_OF = programme.session, programme.snapshot, programme.as_of

# %% [markdown]
# ## What the numbers mean

# %%
MEANT = ("share_in_place", "cumulative_incidence")
print(*(d for d in DEFINITIONS if d.key in MEANT), sep="\n\n")

# %% [markdown]
# ## What share is still in place, and what share has ended unplanned?
# A line counts from the day it came home (delayed entry). Planned removal and death compete with
# unplanned removal: 1 minus a curve that leaves them out would be too high.

# %%
views = {by: DwellQueries(asked).dwell(DwellChoice(by)) for by in DWELL_GROUPINGS}
print(FIELD_NOTE)
for by, view in views.items():
    print(f"\n{sentence(DWELL_TITLES[by])} {view.in_place_words} {view.left_out}")
    if len(view.shown):
        display(share_in_place(view.curves, view.shown, view.at_risk, view.last_day))

# %%
for by, view in views.items():
    print(f"\n{sentence(DWELL_TITLES[by])} {view.unplanned_words}")
    if len(view.shown):
        days = sorted(view.at_risk["day"].unique())
        display(ended_unplanned(view.curves, view.shown, days, view.last_day))

# %% [markdown]
# ## In words and numbers

# %%
COLUMNS = ["lines", "removed", "unplanned", "planned", "median_day", "median_lower", "median_upper"]
for by, view in views.items():
    print(sentence(DWELL_TITLES[by]))
    print(*(f"  {row.name}: {row.sentence}" for row in view.summary.itertuples()), sep="\n")
    display(
        view.summary.set_index("name")[[*COLUMNS, "start_day", "mean_days", "horizon"]].round(1)
    )

# %% [markdown]
# ## Do the groups differ?

# %%
print(LOGRANK_CAUTION)
for view in views.values():
    print(*view.tests, sep="\n", end="\n" if view.tests else "")

# %% [markdown]
# ## Do lines end unplanned more often while the dressing is out of date?

# %%
whole = views["all"]
print(whole.hazard_words, HAZARD_NOTE)
whole.hazard.drop(columns="reading").round(3)

# %% [markdown]
# ## How many skin events does a line have as it stays in place?

# %%
course = skin_course(found.timeline)
course = course[course["day"] <= HORIZON_DAYS]
course.tail(8).round(3)

# %%
# The screens' curves are those of the command line; shares stay within 0 and 1 and never go back.
for by, view in views.items():
    again = dwell(found.timeline, found.records, Grouping(by)).curves
    shown = again[again["group"].isin(view.curves["group"])].reset_index(drop=True)
    assert view.curves[list(shown.columns)].equals(shown)
    assert view.summary["lines"].sum() == whole.summary["lines"].sum()
    for _, curve in view.curves.groupby("group"):
        assert curve["in_place"].is_monotonic_decreasing
        assert curve["unplanned_share"].is_monotonic_increasing
        assert (curve["in_place"] + curve["unplanned_share"] <= 1 + 1e-9).all()
programme.close()

# %% [markdown]
# ## Answer

# %%
print(f"As of {long_day(AS_OF)}. {whole.answer}", whole.unplanned_words, sep="\n")
for view in views.values():
    print(*view.tests, sep="\n", end="\n" if view.tests else "")
print(whole.hazard_words)
if len(course):
    last = course.iloc[-1]
    print(
        f"By day {int(last['day'])} in place a line has gathered {number(last['mean_count'])} skin "
        f"events on average (95 % limits {limits(last['lower'], last['upper'])})."
    )
else:
    print("No skin event is known that began at home.")
print(f"{LOGRANK_CAUTION} {HAZARD_NOTE}")

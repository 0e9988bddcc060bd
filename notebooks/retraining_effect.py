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
# # Retraining and its effect
#
# **Question:** which family and caregiver needs retraining on which step, who changes dressings
# without a sign-off, and did refreshers help, once it is allowed for that bad spells end by
# themselves?
#
# The programme is invented unless `STORE` names another. The cautions printed below hold for all
# that follows.

# %%
import tempfile
from datetime import date
from pathlib import Path

import pandas as pd
from IPython.display import display

from analysis.cli.inventing import invented_store
from analysis.decisions.learning import learning_curve
from analysis.decisions.practice import practice
from analysis.decisions.refreshers import refreshers, refreshers_by_family
from analysis.decisions.retraining import (
    LIKELY_PROBABILITY,
    limit_of,
    not_signed_off,
    retraining,
)
from analysis.decisions.sessions import group_sessions
from analysis.reports.educator import step_words
from analysis.vocabulary import Role
from analysis.words import CAUTIONS, counted, limits, listed, long_day, number, percent
from dashboard.addresses.retraining import NeedsChoice
from dashboard.config import DashboardConfig
from dashboard.figures import before_after, learning_by_changes, step_picture
from dashboard.retraining.effect_cards import MARKS, effect_words, learning_words
from dashboard.retraining.queries import RetrainingQueries
from dashboard.retraining.words import SHRINKAGE_NOTE, heard_of
from dashboard.security.roles import Reader
from dashboard.session.service import Service

pd.set_option("display.width", 160, "display.max_columns", 20, "display.max_colwidth", 90)

# %% tags=["parameters"]
STORE = None  # URL of a store; None: an invented programme is made
POLICY = None  # path of the programme's policy file; None: the shipped policy
AS_OF = date(2031, 3, 10)
KNOWN_AT = None  # last day of receipt; None: the as-of day
SITES = None  # names of sites; None: all of them
FAMILIES, SEED = 240, 1  # of the invented programme
SURE = 0.95  # probability above the step's limit from which a caregiver is named
MOST_NAMED = 12

# %%
folder = tempfile.TemporaryDirectory()
store = STORE or invented_store(Path(folder.name), families=FAMILIES, seed=SEED, as_of=AS_OF).url
service = Service.open(DashboardConfig(store, POLICY, as_of=AS_OF, known_at=KNOWN_AT))
reader = Reader("notebook", Role.MANAGER, None if SITES is None else frozenset(SITES))
asked = service.session_of(reader)
found = asked.snapshot()
print(*CAUTIONS, sep="\n")

# %% [markdown]
# ## Who misses which step?
# The share of each caregiver is drawn toward the programme's share of the step, so that one bad
# week is not a bad family; `prob_above` is the probability that the true share is above the
# step's limit.

# %%
needs = retraining(found.timeline, found.records, found.policy)
rated = needs[needs["prob_above"].notna()]
steps = sorted({*rated["step"]})
names = {step: step_words(step, found.edition) for step in steps}
limits_of = [limit_of(step, found.edition.settings) for step in steps]
display(pd.DataFrame({"step": names.values(), "limit": limits_of}, index=names))
sure = rated[(rated["prob_above"] >= SURE).to_numpy(bool)]
rated.assign(step=rated["step"].map(names)).drop(columns="evidence").head(15).round(3)

# %% [markdown]
# The surer that a family's share is above the step's limit, the larger the square.

# %%
picture = RetrainingQueries(asked).picture(NeedsChoice())
if picture.families:
    display(step_picture(picture.cells, picture.families, picture.steps))
print(heard_of(RetrainingQueries(asked).needs(NeedsChoice())), SHRINKAGE_NOTE, sep="\n")

# %% [markdown]
# ## Group sessions
# A family is asked when its share is above the limit with a probability of a half or more.

# %%
sessions = group_sessions(needs, found.timeline)
print(f"Probability of {percent(LIKELY_PROBABILITY)} or more.")
sessions.head(10)

# %% [markdown]
# ## Who changed a dressing lately without a current sign-off?

# %%
unsigned = not_signed_off(found.timeline, found.records, found.policy)
print(unsigned["why"].value_counts().to_string())
unsigned.drop(columns="evidence").head(15)

# %% [markdown]
# ## Do caregivers miss less, the more changes they have done?
# Steps for which somebody is named below; limits resample families.

# %%
seen = practice(found.timeline, found.records, found.policy)
course = learning_curve(seen, found.records)
course = course[course["step"].isin(sure["step"])]
display(course.assign(step=course["step"].map(names)).round(3))

# %% [markdown]
# The step that was missed most often; below each range the families and the occasions.

# %%
told = RetrainingQueries(asked).helped(NeedsChoice())
if told.curve is not None:
    display(learning_by_changes(told.learning))
    print(learning_words(told))

# %% [markdown]
# ## Did refreshers help?
# Families are sent after a bad spell, and bad spells end by themselves (regression to the mean):
# the *own* ratio, after over before, shows an effect where there is none. The *adjusted* ratio
# compares with spells that were as bad, of families not yet retrained.

# %%
effects = refreshers(seen, found.records)
known = effects[effects["adjusted_upper"].notna()]
with_limits = told.effects[told.effects["adjusted_upper"].notna()]
if len(with_limits):
    display(before_after(with_limits))
    print(MARKS, effect_words(told), sep="\n")
COUNTS = ["families", "missed_before", "seen_before", "missed_after", "seen_after"]
RATIOS = [f"{kind}_{part}" for kind in ("own", "adjusted") for part in ("ratio", "lower", "upper")]
display(effects.set_index("step")[COUNTS])
effects.set_index("step")[RATIOS].round(2)

# %%
for row in effects.itertuples():
    print(f"{step_words(row.step, found.edition)}: {row.reading}")

# %% [markdown]
# Family by family, after the last refresher.

# %%
own = refreshers_by_family(seen, found.records)
fewer = own[own["missed_after"] < own["expected_after"]].sort_values("prob_so_few")
fewer.head(10).round(3)

# %%
# Nobody misses more than was seen, and what is named rests on rows of the log.
assert (needs["missed"] <= needs["seen"]).all()
rows = set(found.records.home_log["row"])
for proof in (needs, unsigned):
    assert {int(row) for text in proof["evidence"] for row in text.split(";")} <= rows
service.close()
folder.cleanup()

# %% [markdown]
# ## Answer


# %%
def some(told: list[str]) -> str:
    """The first of many, in words."""
    rest = len(told) - MOST_NAMED
    return "; ".join(told[:MOST_NAMED]) + (f"; and {rest} more" if rest > 0 else "")


named = [
    f"{row['caregiver_id'] if pd.notna(row['caregiver_id']) else 'somebody not named'} of family "
    f"{row['family_id']}, {names[row['step']]} (missed {row['missed']} of {row['seen']})"
    for row in sure.to_dict("records")
]
print(
    f"As of {long_day(AS_OF)}, above a step's limit with a probability of {percent(SURE)} or more:"
)
print(f"{some(named) or 'nobody'}.")
never = list(unsigned.loc[unsigned["why"] == "never", "caregiver_id"])
print(
    f"{counted(len(unsigned), 'caregiver', 'caregivers')} changed a dressing lately without a current "
    f"sign-off; without any: {listed(never) or 'nobody'}."
)
if not len(effects) or not effects["families"].max():
    print("No family with a refresher was seen before and after it.")
for row in known.itertuples():
    told = "the refreshers' part cannot be told from that of chance"
    if row.adjusted_upper < 1:
        told = "less was missed than after equally bad spells without a refresher"
    if row.adjusted_lower > 1:
        told = "more was missed than after equally bad spells without a refresher"
    print(
        f"Refreshers, {step_words(row.step, found.edition)}: own ratio {number(row.own_ratio)}, against "
        f"equally bad spells {number(row.adjusted_ratio)} (95 % limits "
        f"{limits(row.adjusted_lower, row.adjusted_upper)}): {told}."
    )
helped = own[own["reading"].str.startswith("fewer missed")].to_dict("records")
told = [f"{row['family_id']}, {step_words(row['step'], found.edition)}" for row in helped]
print(
    f"Families that missed less than such a spell before leads one to expect: {some(told) or 'none'}."
)
print(
    "Families sent after a bad spell improve by themselves, and who is sent is not left to chance: "
    "an association, not a proof. A name here is a reason to look at the rows, not a verdict."
)

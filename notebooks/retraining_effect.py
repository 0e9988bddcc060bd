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
# without a sign-off, and did refreshers help, adjusted for bad periods that end by
# themselves?
#
# The programme is invented unless `STORE` names another. The cautions printed below hold for all
# that follows.

# %%
import pandas as pd
from IPython.display import display

from analysis.decisions.learning import learning_curve
from analysis.decisions.practice import practice
from analysis.decisions.refreshers import control_sentence, refreshers, refreshers_by_family, taught
from analysis.decisions.retraining import LIKELY_PROBABILITY, limit_of, not_signed_off, retraining
from analysis.decisions.sessions import group_sessions
from analysis.reports.educator import step_words
from analysis.vocabulary import NeedState
from analysis.words import counted, limits, listed, long_day, number, percent
from dashboard.addresses.retraining import NeedsChoice
from dashboard.figures import before_after, learning_by_changes, step_picture
from dashboard.retraining.effect_cards import MARKS, effect_words, learning_words
from dashboard.retraining.queries import RetrainingQueries
from dashboard.retraining.words import SHRINKAGE_NOTE, heard_of

from _start import open_programme

# %% tags=["parameters"]
STORE = None  # URL of a store; None: an invented programme is made
POLICY = None  # path of the programme's policy file; None: the policy shipped with linedays
AS_OF = None  # day to view; None: the day of the newest log entry of the store
KNOWN_AT = None  # last day of receipt; None: the as-of day
SITES = None  # names of sites; None: all of them
FAMILIES, SEED = 240, 1  # of the invented programme
MOST_NAMED = 12
SINCE = [NeedState.WATCH, NeedState.TOO_EARLY, NeedState.IMPROVED]  # retrained not long ago

# %%
programme = open_programme(STORE, POLICY, AS_OF, KNOWN_AT, SITES, families=FAMILIES, seed=SEED)
asked, found, AS_OF = programme.session, programme.snapshot, programme.as_of

# %% [markdown]
# ## Who misses which step?
# The share of each caregiver is adjusted towards the programme's share of the step, so that one bad
# week does not make a bad family; `prob_above` is the probability that the true share is above the
# step's limit.

# %%
needs = retraining(found.timeline, found.records, found.policy)
rated = needs[needs["prob_above"].notna()]
steps = sorted({*rated["step"]})
names = {step: step_words(step, found.edition) for step in steps}
limits_of = [limit_of(step, found.edition.settings) for step in steps]
display(pd.DataFrame({"step": names.values(), "limit": limits_of}, index=names))
limit = rated["step"].map(dict(zip(steps, limits_of, strict=True)))
sure = rated[(rated["state"] == NeedState.RETRAIN).to_numpy(bool)]
before = rated["missed_before"] > limit * rated["seen_before"]
since = rated[(before & rated["state"].isin(SINCE)).to_numpy(bool)]
since = since.sort_values(["missed_before", "caregiver_id"], ascending=[False, True])
rated.assign(step=rated["step"].map(names)).drop(columns="evidence").head(15).round(3)

# %% [markdown]
# The more certain it is that a family's share is above the step's limit, the larger the square.

# %%
picture = RetrainingQueries(asked).picture(NeedsChoice())
if picture.families:
    display(step_picture(picture.cells, picture.families, picture.steps))
print(heard_of(RetrainingQueries(asked).needs(NeedsChoice())), SHRINKAGE_NOTE, sep="\n")

# %% [markdown]
# ## Group sessions
# A family is asked when recent evidence shows that a caregiver needs retraining.

# %%
sessions = group_sessions(needs, found.timeline)
print(f"Probability of {percent(LIKELY_PROBABILITY)} or more, or missed many times in a row.")
sessions.head(10)

# %% [markdown]
# ## Who changed a dressing lately without a current sign-off?

# %%
unsigned = not_signed_off(found.timeline, found.records, found.policy)
print(unsigned["why"].value_counts().to_string())
unsigned.drop(columns="evidence").head(15)

# %% [markdown]
# ## Do caregivers miss less, the more changes they have done?
# Steps for which a caregiver is named below; limits resample families.

# %%
seen = practice(found.timeline, found.records, found.policy)
course = learning_curve(seen, found.records)
course = course[course["step"].isin(sure["step"])]
display(course.assign(step=course["step"].map(names)).round(3))

# %% [markdown]
# The step that was missed most often; below each range the families and the occasions.

# %%
helped = RetrainingQueries(asked).helped(NeedsChoice())
if helped.curve is not None:
    display(learning_by_changes(helped.learning))
    print(learning_words(helped))

# %% [markdown]
# ## Did refreshers help?
# Families are retrained after a bad period, and bad periods end by themselves (regression to the
# mean): the *own* ratio, after over before, shows an effect where there is none. The *adjusted* ratio
# compares with families of the same record that were not retrained on that day.

# %%
effects = refreshers(seen, found.records)
known = taught(effects)
known = known[known["adjusted_upper"].notna()]
with_limits = helped.effects[helped.effects["adjusted_upper"].notna()]
if len(with_limits):
    display(before_after(with_limits))
    print(MARKS, effect_words(helped), sep="\n")
COUNTS = ["families", "missed_before", "seen_before", "missed_after", "seen_after"]
RATIOS = [f"{kind}_{part}" for kind in ("own", "adjusted") for part in ("ratio", "lower", "upper")]
display(effects.set_index("step")[COUNTS])
effects.set_index("step")[RATIOS].round(2)

# %%
for row in effects.itertuples():
    print(f"{step_words(row.step, found.edition)}: {row.reading}")
print(control_sentence(effects))

# %% [markdown]
# Family by family, after the last refresher.

# %%
own = refreshers_by_family(seen, found.records)
fewer = own[own["missed_after"] < own["expected_after"]].sort_values("prob_so_few")
fewer.head(10).round(3)

# %%
# Nobody misses more than was seen, and every name is backed by log entries.
assert (needs["missed"] <= needs["seen"]).all()
rows = set(found.records.home_log["row"])
for proof in (needs, unsigned):
    assert {int(row) for text in proof["evidence"].dropna() for row in text.split(";")} <= rows
programme.close()

# %% [markdown]
# ## Answer


# %%
def some(names: list[str]) -> str:
    """The first of many, in words."""
    rest = len(names) - MOST_NAMED
    return "; ".join(names[:MOST_NAMED]) + (f"; and {rest} more" if rest > 0 else "")


def person(row: dict[str, object]) -> str:
    """Caregiver, family and step of one row."""
    caregiver = row["caregiver_id"] if pd.notna(row["caregiver_id"]) else "a caregiver not named"
    return f"{caregiver} of family {row['family_id']}, {names[row['step']]}"


named = [f"{person(r)} (missed {r['missed']} of {r['seen']})" for r in sure.to_dict("records")]
print(f"As of {long_day(AS_OF)}, needs retraining by recent evidence:")
print(f"{some(named) or 'nobody'}.")
never = list(unsigned.loc[unsigned["why"] == "never", "caregiver_id"])
print(
    f"{counted(len(unsigned), 'caregiver', 'caregivers')} changed a dressing lately without a current "
    f"sign-off; without any: {listed(never) or 'nobody'}."
)
refreshed = [
    f"{person(r)} ({r['missed_before']} of {r['seen_before']} before, {r['missed']} of {r['seen']} since)"
    for r in since.to_dict("records")
]
print(f"Retrained, and no longer above the step's limit for sure: {some(refreshed) or 'nobody'}.")
if not len(effects) or not effects["families"].max():
    print("No family with a refresher was seen before and after it.")
for row in known.itertuples():
    print(
        f"Refreshers, {step_words(row.step, found.edition)}: own ratio {number(row.own_ratio)}, against "
        f"similar families {number(row.adjusted_ratio)} (95 % limits "
        f"{limits(row.adjusted_lower, row.adjusted_upper)}). {row.reading}"
    )
better = own[own["reading"].str.startswith("fewer missed")].to_dict("records")
named = [f"{row['family_id']}, {step_words(row['step'], found.edition)}" for row in better]
print(f"Families that missed less than expected after such a period: {some(named) or 'none'}.")
print(
    "Families retrained after a bad period improve by themselves, and who is retrained is not random: "
    "an association, not a proof. A name here is a reason to look at the rows, not a verdict."
)

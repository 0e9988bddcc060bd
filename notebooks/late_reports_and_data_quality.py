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
# # Late reports and data quality
#
# **Question:** how late do entries come in, how much of the last weeks is still to come, which rows
# could not be used or are odd, and what could silence hide?
#
# The programme is invented unless `STORE` names another. The cautions printed below hold for all
# that follows.

# %%
from datetime import timedelta

import pandas as pd
from IPython.display import display

from analysis.definitions import DEFINITIONS
from analysis.measures.coverage import log_coverage
from analysis.measures.late_reports import lateness
from analysis.measures.logging_bias import logging_bias
from analysis.measures.rates import rates
from analysis.policy import load_policy
from analysis.snapshot import of_sites, take
from analysis.vocabulary import Basis, Grouping, Limits
from analysis.words import counted, families, listed, long_day, percent, thousands
from dashboard.addresses.calls import Choice
from dashboard.addresses.incoming import IncomingChoice
from dashboard.addresses.rates import RatesChoice
from dashboard.calls.queries import CallsQueries
from dashboard.figures import control_chart, days_to_receipt
from dashboard.incoming import words as incoming_words
from dashboard.incoming.queries import IncomingQueries
from dashboard.rates.queries import RatesQueries

from _start import open_programme

pd.set_option("display.max_colwidth", 120)

# %% tags=["parameters"]
STORE = None  # URL of a store; None: an invented programme is made
POLICY = None  # path of the programme's policy file; None: the policy shipped with linedays
AS_OF = None  # day to view; None: the day of the newest log entry of the store
KNOWN_AT = None  # last day of receipt; None: the as-of day
SITES = None  # names of sites; None: all of them
FAMILIES, SEED = 240, 1  # of the invented programme
BEFORE = timedelta(days=28)  # how long ago the earlier day is

# %%
programme = open_programme(STORE, POLICY, AS_OF, KNOWN_AT, SITES, families=FAMILIES, seed=SEED)
asked, found, AS_OF = programme.session, programme.snapshot, programme.as_of

# %% [markdown]
# ## What arrived
# As on the page *Data in*.

# %%
view = IncomingQueries(asked).incoming(IncomingChoice())
print(incoming_words.answer(view))
COLUMNS = ["file", "source", "table", "read", "stored", "same_as_before", "refused", "doubts"]
pd.DataFrame([vars(row) for row in view.files], columns=COLUMNS)

# %% [markdown]
# ## How late

# %%
print(incoming_words.how_late(view.delays), incoming_words.DELAY_NOTE, sep="\n")
if len(view.delays):
    display(days_to_receipt(view.delays))
view.delays.drop(columns="source").set_index("name").round(2)

# %% [markdown]
# ## How much of the last weeks is still to come?
# A week less complete than 95 % is provisional. What never comes is in none of these figures.

# %%
late = lateness(found.records, found.ingests, found.policy, found.as_of)
by_week = late.weeks.assign(source=late.weeks["source"].fillna("our own form"))
newest = by_week[by_week["week_from"].isin(by_week["week_from"].drop_duplicates().nlargest(4))]
display(newest.round(2))
late.change.assign(source=late.change["source"].fillna("our own form")).round(3)

# %% [markdown]
# A dotted line leads from a provisional rate to what is expected when late entries are in.

# %%
rated = RatesQueries(asked).rates(RatesChoice())
if len(rated.chart):
    display(control_chart(rated.chart))
SHOWN = ["label", "events", "line_days", "rate_per_1000", "completeness", "expected_rate_per_1000"]
rated.chart[[*SHOWN, "provisional"]].tail(6).round(2)

# %% [markdown]
# ## The same past day as it was known then, and as it is known now

# %%
past, policy = AS_OF - BEFORE, load_policy(POLICY)
looks = {
    "known then": take(programme.store, policy, past),
    "known now": take(programme.store, policy, past, KNOWN_AT or AS_OF),
}
if SITES is not None:
    looks = {name: of_sites(look, SITES) for name, look in looks.items()}
skin = {
    name: rates(look.tallies, "skin", Grouping.ALL, Basis.LINE, Limits.EXACT)
    for name, look in looks.items()
}
entries = {
    name: int((look.records.home_log["done_on"] <= pd.Timestamp(past)).sum())
    for name, look in looks.items()
}
print(f"Entries dated up to {long_day(past)}: {entries}")
pd.concat(skin).droplevel(1).round(3)

# %% [markdown]
# ## Rows that could not be used
# They are stored whole until someone corrects them; all other rows of their file are in use.

# %%
KINDS = ["table", "column", "what is wrong", "rows"]
pd.DataFrame(view.refused_kinds, columns=KINDS)

# %%
for row in view.refused[:5]:
    print(f"{row.file}, row {row.row}: {row.what}")

# %% [markdown]
# ## Rows that are usable but odd

# %%
pd.DataFrame([(kind.what, kind.total) for kind in view.doubts], columns=["doubt", "rows"])

# %% [markdown]
# ## Silence: not logged is not the same as not done

# %%
print(*(d for d in DEFINITIONS if d.key in ("silent_days", "log_coverage")), sep="\n\n")
display(log_coverage(found.tallies, Grouping.SITE).round(3))
gap = found.edition.settings.episode_gap_days
logging_bias(found.tallies, "skin", Grouping.SITE, gap).round(2)

# %%
# Every row read is stored, same as before or refused; delays are those of the entries shown.
files = found.ingests
assert (files["read"] == files["stored"] + files["same_as_before"] + files["refused"]).all()
assert sum(kind[-1] for kind in view.refused_kinds) == view.refused_paged.total
assert (view.delays["later_than_week"] <= view.delays["entries"]).all()
calls = CallsQueries(asked).calls(Choice())
programme.close()

# %% [markdown]
# ## Answer

# %%
print(f"As of {long_day(AS_OF)}. {incoming_words.answer(view)}")
print(incoming_words.how_late(view.delays))
waiting = rated.chart.loc[rated.chart["provisional"].to_numpy(bool), "label"]
print(f"Still provisional: {listed(list(waiting)) or 'no month'}.")
for row in late.change[late.change["p"] < 0.05].itertuples():
    name = row.source if pd.notna(row.source) else "our own form"
    print(f"Delays of {name} {'grew' if row.z > 0 else 'shrank'} over the last weeks.")
then, now = entries.values()
print(
    f"Of {counted(now, 'entry', 'entries')} dated up to {long_day(past)} that are known now, "
    f"{thousands(then)} were known that day."
)
worst = [f"{what} ({table}, {thousands(n)})" for table, _, what, n in view.refused_kinds[:3]]
if worst:
    print(f"Refused most often: {'; '.join(worst)}.")
odd = [f"{kind.what.rstrip('.')} ({thousands(kind.total)})" for kind in view.doubts]
print(f"Odd but usable: {'; '.join(odd) or 'nothing'}.")
print(
    f"Of {families(calls.families_at_home)} with a line at home, {thousands(calls.families_silent)} "
    f"had not been heard from for more than {counted(calls.silent_after_days, 'day', 'days')}. "
    f"{rated.bias_words}"
)
if len(rated.bias):
    row = rated.bias.iloc[0]
    print(
        f"Silent days could hide at most {counted(int(row['hidden_at_most']), 'skin event', 'skin events')}"
        f" in addition to the {thousands(int(row['events']))} known, in {percent(row['log_coverage'])} log "
        "coverage."
    )

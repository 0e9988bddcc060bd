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
# # From log files to the call list
#
# **Question:** which families does the home-care team call this morning, and why?
#
# The log files here are invented. linedays supports trained staff and does not diagnose. For any red
# flag, follow your programme's emergency protocol. Local policy, the child's orders and licensed
# practice come first. Rates are per home line-day and not a submission to any registry.

# %%
import tempfile
from datetime import UTC, datetime
from pathlib import Path

import pandas as pd

from analysis.ingest import ingest, load_profile
from analysis.measures.adherence import adherence
from analysis.measures.lines import line_table
from analysis.policy import load_policy
from analysis.snapshot import take
from analysis.store import Store
from analysis.vocabulary import Grouping, Task
from synthetic_data import demo_sources, generate, write

from _start import INVENTED_DAY

# %% tags=["parameters"]
FAMILIES = 60
SEED = 1
AS_OF = INVENTED_DAY  # the files reach to the day before

# %% [markdown]
# ## Files in
# Four sources, each in its own format. Wrong rows are refused one by one; all others are stored.

# %%
temporary = tempfile.TemporaryDirectory()
folder = Path(temporary.name)
policy = load_policy()
sources = demo_sources(write(generate(FAMILIES, seed=SEED, until=AS_OF), folder / "files"))
store = Store.open(f"sqlite:///{folder / 'store.sqlite'}")
received = datetime(AS_OF.year, AS_OF.month, AS_OF.day, tzinfo=UTC)
counts = []
for path, profile in sources:
    source = load_profile(profile) if profile else None
    counts += ingest(store, path, policy, source, received_at=received, ingested_at=received).tables
summary = pd.DataFrame(counts)
summary

# %% [markdown]
# ## Everything on one day
# A snapshot holds what is known of every line on the morning of a day.

# %%
snapshot = take(store, policy, AS_OF)
lines = line_table(snapshot.timeline, Task.DRESSING)
lines["state"].value_counts()

# %%
adherence(snapshot.tallies, Grouping.SITE, Task.DRESSING).round(3).T

# %% [markdown]
# ## Which families to call, in what order, and why

# %%
calls = snapshot.calls
calls.families[["rank", "family_id", "band", "sentence", "nurse"]].head(10)

# %% [markdown]
# Every reason links to the stored log entries behind it, and each entry to its file, sheet and row.

# %%
first = calls.families.iloc[0]
proof = calls.evidence[calls.evidence["family_id"] == first["family_id"]]
for table, rows in proof.groupby("table")["row"]:
    for source in store.source_rows(table, list(rows)):
        print(f"{source.file} row {source.row_number}: {source.content}")

# %%
# What was read adds up, every line's days add up, and every family has its proof.
assert (summary["read"] == summary["stored"] + summary["same_as_before"] + summary["refused"]).all()
days = lines[["in_date_days", "out_of_date_days", "unscored_days", "not_accessed_days"]]
assert (days.sum(axis=1) == lines["home_line_days"]).all()
assert set(calls.evidence["family_id"]) == set(calls.reasons["family_id"])
store.close()
temporary.cleanup()

# %% [markdown]
# ## Answer

# %%
by_band = calls.families["band"].value_counts()
at_home = lines[~lines["state"].isin(["ended", "not_at_home"])]
print(
    f"On {AS_OF} {by_band.get('same_day_review', 0)} families need a review the same day, "
    f"{by_band.get('call_today', 0)} a call today and {by_band.get('call_this_week', 0)} a call this week; "
    f"{(at_home['state'] == 'in_date').sum()} of {len(at_home)} lines at home are in date."
)

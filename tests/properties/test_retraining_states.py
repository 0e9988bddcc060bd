"""States and counts of retraining equal a slow reading on random histories of caregivers."""

from collections import defaultdict
from datetime import date, timedelta

import numpy as np
import pandas as pd

from analysis.decisions.retraining import needs_of
from analysis.policy import shipped_policy
from analysis.tables.retraining import PRACTICE
from analysis.timeline import build
from analysis.vocabulary import NeedState
from tests.cases import histories
from tests.oracles.retraining_states import Occasion, evidence_of, is_listed, state_of
from tests.written import written

POLICY = shipped_policy()
AS_OF = date(2031, 8, 31)
MONTHS = POLICY.on(AS_OF).settings.retraining_window_months
STEPS = ("mask", "late_change", "no_sign_off")


def history(random):
    """Occasions of two to four families over a year, and refreshers, some in the future."""
    families = int(random.integers(2, 5))
    habit = random.choice([0.05, 0.4, 0.9], (families, 2, 2))
    occasions, refreshers = [], []
    for family in range(families):
        for who in range(2):
            code = f"K{family}{who}" if random.random() < 0.9 else None
            turn = AS_OF - timedelta(days=int(random.integers(0, 300)))
            for _ in range(int(random.integers(0, 3))):
                if code is not None:
                    # Some on the edges of the window and of the as-of day.
                    edge = [AS_OF, AS_OF + timedelta(days=1), date(2031, 2, 28), turn]
                    refreshers.append((code, edge[int(random.integers(0, 4))]))
            for _ in range(int(random.integers(0, 25))):
                on = AS_OF - timedelta(days=int(random.choice([*range(0, 360, 7), 184, 185])))
                step = STEPS[int(random.integers(0, 3))]
                missed = random.random() < habit[family, who, int(on >= turn)]
                row = len(occasions) + 1
                occasions.append(Occasion(f"F{family}", code, step, on, bool(missed), row))
    return families, occasions, sorted(set(refreshers))


def table_of(families, occasions, refreshers):
    lines = ["line_id | child_id | family_id | home_from"]
    lines += [f"L{f} | C{f} | F{f} | 2030-01-01" for f in range(families)]
    signed = ["caregiver_id | skill | signed_on | outcome | kind"]
    signed += [
        f"{who} | dressing_change | {on} | independent | refresher" for who, on in refreshers
    ]
    people = ["caregiver_id | family_id", *sorted({f"{who} | F{who[1]}" for who, _ in refreshers})]
    texts = {"lines": lines, "sign_offs": signed, "caregivers": people}
    records = written(**{name: "\n".join(rows) for name, rows in texts.items()})
    names = PRACTICE.names
    seen = PRACTICE.build({n: [getattr(o, n) for o in occasions] for n in names})
    return needs_of(seen, build(records, POLICY, AS_OF), records, POLICY)


def compared(random):
    """Rows of the table, as plain values; those of the slow reading by the table's probability."""
    families, occasions, refreshers = history(random)
    table = table_of(families, occasions, refreshers)
    fast = {}
    for row in table.to_dict("records"):
        who = None if pd.isna(row["caregiver_id"]) else row["caregiver_id"]
        on = row["refreshed_on"]
        fast[row["family_id"], who, row["step"]] = (
            str(row["state"]),
            *(row[n] for n in ("seen", "missed", "missed_in_row", "seen_before", "missed_before")),
            row["recent_from"].date(),
            None if pd.isna(on) else on.date(),
            () if pd.isna(row["evidence"]) else tuple(map(int, row["evidence"].split(";"))),
        )
    chance = {
        (r["family_id"], None if pd.isna(r["caregiver_id"]) else r["caregiver_id"], r["step"]): r[
            "prob_above"
        ]
        for r in table.to_dict("records")
    }
    by_key = defaultdict(list)
    for one in occasions:
        by_key[one.family_id, one.caregiver_id, one.step].append(one)
    slow = {}
    for key, own in by_key.items():
        of_family = [(who, on) for who, on in refreshers if f"F{who[1]}" == key[0]]
        found = evidence_of(own, key[1], of_family, AS_OF, MONTHS)
        if is_listed(found, AS_OF, MONTHS):
            # A row that the table lacks shows as missing, whatever its state.
            state = state_of(found, key[2], chance.get(key, 0.0), AS_OF, MONTHS)
            slow[key] = (
                str(state),
                *(found.seen, found.missed, found.missed_in_row),
                *(found.seen_before, found.missed_before),
                found.recent_from,
                found.refreshed_on,
                found.rows,
            )
    return fast, slow


def test_states_and_counts_equal_a_slow_reading_on_random_histories():
    random = np.random.default_rng(20310831)
    states = set()
    for _ in range(histories(fixed=30)):
        fast, slow = compared(random)
        assert fast == slow
        states |= {row[0] for row in fast.values()}
    assert states == {str(state) for state in NeedState}

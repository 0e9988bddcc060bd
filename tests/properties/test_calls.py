"""The call list equals a slow reading of definitions §7, family by family."""

from __future__ import annotations

import random
from collections.abc import Sequence

from hypothesis import given

from analysis.decisions import call_list
from analysis.policy import Policy
from analysis.timeline import build
from analysis.vocabulary import Band
from tests.cases import histories
from tests.oracles.call_rules import CallRules, Listed
from tests.oracles.day_by_day import History, Programme
from tests.properties.strategies import (
    A_FEW,
    AS_OF,
    call_settings,
    messy_family,
    messy_policy,
    messy_programmes,
    numbered_rows,
    plain,
    records_of,
    together,
)
from tests.properties.test_timeline import plain_cell

COLUMNS = (
    "family_id",
    "band",
    "days_overdue",
    "n_reasons",
    "silent_days",
    "red_flag_on",
    "red_flags",
    "tried_on",
    "attempt_days",
    "recheck_on",
)


def by_oracle(found: Listed) -> tuple:
    """A family's row, as the columns above say it."""
    return (
        found.family_id,
        found.band,
        found.days_overdue,
        len(found.codes),
        found.silent_days,
        max((day for _, day, _ in found.red_flags), default=None),
        len(found.red_flags),
        found.tried_on,
        found.attempt_days,
        found.recheck_on,
    )


def agree(families: Sequence[History], policy: Policy) -> None:
    """Compare the list and every reason with the oracle's."""
    whole = together(families)
    records = records_of(whole)
    calls = call_list(build(records, policy, AS_OF), records, policy)
    settings = call_settings(policy, AS_OF)
    slow = [
        listed
        for history in families
        for listed in CallRules(Programme(history, plain(policy), AS_OF), settings).families()
    ]
    rules = CallRules(Programme(whole, plain(policy), AS_OF), settings)
    slow.sort(key=rules.place)
    frame = calls.families.astype(dict.fromkeys(COLUMNS, object))
    fast = [
        tuple(plain_cell(cell) for cell in row)
        for row in zip(*(frame[name] for name in COLUMNS), strict=True)
    ]
    assert fast == [by_oracle(listed) for listed in slow]
    reasons = calls.reasons[["family_id", "reason", "line_id"]].astype(object)
    assert {tuple(plain_cell(c) for c in row) for row in reasons.to_numpy()} == {
        (listed.family_id, reason, line) for listed in slow for reason, line in listed.reasons
    }
    assert len(reasons) == sum(len(listed.reasons) for listed in slow)


@given(messy_programmes())
@A_FEW
def test_the_call_list_equals_the_slow_reading(case: tuple[list[History], Policy]) -> None:
    agree(*case)


def test_seeded_families_are_listed_as_by_the_slow_reading() -> None:
    chance = random.Random(20310313)
    bands: set[str] = set()
    for _ in range(histories() // 50):
        families = [messy_family(chance, f"f{i}") for i in range(50)]
        families = numbered_rows(chance, families)
        policy = messy_policy(chance)
        agree(families, policy)
        records = records_of(together(families))
        found = call_list(build(records, policy, AS_OF), records, policy)
        bands |= set(found.families["band"].astype(str))
        # Days and counts are whole numbers, also where some are missing.
        assert not found.reasons["sentence"].str.contains(r"\d\.\d|nan|NaT|None").any()
    assert bands == {str(band) for band in Band if band is not Band.NO_CALL}

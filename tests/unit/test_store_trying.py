"""What is tried on a store has every effect inside the block and none after it."""

from __future__ import annotations

import pytest

from analysis.store import Store
from tests.stored_rows import put, store, url

__all__ = ["store", "url"]

STAYS = """
received   | child_id | from_on
2031-03-01 | {child}  | 2031-02-20
"""


def children(opened: Store) -> list[str]:
    return sorted(opened.records().stays["child_id"])


def test_what_is_tried_is_seen_inside_and_gone_afterwards(store: Store) -> None:
    put(store, "stays", STAYS.format(child="C1"))
    number = store.data_version()
    with store.trying() as trial:
        assert put(trial, "stays", STAYS.format(child="C2"), 2) == (1, 0)
        with trial.trying() as inner:
            put(inner, "stays", STAYS.format(child="C3"), 3)
            assert children(inner) == ["C1", "C2", "C3"]
        assert children(trial) == ["C1", "C2"]
    assert children(store) == ["C1"]
    assert store.data_version() == number


def test_a_file_that_fails_in_a_trial_undoes_itself_alone(store: Store) -> None:
    with store.trying() as trial:
        put(trial, "stays", STAYS.format(child="C1"))
        with pytest.raises(KeyError):
            put(trial, "no table", STAYS.format(child="C2"), 2)
        assert children(trial) == ["C1"]
    assert children(store) == []


def test_a_trial_that_is_stopped_leaves_nothing(store: Store) -> None:
    def stopped() -> None:
        with store.trying() as trial:
            put(trial, "stays", STAYS.format(child="C1"))
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        stopped()
    assert children(store) == []
    put(store, "stays", STAYS.format(child="C2"))
    assert children(store) == ["C2"]


def test_whether_a_store_is_there_is_found_without_making_one(url: str) -> None:
    assert not Store.is_there(url)
    assert not Store.is_there(url)
    Store.open(url).close()
    assert Store.is_there(url)

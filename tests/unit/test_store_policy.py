"""The store remembers its policy and its time zone, and rows of another zone are dated again."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pandas as pd
import pytest
import sqlalchemy as sa

from analysis.policy import PolicyError, shipped_policy
from analysis.store import Store, StoreError
from tests.stored_rows import put, store, url

__all__ = ["store", "url"]

NOW = datetime(2031, 3, 4, 9, tzinfo=UTC)
NEW_YORK = 'name = "clinic"\ntime_zone = "America/New_York"\n'
TOKYO = 'name = "clinic"\ntime_zone = "Asia/Tokyo"\n'
LOG = """
received   | entry_id | line_id | family_id | done_on    | done_at          | kind
2031-03-02 | E1       | L1      | F1        | 2031-03-01 | 2031-03-01T02:00 | flush
2031-03-02 | E2       | L1      | F1        | 2031-03-01 | 2031-03-01T12:00 | flush
2031-03-02 | E3       | L1      | F1        | 2031-03-01 |                  | flush
"""


def days(opened: Store) -> list[str]:
    """Days of the stored entries."""
    return [str(day.date()) for day in opened.records().home_log["done_on"]]


def test_a_store_without_a_policy_uses_the_shipped_one_or_a_file(
    store: Store, tmp_path: Path
) -> None:
    assert store.policy() is None
    assert len(store.policies()) == 0
    assert store.policy_for(None) == shipped_policy()
    file = tmp_path / "policy.toml"
    file.write_text(NEW_YORK)
    assert store.policy_for(file).time_zone == "America/New_York"


def test_the_policy_that_was_set_last_counts_and_all_are_kept(store: Store) -> None:
    for text, who in ((TOKYO, "N1"), (NEW_YORK, "N2")):
        assert store.set_policy(text, "/clinic/policy.toml", who, NOW) == 0
    found = store.policy_for(None)
    assert (found.name, found.time_zone) == ("clinic", "America/New_York")
    assert store.policies()[["made_by", "time_zone"]].to_numpy().tolist() == [
        ["N1", "Asia/Tokyo"],
        ["N2", "America/New_York"],
    ]
    assert store.policies()["made_at"].iloc[0] == pd.Timestamp("2031-03-04 09:00")
    with (
        pytest.raises(sa.exc.DBAPIError, match="only ever added"),
        store._database.writing() as connection,
    ):
        connection.exec_driver_sql("DELETE FROM policies")


def test_a_policy_file_of_another_zone_does_not_open_the_store(
    store: Store, tmp_path: Path
) -> None:
    store.set_policy(NEW_YORK, "/clinic/policy.toml", "N1", NOW)
    file = tmp_path / "policy.toml"
    file.write_text(TOKYO)
    with pytest.raises(StoreError, match="counted in the time zone America/New_York"):
        store.policy_for(file)


def test_rows_are_dated_again_only_when_it_is_asked_for(store: Store) -> None:
    put(store, "home_log", LOG)
    with pytest.raises(StoreError, match="--redate"):
        store.set_policy(NEW_YORK, "/clinic/policy.toml", "N1", NOW)
    assert store.policy() is None
    assert days(store) == ["2031-03-01"] * 3
    version = store.data_version()
    assert store.set_policy(NEW_YORK, "/clinic/policy.toml", "N1", NOW, redate=True) == 1
    # 02:00 UTC is the evening before in New York; a day without a time stays as it was written.
    assert days(store) == ["2031-02-28", "2031-03-01", "2031-03-01"]
    assert store.data_version() > version
    assert put(store, "home_log", LOG, 2) == (0, 3)
    assert store.set_policy(TOKYO, "/clinic/policy.toml", "N1", NOW, redate=True) == 1
    assert days(store) == ["2031-03-01"] * 3


def test_a_text_that_is_no_policy_is_not_set(store: Store) -> None:
    with pytest.raises(PolicyError, match="no IANA time zone"):
        store.set_policy('time_zone = "Moon/Base"', "policy.toml", "N1", NOW)
    assert store.policy() is None

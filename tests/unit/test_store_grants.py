"""An account of a database server has the rights that the program needs, and no more."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
import sqlalchemy as sa

from analysis.store import Store, StoreError
from analysis.store.grants import grants
from analysis.vocabulary import Access, CallOutcome, Role
from tests.stored_rows import new_database, put

NOW = datetime(2031, 3, 4, 9, tzinfo=UTC)
PASSWORD = "kettle orbit maple seven"  # invented, for tests
ONE = """
received   | caregiver_id | family_id
2031-03-01 | G1           | F1
"""


def test_an_account_works_with_a_store_and_can_change_nothing_that_is_only_added() -> None:
    url = new_database()
    role = f"app_{sa.make_url(url).database}"
    with Store.open(url) as owner, owner._database.engine.connect() as connection:
        connection.exec_driver_sql(f"CREATE ROLE {role} LOGIN").close()
        for statement in grants(role):
            connection.exec_driver_sql(statement).close()
        connection.commit()
    with Store.open(url.replace("linedays@", f"{role}@"), create=False) as store:
        assert put(store, "caregivers", ONE, 1) == (1, 0)
        store.people.add("N1", PASSWORD, Role.MANAGER, NOW, by="command line")
        held = store.people.sign_in("N1", PASSWORD, "127.0.0.1", NOW).token
        assert held is not None
        store.people.note("N1", Access.OPENED_FAMILY, NOW, family_id="F1")
        store.people.sign_out(held, NOW)
        call = store.record_call("F1", "N1", CallOutcome.REACHED, None, date(2031, 3, 6), NOW)
        store.undo_call(call, "N1", NOW)
        with store.trying() as trial:
            assert put(trial, "caregivers", ONE, 2) == (0, 1)
        assert [one.difference for one in store.verify() if one.difference] == []
        answers = []
        for statement in (
            "DELETE FROM accesses",
            "UPDATE caregivers SET family_id = 'F9'",
            "TRUNCATE home_log",
            "ALTER TABLE accesses DISABLE TRIGGER ALL",
            "DROP TABLE calls",
            "CREATE TABLE mine (a int)",
            "SET session_replication_role = replica",
        ):
            with (
                pytest.raises((StoreError, sa.exc.DBAPIError)) as fault,
                store._database.changing_tables() as connection,
            ):
                connection.exec_driver_sql(statement).close()
            answers.append(str(fault.value))
    allowed = ("may not write to", "permission denied", "must be owner", "only ever added")
    assert [answer for answer in answers if not any(words in answer for words in allowed)] == []


def test_a_role_has_a_plain_name() -> None:
    with pytest.raises(StoreError, match="no plain name of a role"):
        list(grants("app; DROP TABLE users"))

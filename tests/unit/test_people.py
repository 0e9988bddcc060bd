"""Who may sign in, how long a sign-in holds, and a record of looks that only grows."""

from __future__ import annotations

import threading
from datetime import UTC, datetime, timedelta

import pytest
import sqlalchemy as sa
from argon2 import PasswordHasher

from analysis.store import Store, StoreError, migrate, schema
from analysis.store.database import Database
from analysis.store.deleted import deleted_codes
from analysis.store.instants import microseconds
from analysis.store.numbers import deletions
from analysis.store.passwords import LEAST_CHARACTERS, fits, hashed
from analysis.vocabulary import Access, Role
from tests.stored_rows import put, store, url

__all__ = ["store", "url"]

NOW = datetime(2031, 3, 4, 9, tzinfo=UTC)
PASSWORD = "kettle orbit maple seven"  # invented, for tests
WRONG = "kettle orbit maple eight"


def add(store: Store, code: str = "N1", role: Role = Role.MANAGER, **given: object) -> None:
    store.people.add(code, PASSWORD, role, NOW, by="command line", **given)  # type: ignore[arg-type]


def token(store: Store, code: str = "N1", at: datetime = NOW) -> str:
    found = store.people.sign_in(code, PASSWORD, "127.0.0.1", at).token
    assert found is not None
    return found


def acts(store: Store) -> list[tuple[str | None, str]]:
    record = store.people.accesses()[::-1]
    return list(zip(record["who"], record["what"].astype(str), strict=True))


def test_a_password_is_kept_as_an_argon2id_hash_with_a_salt_of_its_own(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    with monkeypatch.context() as patch:
        patch.setattr("analysis.store.passwords._hasher", PasswordHasher())
        whole = hashed(PASSWORD)
    # Parameters of RFC 9106 (2021), section 4, second recommended option.
    assert whole.startswith("$argon2id$v=19$m=65536,t=3,p=4$")
    assert fits(PASSWORD, whole)
    assert not fits(WRONG, whole)
    # As all other tests hash. Nobody's hash is kept: it has to be one of these.
    first, second = hashed(PASSWORD), hashed(PASSWORD)
    assert first != second
    assert fits(PASSWORD, first)
    assert not fits(PASSWORD, None)
    assert not fits("", first)
    assert not fits("x" * 100_000, first)


def test_the_same_letters_composed_in_another_way_are_the_same_password() -> None:
    assert fits("cafe\N{COMBINING ACUTE ACCENT} by the harbour", hashed("café by the harbour"))


def test_a_password_that_does_not_do_is_told_in_a_sentence() -> None:
    hashed("x" * LEAST_CHARACTERS)
    with pytest.raises(StoreError, match="at least 15 characters"):
        hashed("x" * (LEAST_CHARACTERS - 1))
    with pytest.raises(StoreError, match="at most 256 characters"):
        hashed("x" * 257)


EASY = (
    "passwordpassword",
    "123456789012345",
    "qwertyuiopasdfghjkl",
    "iloveyouiloveyou",
    "Winter2026!Winter2026!",
    "nurse.ann nurse.ann",
    "linedays linedays",
    "abcdefghijklmnop",
)


def test_a_password_that_is_easy_to_guess_is_refused(store: Store) -> None:
    for easy in EASY:
        with pytest.raises(StoreError, match="easy to guess"):
            store.people.add("nurse.ann", easy, Role.NURSE, NOW, by="command line")
    assert store.people.all() == []
    add(store, "nurse.ann")
    for easy in EASY:
        with pytest.raises(StoreError, match="easy to guess"):
            store.people.set_password("nurse.ann", easy, NOW, by="command line")


ALIKE = ("NI", "Nl", "n1", "\N{GREEK CAPITAL LETTER NU}1", "Ｎ１")


def test_a_code_that_looks_like_anothers_is_refused(store: Store) -> None:
    add(store)
    for alike in ALIKE:
        with pytest.raises(StoreError, match="looks like the code N1 of another user"):
            add(store, alike)
    add(store, "N2")
    store.people.end("N1", NOW, by="command line")
    for alike in ALIKE:
        with pytest.raises(StoreError, match="looks like"):  # what N1 did is still in the record
            add(store, alike)
    add(store)
    assert {user.code for user in store.people.all()} == {"N1", "N2"}


def test_a_person_changes_the_own_password_and_other_sign_ins_end(store: Store) -> None:
    add(store)
    here, elsewhere = token(store), token(store)
    new, people = "gravel lantern oyster nine", store.people

    def change(old: str, to: str = new) -> None:
        people.change_password("N1", old, to, "10.0.0.7", NOW, token=here)

    with pytest.raises(StoreError, match="present password is wrong"):
        change(WRONG)
    with pytest.raises(StoreError, match="at least 15 characters"):
        change(PASSWORD, "short")
    assert people.signed_in(elsewhere, NOW, uses=False) is not None
    change(PASSWORD)
    assert people.signed_in(here, NOW, uses=False) is not None
    assert people.signed_in(elsewhere, NOW, uses=False) is None
    assert people.sign_in("N1", PASSWORD, "10.0.0.7", NOW).token is None
    assert people.sign_in("N1", new, "10.0.0.7", NOW).token is not None
    assert ("N1", "set_password") in acts(store)
    for _ in range(5):
        with pytest.raises(StoreError, match="present password is wrong"):
            change(WRONG)
    with pytest.raises(StoreError, match="Wait 30 seconds"):
        change(new)


def test_a_user_is_what_was_added(store: Store) -> None:
    add(store, sites=["south", "Zürich; old town"], families=True, role=Role.READER)
    (user,) = store.people.all()
    assert (user.code, user.role, user.families, user.active) == ("N1", Role.READER, True, True)
    assert user.sites == ("Zürich; old town", "south")
    assert (user.added_at, user.ended_at) == (NOW, None)


def test_a_code_that_is_none_is_refused(store: Store) -> None:
    for code in ("", "N 1", "N1\n", "x" * 41, "<N1>", "command line"):
        with pytest.raises(StoreError, match="A user's code has 1 to 40 letters"):
            add(store, code)


def test_an_active_user_is_not_added_again_and_an_ended_one_starts_anew(store: Store) -> None:
    add(store)
    old = token(store)
    with pytest.raises(StoreError, match="linedays user end N1"):
        add(store)
    store.people.end("N1", NOW, by="command line")
    assert store.people.sign_in("N1", PASSWORD, "127.0.0.1", NOW).token is None
    with pytest.raises(StoreError, match="no active user N1"):
        store.people.end("N1", NOW, by="command line")
    with pytest.raises(StoreError, match="no active user N1"):
        store.people.set_password("N1", PASSWORD, NOW, by="command line")
    add(store, role=Role.READER)
    assert [u.role for u in store.people.all()] == [Role.READER]
    assert store.people.signed_in(old, NOW, uses=True) is None


def test_a_sign_in_ends_when_idle_after_its_whole_time_and_when_ended(store: Store) -> None:
    add(store)
    people = store.people

    def holds(held: str, at: datetime, *, uses: bool = False) -> bool:
        return people.signed_in(held, at, uses=uses) is not None

    minute = timedelta(minutes=1)
    held = token(store)
    assert holds(held, NOW + 29 * minute)
    assert not holds(held, NOW + 30 * minute)
    assert holds(held, NOW + 29 * minute, uses=True)
    assert holds(held, NOW + 58 * minute)
    for at in range(58, 720, 25):
        assert holds(held, NOW + at * minute, uses=True)
    assert not holds(held, NOW + 720 * minute)
    held = token(store)
    people.sign_out(held, NOW)
    people.sign_out(held, NOW)
    assert not holds(held, NOW)
    held = token(store)
    people.set_password("N1", PASSWORD, NOW, by="command line")
    assert not holds(held, NOW)
    assert not holds("", NOW)
    assert not holds("forged", NOW)


def test_neither_tokens_nor_passwords_nor_unknown_codes_are_in_the_store(store: Store) -> None:
    add(store)
    held = token(store)
    store.people.sign_in("typed in the wrong field", WRONG, "127.0.0.1", NOW)
    with store._database.reading() as connection:
        rows = [
            str(row) + repr(tuple(row))
            for table in (schema.users, schema.sign_ins, schema.attempts, schema.accesses)
            for row in connection.execute(sa.select(table))
        ]
    for hidden in (held, PASSWORD, WRONG, "typed in the wrong field"):
        assert not any(hidden in row for row in rows)


def test_wrong_passwords_make_a_code_wait_and_a_good_one_clears_them(store: Store) -> None:
    add(store)
    at = NOW

    def attempt(password: str, code: str = "N1", address: str = "127.0.0.1"):
        return store.people.sign_in(code, password, address, at)

    for _ in range(4):
        assert attempt(WRONG).wait_seconds == 0
    assert attempt(PASSWORD).token is not None
    for _ in range(5):
        assert attempt(WRONG).wait_seconds == 0
    waits = []
    for _ in range(7):
        wait = attempt(PASSWORD).wait_seconds
        waits.append(wait)
        assert attempt(PASSWORD, address="10.0.0.7").wait_seconds == wait
        at += timedelta(seconds=wait)
        assert attempt(WRONG).wait_seconds == 0
    assert waits == [30, 60, 120, 240, 480, 900, 900]
    at += timedelta(seconds=900)
    assert attempt(PASSWORD).token is not None


def test_an_unknown_code_has_to_wait_like_a_known_one(store: Store) -> None:
    for _ in range(5):
        assert store.people.sign_in("nobody", WRONG, "127.0.0.1", NOW).wait_seconds == 0
    assert store.people.sign_in("nobody", WRONG, "127.0.0.1", NOW).wait_seconds == 30


def test_who_guesses_from_an_address_shuts_out_nobody_else_there(store: Store, monkeypatch) -> None:
    add(store)
    for number in range(12):
        assert store.people.sign_in(f"guess{number}", WRONG, "10.0.0.7", NOW).wait_seconds == 0
    assert store.people.sign_in("N1", PASSWORD, "10.0.0.7", NOW).token is not None


def test_failures_from_when_the_clock_was_ahead_lock_nobody_out(store: Store) -> None:
    add(store)
    ahead = NOW + timedelta(days=3)
    for _ in range(6):
        store.people.sign_in("N1", WRONG, "127.0.0.1", ahead)
    assert store.people.sign_in("N1", PASSWORD, "127.0.0.1", NOW).token is not None


def test_a_user_is_unlocked(store: Store) -> None:
    add(store)
    for _ in range(6):
        store.people.sign_in("N1", WRONG, "127.0.0.1", NOW)
    assert store.people.sign_in("N1", PASSWORD, "127.0.0.1", NOW).wait_seconds == 30
    store.people.unlock("N1", NOW, by="command line")
    assert store.people.sign_in("N1", PASSWORD, "127.0.0.1", NOW).token is not None
    assert ("command line", "unlocked_user") in acts(store)
    with pytest.raises(StoreError, match="no active user N9"):
        store.people.unlock("N9", NOW, by="command line")


def test_attempts_side_by_side_do_not_share_a_free_failure(store: Store, monkeypatch) -> None:
    monkeypatch.setattr("analysis.store.passwords.fits", lambda *_: False)
    add(store)
    found = []

    def guess() -> None:
        found.append(store.people.sign_in("N1", WRONG, "127.0.0.1", NOW).wait_seconds)

    guesses = [threading.Thread(target=guess) for _ in range(9)]
    for one in guesses:
        one.start()
    for one in guesses:
        one.join()
    assert sorted(found) == [0] * 5 + [30] * 4


def test_the_record_keeps_acts_in_order_and_a_repeated_look_once(store: Store) -> None:
    people, minute = store.people, timedelta(minutes=1)
    for at, who, what, family in (
        (0, "N1", Access.OPENED_FAMILY, "F1"),
        (1, "N1", Access.OPENED_FAMILY, "F1"),
        (1, "N2", Access.OPENED_FAMILY, "F1"),
        (2, "N1", Access.OPENED_FAMILY, "F2"),
        (3, "N1", Access.RECORDED_CALL, "F1"),
        (3, "N1", Access.RECORDED_CALL, "F1"),
        (10, "N1", Access.OPENED_FAMILY, "F1"),
    ):
        people.note(who, what, NOW + at * minute, family_id=family)
    record = people.accesses()[::-1]
    assert list(zip(record["who"], record["what"], record["family_id"], strict=True)) == [
        ("N1", "opened_family", "F1"),
        ("N2", "opened_family", "F1"),
        ("N1", "opened_family", "F2"),
        ("N1", "recorded_call", "F1"),
        ("N1", "recorded_call", "F1"),
        ("N1", "opened_family", "F1"),
    ]
    assert people.accesses(2)["access"].tolist() == [6, 5]


def test_a_look_from_when_the_clock_was_ahead_hides_no_later_one(store: Store) -> None:
    ahead = NOW + timedelta(days=3)
    for at in (ahead, NOW, NOW + timedelta(minutes=1)):
        store.people.note("N1", Access.OPENED_FAMILY, at, family_id="F1")
    assert store.people.accesses()["at"].dt.day.tolist() == [NOW.day, ahead.day]
    assert store.people.opened_by_others("F1", "N2", NOW) == [("N1", NOW)]


def test_rows_of_the_record_can_be_neither_changed_nor_taken_out(store: Store) -> None:
    add(store)
    table = schema.accesses
    for statement in (sa.update(table).values(who="N2"), sa.delete(table)):
        with pytest.raises(sa.exc.DBAPIError), store._database.noting() as connection:
            connection.execute(statement)
    assert acts(store) == [("command line", "added_user")]


def test_signing_in_and_looking_leave_the_number_of_changes(store: Store) -> None:
    before = store.data_version()
    add(store)
    held = token(store)
    store.people.signed_in(held, NOW + timedelta(minutes=5), uses=True)
    store.people.note("N1", Access.OPENED_FAMILY, NOW, family_id="F1")
    assert store.data_version() == before


def test_a_sign_in_holds_while_a_long_file_goes_in(url: str) -> None:
    with Store.open(url) as opened:
        add(opened)
        held = token(opened)
        with opened._database.writing():
            later = NOW + timedelta(minutes=20)
            found = opened.people.signed_in(held, later, uses=True)
        assert found is not None
        assert found.code == "N1"


def test_a_filled_store_of_the_first_revision_gets_people_and_keeps_its_rows(
    url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def only_to_the_first(database: Database, revision: str = "0001") -> None:
        to_the_newest(database, revision)

    to_the_newest = migrate.upgrade
    monkeypatch.setattr(migrate, "upgrade", only_to_the_first)
    for act in ("add", "catch_up"):  # of links between rows, which that time did not have
        monkeypatch.setattr(f"analysis.store.chain.{act}", lambda *_: None)
    of_later = (deletions, deleted_codes)  # what writes here asks for them
    with Store.open(url) as first:
        with first._database.changing_tables() as connection:
            for table in of_later:
                table.create(connection)
        put(
            first,
            "caregivers",
            """
            received   | caregiver_id | family_id
            2031-03-01 | G1           | F1
            2031-03-01 | G2           | F1
            """,
        )
        with first._database.changing_tables() as connection:  # as the program of that time did
            calls = sa.Table("calls", sa.MetaData(), autoload_with=connection)
            call = {"row": 1, "family_id": "F1", "made_by": "N9", "made_at": microseconds(NOW)}
            day = microseconds(NOW) // 86_400_000_000
            days = {"made_on": day, "recheck_on": day}
            connection.execute(calls.insert().values(**call, **days, reached=1, agreed="so"))
            for table in of_later:
                table.drop(connection)
        version = first.data_version()
        with first._database.reading() as connection:
            assert "users" not in sa.inspect(connection).get_table_names()
    monkeypatch.undo()
    with Store.open(url, create=False) as now:
        assert now.records().caregivers["caregiver_id"].tolist() == ["G1", "G2"]
        assert now.all_calls()["called_by"].tolist() == ["N9"]
        assert now.data_version() == version
        assert now.people.all() == []
        add(now)
        assert now.people.signed_in(token(now), NOW, uses=True) is not None
    with Store.open(url, create=False) as again:
        assert [u.code for u in again.people.all()] == ["N1"]


def test_nobody_waits_for_a_long_file_to_look_or_to_sign_in_and_out(url: str) -> None:
    with Store.open(url, wait_seconds=0.1) as opened:
        add(opened)
        before = token(opened)
        with opened._database.writing():
            held = token(opened)
            opened.people.note("N1", Access.OPENED_FAMILY, NOW, family_id="F1")
            opened.people.note("N1", Access.OPENED_FAMILY, NOW, family_id="F1")
            opened.people.note("N1", Access.EXPORTED_TABLE, NOW, about="calls")
            assert opened.people.opened_by_others("F1", "N2", NOW) == [("N1", NOW)]
            opened.people.sign_out(before, NOW)
            assert opened.people.signed_in(before, NOW, uses=True) is None
            assert opened.people.signed_in(held, NOW, uses=True) is not None
            during = acts(opened)
        opened.people.note("N1", Access.RECORDED_CALL, NOW, family_id="F1")
        opened.people.bring_over()
        assert acts(opened) == [*during, ("N1", "recorded_call")]
        with opened._database.reading() as connection:
            kept = connection.scalar(sa.select(sa.func.count()).select_from(schema.accesses))
    assert [act for _, act in during] == [
        "added_user",
        "signed_in",
        "signed_in",
        "opened_family",
        "exported_table",
        "signed_out",
    ]
    assert kept == len(during) + 1

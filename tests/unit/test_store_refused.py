"""Refused rows are listed once, and leave the list when they were mended, and only then."""

from __future__ import annotations

import pandas as pd
import pyarrow as pa
import pytest

from analysis.store import Store
from tests.stored_rows import accepted, file_info, put, refused, store, url

__all__ = ["store", "url"]

TWO_REFUSED = """
row_number | column   | value    | key | raw   | row
4          | relation | neighbor | G1  | raw 1 | {"caregiver_id":"G1"}
7          |          |          |     | raw 2 | {"family_id":"F1"}
"""

MENDED_1 = """
received   | caregiver_id | family_id | relation | mends
2031-03-02 | G9           | F1        | other    | 1
"""


def refuse(opened: Store, text: str, number: int = 1) -> int:
    with opened.writing(file_info(number)) as writer:
        return writer.refuse(refused(text))


def open_rows(opened: Store) -> list[int]:
    return opened.refused()["refused_row"].tolist()


def test_a_refused_row_is_kept_whole(store: Store) -> None:
    assert refuse(store, TWO_REFUSED) == 2
    listed = store.refused()
    first, second = listed.to_dict("records")
    assert (first["file"], first["table"], first["row_number"]) == ("file-1.csv", "caregivers", 4)
    assert (first["column"], first["value"]) == ("relation", "neighbor")
    assert (first["reason"], first["row"]) == ("unknown_code", '{"caregiver_id":"G1"}')
    assert first["received_at"] == pd.Timestamp("2031-03-01")
    assert pd.isna(second["column"])
    assert pd.isna(first["sheet"])


def test_the_same_refused_row_is_listed_once(store: Store) -> None:
    twice_in_a_file = """
    row_number | raw
    2          | raw 1
    3          | raw 1
    """
    assert refuse(store, twice_in_a_file, 1) == 1
    assert refuse(store, TWO_REFUSED, 2) == 1
    assert open_rows(store) == [1, 2]


def test_a_row_that_mends_a_refused_one_takes_it_off_the_list(store: Store) -> None:
    refuse(store, TWO_REFUSED)
    put(store, "caregivers", MENDED_1, 2)
    assert open_rows(store) == [2]


def test_a_mended_row_that_is_the_same_as_before_takes_it_off_too(store: Store) -> None:
    put(store, "caregivers", MENDED_1.replace("| 1", "|"), 1)
    refuse(store, TWO_REFUSED, 2)
    assert put(store, "caregivers", MENDED_1, 3) == (0, 1)
    assert open_rows(store) == [2]


def test_a_mended_row_does_not_come_back_when_its_file_is_read_again(store: Store) -> None:
    refuse(store, TWO_REFUSED, 1)
    put(store, "caregivers", MENDED_1, 2)
    assert refuse(store, TWO_REFUSED, 1) == 0
    assert open_rows(store) == [2]


def test_a_row_mended_wrongly_is_listed_in_place_of_the_first(store: Store) -> None:
    refuse(store, TWO_REFUSED, 1)
    still_wrong = """
    row_number | column   | value  | key | raw   | mends
    2          | relation | mother | G1  | raw 3 | 1
    """
    assert refuse(store, still_wrong, 2) == 1
    assert open_rows(store) == [2, 3]


def test_a_list_sent_back_without_a_change_stays_as_it_is(store: Store) -> None:
    refuse(store, TWO_REFUSED, 1)
    unchanged = """
    row_number | column   | value    | key | raw   | mends
    2          | relation | neighbor | G1  | raw 1 | 1
    3          |          |          |     | raw 2 | 2
    """
    assert refuse(store, unchanged, 2) == 0
    assert open_rows(store) == [1, 2]


def test_a_row_mended_into_one_mended_before_is_not_lost(store: Store) -> None:
    refuse(store, TWO_REFUSED, 1)
    put(store, "caregivers", MENDED_1, 2)
    second_turned_into_the_first = """
    row_number | raw   | mends
    3          | raw 1 | 2
    """
    assert refuse(store, second_turned_into_the_first, 3) == 1
    assert open_rows(store) == [3]


def test_two_rows_mended_into_one_open_row_are_listed_as_that_one(store: Store) -> None:
    refuse(store, TWO_REFUSED, 1)
    second_turned_into_the_first = """
    row_number | raw   | mends
    3          | raw 1 | 2
    """
    assert refuse(store, second_turned_into_the_first, 2) == 0
    assert open_rows(store) == [1]


def test_a_void_row_withdraws_the_refused_row_it_names(store: Store) -> None:
    refuse(store, TWO_REFUSED, 1)
    withdrawal = """
    received   | void | caregiver_id | mends
    2031-03-02 | yes  |              | 2
    """
    rows = accepted("caregivers", withdrawal)
    no_key = pa.nulls(1, pa.binary(16))
    nameless = rows.set_column(rows.column_names.index("key"), "key", no_key)
    with store.writing(file_info(2)) as writer:
        added = writer.add("caregivers", nameless)
    assert (added.stored, added.same_as_before) == (1, 0)
    assert open_rows(store) == [1]
    assert len(store.records().caregivers) == 0


def test_a_later_row_of_the_same_key_takes_the_refused_one_off(store: Store) -> None:
    refuse(store, TWO_REFUSED, 1)
    good = """
    received   | caregiver_id | family_id | relation
    2031-03-02 | G1           | F1        | parent
    """
    put(store, "caregivers", good, 2)
    assert open_rows(store) == [2]


def test_a_row_of_another_table_with_the_same_key_does_not(store: Store) -> None:
    refuse(store, TWO_REFUSED, 1)
    line = """
    received   | line_id | child_id | family_id
    2031-03-02 | G1      | C1       | F1
    """
    put(store, "lines", line, 2)
    assert open_rows(store) == [1, 2]


def test_a_row_of_the_same_file_with_the_same_key_does_not(store: Store) -> None:
    good = """
    received   | caregiver_id | family_id | relation
    2031-03-01 | G1           | F1        | parent
    """
    with store.writing(file_info(1)) as writer:
        writer.refuse(refused(TWO_REFUSED))
        writer.add("caregivers", accepted("caregivers", good))
    assert open_rows(store) == [1, 2]


def test_a_row_of_the_same_file_that_is_usable_now_leaves_the_list(store: Store) -> None:
    refuse(store, TWO_REFUSED.replace("7 ", "3 "), 1)
    rows_2_and_3 = """
    received   | caregiver_id | family_id | relation
    2031-03-01 | G7           | F1        | parent
    2031-03-01 | G8           | F1        | parent
    """
    put(store, "caregivers", rows_2_and_3, 2)
    assert open_rows(store) == [1, 2]
    put(store, "caregivers", rows_2_and_3, 1)
    assert open_rows(store) == [1]


def test_an_ingest_that_fails_leaves_the_list_alone(store: Store) -> None:
    refuse(store, TWO_REFUSED, 1)

    with pytest.raises(KeyboardInterrupt), store.writing(file_info(2)) as writer:  # noqa: PT012
        writer.add("caregivers", accepted("caregivers", MENDED_1))
        writer.refuse(refused(TWO_REFUSED.replace("raw 2", "raw 9")))
        raise KeyboardInterrupt
    assert open_rows(store) == [1, 2]

"""The store keeps every version and gives back what was known at a time."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
import sqlalchemy as sa

from analysis.decisions.history import Versions
from analysis.store import Added, RecordedBeforeError, Store, StoreError
from analysis.store.frames import typed
from analysis.store.schema import arrangements, stored_columns
from analysis.tables import KNOWN
from analysis.vocabulary import Arrangement, CallOutcome
from tests.stored_rows import (
    accepted,
    file_info,
    microseconds,
    moment,
    put,
    store,
    url,
)

__all__ = ["store", "url"]

STAYS_IN_THREE_VERSIONS = """
received   | child_id | from_on    | to_on
2031-03-01 | C1       | 2031-02-20 |
2031-03-05 | C1       | 2031-02-20 | 2031-03-04
2031-03-09 | C1       | 2031-02-20 | 2031-03-06
"""


def stay_ends(opened: Store, known_at: str | None) -> list[str | None]:
    stays = opened.records(None if known_at is None else moment(known_at)).stays
    return [None if pd.isna(end) else str(end.date()) for end in stays["to_on"]]


def test_each_day_sees_the_version_received_by_then(store: Store) -> None:
    assert put(store, "stays", STAYS_IN_THREE_VERSIONS) == (3, 0)
    assert stay_ends(store, "2031-02-28T23:59") == []
    assert stay_ends(store, "2031-03-01T00:00") == [None]
    assert stay_ends(store, "2031-03-08T12:00") == ["2031-03-04"]
    assert stay_ends(store, None) == ["2031-03-06"]


def test_earlier_versions_of_a_line_are_known_until_it_is_withdrawn(store: Store) -> None:
    put(
        store,
        "lines",
        """
    received   | void | line_id | child_id | family_id | site  | line_type | placed_on  | home_from  | dressing_type
    2031-03-01 |      | L1      | C1       | F1        | north | picc      | 2031-02-01 | 2031-02-01 | gauze
    2031-03-05 |      | L1      | C1       | F1        | south | picc      | 2031-02-01 | 2031-02-01 | gauze
    2031-03-01 |      | L2      | C2       | F2        | north | picc      | 2031-02-01 | 2031-02-01 | gauze
    2031-03-09 | yes  | L1      | C1       | F1        | south | picc      | 2031-02-01 | 2031-02-01 | gauze
    2031-03-10 |      | L1      | C1       | F1        | east  | picc      | 2031-02-01 | 2031-02-01 | gauze
    2031-03-12 |      | L1      | C1       | F1        | west  | picc      | 2031-02-01 | 2031-02-01 | gauze
    """,
    )

    def earlier(known_at: str) -> list[str]:
        frame = store.records(moment(known_at)).earlier_lines
        every = store.versions()["lines"]
        again = Versions.of(every.frame, every.key, every.void)
        found = again.frame.take(again.earlier(microseconds(known_at)))
        assert found["row"].tolist() == frame["row"].tolist()
        return frame["site"].tolist()

    assert earlier("2031-03-04") == []
    assert earlier("2031-03-06") == ["north"]
    assert earlier("2031-03-09") == []
    assert earlier("2031-03-11") == []
    assert earlier("2031-03-13") == ["east"]


def test_a_naive_moment_is_utc(store: Store) -> None:
    put(store, "stays", STAYS_IN_THREE_VERSIONS)
    naive = moment("2031-03-05T00:00").replace(tzinfo=None)
    assert len(store.records(naive).stays) == 1
    assert store.records(naive).stays["to_on"].notna().all()


def test_a_row_equal_in_content_is_stored_once(store: Store) -> None:
    rows = """
    received   | caregiver_id | family_id | relation
    2031-03-01 | G1           | F1        | parent
    2031-03-01 | G2           | F1        | parent
    2031-03-01 | G1           | F1        | parent
    """
    assert put(store, "caregivers", rows, 1) == (2, 1)
    assert put(store, "caregivers", rows, 2) == (0, 3)
    assert store.records().caregivers["caregiver_id"].tolist() == ["G1", "G2"]


def test_a_row_that_goes_back_to_an_older_content_is_stored_again(store: Store) -> None:
    there_and_back = """
    received   | caregiver_id | family_id | relation
    2031-03-01 | G1           | F1        | parent
    2031-03-02 | G1           | F1        | self
    2031-03-03 | G1           | F1        | parent
    """
    assert put(store, "caregivers", there_and_back) == (3, 0)
    assert store.records().caregivers["relation"].tolist() == ["parent"]
    assert store.records(moment("2031-03-02T10:00")).caregivers["relation"].tolist() == ["self"]


def test_a_late_row_is_judged_by_the_version_in_force_when_it_was_received(store: Store) -> None:
    put(store, "stays", STAYS_IN_THREE_VERSIONS, 1)
    late = """
    received   | child_id | from_on    | to_on
    2031-03-07 | C1       | 2031-02-20 | 2031-03-04
    2031-03-04 | C1       | 2031-02-20 | 2031-03-06
    """
    # On 7 March the end on the 4th was in force: the same. On 4 March the stay was still open.
    assert put(store, "stays", late, 2) == (1, 1)
    assert stay_ends(store, "2031-03-04T12:00") == ["2031-03-06"]
    assert stay_ends(store, "2031-03-05T12:00") == ["2031-03-04"]


def test_of_two_versions_received_at_one_moment_the_later_row_counts(store: Store) -> None:
    rows = """
    received   | entry_id | line_id | family_id | done_on    | kind       | note
    2031-03-01 | E1       | L1      | F1        | 2031-03-01 | skin_check | first
    2031-03-01 | E1       | L1      | F1        | 2031-03-01 | skin_check | second
    """
    assert put(store, "home_log", rows) == (2, 0)
    assert store.records().home_log["note"].tolist() == ["second"]


def test_a_void_row_withdraws_its_key_from_its_receipt_on(store: Store) -> None:
    rows = """
    received   | void | caregiver_id | family_id
    2031-03-01 |      | G1           | F1
    2031-03-03 | yes  | G1           |
    """
    assert put(store, "caregivers", rows, 1) == (2, 0)
    assert len(store.records(moment("2031-03-02T00:00")).caregivers) == 1
    assert len(store.records().caregivers) == 0
    again = """
    received   | caregiver_id | family_id
    2031-03-04 | G1           | F1
    """
    assert put(store, "caregivers", again, 2) == (1, 0)
    assert len(store.records().caregivers) == 1


def test_batches_of_one_file_are_judged_as_one(store: Store) -> None:
    one = accepted(
        "caregivers",
        """
        received   | caregiver_id | family_id
        2031-03-01 | G1           | F1
        """,
    )
    with store.writing(file_info()) as writer:
        assert writer.add("caregivers", one) == Added(1, 0)
        assert writer.add("caregivers", one) == Added(0, 1)


def test_row_numbers_increase_from_file_to_file(store: Store) -> None:
    one = """
    received   | caregiver_id | family_id
    2031-03-01 | G1           | F1
    2031-03-01 | G1           | F1
    """
    other = """
    received   | caregiver_id | family_id
    2031-03-01 | G2           | F1
    """
    put(store, "caregivers", one, 1)
    put(store, "caregivers", other, 2)
    rows = store.records().caregivers["row"]
    assert rows.is_monotonic_increasing
    assert rows.is_unique


def test_every_kind_of_cell_comes_back_as_its_catalogue_entry_says(store: Store) -> None:
    put(
        store,
        "lines",
        """
        received   | line_id | child_id | family_id | site  | line_type | lumens | placed_on  | home_from  | born    | dressing_type | contact
        2031-03-01 | 007     | NA       | F1        | north | picc      | 2      | 2031-01-05 | 2031-01-09 | 2024-05 | gauze         |
        2031-03-01 | L2      | C2       | F1        | north | other     |        | 1969-12-31 | 2031-01-09 |         | none          | é "x", y
        """,
    )
    put(
        store,
        "home_log",
        """
        received         | line_id | family_id | done_on    | done_at                    | kind | findings | kits_left
        2031-03-01T08:00 | 007     | F1        | 2031-02-28 | 2031-02-27T23:30:00.000001 | note | none     | 0
        2031-03-01T08:00 | 007     | F1        | 2031-02-28 |                            | note |          |
        """,
        2,
    )
    found = store.records(moment("2031-03-02T00:00"))
    lines, log = found.lines, found.home_log
    assert lines["line_id"].tolist() == ["007", "L2"]
    assert lines["child_id"].tolist() == ["NA", "C2"]
    assert lines["lumens"].tolist() == [2, pd.NA]
    assert lines["placed_on"].astype(str).tolist() == ["2031-01-05", "1969-12-31"]
    assert lines["born"].isna().tolist() == [False, True]
    assert str(lines["born"].iloc[0].date()) == "2024-05-01"
    assert lines["contact"].tolist() == [pd.NA, 'é "x", y']
    assert list(lines["dressing_type"].cat.categories) == ["gauze", "none"]
    assert log["done_at"].tolist() == [pd.Timestamp("2031-02-27 23:30:00.000001"), pd.NaT]
    assert log["received_at"].tolist() == [pd.Timestamp("2031-03-01 08:00")] * 2
    assert log["findings"].tolist() == ["none", pd.NA]
    assert log["kits_left"].tolist() == [0, pd.NA]


def test_text_with_quotes_lines_and_backslashes_comes_back_as_it_went_in(store: Store) -> None:
    notes = ["a\nb", 'say "x"', "\\N", "\\x00", "", " ", ",", "NULL", "\t", "héllo 日本", "%", "'"]
    text = "received | entry_id | line_id | family_id | done_on | kind\n" + "\n".join(
        f"2031-03-01 | E{n} | L1 | F1 | 2031-03-01 | note" for n in range(len(notes))
    )
    rows = accepted("home_log", text)
    rows = rows.set_column(rows.column_names.index("note"), "note", pa.array(notes))
    with store.writing(file_info()) as writer:
        writer.add("home_log", rows)
    assert store.records().home_log["note"].tolist() == notes


def test_a_code_of_a_newer_version_is_named_and_not_lost(store: Store) -> None:
    rows = """
    received   | caregiver_id | family_id | relation
    2031-03-01 | G1           | F1        | neighbour
    2031-03-01 | G2           | F1        | parent
    """
    put(store, "caregivers", rows)
    with pytest.raises(StoreError, match="relation holds neighbour"):
        store.records()
    assert store.source_rows("caregivers", [1])[0].content["relation"] == "neighbour"


def test_codes_read_in_parts_share_one_order_of_words() -> None:
    relation = pa.chunked_array([["self", None], [], ["parent", "self"], ["other"]], pa.string())
    rows = pa.table(
        {
            "row": pa.array(range(5)),
            "received_at": pa.array([0] * 5),
            "caregiver_id": pa.array(list("abcde")),
            "family_id": pa.array(["F1"] * 5),
            "relation": relation,
        }
    )
    found = typed(rows, KNOWN["caregivers"])["relation"]
    assert found.tolist() == ["self", np.nan, "parent", "self", "other"]
    assert list(found.cat.categories) == ["parent", "self", "other"]


def test_an_empty_store_gives_empty_frames(store: Store) -> None:
    found = store.records()
    for name, entry in KNOWN.items():
        frame = getattr(found, name)
        assert len(frame) == 0
        assert entry.check(frame) is not None
    assert len(store.refused()) == len(store.doubts()) == len(store.ingests()) == 0
    assert store.registry().lines.num_rows == 0


def test_a_source_row_leads_back_to_its_file_sheet_and_row(store: Store) -> None:
    rows = """
    received   | sheet | entry_id | line_id | family_id | done_on    | done_at          | kind | kits_left | doubts      | extra
    2031-03-01 | Diary | E1       | L1      | F1        | 2031-03-01 | 2031-03-01T07:30 | note | 3         | during_stay | {"Room":"7"}
    2031-03-02 |       | E2       | L1      | F1        | 2031-03-01 |                  | note |           |             |
    """
    put(store, "home_log", rows, name="march.xlsx")
    late, early = store.source_rows("home_log", [2, 1, 77])
    assert (early.table, early.row, early.file, early.sheet) == (
        "home_log",
        1,
        "march.xlsx",
        "Diary",
    )
    assert (early.row_number, late.row_number, late.sheet) == (2, 3, None)
    assert late.received_at == moment("2031-03-02T00:00")
    assert early.doubts == ("during_stay",)
    assert late.doubts == ()
    assert early.content == {
        "entry_id": "E1",
        "line_id": "L1",
        "family_id": "F1",
        "done_on": "2031-03-01",
        "done_at": "2031-03-01 07:30:00 UTC",
        "kind": "note",
        "kits_left": "3",
        "Room": "7",
    }


def test_a_source_row_can_be_one_that_a_later_one_has_replaced(store: Store) -> None:
    put(store, "stays", STAYS_IN_THREE_VERSIONS)
    first, last = store.source_rows("stays", [1, 3])
    assert "to_on" not in first.content
    assert last.content["to_on"] == "2031-03-06"


def test_doubts_are_those_of_rows_in_force(store: Store) -> None:
    rows = """
    received   | entry_id | line_id | family_id | done_on    | kind | doubts
    2031-03-01 | E1       | L1      | F1        | 2031-03-01 | note | after_removal
    2031-03-02 | E1       | L1      | F1        | 2031-02-01 | note |
    2031-03-01 | E2       | L1      | F1        | 2031-03-01 | note | during_stay;other_family
    """
    put(store, "home_log", rows)
    doubts = store.doubts()
    assert doubts["doubt"].tolist() == ["during_stay", "other_family"]
    assert doubts["row_number"].tolist() == [4, 4]
    assert doubts["file"].unique().tolist() == ["file-1.csv"]


def test_the_registry_is_the_one_in_force_and_holds_the_file_being_written(store: Store) -> None:
    put(store, "stays", STAYS_IN_THREE_VERSIONS)
    stays = store.registry().stays
    assert stays.to_pylist() == [
        {
            "child_id": "C1",
            "from_on": (date(2031, 2, 20) - date(1970, 1, 1)).days,
            "to_on": (date(2031, 3, 6) - date(1970, 1, 1)).days,
        }
    ]
    one = """
    received   | caregiver_id | family_id
    2031-03-01 | G1           | F1
    """
    with store.writing(file_info(2)) as writer:
        writer.add("caregivers", accepted("caregivers", one))
        assert writer.registry().caregivers.to_pylist() == [
            {"caregiver_id": "G1", "family_id": "F1"}
        ]


def test_ingests_are_listed_with_their_counts(store: Store) -> None:
    with store.writing(file_info(1, name="a.csv", source="ward sheet")) as writer:
        writer.count("stays", 5, 2, 1, 2, 1)
        writer.count("lines", 1, 1, 0, 0, 0)
    with store.writing(file_info(2, name="empty.csv")):
        pass
    listed = store.ingests()
    assert listed["file"].tolist() == ["a.csv", "a.csv", "empty.csv"]
    assert sorted(listed["table"].dropna()) == ["lines", "stays"]
    stays = listed[listed["table"] == "stays"].iloc[0]
    counts = ["read", "stored", "same_as_before", "refused", "doubts"]
    assert stays[counts].tolist() == [5, 2, 1, 2, 1]
    assert stays["source"] == "ward sheet"
    assert stays["ingested_at"] == pd.Timestamp("2031-03-01 09:00")


def test_an_unchanged_file_is_known_by_its_name_and_bytes(store: Store) -> None:
    rows = """
    received   | caregiver_id | family_id
    2031-03-01 | G1           | F1
    """
    sha256 = file_info(1).sha256
    assert store.file_before(sha256, "a.csv") is None
    for stored, on in ((1, "2031-03-01"), (0, "2031-03-05")):
        info = file_info(1, name="a.csv", received_at=microseconds(on))
        with store.writing(info) as writer:
            writer.add("caregivers", accepted("caregivers", rows))
            writer.count("caregivers", 1, stored, 1 - stored, 0, 0)
    before = store.file_before(sha256, "a.csv")
    assert before is not None
    assert before.received_at == microseconds("2031-03-01")
    (count,) = before.counts
    assert (count.table, count.read, count.same_as_before) == ("caregivers", 1, 1)
    assert store.file_before(sha256, "b.csv") is None


def test_a_file_that_goes_back_to_older_bytes_has_changed(store: Store) -> None:
    first = """
    received   | caregiver_id | family_id | relation
    2031-03-01 | G1           | F1        | parent
    """
    other = """
    received   | caregiver_id | family_id | relation
    2031-03-01 | G1           | F1        | self
    """
    for number, rows in ((1, first), (2, other)):
        with store.writing(file_info(number, name="a.csv")) as writer:
            writer.add("caregivers", accepted("caregivers", rows))
            writer.count("caregivers", 1, 1, 0, 0, 0)
    assert store.file_before(file_info(1).sha256, "a.csv") is None
    assert store.file_before(file_info(2).sha256, "a.csv") is not None
    assert put(store, "caregivers", first, 1) == (1, 0)
    assert store.records().caregivers["relation"].tolist() == ["parent"]


def test_the_data_version_changes_with_every_kind_of_write(store: Store, url: str) -> None:
    seen = [store.data_version()]
    with Store.open(url) as other:
        put(
            other,
            "caregivers",
            """
            received   | caregiver_id | family_id
            2031-03-01 | G1           | F1
            """,
        )
        seen.append(store.data_version())
        row = other.record_call(
            "F1",
            "N1",
            CallOutcome.REACHED,
            None,
            date(2031, 3, 4),
            moment("2031-03-02T08:00"),
            date(2031, 3, 2),
        )
        seen.append(store.data_version())
        other.undo_call(row, "N1", moment("2031-03-02T08:05"))
        seen.append(store.data_version())
        other.records()
        seen.append(store.data_version())
    assert len(set(seen[:4])) == 4
    assert seen[4] == seen[3]


def test_a_call_is_known_from_when_it_was_made_until_it_was_taken_back(store: Store) -> None:
    row = store.record_call(
        family_id="F1",
        called_by="N1",
        outcome=CallOutcome.NO_ANSWER,
        agreed=None,
        recheck_on=date(2031, 3, 4),
        called_at=moment("2031-03-02T23:30"),
        called_on=date(2031, 3, 3),
    )
    store.record_call(
        family_id="F2",
        called_by="N1",
        outcome=CallOutcome.REACHED,
        agreed='change it "today"',
        recheck_on=date(2031, 3, 5),
        called_at=moment("2031-03-03T08:00"),
        called_on=date(2031, 3, 3),
    )
    store.undo_call(row, "N2", moment("2031-03-03T09:00"))

    def families(known_at: str) -> list[str]:
        return store.records(moment(known_at)).calls["family_id"].tolist()

    assert families("2031-03-02T23:29") == []
    assert families("2031-03-03T08:59") == ["F1", "F2"]
    assert families("2031-03-03T09:00") == ["F2"]
    first, second = store.all_calls().to_dict("records")
    assert first["undone_by"] == "N2"
    assert first["undone_at"] == pd.Timestamp("2031-03-03 09:00")
    assert first["called_on"] == pd.Timestamp("2031-03-03")
    assert first["called_at"] == pd.Timestamp("2031-03-02 23:30")
    assert first["outcome"] == CallOutcome.NO_ANSWER
    assert pd.isna(second["undone_at"])
    assert second["agreed"] == 'change it "today"'
    assert store.all_calls("F2")["row"].tolist() == [second["row"]]


def test_a_call_is_taken_back_once(store: Store) -> None:
    row = store.record_call(
        "F1",
        "N1",
        CallOutcome.REACHED,
        None,
        date(2031, 3, 4),
        moment("2031-03-02T08:00"),
        date(2031, 3, 2),
    )
    with pytest.raises(StoreError, match="no recorded call number 99"):
        store.undo_call(99, "N1", moment("2031-03-02T09:00"))
    store.undo_call(row, "N1", moment("2031-03-02T09:00"))
    with pytest.raises(StoreError, match="undone already"):
        store.undo_call(row, "N1", moment("2031-03-02T09:00"))
    with pytest.raises(StoreError, match="no recorded call"):
        store.undo_call(row + 1, "N1", moment("2031-03-02T09:00"))


def test_a_form_that_a_person_sends_twice_records_one_call(store: Store) -> None:
    def record(family_id: str, made_by: str, form: str | None) -> int:
        at = moment("2031-03-02T08:00")
        return store.record_call(
            family_id, made_by, CallOutcome.REACHED, None, date(2031, 3, 4), at, form=form
        )

    record("F1", "N1", "one")
    with pytest.raises(RecordedBeforeError):
        record("F1", "N1", "one")
    record("F2", "N2", "one")  # nobody can take a form away from another person
    record("F3", "N1", None)
    record("F4", "N1", None)
    assert store.all_calls()["family_id"].tolist() == ["F1", "F2", "F3", "F4"]


def test_a_large_table_comes_back_whole(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("analysis.store.bulk.ROWS_A_PART", 30_000)
    n = 75_000  # more than the values that one statement may name, and than a part
    numbers = np.arange(n)
    codes = pa.array(numbers).cast(pa.string())
    blank = {c.name: pa.nulls(n, pa.string()) for c in stored_columns("caregivers")}
    cells = np.zeros((n, 2), dtype=">u8")
    cells[:, 1] = numbers[::-1]
    hashes = pa.Array.from_buffers(pa.binary(16), n, [None, pa.py_buffer(cells)])
    rows = pa.table(
        {
            **blank,
            "caregiver_id": codes,
            "family_id": codes,
            "sheet": pa.nulls(n, pa.string()),
            "row_number": pa.array(numbers + 2),
            "received_at": pa.array(numbers),
            "void": pa.array(numbers % 10 == 3),
            "key": hashes,
            "content": hashes,
            "extra": pa.nulls(n, pa.string()),
            "doubts": pa.nulls(n, pa.string()),
        }
    )
    with store.writing(file_info()) as writer:
        assert writer.add("caregivers", rows.slice(0, 30_000)) == Added(30_000, 0)
        assert writer.add("caregivers", rows.slice(30_000)) == Added(45_000, 0)
    expected = [str(i) for i in numbers if i % 10 != 3]
    assert store.records().caregivers["caregiver_id"].tolist() == expected
    assert put_again(store, rows) == Added(0, n)


def put_again(opened: Store, rows: pa.Table) -> Added:
    with opened.writing(file_info(2)) as writer:
        return writer.add("caregivers", rows)


def test_a_file_being_written_is_told_what_earlier_files_said_of_its_keys(store: Store) -> None:
    put(store, "stays", STAYS_IN_THREE_VERSIONS, 1)
    keys = accepted("stays", STAYS_IN_THREE_VERSIONS)["key"].combine_chunks()
    unknown = accepted("caregivers", "received | caregiver_id\n2031-03-01 | G1")["key"]
    with store.writing(file_info(2)) as writer:
        found = writer.versions("stays", pa.concat_arrays([unknown.combine_chunks(), keys]))
        assert found["received_at"].to_pylist() == [
            microseconds(day) for day in ("2031-03-01", "2031-03-05", "2031-03-09")
        ]
        assert found["key"].to_pylist() == keys.to_pylist()
        assert (
            found["content"].to_pylist()
            == accepted("stays", STAYS_IN_THREE_VERSIONS)["content"].to_pylist()
        )
        writer.add("caregivers", accepted("caregivers", "received | caregiver_id\n2031-03-01 | G1"))
        assert writer.versions("caregivers", unknown).num_rows == 0


def test_connector_changes_of_earlier_files_are_told_as_corrected(store: Store) -> None:
    first = """
    received   | void | entry_id | line_id | family_id | done_on    | kind
    2031-03-01 |      | E1       | L1      | F1        | 2031-02-20 | connector_change
    2031-03-01 |      | E2       | L1      | F1        | 2031-02-24 | connector_change
    2031-03-02 |      | E2       | L1      | F1        | 2031-02-25 | connector_change
    2031-03-01 |      | E3       | L2      | F1        | 2031-02-26 | connector_change
    2031-03-01 |      | E4       | L1      | F1        | 2031-02-27 | flush
    2031-03-01 |      | E5       | L1      | F1        | 2031-02-28 | connector_change
    2031-03-02 | yes  | E5       | L1      | F1        | 2031-02-28 | connector_change
    2031-03-01 |      | E6       | L1      | F1        | 2031-02-10 | connector_change
    """
    own = """
    received   | entry_id | line_id | family_id | done_on    | kind
    2031-03-03 | E7       | L1      | F1        | 2031-02-26 | connector_change
    """
    put(store, "home_log", first, 1)
    low, high = (int(np.datetime64(day, "D").astype(int)) for day in ("2031-02-20", "2031-02-28"))
    with store.writing(file_info(2)) as writer:
        writer.add("home_log", accepted("home_log", own))
        found = writer.connector_days(pa.array(["L1", "L9", "L1"]), low, high)
    assert sorted(found["done_on"].to_pylist()) == [low, low + 5]
    assert found["line_id"].to_pylist() == ["L1", "L1"]


ARRANGED = {"made_by": "N1", "made_on": date(2031, 3, 3)}


def test_an_arrangement_holds_from_its_making_until_it_is_taken_back(store: Store) -> None:
    at, back = moment("2031-03-03T09:00"), moment("2031-03-04T09:00")
    first = store.arrange(
        Arrangement.SET_ASIDE,
        "F1",
        made_at=at,
        until_on=date(2031, 3, 9),
        why="at the lake",
        **ARRANGED,
    )
    second = store.arrange(Arrangement.ASSIGNED, "F2", made_at=at, assigned_to="N2", **ARRANGED)
    store.undo_arrangement(first, "N1", back)

    def known(text: str) -> list[str]:
        return store.records(moment(text)).arrangements["family_id"].tolist()

    assert known("2031-03-03T08:59") == []
    assert known("2031-03-03T09:00") == ["F1", "F2"]
    assert known("2031-03-04T09:00") == ["F2"]
    every = store.all_arrangements()
    assert every["row"].tolist() == [first, second]
    assert every["kind"].astype(str).tolist() == ["set_aside", "assigned"]
    assert every["undone_by"].astype("object").fillna("").tolist() == ["N1", ""]
    assert store.all_arrangements("F2")["assigned_to"].tolist() == ["N2"]
    versions = store.versions()["arrangements"]
    assert versions.void.tolist() == [False, False, True]
    for row in (first, 99):
        with pytest.raises(StoreError, match=f"arrangement number {row}"):
            store.undo_arrangement(row, "N1", back)


def test_rows_of_arrangements_are_only_ever_added(store: Store) -> None:
    store.arrange(
        Arrangement.ASSIGNED, "F1", made_at=moment("2031-03-03T09:00"), assigned_to="N2", **ARRANGED
    )
    for act in (sa.delete(arrangements), sa.update(arrangements).values(made_by="N9")):
        with (
            pytest.raises(sa.exc.DBAPIError, match="only ever added"),
            store._database.writing() as connection,
        ):
            connection.execute(act)
    assert store.records().arrangements["made_by"].tolist() == ["N1"]

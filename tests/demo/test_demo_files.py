"""Four shapes of files go in, add up, go in again without a change, and are mended."""

import csv

from analysis.ingest.refused import write_back
from tests.demo.conftest import read_in


def counts(summaries):
    return [
        (t.table, t.read, t.stored, t.same_as_before, t.refused)
        for s in summaries
        for t in s.tables
    ]


def test_rows_read_are_stored_same_as_before_or_refused(whole_demo):
    for table, read, stored, same, refused in counts(whole_demo.summaries):
        assert read == stored + same + refused, table
    assert not any(s.faults for s in whole_demo.summaries)
    refused = sum(c[-1] for c in counts(whole_demo.summaries))
    assert refused == len(whole_demo.written.wrong) == len(whole_demo.store.refused())


def test_every_wrong_row_is_refused_for_its_own_reason(whole_demo):
    listed = whole_demo.store.refused()
    found = {
        (r.file, r.row_number, r.column, r.reason)
        for r in listed[["file", "row_number", "column", "reason"]].itertuples(index=False)
    }
    # Of a form with one column a finding, the column at fault is the one in the form.
    told = {
        (
            w.file.rsplit("/", 1)[-1],
            w.row_number,
            w.head if w.reason == "unreadable_tick" else w.column,
            w.reason,
        )
        for w in whole_demo.written.wrong
    }
    assert told - found == set()
    assert found - told == set()


def test_the_same_files_again_change_nothing(small_demo):
    before = small_demo.store.records(None)
    listed = small_demo.store.refused()
    for _, read, stored, same, refused in counts(small_demo.again()):
        assert stored == 0
        assert read == same + refused
    after = small_demo.store.records(None)
    for name, frame in before.frames.items():
        assert frame.equals(after.frames[name]), name
    assert listed.equals(small_demo.store.refused())


def test_mending_refused_rows_and_reading_them_again_empties_the_list(small_demo, tmp_path):
    right = {
        (w.file.rsplit("/", 1)[-1], w.row_number): (w.column, w.canonical)
        for w in small_demo.written.wrong
    }
    listed = small_demo.store.refused().set_index("refused_row")
    assert len(listed) == len(right) > 0

    def as_told(row):
        source = listed.loc[int(row["refused_row"])]
        column, mended = right[(source["file"], int(source["row_number"]))]
        row[column] = mended

    read_back(small_demo.store, tmp_path / "mend", as_told)
    # A tick says its code only under the profile of its source: the code is written out now, and
    # the cell has to be cleared, as the sentence asks.
    left = small_demo.store.refused().set_index("refused_row")
    assert set(left["reason"]) == {"tick_without_profile"}
    assert len(left) == (listed["reason"] == "unreadable_tick").sum() > 0

    def cleared(row):
        row[left.loc[int(row["refused_row"]), "column"]] = ""

    read_back(small_demo.store, tmp_path / "mend", cleared)
    assert small_demo.store.refused().empty
    assert write_back(small_demo.store, tmp_path / "mend") == []


def read_back(store, folder, mend):
    """Mend each row of the files that the list writes, and read them in."""
    for path in write_back(store, folder):
        with path.open(encoding="utf-8", newline="") as stream:
            rows = list(csv.DictReader(stream))
        for row in rows:
            mend(row)
        with path.open("w", encoding="utf-8", newline="") as stream:
            sheet = csv.DictWriter(stream, rows[0].keys())
            sheet.writeheader()
            sheet.writerows(rows)
        assert read_in(store, path, None).faults == ()

"""One file's damage ends that file only, and no file of settings hangs or stops the program."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from analysis.decisions.order_file import read_fits
from analysis.errors import UserError
from analysis.ingest import load_profile, sources
from analysis.ingest.reasons import FileFault
from analysis.policy import load_policy
from analysis.store import Store
from tests.ingest_files import programme, store, take_in, written

__all__ = ["programme", "store"]

LOG = "line_id,done_at,kind\nL1,2031-03-04,flush\n"
READERS: dict[str, Callable[[Path], object]] = {
    "policy": load_policy,
    "profile": load_profile,
    "order": read_fits,
}


def test_parquet_text_that_is_not_utf_8_is_named_and_the_files_behind_it_are_read(
    programme: Store, tmp_path: Path
) -> None:
    note = pa.array([b"caf\xe9"], pa.binary())
    note = pa.Array.from_buffers(pa.string(), 1, note.buffers())
    table = pa.table({"line_id": ["L1"], "done_at": ["2031-03-04"], "kind": ["note"], "note": note})
    (sent := tmp_path / "sent").mkdir()
    pq.write_table(table, sent / "home_log-1.parquet")
    written(sent, "home_log-2.csv", LOG)
    done = take_in(programme, sent)
    (fault,) = done.faults
    assert (fault.code, "home_log-1.parquet" in str(fault)) == (FileFault.BROKEN_PARQUET, True)
    assert [(t.file, t.stored) for t in done.tables] == [("home_log-2.csv", 1)]


def test_an_error_that_no_check_foresaw_is_damage_of_its_file_alone(
    programme: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    as_is = sources.csv_part

    def odd(log, *rest):
        if log.name == "home_log-1.csv":
            raise ZeroDivisionError
        return as_is(log, *rest)

    monkeypatch.setattr(sources, "csv_part", odd)
    (sent := tmp_path / "sent").mkdir()
    for n in (1, 2):
        written(sent, f"home_log-{n}.csv", LOG.replace("04", f"0{n}"))
    done = take_in(programme, sent)
    assert [fault.code for fault in done.faults] == [FileFault.DAMAGED]
    assert [(t.file, t.stored) for t in done.tables] == [("home_log-2.csv", 1)]


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("x = " + "[" * 6000, "not valid TOML: "),
        ("x = " + "1" * 5000, "not valid TOML: a number in it has too many digits"),
        (None, "NoPlainFileError"),
    ],
    ids=["brackets", "digits", "pipe"],
)
def test_settings_that_cannot_be_read_are_one_sentence(
    tmp_path: Path, reader: str, text: str | None, sentence: str
) -> None:
    path = tmp_path / "file.toml"
    if text is None:
        os.mkfifo(path)
    else:
        path.write_text(text)
    with pytest.raises(UserError) as caught:
        READERS[reader](path)
    assert sentence in str(caught.value)
    assert "\n" not in str(caught.value)

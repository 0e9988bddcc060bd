"""Compressed, packed, UTF-16 and JSON files are read as the plain files that they hold."""

from __future__ import annotations

import gzip
import io
import json
import zipfile
from pathlib import Path

import pytest

from analysis.ingest import limits, unpack
from analysis.ingest.reasons import FileFault
from analysis.store import Store
from tests.ingest_files import LINES, programme, store, take_in, written

__all__ = ["programme", "store"]

LOG = """\
line_id,done_at,kind,findings,note
L1,2031-03-10,skin_check,redness;itch,größer
L3,2031-03-11T18:30,flush,,
"""
OBJECTS = [
    {
        "line_id": "L1",
        "done_at": "2031-03-10",
        "kind": "skin_check",
        "findings": ["redness", "itch"],
        "note": "größer",
    },
    {"line_id": "L3", "done_at": "2031-03-11T18:30", "kind": "flush", "note": None},
]


def zipped(**files: str) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in files.items():
            archive.writestr(name, text)
    return held.getvalue()


FILES = {
    "home_log.csv.gz": gzip.compress(LOG.encode(), mtime=0),
    "week.zip": zipped(**{"logs/home_log.csv": LOG, ".hidden": "x", "__MACOSX/home_log.csv": "x"}),
    "home_log-16.csv": LOG.encode("utf-16"),
    "home_log-16le.csv": LOG.encode("utf-16-le"),
    "home_log-16be.csv": LOG.encode("utf-16-be"),
    "home_log.json": json.dumps(OBJECTS).encode(),
    "home_log-wrapped.json": json.dumps({"total": 2, "entries": OBJECTS}).encode(),
    "home_log.ndjson": "".join(f"{json.dumps(o)}\n" for o in OBJECTS).encode(),
    "home_log.jsonl.gz": gzip.compress("\n".join(map(json.dumps, OBJECTS)).encode(), mtime=0),
    "home_log-marked.json": b"\xef\xbb\xbf" + json.dumps(OBJECTS, indent=1).encode(),
}


@pytest.mark.parametrize("name", list(FILES))
def test_what_is_inside_is_read_and_the_same_file_again_changes_nothing(
    programme: Store, tmp_path: Path, name: str
) -> None:
    path = written(tmp_path, name, FILES[name])
    summary = take_in(programme, path)
    assert [str(fault) for fault in summary.faults] == []
    assert (summary.stored, summary.refused) == (2, 0)
    log = programme.records().home_log
    assert log["findings"].fillna("").tolist() == ["itch;redness", ""]
    assert log["note"].fillna("").tolist() == ["größer", ""]
    assert log["done_on"].dt.day.tolist() == [10, 11]
    again = take_in(programme, path)
    assert (again.stored, again.same_as_before) == (0, 2)


def test_the_files_of_an_archive_are_read_registry_first_and_named_after_it(
    store: Store, tmp_path: Path
) -> None:
    take_in(
        store,
        written(
            tmp_path,
            "all.zip",
            zipped(**{"a_log.csv": "", "home_log.csv": LOG, "lines.csv": LINES}),
        ),
    )
    assert store.ingests()["file"].tolist() == ["all.zip/lines.csv", "all.zip/home_log.csv"]


def test_the_lists_of_a_json_object_are_tables(store: Store, tmp_path: Path) -> None:
    lines = [
        dict(zip(LINES.splitlines()[0].split(","), row.split(","), strict=True))
        for row in LINES.splitlines()[1:]
    ]
    whole = json.dumps({"home_log": OBJECTS, "lines": lines})
    assert take_in(store, written(tmp_path, "export.json", whole)).stored == 7


def test_objects_in_objects_have_heads_joined_by_points(programme: Store, tmp_path: Path) -> None:
    nested = [
        {
            "line_id": "L1",
            "done_at": "2031-03-10",
            "kind": "note",
            "about": {"mood": {"am": 7}, "ok": True},
        }
    ]
    take_in(programme, written(tmp_path, "home_log.json", json.dumps(nested)))
    (row,) = programme.source_rows("home_log", [1])
    assert (row.content["about.mood.am"], row.content["about.ok"]) == ("7", "yes")


@pytest.mark.parametrize(
    ("name", "content", "code"),
    [
        ("home_log.csv.gz", gzip.compress(LOG.encode(), mtime=0)[:40], FileFault.BROKEN_ARCHIVE),
        ("home_log.csv.gz", b"\x1f\x8b\x08" + b"x" * 40, FileFault.BROKEN_ARCHIVE),
        (
            "week.zip",
            zipped(**{"inner.csv": ""}).replace(b"inner.csv", b".nner.csv"),
            FileFault.ARCHIVE,
        ),
        ("home_log.json", b'[{"line_id": "L1",]', FileFault.BROKEN_JSON),
        ("home_log.ndjson", b'{"line_id": "L1"}\n{"line_id"\n', FileFault.BROKEN_JSON),
        ("home_log.json", b"[1, 2]", FileFault.NO_OBJECTS),
        ("home_log.json", b"[]", FileFault.NO_OBJECTS),
        ("home_log.ndjson", b'{"line_id": "L1"}\n[1]\n', FileFault.NO_OBJECTS),
        ("home_log.csv", "line_id\ud800".encode("utf-16", "surrogatepass"), FileFault.UTF_16),
    ],
    ids=lambda value: f"{len(value)} bytes" if isinstance(value, bytes) else str(value),
)
def test_what_cannot_be_unpacked_is_one_sentence(
    programme: Store, tmp_path: Path, name: str, content: bytes, code: FileFault
) -> None:
    (fault,) = take_in(programme, written(tmp_path, name, content)).faults
    assert fault.code is code
    assert str(fault).startswith(f"{name}")


def test_an_archive_in_an_archive_and_a_password_are_not_opened(
    programme: Store, tmp_path: Path
) -> None:
    inner = zipped(**{"home_log.csv": LOG})
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w") as archive:
        archive.writestr("inner.zip", inner)
    (fault,) = take_in(programme, written(tmp_path, "outer.zip", held.getvalue())).faults
    assert fault.code is FileFault.COMPRESSED


def test_what_unpacks_to_too_much_is_stopped(programme: Store, tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setattr(unpack, "_SMALL", 100_000)
    path = written(tmp_path, "home_log.csv.gz", gzip.compress(b" " * 3_000_000))
    (fault,) = take_in(programme, path).faults
    assert fault.code is FileFault.UNPACKS_TOO_LARGE
    monkeypatch.setattr(unpack, "JSON_BYTES", 10)
    (fault,) = take_in(programme, written(tmp_path, "home_log.json", FILES["home_log.json"])).faults
    assert fault.code is FileFault.JSON_TOO_LARGE
    assert limits.JSON_BYTES < limits.UNPACKED_BYTES

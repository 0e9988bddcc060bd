"""What was calculated is saved next to a store for the next command, and only used where it holds."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pandas as pd
import pytest

from analysis.ingest import ingest
from analysis.policy import Policy, shipped_policy
from analysis.snapshot import Snapshot, save, saved, take
from analysis.store import Store, StoreError
from tests.commands import run

__all__ = ["run"]

Run = Callable[..., tuple[int, str, str]]
NOW = datetime(2031, 3, 4, 9, tzinfo=UTC)
DAY = NOW.date()
POLICY = shipped_policy()
OF_ONE = re.compile(rb"FX1|LX1|CX1|secret")


def fill(store: Store, folder: Path, *families: str) -> None:
    head = "line_id,child_id,family_id,site,line_type,placed_on,home_from,dressing_type\n"
    rows = [f"L{f},C{f},F{f},north,picc,2031-01-01,2031-01-02,transparent\n" for f in families]
    (folder / "lines.csv").write_text(head + "".join(rows))
    log = [f"L{f},2031-02-0{n},dressing_change,secret\n" for f in families for n in (1, 5)]
    (folder / "home_log.csv").write_text("line_id,done_at,kind,note\n" + "".join(log))
    files = [folder / "lines.csv", folder / "home_log.csv"]
    assert ingest(store, files, POLICY, received_at=NOW, ingested_at=NOW).faults == ()


def saved_of(store: Store, policy: Policy = POLICY, day: date = DAY) -> Path:
    """Save a whole snapshot; the folder."""
    found = take(store, policy, day)
    _ = found.calls, found.tallies, found.retraining
    save(found, store)
    folder = store.saved_folder
    assert folder is not None
    return folder


def names(folder: Path) -> list[str]:
    return sorted(path.name.split("-")[0] for path in folder.iterdir())


def is_from_saved(found: Snapshot) -> bool:
    return found.changed is not None


@pytest.fixture
def url(tmp_path: Path) -> str:
    return f"sqlite:///{tmp_path}/store.sqlite"


@pytest.fixture
def store(url: str) -> Iterator[Store]:
    with Store.open(url) as opened:
        yield opened


def test_only_this_account_may_read_what_is_saved(store: Store, tmp_path: Path) -> None:
    fill(store, tmp_path, "X1", "X2")
    folder = saved_of(store)
    assert names(folder) == ["care_reasons", "counted_tallies", "retraining", "rows", "timeline"]
    modes = {path.stat().st_mode & 0o077 for path in [folder, *folder.rglob("*")]}
    assert modes == {0}
    folder.chmod(0o755)
    assert not is_from_saved(take(store, POLICY, DAY))


def test_another_day_policy_or_program_calculates_again(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill(store, tmp_path, "X1", "X2")
    saved_of(store)
    of_today = take(store, POLICY, DAY)
    tomorrow = take(store, POLICY, DAY + timedelta(days=1))
    other = take(store, replace(POLICY, name="another"), DAY)
    assert "timeline" in vars(of_today)
    assert is_from_saved(tomorrow)
    assert is_from_saved(other)
    assert "timeline" not in vars(tomorrow)
    assert "timeline" not in vars(other)
    assert not is_from_saved(take(store, POLICY, DAY - timedelta(days=1)))
    monkeypatch.setattr(saved, "_program", lambda: "another version")
    assert not is_from_saved(take(store, POLICY, DAY))


def test_what_is_saved_takes_the_place_of_what_was(store: Store, tmp_path: Path) -> None:
    fill(store, tmp_path, "X1", "X2")
    first = {path.name for path in saved_of(store).iterdir()}
    folder = saved_of(store, day=DAY + timedelta(days=1))
    second = {path.name for path in folder.iterdir()}
    assert len(second) == len(first) == 5
    assert len(first & second) == 1  # the rows


def test_a_half_written_or_damaged_part_is_not_used(store: Store, tmp_path: Path) -> None:
    fill(store, tmp_path, "X1", "X2")
    whole = take(store, POLICY, DAY).timeline.intervals
    folder = saved_of(store)
    part = next(folder.glob("timeline-*")) / "intervals.arrow"
    part.write_bytes(part.read_bytes()[:200])
    found = take(store, POLICY, DAY)
    assert "timeline" not in vars(found)
    pd.testing.assert_frame_equal(found.timeline.intervals, whole)
    (next(folder.glob("rows-*")) / "lines.arrow").unlink()
    assert not is_from_saved(take(store, POLICY, DAY))


def test_nothing_of_a_deleted_family_is_left(store: Store, tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    fill(store, tmp_path / "in", "X1", "X2")
    early = take(store, POLICY, DAY)
    _ = early.calls
    folder = saved_of(store)
    held = b"".join(path.read_bytes() for path in folder.rglob("*.arrow"))
    assert OF_ONE.search(held)
    store.delete_family("FX1", "N1", "asked", NOW)
    assert not folder.exists()
    save(early, store)  # a command that has read the family before it was deleted ends now
    assert names(folder) == []


def test_a_family_is_not_deleted_while_its_rows_would_stay_next_to_the_store(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill(store, tmp_path, "X1", "X2")
    saved_of(store)

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError

    with monkeypatch.context() as patched:
        patched.setattr("analysis.store.delete_family.shutil.rmtree", refuse)
        with pytest.raises(StoreError, match="not deleted: the folder"):
            store.delete_family("FX1", "N1", "asked", NOW)
    assert not store.was_deleted("FX1")


def test_where_nothing_can_be_saved_commands_answer_all_the_same(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill(store, tmp_path, "X1", "X2")
    whole = take(store, POLICY, DAY)
    _ = whole.calls

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(os, "fsync", full)
        save(whole, store)
    folder = store.saved_folder
    assert folder is not None
    assert names(folder) == []
    assert len(take(store, POLICY, DAY).calls.families) == 2


def test_a_command_saves_and_the_next_one_answers_the_same(
    store: Store, url: str, tmp_path: Path, run: Run
) -> None:
    fill(store, tmp_path, "X1", "X2")
    asked = ["calls", "--store", url, "--as-of", str(DAY), "--format", "csv"]
    code, printed, _ = run(*asked)
    folder = store.saved_folder
    assert folder is not None
    assert names(folder) == ["care_reasons", "rows", "timeline"]
    assert code == 0
    assert "FX2" in printed
    assert run(*asked)[1] == printed


def test_who_needs_retraining_is_read_from_the_folder_until_another_row_is_stored(
    store: Store, url: str, tmp_path: Path, run: Run
) -> None:
    fill(store, tmp_path, "X1", "X2")
    asked = ["retraining", "--store", url, "--as-of", str(DAY), "--format", "csv"]
    printed = run(*asked)[1]
    folder = store.saved_folder
    assert folder is not None
    assert names(folder) == ["retraining", "rows", "timeline"]
    found = take(store, POLICY, DAY)
    assert "retraining" in vars(found)
    pd.testing.assert_frame_equal(found.retraining, replace(found).retraining)
    assert run(*asked)[1] == printed
    (tmp_path / "more").mkdir()
    fill(store, tmp_path / "more", "X3")
    assert "retraining" not in vars(take(store, POLICY, DAY))


def test_the_past_is_not_saved(store: Store, tmp_path: Path) -> None:
    fill(store, tmp_path, "X1", "X2")
    past = take(store, POLICY, DAY - timedelta(days=7))
    assert past.not_yet_known > 0
    save(past, store)
    folder = store.saved_folder
    assert folder is not None
    assert not folder.exists()

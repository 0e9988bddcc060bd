"""Do the demo's files carry every row once, in each source's own shape, wrong rows as told?"""

import csv
import functools
import tomllib
from collections import Counter
from datetime import date
from pathlib import Path

import pandas as pd
import pyarrow.parquet as pq
import pytest
from openpyxl import load_workbook

from analysis.ingest import Profile, load_profile
from analysis.tables import INCOMING
from synthetic_data import (
    Demo,
    Written,
    demo_sources,
    files,
    generate,
    generate_blocks,
    write,
    write_canonical,
)

AS_OF = date(2031, 3, 12)


@pytest.fixture(scope="module")
def made() -> Demo:
    return generate(60, until=AS_OF, seed=1)


@pytest.fixture(scope="module")
def written(made, tmp_path_factory) -> Written:
    return write(made, tmp_path_factory.mktemp("demo"))


@pytest.fixture(scope="module")
def right(made, tmp_path_factory) -> Written:
    return write(made, tmp_path_factory.mktemp("right"), wrong_share=0)


@functools.cache
def cells_of(path: Path) -> tuple[list[str], dict[int, dict[str, str]]]:
    """Heads, and each row's cells as text by the number a person gives the row."""
    if path.suffix == ".xlsx":
        page = load_workbook(path)["Diary"]
        rows = [["" if c is None else str(c) for c in row] for row in page.values]
        above = 2
    elif path.suffix == ".parquet":
        table = pq.read_table(path).to_pydict()
        rows = [list(table), *zip(*table.values(), strict=True)]
        rows = [["" if c is None else str(c) for c in row] for row in rows]
        return rows[0], {n: dict(zip(rows[0], r, strict=True)) for n, r in enumerate(rows[1:], 1)}
    else:
        separator = ";" if path.parent.name == "form" else ","
        with path.open(newline="", encoding="utf-8") as stream:
            rows = list(csv.reader(stream, delimiter=separator))
        above = 0
    heads = rows[above]
    numbered = enumerate(rows[above + 1 :], above + 2)
    return heads, {number: dict(zip(heads, row, strict=True)) for number, row in numbered}


def log_in_our_words(source: tuple[Path, Path | None]) -> pd.DataFrame:
    """Rows of a log file under our heads, read by hand with the profile's words."""
    path, profile = source
    _, rows = cells_of(path)
    frame = pd.DataFrame(rows.values())
    if profile is None:
        return frame
    raw = tomllib.loads(profile.read_text("utf-8"))["table"]["home_log"]
    for tick in raw.get("ticks", []):
        code, answer, column = tick["code"], frame.pop(tick["head"]), tick["column"]
        told = frame[column] if column in frame else pd.Series("", index=frame.index)
        more = told.where(told.isin(["", "none"]), told + ";") + code
        more = more.str.removeprefix("none")
        kept = told.mask((answer == "no") & (told == ""), "none")
        frame[column] = kept.mask(answer == "yes", more)
    frame = frame.rename(columns=raw["heads"])
    for column, words in raw.get("values", {}).items():
        frame[column] = frame[column].map(lambda cell, words=words: words.get(cell, cell))
    return frame


def test_the_sources_are_four_shapes_with_the_registry_first(written) -> None:
    names = [path.relative_to(written.folder).as_posix() for path, _ in written.sources]
    assert names[:5] == [
        f"canonical/{t}.csv" for t in ("lines", "stays", "caregivers", "sign_offs", "home_log-fern")
    ]
    assert {path.suffix for path, _ in written.sources} == {".csv", ".parquet", ".xlsx"}
    profiles = {profile.name for _, profile in written.sources if profile}
    assert profiles == {"clinic.toml", "form.toml"}
    assert demo_sources(written.folder) == list(written.sources)


def test_together_the_files_carry_every_row_once(made, right) -> None:
    assert right.wrong == ()
    seen: Counter[str] = Counter()
    numbered: Counter[str] = Counter()
    for path, profile in right.sources:
        table = next((t for t in INCOMING if path.name.startswith(t)), "home_log")
        rows = log_in_our_words((path, profile)) if table == "home_log" else None
        heads, cells = cells_of(path)
        assert "" not in heads
        seen[table] += len(cells)
        if rows is not None:
            numbered.update(rows["entry_id"])
    assert seen == {table: len(frame) for table, frame in made.frames.items()}
    assert numbered == Counter(made.frames["home_log"]["entry_id"].fillna(""))


def test_each_source_says_in_its_own_words_what_the_frames_say(made, right) -> None:
    log = made.frames["home_log"]
    ours = log.assign(received=log["received_at"].dt.strftime("%Y-%m-%d %H:%M"))
    ours = ours[ours["entry_id"].notna()].set_index(["entry_id", "received"])
    codes = ("line_id", "family_id", "caregiver_id", "kind", "change_reason", "dressing_type",
             "dressing_condition", "note")  # fmt: skip
    checked = 0
    for path, profile in right.sources:
        if path.name.startswith(tuple(t for t in INCOMING if t != "home_log")):
            continue
        theirs = log_in_our_words((path, profile))
        theirs = theirs[theirs["entry_id"] != ""]
        moment = theirs["received_at"].str.replace("T", " ").str[:16]
        mine = ours.loc[pd.MultiIndex.from_arrays([theirs["entry_id"], moment])]
        for column in codes:
            assert theirs[column].tolist() == mine[column].astype("string").fillna("").tolist()
        for column in ("findings", "steps_missed"):  # codes of a cell have no order
            found = theirs[column].str.split(";").map(sorted)
            assert found.tolist() == mine[column].fillna("").str.split(";").map(sorted).tolist()
        kits = mine["kits_left"].astype("string").fillna("")
        assert theirs["kits_left"].tolist() == kits.tolist()
        days = mine["done_at"].dt.strftime("%d/%m/%Y" if path.suffix == ".xlsx" else "%Y-%m-%d")
        assert theirs["done_at"].str[:10].tolist() == days.fillna("").tolist()
        checked += len(theirs)
    assert checked > 0.9 * len(log)


def test_the_clinic_writes_days_as_text_and_receipt_as_a_date_cell(right) -> None:
    path = next(p for p, _ in right.sources if p.suffix == ".xlsx")
    page = load_workbook(path)["Diary"]
    heads = [cell.value for cell in page[3]]
    first = dict(zip(heads, page[4], strict=True))
    assert isinstance(first["Day"].value, str)
    assert first["Entered"].is_date
    assert page["A1"].value.startswith("Diary")


def test_the_profiles_are_profiles_and_name_every_column_and_code(written) -> None:
    profiles = {profile for _, profile in written.sources if profile}
    assert len(profiles) == 2
    for profile in profiles:
        read = load_profile(profile)
        assert isinstance(read, Profile)
        looks = read.table("home_log")
        covered = set(looks.heads.values()) | {t.column for t in looks.ticks}
        assert covered == {*INCOMING["home_log"].names, "received_at", "void"}


def test_the_wrong_rows_are_where_the_truth_says(written, right) -> None:
    assert written.wrong
    for path in {written.folder / one.file for one in written.wrong}:
        _, spoilt = cells_of(path)
        _, whole = cells_of(right.folder / path.relative_to(written.folder))
        told = {w.row_number: w for w in written.wrong if written.folder / w.file == path}
        assert spoilt.keys() == whole.keys()
        differing = {number for number, row in spoilt.items() if row != whole[number]}
        assert differing == set(told)
        for number, one in told.items():
            changed = {h for h, cell in spoilt[number].items() if cell != whole[number][h]}
            assert changed == {one.head}
            assert spoilt[number][one.head] == one.wrong != one.right == whole[number][one.head]


def test_about_one_row_in_two_hundred_is_wrong_in_every_way(tmp_path) -> None:
    demo = generate(until=AS_OF, seed=1)
    wrong = write(demo, tmp_path).wrong
    rows = sum(len(frame) for frame in demo.frames.values())
    assert 0.004 < len(wrong) / rows < 0.006
    assert {one.reason for one in wrong} == {
        "unknown_line",
        "unknown_code",
        "missing_value",
        "no_such_day",
        "in_the_future",
        "before_placed",
        "not_a_whole_number",
        "out_of_range",
        "ambiguous_date",
        "two_digit_year",
        "unreadable_tick",
        "removal_incomplete",
    }


def test_no_wrong_row_is_in_a_family_in_which_something_is_planted(made, written) -> None:
    lines = made.frames["lines"].drop_duplicates("line_id").set_index("line_id")["family_id"]
    assert made.truth is not None
    for one in written.wrong:
        if one.column == "line_id":
            assert lines[one.canonical] not in made.truth.families
            assert one.wrong not in lines.index


def test_the_same_demo_is_written_in_the_same_bytes(made, written, tmp_path) -> None:
    again = write(made, tmp_path)
    assert again.wrong == written.wrong
    for (path, _), (other, _) in zip(written.sources, again.sources, strict=True):
        assert path.read_bytes() == other.read_bytes(), path.name


def test_a_sheet_too_long_for_a_workbook_is_refused_with_a_sentence(
    made, tmp_path, monkeypatch
) -> None:
    monkeypatch.setattr(files, "_SHEET_ROWS", 100)
    with pytest.raises(ValueError, match="write_canonical"):
        write(made, tmp_path)


@pytest.mark.parametrize("form", ["csv", "parquet"])
def test_a_large_programme_is_written_block_by_block(form, tmp_path) -> None:
    blocks = list(generate_blocks(30, until=AS_OF, seed=1, years=1))
    paths = write_canonical(blocks, tmp_path / "large", form)
    assert len(paths) == len(blocks[0].frames) * len(blocks)
    log = next(path for path in paths if path.name == f"home_log-0001.{form}")
    heads, rows = cells_of(log)
    assert heads == [*INCOMING["home_log"].names, "received_at", "void"]
    assert len(rows) == len(blocks[0].frames["home_log"])


def test_another_form_is_refused_with_a_sentence(made, tmp_path) -> None:
    with pytest.raises(ValueError, match="csv or parquet"):
        write_canonical([made], tmp_path, "xlsx")

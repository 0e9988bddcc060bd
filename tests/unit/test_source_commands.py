"""The commands on sources: describe one, list them, write one as TOML."""

from __future__ import annotations

import csv
import io

import pytest

from analysis.ingest.profile_file import load_profile
from tests.commands import run
from tests.ingest_files import LINES

__all__ = ["run"]

DIARY = """\
Line no,Date,What was done,Skin
L1,25/03/2031,Dressing changed,red
L1,26/03/2031,bathed,
"""


def test_a_source_is_described_stored_recognised_listed_and_written(run, tmp_path) -> None:
    (tmp_path / "lines.csv").write_text(LINES)
    (tmp_path / "diary.csv").write_text(DIARY)
    run("ingest", "lines.csv")
    code, out, err = run("source", "diary.csv", "--name", "ward")
    assert code == 2
    assert 'date_order = "dmy"' in out
    assert 'What does "bathed" in the column kind mean? KEY: word:kind:bathed; answers:' in err
    assert "Nothing was stored." in err
    answer = ("--answer", "word:kind:bathed=skin_check")
    code, out, err = run("source", "diary.csv", "--name", "ward", *answer)
    assert code == 0
    assert "25/03/2031 → 2031-03-25" in out
    assert "Nothing was stored. Store it with --save." in err
    assert "source,version" not in run("sources")[1].splitlines()[1:]
    code, _, err = run("source", "diary.csv", "--name", "ward", *answer, "--save")
    assert (code, "Stored as version 1 of the source ward." in err) == (0, True)
    code, out, _ = run("ingest", "diary.csv")
    assert (code, out.splitlines()[1]) == (0, "diary.csv,home_log,2,2,0,0,0")
    _, out, _ = run("sources")
    listed = {row["source"]: row for row in csv.DictReader(io.StringIO(out))}
    assert listed["ward"]["version"] == "1"
    assert listed["ward"]["tables"] == "home_log"
    assert (listed["ward"]["files"], listed["ward"]["rows"]) == ("1", "2")
    assert listed["ward"]["last_file"] == "diary.csv"
    assert listed["ward"]["quiet_days"] != ""
    assert listed[""]["version"] == ""
    code, out, _ = run("sources", "export", "ward", "--out", "ward.toml")
    assert (code, out) == (0, "")
    assert load_profile(tmp_path / "ward.toml").name == "ward"
    code, _, err = run("ingest", "diary.csv", "--source", "wrad")
    assert code == 3
    assert err.endswith("Did you mean 'ward'?\n")
    code, _, err = run("ingest", "diary.csv", "--source", "ward")
    assert (code, "nothing to do" in err) == (0, True)


@pytest.mark.parametrize(
    ("words", "code", "shown"),
    [
        (("source", "nowhere.csv"), 2, "nowhere.csv: there is no such file"),
        (("source", "diary.csv", "--table", "home"), 2, "Did you mean 'home_log'?"),
        (("source", "diary.csv", "--answer", "date_order"), 2, "write it as KEY=ANSWER"),
        (("source", "blank.csv"), 3, "blank.csv: the file is empty"),
        (("source", "odd.csv"), 3, "neither its name nor its header row shows"),
        (("sources",), 3, "There is no store"),
        (("sources", "export", "ward"), 3, "There is no store"),
    ],
)
def test_what_cannot_be_described_is_one_sentence_and_makes_no_store(
    run, tmp_path, words, code, shown
) -> None:
    (tmp_path / "diary.csv").write_text(DIARY)
    (tmp_path / "blank.csv").write_text("")
    (tmp_path / "odd.csv").write_text("zzqx,wvuu\n1,2\n")
    found, out, err = run(*words)
    assert (found, out, err.count("\n")) == (code, "", 1)
    assert shown in err
    assert not list(tmp_path.glob("*.sqlite*"))

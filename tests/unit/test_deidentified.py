"""A de-identified extract: nothing of the store in its bytes, everything that was promised kept."""

import csv
import hmac
import io
import re
import stat
import sys
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pandas as pd
import pyarrow.parquet as pq
import pytest

from analysis.cli.app import main
from analysis.days import day_number, days_of
from analysis.exports import (
    ExportError,
    Key,
    Table,
    alone,
    closed,
    dated_by_end,
    deidentify,
    key_of_file,
)
from analysis.exports.closed import days_before
from analysis.exports.deidentified import WORKED_OUT
from analysis.exports.linked import last_days
from analysis.exports.pseudonyms import CENTURY_DAYS, REACH_DAYS
from analysis.exports.rare_values import HIDDEN, rare_values
from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.snapshot import take
from analysis.store import Store
from analysis.tables import INCOMING, KNOWN, Kind, Records
from analysis.timeline import build
from analysis.vocabulary import Arrangement, CallOutcome
from synthetic_data import generate_blocks, write_canonical
from tests.written import written

POLICY = shipped_policy()
UNTIL = date(2031, 3, 10)
ASKED_ON = date(2031, 5, 1)
AS_OF, KNOWN_AT = date(2031, 4, 1), date(2031, 4, 28)
"""The morning after the last quarter that is closed on that day, and what is known of it."""
NOW = datetime(2031, 3, 10, 5, tzinfo=UTC)
KEY, OTHER_KEY = Key(b"k" * 32), Key(b"o" * 32)
CODE_FIELDS = {"child_id", "family_id", "line_id", "caregiver_id", "entry_id", "site"}


@pytest.fixture(scope="module")
def url(tmp_path_factory):
    """A store of thirty invented families with a rare kind of line and a family of two children."""
    folder = tmp_path_factory.mktemp("extract")
    with Store.open(f"sqlite:///{folder / 'store.sqlite'}") as store:
        files = write_canonical(generate_blocks(30, seed=5, until=UNTIL), folder / "files", "csv")
        more = folder / "lines-more.csv"
        more.write_text(
            "line_id,child_id,family_id,site,nurse,line_type,placed_on,home_from,dressing_type\n"
            "Lx71,Cx71,Fx70,Quarry,Nx7,nontunneled_cvc,2031-01-02,2031-01-03,gauze\n"
            "Lx72,Cx72,Fx70,Quarry,Nx7,nontunneled_cvc,2031-01-02,2031-01-03,gauze\n"
        )
        carers = folder / "caregivers-more.csv"
        carers.write_text("caregiver_id,family_id,relation\nGx70,Fx70,grandparent\n")
        signed = folder / "sign_offs-more.csv"
        signed.write_text(
            "caregiver_id,skill,signed_on,outcome\nGx70,dressing_change,2031-01-02,independent\n"
        )
        for path in (*files, more, carers, signed):
            assert ingest(store, [path], POLICY, received_at=NOW).faults == ()
        store.record_call("Fx70", "Nx8", CallOutcome.REACHED, "agreed hush", date(2031, 3, 12), NOW)
        aside = {"until_on": date(2031, 3, 20), "why": "holidays hush"}
        store.arrange(Arrangement.SET_ASIDE, "Fx70", "Nx8", NOW, UNTIL, **aside)
    return f"sqlite:///{folder / 'store.sqlite'}"


@pytest.fixture(scope="module")
def seen(url):
    with Store.open(url) as store:
        return take(store, POLICY, AS_OF, KNOWN_AT)


@pytest.fixture(scope="module")
def extract(seen):
    return deidentify(seen, KEY)


@pytest.fixture
def run(url, monkeypatch, capsys, tmp_path):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("LINEDAYS_STORE", url)

    def command(*words):
        day = () if "--as-of" in words else ("--as-of", str(ASKED_ON))
        monkeypatch.setattr(sys, "argv", ["linedays", "export", *words, *day])
        with pytest.raises(SystemExit) as stop:
            main()
        shown = capsys.readouterr()
        assert "Traceback" not in shown.err
        return stop.value.code or 0, shown.out, shown.err

    return command


def text_of(folder):
    """All that the files say, those of columns as text, and their names."""
    said = []
    for path in sorted(folder.rglob("*")):
        said.append(path.name)
        if path.suffix == ".parquet":
            said.append(pq.read_table(path).to_pandas().to_csv(index=False))
        elif path.is_file():
            said.append(path.read_text(encoding="utf-8"))
    return "\n".join(said)


@pytest.mark.parametrize("kind", ["csv", "parquet"])
def test_no_code_contact_note_or_date_of_the_store_is_anywhere_in_the_files(
    run, seen, tmp_path, kind
):
    code, _, _ = run("deidentified", "--write", "out", "--as", kind)
    assert code == 0
    words = set(re.findall(r"[^\s,;|]+", text_of(tmp_path / "out")))
    together = "\n".join(words)
    n_looked_for = 0
    for name, entry in KNOWN.items():
        frame = getattr(seen.records, name)
        for column in entry.columns:
            cells = frame[column.name].dropna()
            if column.kind is Kind.TEXT:
                gone = set(cells)
            elif column.kind in {Kind.DATE, Kind.MONTH, Kind.INSTANT}:
                gone = {str(day) for day in cells.dt.date.unique()}
                gone |= {day[:7] for day in gone}
            else:
                continue
            n_looked_for += len(gone)
            assert not gone & words, (name, column.name)
            assert not [g for g in gone if len(g) > 5 and g in together], (name, column.name)
    notes = " ".join([*seen.records.home_log["note"].dropna(), "agreed hush holidays"])
    spoken = set(re.findall(r"\w{5,}", notes))
    assert not spoken & set(re.findall(r"\w{5,}", text_of(tmp_path / "out/tables")))
    assert n_looked_for > 2000


def test_a_column_without_a_way_to_leave_stays(extract):
    # Named one by one: a column that is added to the catalogue has to be looked at here.
    text = {
        (name, column.name)
        for name, table in extract.tables.items()
        for column in table.entry.columns
        if column.kind in {Kind.TEXT, Kind.INSTANT, Kind.MONTH}
    }
    assert {column for _, column in text} <= CODE_FIELDS
    left = set(KNOWN["lines"].names) - set(extract.tables["lines"].entry.names)
    assert left == {"row", "received_at", "nurse", "born", "language", "contact"}
    left = set(KNOWN["home_log"].names) - set(extract.tables["home_log"].entry.names)
    assert left == {"row", "received_at", "done_at", "note"}


def matched(extract, seen, name):
    """The table before and after, row beside row, for tables with a key of codes and dates."""
    before, after = getattr(seen.records, name), extract.tables[name].frame
    before = before.assign(child_id=KEY.codes("child", before["child_id"]))
    days = [c.name for c in KNOWN[name].columns if c.kind is Kind.DATE]
    both = [f.sort_values(["child_id", days[0]], kind="stable") for f in (before, after)]
    return [f.reset_index(drop=True) for f in both], days


@pytest.mark.parametrize("name", ["lines", "stays", "outcomes"])
def test_all_dates_of_a_child_move_by_the_same_number_of_days(extract, seen, name):
    (before, after), days = matched(extract, seen, name)
    moved = pd.concat(
        [pd.DataFrame({"child": after["child_id"], "by": after[day] - before[day]}) for day in days]
    ).dropna()
    of_child = moved.groupby("child")["by"]
    assert (of_child.nunique() == 1).all()
    by = of_child.first().dt.days
    assert by.between(CENTURY_DAYS - REACH_DAYS, CENTURY_DAYS + REACH_DAYS).all()
    assert by.nunique() > 0.8 * len(by)
    assert (before[days].isna().to_numpy() == after[days].isna().to_numpy()).all()


def test_siblings_move_apart_and_a_caregivers_rows_go_with_each_child(extract):
    lines = extract.tables["lines"].frame
    family = KEY.codes("family", pd.Series(["Fx70"]))[0]
    placed = lines.loc[lines["family_id"] == family, "placed_on"]
    assert placed.nunique() == 2
    signed = extract.tables["sign_offs"].frame
    carer = KEY.codes("caregiver", pd.Series(["Gx70"]))[0]
    assert sorted(signed.loc[signed["caregiver_id"] == carer, "signed_on"]) == sorted(placed)


def test_what_was_worked_out_is_what_the_store_says(extract, seen):
    spans = extract.tables["intervals"].frame
    whole = seen.timeline.intervals
    of_dressing = (whole[whole["task"] == "dressing"], spans[spans["task"] == "dressing"])
    rare = set(whole["interval_days"].dropna()) - set(spans["interval_days"].dropna())
    for before, after in ((whole, spans), of_dressing):
        assert before["scored"].any()
        for column in ("scored", "on_time"):
            assert after[column].sum() == before[column].sum()
        usual = before[~before["interval_days"].isin(rare)]
        assert len(usual) > len(before) / 2
        for column in ("in_date_days", "out_of_date_days", "late_days"):
            assert after[column].sum() == usual[column].sum()
    length = (spans["end_on"] - spans["start_on"]).dt.days
    before = seen.timeline.intervals
    assert sorted(length) == sorted((before["end_on"] - before["start_on"]).dt.days)
    nights = extract.tables["home_periods"].frame
    assert (nights["end_on"] - nights["start_on"]).dt.days.sum() == seen.timeline.lines[
        "home_line_days"
    ].sum()
    assert len(extract.tables["home_log"].frame) == len(seen.records.home_log)
    assert set(extract.tables) == {*INCOMING, *WORKED_OUT} - {"calls"}


def records_of(extract, child):
    """Records of one child as a receiver of the extract has them: without moments and text."""
    frames = {}
    for name in ("lines", "stays", "home_log"):
        frame = extract.tables[name].frame
        frame = frame[frame["child_id"] == child]
        known = {c.name for c in KNOWN[name].columns} & set(frame.columns)
        columns = {c: frame[c].astype("object").where(frame[c].notna(), None) for c in known}
        columns |= {"row": range(len(frame)), "received_at": frame["received_on"]}
        frames[name] = KNOWN[name].build(columns)
    return Records.of(frames)


def test_each_child_has_the_same_share_on_time_when_worked_out_from_the_extract(seen, monkeypatch):
    monkeypatch.setattr("analysis.exports.deidentified.rare_values", lambda *_: frozenset())
    extract = deidentify(seen, KEY)
    children = seen.records.lines["child_id"].drop_duplicates().head(12)
    lines, spans = seen.timeline.lines, seen.timeline.intervals
    is_dressing = spans["task"] == "dressing"
    counted = 0
    for child, code, shift in zip(
        children, KEY.codes("child", children), KEY.shifts(children), strict=True
    ):
        own = lines.loc[lines["child_id"] == child, "line"]
        before = spans[is_dressing & spans["line"].isin(own)]
        moved_as_of = AS_OF + timedelta(days=int(shift))
        after = build(records_of(extract, code), POLICY, moved_as_of).intervals
        after = after[after["task"] == "dressing"]
        for column in ("scored", "on_time", "in_date_days", "out_of_date_days"):
            assert after[column].sum() == before[column].sum(), (child, column)
        counted += int(before["scored"].sum())
    assert counted > 200


def test_days_between_the_entries_of_a_line_are_the_true_ones(extract, seen):
    def gaps(frame):
        log = frame.sort_values(["line_id", "done_on"])
        gap = log.groupby("line_id")["done_on"].diff().dropna().dt.days
        return sorted(gap)

    assert gaps(extract.tables["home_log"].frame) == gaps(seen.records.home_log)


def test_extracts_under_different_keys_cannot_be_joined(extract, seen):
    other = deidentify(seen, OTHER_KEY)
    for name, table in extract.tables.items():
        for column in table.entry.columns:
            if column.name in CODE_FIELDS:
                left = set(table.frame[column.name].dropna()) - {HIDDEN}
                right = set(other.tables[name].frame[column.name].dropna()) - {HIDDEN}
                assert left
                assert not left & right
    children = seen.records.lines["child_id"].drop_duplicates()
    first, second = (np.diff(key.shifts(children)) for key in (KEY, OTHER_KEY))
    assert (first != second).mean() > 0.9


def test_the_order_of_rows_tells_nothing_of_the_old_codes(extract, seen):
    old = seen.records.lines["child_id"].drop_duplicates().sort_values()
    place = pd.Series(range(len(old)), index=KEY.codes("child", old))
    order = extract.tables["lines"].frame["child_id"].drop_duplicates().map(place)
    assert abs(np.corrcoef(order, range(len(order)))[0, 1]) < 0.5


def test_a_word_of_ten_children_or_fewer_is_hidden_in_every_table(extract):
    own = {("sign_offs", "outcome"), ("sign_offs", "kind")}
    held = {}
    for name, table in extract.tables.items():
        for column in table.entry.columns:
            if column.kind in {Kind.CODE, Kind.CODES} or column.name == "site":
                cells = table.frame[column.name].astype("string").fillna("")
                pairs = pd.DataFrame({"child": table.frame["child_id"], "word": cells})
                if column.kind is Kind.CODES:
                    pairs = pairs.assign(word=cells.str.split(";")).explode("word")
                words = f"{name}.{column.name}" if (name, column.name) in own else column.name
                held.setdefault(words, []).append(pairs)
    for words, parts in held.items():
        counts = pd.concat(parts).drop_duplicates()["word"].value_counts()
        n_children = pd.concat(parts)["child"].nunique()
        assert (counts.drop(HIDDEN, errors="ignore") > 10).all(), words
        assert counts.get(HIDDEN, 11) > 10 or n_children <= 10, words
    assert "nontunneled_cvc" not in set(extract.tables["lines"].frame["line_type"])
    assert HIDDEN in set(extract.tables["lines"].frame["site"])


def test_rare_words_are_joined_until_they_are_eleven_children():
    def rare(**sizes):
        values = [word for word, n in sizes.items() for _ in range(n)]
        return rare_values(pd.Series(range(len(values))), pd.Series(values))

    assert rare(a=11, b=30) == frozenset()
    assert rare(a=10, b=30, c=40) == {"a", "b"}
    assert rare(a=5, b=6, c=40) == {"a", "b"}
    assert rare(a=5, b=5, c=40, d=90) == {"a", "b", "c"}
    assert rare(a=3) == {"a"}
    assert rare_values(pd.Series([], dtype="object"), pd.Series([], dtype="object")) == frozenset()
    # One child with both words is one child.
    child, word = [*range(6), *range(6), *range(20, 60)], ["a"] * 6 + ["b"] * 6 + ["c"] * 40
    assert rare_values(pd.Series(child), pd.Series(word)) == {"a", "b", "c"}


def test_children_alone_are_counted_by_hand():
    lines = """
    child  line  site  age_band line_type therapy
    C1     L1    S1    1-4      picc      other
    C2     L2    S1    1-4      picc      other
    C3     L3    S1    1-4      port      other
    C4     L4    S1    1-4      picc      other
    C4     L5    S1    1-4      port      other
    """
    frame = pd.read_csv(io.StringIO(lines), sep=r"\s+", dtype="string")
    frame = frame.rename(columns={"child": "child_id", "line": "line_id"})
    periods = pd.DataFrame(
        {"line_id": ["L1", "L2", "L3", "L4"], "start_on": pd.Timestamp("2131-01-01")}
    )
    periods["end_on"] = pd.to_datetime(["2131-01-11", "2131-01-21", "2131-01-11", "2131-01-11"])
    entry = KNOWN["lines"]
    found = alone({"lines": Table(entry, frame), "home_periods": Table(entry, periods)})
    # C1 and C2 are alike but for their 10 and 20 days; C3 and C4 (two lines) stand alone.
    assert found["alone"].tolist() == [2, 2, 4]
    assert found["few"].tolist() == [4, 4, 4]
    assert found["fewest"].tolist() == [1, 1, 1]


def test_shifts_are_spread_evenly_and_follow_from_the_key_alone():
    children = pd.Series([f"C{n}" for n in range(20_000)])
    shifts = KEY.shifts(children)
    assert (shifts == KEY.shifts(children)).all()
    counts = np.bincount(shifts - (CENTURY_DAYS - REACH_DAYS), minlength=2 * REACH_DAYS + 1)
    # Chi-square with 728 degrees of freedom: mean 728, standard deviation 38.
    expected = len(children) / len(counts)
    assert len(counts) == 729
    assert abs(((counts - expected) ** 2 / expected).sum() - 728) < 5 * 38
    assert KEY.codes("child", children).nunique() == len(children)
    assert KEY.codes("child", children)[0] != KEY.codes("family", children)[0]


def test_the_code_is_the_published_keyed_hash():
    # From memory: RFC 4231 (2005), section 4.3, test case 2: key "Jefe", data "what do ya want for nothing?".
    digest = "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"
    key = Key(b"Jefe")
    assert hmac.digest(key.secret, b"what do ya want for nothing?", "sha256").hex() == digest
    assert key._digest("a", "b") == hmac.digest(key.secret, b"a\0b", "sha256")


def test_a_key_file_gives_the_same_extract_again_and_is_in_none_of_its_files(run, tmp_path):
    for folder in ("one", "two"):
        code, _, shown = run("deidentified", "--write", folder, "--key-file", "k.key")
        assert (code, "keep it somewhere" in shown) == (0, True)
    files = [
        {p.relative_to(tmp_path / f): p.read_bytes() for p in (tmp_path / f).rglob("*.*")}
        for f in ("one", "two")
    ]
    assert files[0] == files[1]
    assert stat.S_IMODE((tmp_path / "k.key").stat().st_mode) == 0o600
    secret = (tmp_path / "k.key").read_text().strip()
    assert len(secret) == 64
    assert not [p for p, data in files[0].items() if secret.encode() in data]
    assert {p.stat().st_mtime for p in (tmp_path / "one").rglob("*")} == {0}
    run("deidentified", "--write", "three")
    lines = [(tmp_path / f / "tables/lines.csv").read_text() for f in ("two", "three")]
    assert lines[0] != lines[1]
    assert Key.new() != Key.new()


def test_extracts_of_one_quarter_are_the_same_and_no_day_of_the_next_is_in_them(run, tmp_path):
    """A person who holds two extracts under one key subtracts them."""
    lines = []
    for folder, day in (("one", "2031-05-01"), ("two", "2031-07-28"), ("before", "2031-04-27")):
        code, _, shown = run(
            "deidentified", "--write", folder, "--key-file", "k.key", "--as-of", day
        )
        assert (code, shown.count("up to the end of")) == (0, 1)
        lines.append((tmp_path / folder / "tables/home_log.csv").read_text())
    assert lines[0] == lines[1]
    assert len(lines[2]) < len(lines[0])
    code, _, shown = run("deidentified", "--write", "three", "--known-at", "2031-05-01")
    assert (code, "fixed day of receipt" in shown) == (2, True)


def test_nothing_of_the_days_from_the_end_on_is_left_in_the_records():
    records = written(
        lines="""
line_id | home_from  | removed_on | removal_reason | site  | valid_from | received_at
L1      | 2031-03-01 | 2031-04-02 | occlusion      | south | 2031-04-01 | 2031-04-02
L2      | 2031-03-01 | 2031-03-31 | occlusion      | north |            | 2031-03-31
L3      | 2031-04-01 |            |                | north |            | 2031-04-01
""",
        earlier_lines="line_id | site | received_at\nL1 | north | 2031-03-01\n",
        stays="child_id | from_on | to_on\nC1 | 2031-03-30 | 2031-04-01\nC1 | 2031-04-05 |\n",
        home_log="""
line_id | done_at    | kind
L1      | 2031-03-31 | flush
L1      | 2031-04-01 | flush
""",
        sign_offs="caregiver_id | skill | signed_on | outcome\nK1 | flush | 2031-04-01 | independent\n",
        outcomes="""
child_id | line_id | outcome   | onset_on   | confirmed_on
C1       | L1      | occlusion | 2031-03-31 | 2031-04-02
C1       | L1      | occlusion | 2031-04-01 | 2031-04-02
""",
    )
    left = days_before(records, AS_OF, POLICY.zone)
    lines = left.lines.set_index("line_id")
    assert list(lines.index) == ["L1", "L2"]
    assert lines[["removed_on", "removal_reason", "valid_from"]].loc["L1"].isna().all()
    assert list(lines["site"]) == ["north", "north"]
    assert lines.loc["L2", "removal_reason"] == "occlusion"
    assert list(left.stays["to_on"].isna()) == [True]
    assert (len(left.home_log), len(left.sign_offs)) == (1, 0)
    assert list(left.outcomes["confirmed_on"].isna()) == [True]
    assert build(left, POLICY, AS_OF).lines["home_line_days"].tolist() == [29, 29]


def test_the_end_of_an_extract_does_not_date_the_children(seen):
    # As somebody would who knows the quarter: the last date of each child is taken for its end.
    followed = deidentify(seen, KEY)
    made = deidentify(closed(seen, KEY), KEY)
    assert dated_by_end(followed, seen, KEY) >= 20
    assert dated_by_end(made, seen, KEY) <= 2
    ended = made.tables["intervals"].frame["ended_by"].astype("string")
    assert "as_of" not in set(ended.dropna())
    cut = seen.records.lines["child_id"].nunique() - made.children
    assert 0 <= cut <= 2  # children who came home in the last days
    # Two children of one family: nothing of either after its own end, whatever the other's is.
    shift = pd.Series(KEY.shifts(seen.records.lines["child_id"]))
    ends = day_number(AS_OF) - KEY.days_cut(seen.records.lines["child_id"]) + shift
    codes = KEY.codes("child", seen.records.lines["child_id"].reset_index(drop=True))
    allowed = pd.Series(ends.to_numpy(), index=codes.astype("object")).groupby(level=0).max()
    begun = {"home_log": "done_on", "stays": "from_on", "sign_offs": "signed_on"}
    last = [
        pd.Series(days_of(made.tables[name].frame[column]))
        .groupby(made.tables[name].frame["child_id"].astype("object").to_numpy())
        .max()
        for name, column in begun.items()
    ]
    every = pd.concat([last_days(made).rename(index=str) - 1, *last])
    assert len(every) > 60
    assert (every < allowed.reindex(every.index)).all()


def test_what_is_no_key_is_told_without_being_shown(tmp_path):
    (tmp_path / "other").write_text("hush-hush\n")
    with pytest.raises(ExportError, match="is no key file") as shown:
        key_of_file(tmp_path / "other")
    assert "hush" not in str(shown.value)
    with pytest.raises(ExportError, match="key can.t be written"):
        key_of_file(tmp_path / "none" / "key")
    assert "k" * 8 not in repr(KEY)


def test_the_statement_says_what_remains_and_names_no_day_of_the_store(run, seen, tmp_path):
    (tmp_path / "k.key").write_text(f"{KEY.secret.hex()}\n")
    _, _, shown = run("deidentified", "--write", "out", "--key-file", "k.key")
    text = (tmp_path / "out/STATEMENT.md").read_text(encoding="utf-8")
    extract = deidentify(closed(seen, KEY), KEY)
    found, dated = alone(extract.tables), dated_by_end(extract, seen, KEY)
    for words in (
        f"{extract.children} children.",
        "no guarantee and no legal finding",
        "What remains identifiable",
        "164.514",
        "does not diagnose",
        f"finds the true dates of {'1 to 10' if dated else 0} of {extract.children} children",
        "Tried on this extract: who takes a line with an access for a port",
        f"| site, age band, kind of line, therapy and number of lines | {found['alone'][0]} |",
    ):
        assert words in text
    assert f"extract of {extract.children} children" in shown
    assert "2031" not in text
    head = next(csv.reader(io.StringIO((tmp_path / "out/tables/lines.csv").read_text())))
    dictionary = (tmp_path / "out/dictionary/lines.csv").read_text()
    rows = list(csv.DictReader(io.StringIO(dictionary)))
    assert [row["column"] for row in rows] == head
    assert next(r for r in rows if r["column"] == "placed_on")["unit"].startswith("moved by")


def test_an_extract_is_one_whole_and_needs_more_than_ten_children(run, tmp_path, monkeypatch):
    for words in (("lines",), ("--with", "note"), ("--versions", "all")):
        code, _, shown = run("deidentified", "--write", "out", *words)
        assert (code, shown.count("Error:")) == (2, 1)
    assert run("--write", "out", "--key-file", "k.key")[0] == 2
    Store.open(f"sqlite:///{tmp_path}/empty.sqlite").close()
    code, _, shown = run("deidentified", "--write", "out", "--store", "sqlite:///empty.sqlite")
    assert (code, "more than 10 children" in shown) == (3, True)
    assert not (tmp_path / "out").exists()
    assert not (tmp_path / "k.key").exists()

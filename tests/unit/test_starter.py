"""The starter kit: what is filled in is read without a question, and nothing in it disagrees."""

from __future__ import annotations

import io
import re
import zipfile
from datetime import UTC, date, datetime, time

import openpyxl
import pytest

from analysis.cautions import CAUTIONS
from analysis.ingest import ingest
from analysis.ingest.profile_file import parse_profile
from analysis.measures.lines import line_table
from analysis.policy import PolicyError, parse_policy, shipped_policy
from analysis.policy.model import SETTING_FIELDS
from analysis.snapshot import take
from analysis.starter import TextsError, kit, kit_files, load_texts, texts_in_english, zipped
from analysis.starter.diary import Paper, diary_page
from analysis.starter.texts import as_toml
from analysis.starter.typed import diary_profile
from analysis.store import Store
from analysis.tables.incoming import INCOMING
from analysis.vocabulary import DressingType, Task
from tests.commands import run

__all__ = ["run"]

POLICY = shipped_policy()
EDITION = POLICY.editions[-1]
ENGLISH = texts_in_english(EDITION)

REGISTRY = {
    "lines": [
        {
            "line_id": "L1", "child_id": "C1", "family_id": "F1", "site": "north",
            "line_type": "picc", "placed_on": date(2031, 2, 27), "home_from": date(2031, 3, 1),
            "dressing_type": "transparent", "dressing_on": date(2031, 3, 1), "born": "2025-03",
        },
        {
            "line_id": "007", "child_id": "C2", "family_id": "F2", "site": "south",
            "line_type": "tunneled_cvc", "placed_on": date(2031, 2, 27),
            "home_from": date(2031, 3, 1), "dressing_type": "gauze", "change_every_days": 3,
            "dressing_on": date(2031, 3, 1),
        },
    ],
    "stays": [
        {
            "child_id": "C2", "from_on": date(2031, 3, 4), "to_on": date(2031, 3, 8),
            "place": "hospital", "dressing_on": date(2031, 3, 7),
        }
    ],
    "caregivers": [{"caregiver_id": "P1", "family_id": "F1", "relation": "parent"}],
    "sign_offs": [
        {
            "caregiver_id": "P1", "skill": "dressing_change", "signed_on": date(2031, 2, 28),
            "outcome": "independent", "kind": "first",
        }
    ],
}  # fmt: skip
"""F2 sleeps in hospital from the 4th to the 8th; its dressing of the 7th is due on the 10th."""
TYPED = {
    "diary": [
        {
            "Line": "L1", "Who (code)": "P1", "Day": date(2031, 3, 8), "Time": time(9, 30),
            "What was done": "dressing change", "Why changed": "scheduled",
            "New dressing": "transparent", "Old dressing as found": "intact",
            "Checked: none of these signs": "x", "No step left out": "x", "Kits left": 4,
        },
        {
            "Line": "L1", "Day": date(2031, 3, 12), "What was done": "skin check",
            "redness": "x", "fever": "x",
        },
        {"Family": "F2", "Day": date(2031, 3, 11), "What was done": "dressing change", "mask on": "x"},
    ]
}  # fmt: skip


@pytest.fixture(scope="module")
def files():
    """The kit in English, its diaries as HTML."""
    with pytest.MonkeyPatch.context() as without:
        without.setattr(kit, "pdf_file", lambda page: page.encode())
        yield kit_files(POLICY, EDITION, ENGLISH, "Asia/Tokyo").files


def filled(workbook, rows):
    """A workbook with rows typed below its heads."""
    book = openpyxl.load_workbook(io.BytesIO(workbook))
    for sheet, several in rows.items():
        heads = [cell.value for cell in book[sheet][1]]
        for number, row in enumerate(several, 2):
            for head, value in row.items():
                book[sheet].cell(number, heads.index(head) + 1).value = value
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def test_a_filled_kit_is_ingested_without_a_question_and_gives_lines_and_calls(
    files, tmp_path
) -> None:
    (tmp_path / "registry.xlsx").write_bytes(filled(files["incoming/registry.xlsx"], REGISTRY))
    (tmp_path / "diary.xlsx").write_bytes(filled(files["incoming/diary.xlsx"], TYPED))
    policy = parse_policy(files["policy.toml"].decode(), "policy.toml")
    source = parse_profile(files["diary.toml"].decode(), "diary.toml", "diary")
    moment = datetime(2031, 3, 14, 0, 30, tzinfo=UTC)
    with Store.open(f"sqlite:///{tmp_path}/s.sqlite") as store:
        found = ingest(store, [tmp_path / name for name in ("diary.xlsx", "registry.xlsx")], policy,
                       ingested_at=moment, sources=[source])  # fmt: skip
        assert (found.faults, found.refused) == ((), 0)
        assert found.notes == ()  # sheets that nobody filled in are silent
        stored = [(t.table, t.read, t.stored) for t in found.tables]
        log = store.records().home_log
        seen = take(store, policy, date(2031, 3, 14))
    assert stored == [
        ("lines", 2, 2), ("stays", 1, 1), ("caregivers", 1, 1), ("sign_offs", 1, 1),
        ("home_log", 3, 3),
    ]  # fmt: skip
    assert list(log["findings"].fillna("")) == ["none", "fever;redness", ""]
    assert list(log["steps_missed"].fillna("")) == ["none", "", "mask"]
    assert str(log["done_at"].iloc[0]) == "2031-03-08 00:30:00"  # 9:30 in Tokyo
    lines = line_table(seen.timeline, Task.DRESSING).set_index("line_id")
    # 1 to 13 March; F2 from the 1st to the 3rd and from the 8th to the 13th.
    assert lines["home_line_days"].to_dict() == {"L1": 13, "007": 9}
    assert lines["out_of_date_days"].to_dict() == {"L1": 0, "007": 1}  # the 10th
    called = seen.calls.families.set_index("family_id")
    assert called["band"].astype(str).to_dict()["F1"] == "same_day_review"
    assert "red_flag" in called["reasons"]["F1"]


@pytest.mark.parametrize("name", ["incoming/registry.xlsx", "incoming/diary.xlsx"])
def test_a_workbook_that_nobody_filled_in_has_no_row(files, tmp_path, name) -> None:
    path = tmp_path / name.rpartition("/")[2]
    path.write_bytes(files[name])
    with Store.open(f"sqlite:///{tmp_path}/s.sqlite") as store:
        found = ingest(store, path, POLICY, sources=[diary_profile(ENGLISH, EDITION)])
    assert found.faults == ()
    assert sum(table.read for table in found.tables) == 0
    assert [note for note in found.notes if "and no other row" in note] == list(found.notes)
    assert len(found.notes) == 1


def test_the_registry_has_every_table_column_and_word_of_the_catalogue(files) -> None:
    book = openpyxl.load_workbook(io.BytesIO(files["incoming/registry.xlsx"]))
    assert book.sheetnames == list(INCOMING)
    for table, frame in INCOMING.items():
        heads = [cell.value for cell in book[table][1]]
        assert heads == [*frame.names, "void"]
        checks = {
            str(check.sqref).partition(":")[0]: check
            for check in book[table].data_validations.dataValidation
        }
        for at, column in enumerate(frame.columns):
            check = checks[f"{book[table].cell(2, at + 1).coordinate}"]
            assert check.prompt.casefold().startswith(column.meaning.casefold())
            if column.allowed:
                assert check.formula1.strip('"').split(",") == list(column.allowed)
            if column.low is not None:
                assert (check.formula1, check.formula2) == (str(column.low), str(column.high))
    stays = [c.formula1 for c in book["stays"].data_validations.dataValidation]
    assert "COUNTIF('lines'!$B$2:$B$2001,A2)>0" in stays


def test_every_setting_interval_and_code_is_explained_in_the_policy_file(files) -> None:
    text = files["policy.toml"].decode()
    as_shipped = parse_policy(text, "policy.toml")
    every = re.sub(r"^#(?! )", "", text, flags=re.MULTILINE)
    for policy in (as_shipped, parse_policy(every, "policy.toml")):
        edition = policy.editions[-1]
        assert (edition.settings, edition.intervals) == (EDITION.settings, EDITION.intervals)
        assert (edition.findings, edition.steps) == (EDITION.findings, EDITION.steps)
        assert policy.time_zone == "Asia/Tokyo"
    for name, about in SETTING_FIELDS.items():
        assert about.metadata["meaning"].casefold() in text.casefold()
        assert f"\n#{name} = " in text
    assert every.count("\n[[edition.interval]]") == len(EDITION.intervals)


def test_a_policy_of_its_own_stays_in_force_and_a_zone_is_never_guessed() -> None:
    own = parse_policy(
        'name = "ward"\ntime_zone = "Asia/Tokyo"\n[[edition]]\nversion = "1"\n'
        'effective_from = 2031-04-01\n[edition.settings]\nkits_low = { value = 5, source = "us" }\n'
        '[edition.finding]\ncrust = { label = "crust", marks = ["watched"], source = "us" }\n',
        "p.toml",
    )
    edition = own.editions[-1]
    text = kit.policy_text(own, edition, own.time_zone)
    assert parse_policy(text, "p.toml").editions[-1] == edition
    with pytest.raises(PolicyError, match="no IANA time zone"):
        parse_policy(kit.policy_text(POLICY, EDITION, None), "p.toml")


@pytest.mark.parametrize("paper", list(Paper))
def test_a_week_of_the_fullest_diary_fits_on_one_page(paper) -> None:
    weasyprint = pytest.importorskip("weasyprint")
    page = diary_page(ENGLISH, EDITION, DressingType.GAUZE, paper)
    printed = weasyprint.HTML(string=page).render()
    assert len(printed.pages) == 1
    assert round(printed.pages[0].height / 96 * 25.4) == {"a4": 297, "letter": 279}[paper]


def test_every_diary_has_the_cautions_the_emergency_line_and_a_box_for_each_code(files) -> None:
    pages = {name: text.decode() for name, text in files.items() if name.startswith("print/")}
    assert len(pages) == 8
    for name, text in pages.items():
        plain = text.replace("&#39;", "'")
        assert all(caution in plain for caution in CAUTIONS[:3])
        assert ENGLISH["diary.emergency_line"] in plain
        rows = re.findall(r'<th scope="row">([^<]*)</th>', plain)
        assert set(ENGLISH.words("findings").values()) <= set(rows)
        assert set(ENGLISH.words("steps_missed").values()) <= set(rows) or "none" in name
        assert text.count("<i></i>") == 7 * (len(rows) - 3)
    assert "at least every 2 days" in pages["print/diary-gauze-a4.pdf"]
    assert "at least every 7 days" in pages["print/diary-transparent-letter.pdf"]


def test_what_is_done_to_a_port_has_a_box_and_is_typed_in_the_words_of_the_page(
    files, tmp_path
) -> None:
    page = files["print/diary-transparent-a4.pdf"].decode()
    kinds = ("port_accessed", "needle_change", "port_deaccessed")
    words = [ENGLISH.words("kind")[kind] for kind in kinds]
    assert re.findall(r'scope="row">([^<]*(?:port|needle)[^<]*)<', page) == words
    port = REGISTRY["lines"][0] | {"line_type": "implanted_port"}
    typed = [
        {"Line": "L1", "Day": date(2031, 3, day), "What was done": word}
        for day, word in zip((4, 9, 12), words, strict=True)
    ]
    registry = filled(files["incoming/registry.xlsx"], {"lines": [port]})
    diary = filled(files["incoming/diary.xlsx"], {"diary": typed})
    (tmp_path / "registry.xlsx").write_bytes(registry)
    (tmp_path / "diary.xlsx").write_bytes(diary)
    with Store.open(f"sqlite:///{tmp_path}/s.sqlite") as store:
        paths = [tmp_path / name for name in ("registry.xlsx", "diary.xlsx")]
        moment = datetime(2031, 3, 14, 8, tzinfo=UTC)
        source = diary_profile(ENGLISH, EDITION)
        found = ingest(store, paths, POLICY, ingested_at=moment, sources=[source])
        assert (found.faults, found.refused) == ((), 0)
        assert store.records().home_log["kind"].tolist() == list(kinds)
        seen = take(store, POLICY, date(2031, 3, 14))
    row = line_table(seen.timeline, Task.DRESSING).iloc[0]
    # At home from the 1st to the 13th; accessed from the 4th to the 11th.
    assert (row["home_line_days"], row["not_accessed_days"]) == (13, 5)


def test_translated_texts_make_a_diary_a_workbook_and_a_profile_that_agree(tmp_path) -> None:
    path = tmp_path / "texts.toml"
    french = as_toml(ENGLISH).replace('"redness"', '"rougeur"').replace('"Line"', '"Voie"')
    path.write_text(french, "utf-8")
    texts = load_texts(path, EDITION)
    assert "rougeur" in diary_page(texts, EDITION, DressingType.NONE, Paper.A4)
    heads = diary_profile(texts, EDITION).table("home_log")
    assert heads.heads["Voie"] == "line_id"
    assert {t.head: t.code for t in heads.ticks}["rougeur"] == "redness"
    assert "Voie" in heads.header


@pytest.mark.parametrize(
    ("before", "after", "shown"),
    [
        ('redness = "redness"\n', "", "missing: words.findings.redness."),
        ("[diary]", "[diary]\ntitel = 'x'", "Did you mean 'diary.title'?"),
        ('rash = "rash"', 'rash = "Redness"', "are the same text"),
        ('flush = "flush"', 'flush = "flush, or so"', "may not hold a comma"),
        ("every {days} days", "every few days", "needs {days} in braces"),
        ('days = ["Mon", ', "days = [", "needs a list of 7 texts"),
        ('title = "Central line diary"', "title = ' '", "diary.title needs a text"),
        ("[diary]", "[diary", "not valid TOML"),
    ],
)
def test_texts_that_cannot_be_used_are_refused_by_name(tmp_path, before, after, shown) -> None:
    path, text = tmp_path / "texts.toml", as_toml(ENGLISH)
    assert before in text
    path.write_text(text.replace(before, after), "utf-8")
    with pytest.raises(TextsError, match=re.escape(shown)):
        load_texts(path, EDITION)


def test_the_kit_is_one_archive_with_the_same_bytes_each_time(files) -> None:
    made = kit.Kit(files, ())
    assert zipped(made) == zipped(made)
    with zipfile.ZipFile(io.BytesIO(zipped(made))) as archive:
        assert set(archive.namelist()) == set(files)
    again = kit.workbook(kit.registry_sheets(EDITION))
    assert again == files["incoming/registry.xlsx"]


def test_the_command_writes_the_kit_once_and_its_profile_is_imported(
    run, tmp_path, monkeypatch
) -> None:
    monkeypatch.setattr(kit, "pdf_file", lambda page: page.encode())
    code, _, err = run("starter", "kit", "--time-zone", "Mars/Base")
    assert (code, "is no IANA time zone" in err) == (2, True)
    code, _, err = run("starter", "kit", "--time-zone", "Asia/Tokyo")
    assert (code, "Start with kit/README.txt" in err) == (0, True)
    crontab = (tmp_path / "kit/schedule/crontab.txt").read_text("utf-8")
    assert f'cd "{tmp_path}/kit" &&' in crontab
    steps = (tmp_path / "kit/README.txt").read_text("utf-8")
    assert f'cd "{tmp_path}/kit"' in steps
    commands = re.findall(r"^     (\S+) ", steps, re.MULTILINE)
    assert set(commands) == {"linedays"}
    assert run("starter", "kit")[0] == 3  # never over files of an earlier kit
    assert run("policy", "--set", "kit/policy.toml")[0] == 0
    code, _, err = run("sources", "import", "kit/diary.toml")
    assert (code, "version 1 of the source home diary" in err) == (0, True)
    assert run("sources", "import", "kit/policy.toml")[0] == 3

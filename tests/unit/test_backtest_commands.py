"""The commands on what to do next: their columns, their sentences, and the versions they replay."""

import csv
import io
import sys
from datetime import UTC, date, datetime
from pathlib import Path

import pandas as pd
import pytest

from analysis.cli.app import main
from analysis.cli.replaying import read_history, replay
from analysis.decisions.history import morning_of
from analysis.decisions.mornings import morning
from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.store import Store
from analysis.tables import KNOWN
from analysis.vocabulary import CallOutcome
from tests.empty_store import folder_made_once

POLICY = shipped_policy()
LINES = """line_id,child_id,family_id,site,nurse,line_type,placed_on,home_from,dressing_type,dressing_on
L1,C1,F1,north,n1,tunneled_cvc,2031-02-27,2031-03-01,transparent,2031-02-28
L2,C2,F2,south,n2,picc,2031-02-27,2031-03-01,transparent,2031-03-01
"""
LOG = """entry_id,line_id,caregiver_id,done_at,kind,findings,steps_missed,received_at,void
e1,L1,K1,2031-03-05,dressing_change,none,mask,2031-03-05T20:00,
e2,L1,K1,2031-03-12,dressing_change,redness,none,2031-03-14T08:00,
e2,L1,K1,2031-03-11,dressing_change,none,none,2031-03-16T08:00,
e3,L2,K2,2031-03-07,dressing_change,none,,2031-03-07T20:00,
e3,L2,K2,2031-03-07,dressing_change,none,,2031-03-10T20:00,yes
e4,L2,K2,2031-03-20,skin_check,rash,,2031-03-20T20:00,
"""
CAREGIVERS = "caregiver_id,family_id\nK1,F1\nK2,F2\n"
SPAN = ("--from", "2031-03-12", "--to", "2031-03-15", "--as-of", "2031-03-30")

COLUMNS = {
    ("retraining",): "family_id caregiver_id step seen missed shrunk_share prob_above evidence "
    "state recent_from refreshed_on missed_in_row seen_before missed_before",
    ("retraining", "sign-offs"): "family_id site caregiver_id changes "
    "last_change_on why signed_on evidence",
    (
        "retraining",
        "sessions",
    ): "site step language part families family_ids caregiver_ids",
    ("retraining", "learning"): "step first_change last_change families seen missed "
    "share lower upper",
    ("capacity",): "site day weekday lines changes_due families_listed fewest_listed most_listed "
    "calls_possible",
    ("capacity", "kits"): "family_id site counted_on kits_left used runs_out_on delivery_on row",
}


@pytest.fixture
def url(tmp_path, tmp_path_factory, monkeypatch):
    monkeypatch.chdir(tmp_path)
    at = f"sqlite:///{tmp_path / 'store.sqlite'}"
    kept = tmp_path_factory.getbasetemp() / "backtest"
    folder_made_once(tmp_path, kept, lambda: fill(tmp_path, at))
    monkeypatch.setenv("LINEDAYS_STORE", at)
    return at


def fill(tmp_path, at):
    for name, text in (("lines", LINES), ("caregivers", CAREGIVERS), ("home_log", LOG)):
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
    with Store.open(at) as store:
        early = datetime(2031, 3, 1, tzinfo=UTC)
        for name in ("lines", "caregivers", "home_log"):
            found = ingest(store, [tmp_path / f"{name}.csv"], POLICY, received_at=early)
            assert (found.refused, found.faults) == (0, ())
        for hour, family in ((9, "F1"), (10, "F2")):
            moment = datetime(2031, 3, 12, hour, tzinfo=UTC)
            row = store.record_call(
                family, "n1", CallOutcome.REACHED, None, date(2031, 3, 14), moment
            )
        store.undo_call(row, "n1", datetime(2031, 3, 13, 9, tzinfo=UTC))


@pytest.fixture
def run(url, monkeypatch, capsys):
    def command(*words):
        monkeypatch.setattr(sys, "argv", ["linedays", *map(str, words)])
        with pytest.raises(SystemExit) as stop:
            main()
        told = capsys.readouterr()
        return stop.value.code or 0, list(csv.DictReader(io.StringIO(told.out))), told.err

    return command


def test_a_history_knows_on_every_morning_what_the_store_knows(url):
    history = read_history(url)
    with Store.open(url) as store:
        for day in range(4, 23):
            at = morning_of(date(2031, 3, day), POLICY)
            stored, known = store.records(at), history.records(at)
            assert len(stored.lines) == len(known.lines) > 0
            for name in KNOWN:
                frame = getattr(stored, name)
                own = getattr(known, name).sort_values("row", ignore_index=True)
                pd.testing.assert_frame_equal(own[frame.columns], frame, check_categorical=False)


def test_leaving_out_families_without_a_line_at_home_changes_no_morning(url):
    history = read_history(url)
    for day in (date(2031, 3, d) for d in range(1, 23, 7)):
        at = morning_of(day, POLICY)
        pd.testing.assert_frame_equal(
            morning(history.records(at, by=day), POLICY, day),
            morning(history.records(at), POLICY, day),
        )


def test_mornings_shared_between_processes_are_the_same_mornings(url, monkeypatch):
    days = [date(2031, 3, d) for d in range(5, 11)]
    alone = replay(url, None, days)
    monkeypatch.setattr("analysis.cli.replaying.WORTH_A_PROCESS", 1e-9)
    monkeypatch.setattr("analysis.cli.replaying.os.cpu_count", lambda: 2)
    pd.testing.assert_frame_equal(replay(url, None, days), alone)


@pytest.mark.parametrize("words", COLUMNS, ids=" ".join)
def test_a_command_prints_the_columns_promised(run, words, url, monkeypatch):
    monkeypatch.setattr("analysis.cli.planning.RECENT_MORNINGS", 7)
    code, rows, _ = run(*words, "--as-of", "2031-03-18", "--out", "table.csv")
    assert (code, rows) == (0, [])
    head = Path("table.csv").read_text(encoding="utf-8").splitlines()[0]
    assert head.split(",") == COLUMNS[words].split()


def test_retraining_names_the_rows_that_show_it(run):
    rows = run("retraining", "--as-of", "2031-03-18")[1]
    mask = next(r for r in rows if r["step"] == "mask")
    assert [mask[c] for c in ("family_id", "caregiver_id", "seen", "missed")] == [
        "F1", "K1", "2", "1",
    ]  # fmt: skip
    assert mask["evidence"] == "1"


def test_a_backtest_compares_orders_by_what_they_foresaw(run):
    code, rows, _ = run("backtest", *SPAN, "--capacity", 1)
    assert code == 0
    orders = ["rule order", "days since change", "at random"]
    assert [(r["judged_by"], r["order"]) for r in rows] == [
        (kind, order) for kind in ("harm", "process") for order in orders
    ]
    assert {r["calls"] for r in rows} != {"0"}
    assert all(int(r["calls"]) <= 4 for r in rows)


def test_refit_without_enough_events_writes_nothing_and_says_so(run, tmp_path):
    code, _, said = run("refit", "order.toml", "--as-of", "2031-03-30", "--days", 28)
    assert code == 3
    assert "too few for a fitted order" in said
    assert not (tmp_path / "order.toml").exists()


def test_refit_writes_an_order_that_the_call_list_uses_and_the_backtest_judges(
    run, tmp_path, monkeypatch
):
    monkeypatch.setattr("analysis.decisions.expected_benefit.FEWEST_FAMILIES", 1)
    (tmp_path / "ours.toml").write_text('order_file = "order.toml"\n', encoding="utf-8")
    ours = ("--policy", "ours.toml")
    code, _, said = run("refit", "--as-of", "2031-03-29", "--days", 28, *ours)
    assert code == 0, said
    assert "the call list uses it from 2031-03-29 on.\n" in said
    code, rows, said = run("calls", "--as-of", "2031-03-30", *ours)
    assert code == 0
    assert "Sorted by expected benefit" in said
    assert any("mornings like this, harm followed" in r["sentence"] for r in rows)
    assert "later than the data of this list" in run("calls", "--as-of", "2031-03-28", *ours)[2]
    later = ("--from", "2031-03-30", "--to", "2031-04-01", "--as-of", "2031-04-10")
    code, rows, _ = run("backtest", *later, *ours)
    assert rows[-1]["order"] == "expected benefit"
    code, rows, said = run("backtest", *SPAN, "--order", "order.toml")
    assert "no fitted order was in use on these mornings" in said
    assert "expected benefit" not in {r["order"] for r in rows}


def test_refit_without_a_file_asks_for_one(run):
    code, _, said = run("refit")
    assert code == 2
    assert "linedays refit order.toml" in said


def test_whatif_leaves_the_policy_as_it_is(run, tmp_path):
    ours = tmp_path / "ours.toml"
    text = (
        '[[edition]]\nversion = "ours"\neffective_from = 2020-01-01\n[edition.settings]\n'
        'grace_days = { value = 3, source = "tried" }\n'
    )
    ours.write_text(text, encoding="utf-8")
    code, rows, _ = run("whatif", "--with", ours, *SPAN)
    assert code == 0
    assert ours.read_text(encoding="utf-8") == text
    told = {r["quantity"]: r for r in rows if r["group"] == "all"}
    shown = told["families shown overdue a day"]
    assert float(shown["other"]) < float(shown["present"])


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("--from", "2031-03-09", "--to", "2031-03-05"), "give the earlier day first"),
        (("--from", "2031-03-05", "--to", "2031-03-15"), "give --to 2031-03-11 or earlier"),
        (("--from", "spring", "--to", "2031-03-05"), "is not a date"),
    ],
)
def test_days_that_cannot_be_replayed_get_a_sentence(run, words, sentence):
    code, _, said = run("backtest", *words, "--as-of", "2031-03-18")
    assert code == 2
    assert sentence in " ".join(said.replace("│", " ").split())

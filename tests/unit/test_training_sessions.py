"""Training sessions: planned, moved, cancelled, undone, by several people, and who came to them."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import date, datetime, timedelta

import pandas as pd
import pytest

from analysis.cli.app import main
from analysis.cli.opening import today
from analysis.decisions.training_sessions import SessionError, attendance, checked
from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.store import Change, ChangedMeanwhileError, RecordedBeforeError, Store, StoreError
from analysis.tables.training_sessions import SessionPlan
from analysis.vocabulary import SessionState
from tests.retrained import NOW, fill

TODAY = date(2031, 3, 4)
PLAN = SessionPlan(
    TODAY + timedelta(days=7), "10:00", "room 2", "Finnish", ("dressing_change",), ("E1", "E2"),
    ("F1", "F2"), ("K1", "K2"),
)  # fmt: skip


@pytest.fixture(scope="module")
def programme(tmp_path_factory):
    return fill(tmp_path_factory.mktemp("sessions"))


@pytest.fixture
def store(tmp_path):
    with Store.open(f"sqlite:///{tmp_path / 'store.sqlite'}") as found:
        yield found


def days(store: Store, at: datetime | None = None) -> list[tuple[int, str, str]]:
    found = store.sessions.known(at)
    on = found["held_on"].dt.strftime("%d %b")
    return list(zip(found["session"], on, found["state"].astype(str), strict=True))


def row_of(store: Store, session: int) -> int:
    found = store.sessions.known()
    return int(found.loc[found["session"] == session, "row"].iloc[0])


def test_a_session_is_planned_moved_cancelled_and_each_step_undone(store):
    assert store.sessions.record([Change(PLAN)], "E1", NOW) == [1]
    moved = replace(PLAN, held_on=date(2031, 3, 12))
    hour = timedelta(hours=1)
    store.sessions.record([Change(moved, 1)], "E2", NOW + hour)
    cancelled = replace(moved, state=SessionState.CANCELLED)
    store.sessions.record([Change(cancelled, 1)], "E1", NOW + 2 * hour)
    assert days(store) == [(1, "12 Mar", "cancelled")]
    assert days(store, NOW) == [(1, "11 Mar", "planned")]  # as it was known then
    assert days(store, NOW - hour) == []
    assert store.sessions.undo(1, row_of(store, 1), "E1", NOW + 3 * hour)
    assert days(store) == [(1, "12 Mar", "planned")]
    assert store.sessions.undo(1, row_of(store, 1), "E1", NOW + 4 * hour)
    assert days(store) == [(1, "11 Mar", "planned")]
    assert not store.sessions.undo(1, row_of(store, 1), "E1", NOW + 5 * hour)
    assert days(store) == []
    assert store.sessions.record([Change(PLAN)], "E1", NOW + 6 * hour) == [2]


def test_of_two_people_who_change_a_session_the_second_one_is_asked_to_look_again(store):
    store.sessions.record([Change(PLAN)], "E1", NOW, form="a")
    opened = row_of(store, 1)
    with pytest.raises(RecordedBeforeError):
        store.sessions.record([Change(PLAN)], "E1", NOW, form="a")
    store.sessions.record([Change(replace(PLAN, venue="room 3"), 1, opened)], "E2", NOW)
    with pytest.raises(ChangedMeanwhileError):
        store.sessions.record([Change(replace(PLAN, venue="room 4"), 1, opened)], "E1", NOW)
    with pytest.raises(ChangedMeanwhileError):
        store.sessions.undo(1, opened, "E1", NOW)
    with pytest.raises(StoreError, match="no session number 9"):
        store.sessions.record([Change(PLAN), Change(PLAN, 9)], "E1", NOW)
    assert len(store.sessions.known()) == 1  # all of them or none
    assert store.sessions.known()["venue"].tolist() == ["room 3"]


def records_of(programme):
    with Store.open(f"sqlite:///{programme}", create=False) as found:
        return found.records()


def test_a_plan_names_known_people_and_gets_their_families(programme):
    records = records_of(programme)
    plan = replace(PLAN, family_ids=("F6",), caregiver_ids=("K2", "K1", "K2"))
    found = checked(plan, records, TODAY)
    assert (found.family_ids, found.caregiver_ids) == (("F6", "F2", "F1"), ("K2", "K1"))
    past = replace(plan, held_on=TODAY - timedelta(days=300))
    assert checked(past, records, TODAY).held_on == past.held_on


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"held_on": date(2033, 1, 1)}, "held_on"),
        ({"starts_at": "25:00"}, "starts_at"),
        ({"venue": "x" * 201}, "venue"),
        ({"skills": ()}, "skills"),
        ({"skills": ("juggling",)}, "skills"),
        ({"caregiver_ids": ("K1", "nobody")}, "caregiver_ids"),
        ({"family_ids": ("nobody",)}, "family_ids"),
        ({"family_ids": (), "caregiver_ids": ()}, "caregiver_ids"),
    ],
)
def test_what_does_not_fit_names_its_field(programme, change, field):
    with pytest.raises(SessionError) as fault:
        checked(replace(PLAN, **change), records_of(programme), TODAY)
    assert fault.value.field == field


def test_who_came_is_read_from_the_refreshers_of_the_day(programme, store):
    # K1's refresher was on 15 January; F2 is invited as a whole, so all its caregivers are listed.
    plan = replace(PLAN, held_on=date(2031, 1, 15), family_ids=("F1", "F2"), caregiver_ids=("K1",))
    gone = replace(plan, state=SessionState.CANCELLED)
    store.sessions.record([Change(plan), Change(gone)], "E1", NOW)
    found = attendance(store.sessions.known(), records_of(programme))
    told = found[["session", "family_id", "caregiver_id"]].values.tolist()
    assert told == [[1, "F1", "K1"], [1, "F2", "K2"]]
    assert found["outcome"].astype("string").fillna("").tolist() == ["independent", ""]
    assert attendance(store.sessions.known().iloc[:0], records_of(programme)).empty


@pytest.fixture
def run(monkeypatch, capsys, programme, tmp_path):
    file = tmp_path / "copy.sqlite"
    file.write_bytes(programme.read_bytes())

    def command(*words):
        argv = ["linedays", *map(str, words), "--store", f"sqlite:///{file}"]
        monkeypatch.setattr(sys, "argv", argv)
        with pytest.raises(SystemExit) as stop:
            main()
        return stop.value.code or 0, capsys.readouterr()

    return command


def test_sessions_are_written_as_a_table_and_planned_from_one(run, tmp_path):
    on = today(shipped_policy()) + timedelta(days=3)
    file = tmp_path / "sessions.csv"
    file.write_text(f"held_on,venue,caregiver_ids\n{on},room 2,K1;K2\n{on},room 3,K3\n")
    assert run("sessions", "plan", file)[0] == 0
    out = tmp_path / "out.csv"
    run("sessions", "--out", out)
    table = pd.read_csv(out)
    assert table["family_ids"].tolist() == ["F1;F2", "F3"]
    assert table["skills"].tolist() == ["dressing_change"] * 2
    out.write_text(out.read_text().replace("1,planned", "1,cancelled", 1))
    assert "0 sessions planned, 2 changed." in run("sessions", "plan", out)[1].err
    again = run("sessions", "--format", "csv")[1].out.splitlines()
    assert [line.split(",")[1] for line in again] == ["state", "cancelled", "planned"]
    file.write_text(f"held_on,caregiver_ids\n{on},K1\n{on},K99\n")
    code, said = run("sessions", "plan", file)
    assert code == 1
    assert "Row 3, caregiver_ids 'K99': Not known: K99." in said.err
    assert len(run("sessions", "--format", "csv")[1].out.splitlines()) == 3


def test_a_signed_off_session_is_ingested_like_any_table(run, programme, tmp_path):
    on = today(shipped_policy()) - timedelta(days=1)
    (tmp_path / "plan.csv").write_text(f"held_on,caregiver_ids\n{on},K2;K3\n")
    assert run("sessions", "plan", tmp_path / "plan.csv")[0] == 0
    rows = (
        f"caregiver_id,skill,signed_on,outcome,kind\nK2,dressing_change,{on},with_help,refresher\n"
    )
    (tmp_path / "sign_offs.csv").write_text(rows)
    with Store.open(f"sqlite:///{tmp_path / 'copy.sqlite'}") as found:
        done = ingest(found, [tmp_path / "sign_offs.csv"], shipped_policy(), received_at=NOW)
        assert done.refused == 0
    asked = ("--as-of", "2031-03-05", "--format", "csv")
    lines = run("sessions", "attendance", *asked)[1].out.splitlines()
    assert [line.split(",")[-1] for line in lines] == ["outcome", "with_help", ""]

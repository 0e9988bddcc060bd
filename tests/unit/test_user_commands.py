"""The commands on who may sign in: what they ask, what they print, how they refuse."""

from __future__ import annotations

import csv
import io
import sys

import pytest
import typer

from analysis.cli.app import main
from analysis.cli.people import _now
from analysis.store import Store
from tests.ports import free_port

PASSWORD = "kettle orbit maple seven"  # invented, for tests


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    """Run a command over an empty store; returns exit code, output and errors."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("LINEDAYS_STORE", raising=False)
    Store.open("sqlite:///linedays.sqlite").close()

    def command(*words, typed=""):
        monkeypatch.setattr(sys, "argv", ["linedays", *words])
        monkeypatch.setattr(sys, "stdin", io.StringIO(typed))
        with pytest.raises(SystemExit) as stop:
            main()
        told = capsys.readouterr()
        assert "Traceback" not in told.err
        assert PASSWORD not in told.out + told.err
        return stop.value.code or 0, told.out, told.err

    return command


def rows(text):
    return list(csv.DictReader(io.StringIO(text)))


def add(run, code, role, *words):
    return run("user", "add", code, "--role", role, "--password-stdin", *words, typed=PASSWORD)


def test_the_first_person_may_be_added_before_the_first_files(run, tmp_path):
    code, out, err = run(
        *("user", "add", "N1", "--role", "nurse", "--password-stdin"),
        *("--store", "sqlite:///first.sqlite"),
        typed=PASSWORD,
    )
    assert (code, out) == (0, "")
    assert "N1 may sign in as nurse for all sites." in err
    assert "A new store was made: sqlite:///first.sqlite" in err
    assert "no line of the nurse" not in err
    _, out, _ = run("user", "list", "--store", "sqlite:///first.sqlite")
    assert [row["code"] for row in rows(out)] == ["N1"]


def test_people_are_added_listed_and_ended(run):
    code, out, err = add(run, "N1", "manager")
    assert (code, out) == (0, "")
    assert "N1 may sign in as manager for all sites." in err
    code, _, err = add(run, "R1", "reader", "--site", "north", "--site", "south", "--families")
    assert "for the sites north, south" in err
    assert "no line of north, south is stored yet" in err
    code, _, err = run("user", "end", "N1")
    assert (code, "N1 may not sign in any more" in err) == (0, True)
    _, out, _ = run("user", "list")
    people = rows(out)
    assert list(people[0]) == [
        "code",
        "role",
        "sites",
        "families",
        "caseload",
        "active",
        "added_on",
        "ended_on",
        "two_steps",
    ]
    assert [list(p.values())[:6] for p in people] == [
        ["N1", "manager", "all", "no", "", "no"],
        ["R1", "reader", "north;south", "yes", "", "yes"],
    ]
    assert people[0]["ended_on"]
    assert people[1]["ended_on"] == ""


def test_a_nurse_is_added_with_the_caseload_that_is_named(run):
    code, _, err = add(run, "ana", "nurse", "--caseload", "N7")
    assert (code, "no line of the nurse N7 is stored yet" in err) == (0, True)
    assert add(run, "N8", "nurse")[0] == 0
    _, out, _ = run("user", "list")
    assert [(p["code"], p["caseload"]) for p in rows(out)] == [("N8", "N8"), ("ana", "N7")]


def test_the_record_is_printed_newest_first(run):
    add(run, "N1", "manager")
    run("user", "password", "N1", "--password-stdin", typed=PASSWORD + "!\r\n")
    _, out, _ = run("user", "record")
    found = rows(out)
    assert list(found[0]) == ["at", "who", "what", "family_id", "about"]
    assert [(r["who"], r["what"], r["about"]) for r in found] == [
        ("command line", "set_password", "N1"),
        ("command line", "added_user", "N1: manager"),
    ]
    assert found[0]["at"].endswith("Z")
    _, out, _ = run("user", "record", "--format", "table")
    assert "set_password" in out


@pytest.mark.parametrize(
    ("words", "typed", "code", "says"),
    [
        (("add", "N1", "--role", "manager", "--password-stdin"), "short", 3, "at least 15"),
        (("add", "N1", "--role", "manager", "--password-stdin"), "", 3, "at least 15"),
        (("add", "N 1", "--role", "manager", "--password-stdin"), PASSWORD, 3, "letters, digits"),
        (("add", "N1", "--role", "surgeon", "--password-stdin"), PASSWORD, 2, "surgeon"),
        (("add", "N1", "--password-stdin"), PASSWORD, 2, "--role"),
        (
            ("add", "E1", "--role", "educator", "--caseload", "N1", "--password-stdin"),
            PASSWORD,
            3,
            "Only a nurse has a caseload",
        ),
        (("end", "N9"), "", 3, "There is no active user N9"),
        (("password", "N9", "--password-stdin"), PASSWORD, 3, "There is no active user N9"),
        (("list", "--store", "sqlite:///nowhere.sqlite"), "", 3, "no store at nowhere.sqlite"),
    ],
)
def test_a_fault_is_one_sentence_and_a_code(run, words, typed, code, says):
    got, out, err = run("user", *words, typed=typed)
    assert got == code
    assert says in " ".join((out + err).split())


def test_the_password_is_asked_for_twice_and_not_shown(run, monkeypatch):
    asked = {}

    def prompt(text, **how):
        asked.update(how, text=text)
        return PASSWORD

    monkeypatch.setattr(typer, "prompt", prompt)
    code, _, _ = run("user", "add", "N1", "--role", "manager")
    assert code == 0
    assert asked["hide_input"] is True
    assert asked["confirmation_prompt"]
    with Store.open("sqlite:///linedays.sqlite") as store:
        assert [u.code for u in store.people.all()] == ["N1"]


def test_a_store_without_people_is_not_served(run):
    code, _, err = run("serve", "--port", str(free_port()))
    assert code == 3
    assert "linedays user add N1 --role manager" in err


def test_open_sign_ins_are_listed_and_ended(run):
    add(run, "N1", "manager")
    with Store.open("sqlite:///linedays.sqlite") as store:
        store.people.sign_in("N1", PASSWORD, "10.0.0.7", _now())
    _, out, _ = run("user", "sign-ins")
    (found,) = rows(out)
    assert list(found) == ["code", "began_at", "last_used_at", "address", "server", "number"]
    assert (found["code"], found["address"]) == ("N1", "10.0.0.7")
    assert rows(run("user", "sign-ins", "N2")[1]) == []
    code, _, err = run("user", "sign-out", "N1", "--number", "none")
    assert (code, "N1 has no open sign-in none" in err) == (3, True)
    code, _, err = run("user", "sign-out", "N1", "--number", found["number"])
    assert (code, f"the sign-in {found['number']} of N1 ended" in err) == (0, True)
    assert rows(run("user", "sign-ins")[1]) == []
    assert run("user", "sign-out", "N1")[0] == 0

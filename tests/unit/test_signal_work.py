"""Is a signal open until somebody closes it with a reason, and what was open on a past day?"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pandas as pd
import pytest
import sqlalchemy as sa

from analysis.decisions.signal_work import GROWN, signals, signals_line
from analysis.ingest import ingest
from analysis.measures.surveillance import SignalCode, surveillance
from analysis.policy import shipped_policy
from analysis.store import Store
from analysis.store.signal_acts import SIGNAL_ACTS
from analysis.verdicts import signals_table
from analysis.vocabulary import Role, SignalState
from dashboard.config import DashboardConfig
from dashboard.rates.queries import RatesQueries, page
from dashboard.rates.queries.work import SignalForm, asked_for, checked
from dashboard.security.roles import Reader
from dashboard.session.forms import FormError
from dashboard.session.service import Service
from tests.surveyed import ONE_DOUBLED, two_years

NOON = datetime(2031, 3, 1, 12, tzinfo=UTC)
ON = ("skin", "south")


@pytest.fixture(name="found", scope="module")
def _found():
    return surveillance(two_years(ONE_DOUBLED))


@pytest.fixture(name="store")
def _store(tmp_path):
    with Store.open(f"sqlite:///{tmp_path / 'store.sqlite'}") as store:
        yield store


def act(store, state, days=0, *, owner=None, note=None, strength=9.0):
    at = NOON + timedelta(days=days)
    return store.act_on_signal(
        *ON, state, owner=owner, note=note, strength=strength, made_by="P1", made_at=at
    )


def test_a_signal_nobody_touched_is_new(found):
    seen = signals(found, SIGNAL_ACTS.empty())
    assert seen.states[ON] is SignalState.NEW
    assert signals_line(seen.worked).startswith("Open signals: skin events at south (")
    assert "; new)" in signals_line(seen.worked)


def test_owner_state_and_notes_follow_each_other(found, store):
    act(store, SignalState.BEING_LOOKED_INTO, owner="P1", note="asked the ward")
    act(store, SignalState.EXPLAINED, 1, owner="P1", note="new antiseptic")
    worked = signals(found, store.signal_acts()).worked[0]
    assert (worked.state, worked.owner, worked.is_open) == (SignalState.EXPLAINED, "P1", True)
    assert [note.note for note in worked.notes] == ["asked the ward", "new antiseptic"]
    assert [note.made_at.day for note in worked.notes] == [1, 2]


def test_a_closed_signal_leaves_headline_and_line_and_stays_in_the_table(found, store):
    for rate in found.rates:
        if rate.rise is not None:
            store.act_on_signal(
                rate.event,
                rate.site,
                SignalState.CLOSED,
                owner=None,
                note="over",
                strength=rate.strength,
                made_by="P1",
                made_at=NOON,
            )
    seen = signals(found, store.signal_acts())
    assert seen.headline.sentence.startswith("No open signal: ")
    assert signals_line(seen.worked) == ""
    table = signals_table(seen.headline, seen.states).set_index(["event", "site"])
    assert table.loc[ON, "state"] == "closed"
    assert table.loc[ON, "since"] is not None


def test_a_closed_signal_comes_back_when_it_grows(found, store):
    strength = found.of(*ON).strength
    act(store, SignalState.CLOSED, note="chance", strength=strength - GROWN - 0.01)
    worked = signals(found, store.signal_acts()).worked[0]
    assert (worked.state, worked.came_back, worked.is_open) == (SignalState.NEW, True, True)
    act(store, SignalState.CLOSED, 1, note="chance", strength=strength - GROWN + 0.01)
    assert not signals(found, store.signal_acts()).worked[0].came_back


def test_a_signal_that_no_longer_shows_stays_until_it_is_closed(found, store):
    act(store, SignalState.BEING_LOOKED_INTO, owner="P1")
    rates = tuple(
        replace(rate, rise=None, code=SignalCode.STEADY) if rate.site == "south" else rate
        for rate in found.rates
    )
    calm = replace(found, rates=rates)
    worked = signals(calm, store.signal_acts()).worked
    assert [(w.verdict.rate.site, w.state) for w in worked if w.owner] == [
        ("south", SignalState.BEING_LOOKED_INTO)
    ]


LINE_OF_SOUTH = """\
line_id,child_id,family_id,site,line_type,placed_on,home_from,dressing_type,dressing_on
L1,C1,F1,south,picc,2031-02-01,2031-02-01,transparent,2031-02-01
"""


def test_a_signal_that_was_shown_stays_though_nobody_touched_it(
    found, store, tmp_path, monkeypatch
):
    """A year later its months may be part of the baseline: then the statistic no longer shows it."""
    (tmp_path / "lines.csv").write_text(LINE_OF_SOUTH, encoding="utf-8")
    ingest(store, [tmp_path / "lines.csv"], shipped_policy(), received_at=NOON)
    config = DashboardConfig(store_url=f"sqlite:///{tmp_path / 'store.sqlite'}", clock=lambda: NOON)
    calm = tuple(replace(rate, rise=None, code=SignalCode.STEADY) for rate in found.rates)

    def opened(role, seen):
        monkeypatch.setattr(page, "surveillance", lambda _: seen)
        service = Service.open(config)
        queries = RatesQueries(service.session_of(Reader("P1", role)))
        queries.keep_signals()
        states = queries.signals().states
        service.close()
        return states

    assert opened(Role.READER, replace(found, rates=calm)) == {}
    assert opened(Role.READER, found) == {ON: SignalState.NEW}
    assert store.signal_acts().empty  # this role may not act on signals
    assert opened(Role.PREVENTION, found) == {ON: SignalState.NEW}
    assert opened(Role.PREVENTION, replace(found, rates=calm)) == {ON: SignalState.NEW}
    acts = store.signal_acts()
    assert acts[["event", "site", "state", "made_by"]].to_numpy().tolist() == [[*ON, "new", "P1"]]


def test_people_of_some_sites_do_not_see_the_work_on_the_whole_programme(found, store):
    store.act_on_signal(
        "skin", "all", SignalState.EXPLAINED, owner="P1", note="of all", strength=9.0,
        made_by="P1", made_at=NOON,
    )  # fmt: skip
    of_all = ("skin", "all")
    assert signals(found, store.signal_acts()).states[of_all] is SignalState.EXPLAINED
    assert of_all not in signals(found, store.signal_acts(), some_sites=True).states


def test_a_past_day_shows_what_was_open_then(found, store):
    act(store, SignalState.BEING_LOOKED_INTO, owner="P1")
    act(store, SignalState.CLOSED, 5, note="over", strength=found.of(*ON).strength)
    then = store.signal_acts(NOON + timedelta(days=2))
    assert signals(found, then).states[ON] is SignalState.BEING_LOOKED_INTO
    assert signals(found, store.signal_acts(NOON - timedelta(days=1))).states[ON] is SignalState.NEW
    assert signals(found, store.signal_acts()).states[ON] is SignalState.CLOSED


def test_work_on_signals_is_only_ever_added(store, tmp_path):
    act(store, SignalState.EXPLAINED, note="new antiseptic")
    engine = sa.create_engine(f"sqlite:///{tmp_path / 'store.sqlite'}")
    for change in ("UPDATE signal_acts SET note = 'x'", "DELETE FROM signal_acts"):
        with engine.begin() as connection, pytest.raises(sa.exc.IntegrityError, match="only ever"):
            connection.exec_driver_sql(change)
    engine.dispose()
    assert store.signal_acts()["note"].tolist() == ["new antiseptic"]


def test_explaining_and_closing_need_a_reason(found):
    form = SignalForm("skin", "south", "closed", "P1", "  ")
    with pytest.raises(FormError, match="Write why the signal is closed."):
        checked(form)
    assert checked(replace(form, note=" new\nantiseptic ")) == (
        SignalState.CLOSED,
        "P1",
        "new antiseptic",
    )
    assert checked(replace(form, state="being_looked_into", owner="")) == (
        SignalState.BEING_LOOKED_INTO,
        None,
        None,
    )


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"state": "steady"}, "Choose a state"),
        ({"state": ["closed"]}, "Choose a state"),
        ({"owner": "x" * 41}, "Shorten the staff code"),
        ({"note": "x" * 501}, "Shorten the note"),
    ],
)
def test_a_step_that_does_not_fit_is_refused(changed, said):
    form = replace(SignalForm("skin", "south", "closed", "P1", "over"), **changed)
    with pytest.raises(FormError, match=said):
        checked(form)


def test_a_signal_that_is_not_there_is_refused(found):
    worked = signals(found, SIGNAL_ACTS.empty()).worked
    with pytest.raises(FormError, match="not known"):
        asked_for(SignalForm("skin", "moon", "closed", None, "x"), worked)
    assert asked_for(SignalForm.of({"event": "skin", "site": "south"}), worked) is worked[0]


def test_without_work_there_is_a_typed_empty_table(store):
    empty = store.signal_acts()
    assert empty.empty
    assert list(empty.columns) == SIGNAL_ACTS.names
    assert isinstance(empty, pd.DataFrame)

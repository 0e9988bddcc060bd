"""A rare order or kind of line that is hidden in one table of an extract does not follow from another."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from analysis.exports import Key, deidentify, read_off
from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.snapshot import take
from analysis.store import Store

KEY = Key(b"k" * 32)
FIRST, AS_OF = date(2031, 1, 6), date(2031, 4, 1)
SITES = ("North", "South")
RARE, COMMON, USUAL = 3, 5, 7
"""Days of an order: of 2 children a site, of 7, and of all others by the policy."""


def programme(ports: int) -> tuple[str, str]:
    """Two sites of 20 children each: 2 with a rare order, 7 with another, some with a port."""
    lines = [
        "line_id,child_id,family_id,site,line_type,placed_on,home_from,dressing_type,dressing_on,change_every_days"
    ]
    log = ["line_id,done_at,kind"]
    for site in SITES:
        for n in range(20):
            code, order = f"{site[0]}{n}", RARE if n < 2 else COMMON if n < 9 else ""
            kind = "implanted_port" if n >= 20 - ports else "tunneled_cvc"
            lines.append(
                f"L{code},C{code},F{code},{site},{kind},2031-01-02,{FIRST},transparent,{FIRST},{order}"
            )
            if kind == "implanted_port":
                log.append(f"L{code},{FIRST}T08:00,port_accessed")
            every = order or USUAL
            log += [
                f"L{code},{FIRST + timedelta(days=every * k)}T09:00,dressing_change"
                for k in range(1, 80 // every)
            ]
    return "\n".join(lines) + "\n", "\n".join(log) + "\n"


@pytest.fixture(name="seen", scope="module")
def _seen(tmp_path_factory):
    return taken(tmp_path_factory.mktemp("read-off"), 0)


def taken(folder, ports):
    """The programme with so many ports a site, as known after its quarter."""
    texts = programme(ports)
    paths = [folder / "lines.csv", folder / "home_log.csv"]
    for path, text in zip(paths, texts, strict=True):
        path.write_text(text)
    with Store.open(f"sqlite:///{folder / 'store.sqlite'}") as store:
        now = datetime(2031, 4, 2, tzinfo=UTC)
        summary = ingest(store, paths, shipped_policy(), received_at=now)
        assert summary.refused == 0
        return take(store, shipped_policy(), AS_OF, date(2031, 4, 28))


def test_a_hidden_order_is_not_in_the_intervals(seen):
    made = deidentify(seen, KEY)
    lines, spans = made.tables["lines"].frame, made.tables["intervals"].frame
    assert RARE not in set(lines["change_every_days"].dropna().tolist())
    assert RARE not in set(spans["interval_days"].dropna().tolist())
    hidden = spans["interval_days"].isna()
    assert (
        spans.loc[hidden, ["due_on", "allowed_until", "late_days", "in_date_days"]].isna().all(None)
    )
    assert spans["on_time"].notna().any()
    assert spans.loc[hidden, "child_id"].nunique() > 10
    found = read_off(made, seen, KEY)
    assert found["order"] == (4, 0)


def test_the_attack_finds_orders_where_they_are_left_in(seen, monkeypatch):
    monkeypatch.setattr("analysis.exports.deidentified._ORDER", "no column")
    found = read_off(deidentify(seen, KEY), seen, KEY)
    assert found["order"] == (4, 4)


def test_a_rare_kind_of_line_is_hidden_with_what_shows_it(tmp_path):
    seen = taken(tmp_path, 3)
    made = deidentify(seen, KEY)
    hidden, read = read_off(made, seen, KEY)["kind of line"]
    assert "implanted_port" not in set(made.tables["lines"].frame["line_type"].astype("string"))
    assert hidden > 10
    assert read == 0

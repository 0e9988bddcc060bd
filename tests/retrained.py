"""A programme of two sites whose families check themselves, small enough to count by hand.

Eight families change each Tuesday for twelve weeks and say which steps were left out. K1 (F1) left
out the mask in ten of twelve, K2 (F2) in nine, K3 (F3) let it dry too briefly in ten; all three
are of North. K6 (F6, South) left out the mask in eight. Nobody else missed anything. K4 has never
been signed off, and K5's sign-off is too old.
"""

from __future__ import annotations

import itertools
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.store import Store
from analysis.vocabulary import Role

NOW = datetime(2031, 3, 4, 9, tzinfo=UTC)
PASSWORD = "kettle orbit maple seven"  # invented, for tests
WEEKS = 12
FIRST = date(2030, 12, 10)
SITES = {1: "North", 2: "North", 3: "North", 4: "North", 5: "North", 6: "South", 7: "South"}
LANGUAGES = {1: "Finnish", 2: "Finnish", 3: "Finnish"}
MISSED = {1: ("mask", 10), 2: ("mask", 9), 3: ("dry_time", 10), 6: ("mask", 8)}
SIGNED = """\
caregiver_id,skill,signed_on,outcome,kind
K1,dressing_change,2030-11-20,independent,first
K1,dressing_change,2031-01-15,independent,refresher
K2,dressing_change,2030-11-20,independent,first
K3,dressing_change,2030-11-20,independent,first
K5,dressing_change,2029-11-20,independent,first
K6,dressing_change,2030-11-20,independent,first
K7,dressing_change,2030-11-20,independent,first
K8,dressing_change,2030-11-20,independent,first
"""
PEOPLE = (
    ("E1", Role.EDUCATOR, None),
    ("E.south", Role.EDUCATOR, ["South"]),
    ("M1", Role.MANAGER, None),
    ("P1", Role.PREVENTION, None),
    ("R1", Role.READER, None),
)


def fill(folder: Path) -> Path:
    """Write the files, take them in, add the people, and return the store's file."""
    texts = {
        "lines": _lines(),
        "caregivers": "caregiver_id,family_id,relation\n"
        + "".join(f"K{n},F{n},parent\n" for n in range(1, 9)),
        "sign_offs": SIGNED,
        "home_log": _log(),
    }
    file = folder / "retrained.sqlite"
    with Store.open(f"sqlite:///{file}") as store:
        for name, text in texts.items():
            path = folder / f"{name}.csv"
            path.write_text(text, encoding="utf-8")
            summary = ingest(store, [path], shipped_policy(), received_at=NOW - timedelta(days=1))
            assert (summary.refused, summary.faults) == (0, ()), summary
        for code, role, sites in PEOPLE:
            store.people.add(code, PASSWORD, role, NOW, by="command line", sites=sites)
    return file


def _lines() -> str:
    head = "line_id,child_id,family_id,site,nurse,line_type,placed_on,home_from,dressing_type,dressing_on,language,contact\n"
    rows = (
        f"L{n},C{n},F{n},{SITES.get(n, 'South')},N1,tunneled_cvc,2030-12-01,2030-12-03,"
        f"transparent,2030-12-03,{LANGUAGES.get(n, 'Polish')},ward phone {n}\n"
        for n in range(1, 9)
    )
    return head + "".join(rows)


def _log() -> str:
    rows = ["entry_id,line_id,caregiver_id,done_at,kind,change_reason,findings,steps_missed\n"]
    for n, week in itertools.product(range(1, 9), range(WEEKS)):
        step, times = MISSED.get(n, ("", 0))
        said = step if week < times else "none"
        day = FIRST + timedelta(weeks=week)
        rows.append(f"e{n}-{week},L{n},K{n},{day},dressing_change,scheduled,none,{said}\n")
    return "".join(rows)

"""Six families as a clinic would send them, small enough to work out by hand."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.store import Store

NOW = datetime(2031, 3, 4, 9, tzinfo=UTC)
"""The morning on which the dashboard is opened."""
RECEIVED = datetime(2031, 3, 3, 20, tzinfo=UTC)

LINES = """\
line_id,child_id,family_id,site,nurse,line_type,placed_on,home_from,dressing_type,dressing_on,therapy,language,contact
L1,C1,F1,North,N1,tunneled_cvc,2030-12-01,2030-12-10,transparent,2030-12-09,parenteral_nutrition,Finnish,ward phone 11
L2,C2,F2,North,N1,picc,2030-12-01,2030-12-10,transparent,2030-12-09,antimicrobial,,
L3,C3,F3,South,N2,tunneled_cvc,2030-12-01,2030-12-10,transparent,2030-12-09,chemotherapy,,
L4,C4,F4,South,N2,tunneled_cvc,2030-12-01,2030-12-10,transparent,2030-12-09,,,
L5,C5,F5,South,N2,picc,2030-12-01,2030-12-10,transparent,2030-12-09,,,
L6,C6,F6,North,N1,picc,2030-12-01,2030-12-10,transparent,2030-12-09,,,
"""
STAYS = """\
child_id,from_on,to_on,place,dressing_on
C1,2031-01-20,2031-01-24,hospital,2031-01-22
"""
# F1: fever yesterday. F2: changed 20 Feb, so 5 days overdue today, and still logging.
# F3: the same since 18 Feb, 7 days overdue, and silent for 14 days. F4: nothing to call about.
# F5: damp on 2 March and not changed since. F6: one kit left.
HOME_LOG = """\
entry_id,line_id,done_at,kind,change_reason,dressing_type,dressing_condition,findings,kits_left,note
e1,L1,2031-02-27,dressing_change,scheduled,transparent,intact,none,,
e2,L1,2031-03-03T07:30,skin_check,,,intact,redness;fever,,felt hot in the night
e3,L2,2031-02-20,dressing_change,scheduled,transparent,intact,none,,
e4,L2,2031-03-02,skin_check,,,intact,none,,
e5,L3,2031-02-18,dressing_change,scheduled,transparent,intact,none,,
e6,L4,2031-03-01,dressing_change,scheduled,transparent,intact,none,,
e7,L5,2031-03-01,dressing_change,scheduled,transparent,intact,none,,
e8,L5,2031-03-02,skin_check,,,damp,none,,
e9,L6,2031-03-01,dressing_change,scheduled,transparent,intact,none,,
e10,L6,2031-03-02,supply_count,,,,,1,
"""

# One wrong day, one unknown kind, and a connector changed again within a day.
WRONG = """\
entry_id,line_id,done_at,kind,note
w1,L1,2031-02-30,skin_check,
w2,L2,2031-03-02,bath,slept well
w3,L4,2031-02-25,connector_change,
w4,L4,2031-02-26,connector_change,
"""


def fill(folder: Path) -> Path:
    """Write the files, take them in, and return the store's file."""
    texts = {"lines": LINES, "stays": STAYS, "home_log": HOME_LOG}
    file = folder / "small.sqlite"
    with Store.open(f"sqlite:///{file}") as store:
        for name, text in texts.items():
            take_in(store, folder / f"{name}.csv", text)
    return file


def take_in(store: Store, path: Path, text: str) -> None:
    """Write one file and take it in; every row has to be good."""
    path.write_text(text, encoding="utf-8")
    summary = ingest(store, [path], shipped_policy(), received_at=RECEIVED)
    assert (summary.refused, summary.faults) == (0, ())


def take_in_wrong_rows(store: Store, folder: Path) -> None:
    """Take in a file with two wrong rows and one odd one."""
    path = folder / "home_log-march.csv"
    path.write_text(WRONG, encoding="utf-8")
    summary = ingest(store, [path], shipped_policy(), received_at=RECEIVED)
    assert (summary.refused, summary.doubts) == (2, 1)

"""Programmes with enough months and lines for rates and curves, worked out by a rule.

Twelve lines, six at North and six at South, are at home from 1 January 2030 and logged every
week. In each month North has one skin event and South three; in January 2031 every line has
two. Looked at on 4 March 2031: 427 days, 5124 home line-days.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.store import Store

HEAD = "line_id,child_id,family_id,site,line_type,home_from,placed_on,dressing_type,dressing_on"
FIRST = date(2030, 1, 1)


def findings() -> dict[date, list[str]]:
    """Lines with redness by day: the rule of the module's first sentence."""
    found: dict[date, list[str]] = {}
    for month in (*range(12), 13):
        year, number = 2030 + month // 12, month % 12 + 1
        found[date(year, number, 10)] = [f"N{month % 6}"]
        for at, day in enumerate((5, 15, 25)):
            found[date(year, number, day)] = [f"S{(month + at) % 6}"]
    for day in (3, 20):
        found[date(2031, 1, day)] = [f"{site}{at}" for site in "NS" for at in range(6)]
    return found


def home_log(week: date) -> list[str]:
    """One dressing change a line, on the first day of the week, and the findings of its days."""
    lines = [f"{site}{at}" for site in "NS" for at in range(6)]
    rows = [f"{line},F-{line},{week},dressing_change,none" for line in lines]
    seen = findings()
    for day in (week + timedelta(days=d) for d in range(7)):
        rows += [f"{line},F-{line},{day},skin_check,redness" for line in seen.get(day, [])]
    return rows


def take_in(store: Store, folder: Path, name: str, text: str, received: datetime) -> None:
    file = folder / f"{name}.csv"
    file.write_text(text, encoding="utf-8")
    table = "lines" if name.startswith("lines") else "home_log"
    told = ingest(store, [file], shipped_policy(), table=table, received_at=received)
    assert (told.refused, told.faults) == (0, ())


def two_sites(folder: Path) -> Path:
    """Write the files of two sites, take them in, and return the store's file."""
    rows = [HEAD]
    for site, name in (("N", "North"), ("S", "South")):
        rows += [
            f"{site}{at},C-{site}{at},F-{site}{at},{name},tunneled_cvc,{FIRST},{FIRST},"
            f"transparent,{FIRST}"
            for at in range(6)
        ]
    file = folder / "store.sqlite"
    log_head = "line_id,family_id,done_at,kind,findings\n"
    weeks = [FIRST + timedelta(days=7 * at) for at in range(61)]
    with Store.open(f"sqlite:///{file}") as store:
        day = datetime(2030, 1, 1, 20, tzinfo=UTC)
        take_in(store, folder, "lines", "\n".join(rows), day)
        # The older weeks in one file; the last ones each at its end, as families send them.
        old, new = weeks[:46], weeks[46:]
        log = [row for week in old for row in home_log(week)]
        take_in(store, folder, "log-old", log_head + "\n".join(log), day + timedelta(days=325))
        for week in new:
            ends = datetime(week.year, week.month, week.day, 20, tzinfo=UTC) + timedelta(days=6)
            text = log_head + "\n".join(home_log(week))
            take_in(store, folder, f"log-{week}", text, ends)
    return file


def two_types(folder: Path) -> Path:
    """Twelve PICCs, six pulled out on day 10; twelve tunneled lines, two planned ends on day 30."""
    rows = [HEAD + ",removed_on,removal_reason"]
    for kind, ends in (
        ("picc", ["2031-01-11,dislodgement"] * 6),
        ("tunneled_cvc", ["2031-01-31,therapy_complete"] * 2),
    ):
        rows += [
            f"{kind}{at},C{kind}{at},F{kind}{at},North,{kind},2031-01-01,2031-01-01,transparent,"
            f"2031-01-01,{ends[at] if at < len(ends) else ','}"
            for at in range(12)
        ]
    file = folder / "store.sqlite"
    with Store.open(f"sqlite:///{file}") as store:
        received = datetime(2031, 3, 3, 20, tzinfo=UTC)
        take_in(store, folder, "lines", "\n".join(rows), received)
    return file


def many_to_call(folder: Path) -> Path:
    """Twenty-two families: five with a fever, fifteen overdue, of whom ten silent, two in date.

    Their nurses are N1, N2 and N10 in turn, the first eleven at North, the others at South.
    """
    head = "line_id,child_id,family_id,site,nurse,line_type,home_from,placed_on,dressing_type"
    rows = [f"{head},contact,language"]
    log = ["line_id,family_id,done_at,kind,findings"]
    for at in range(1, 23):
        family, nurse = f"F{at:02}", ("N1", "N2", "N10")[at % 3]
        site = "North" if at <= 11 else "South"
        line = f"L{at},C{at},{family},{site},{nurse},picc,2030-12-10,2030-12-01,transparent"
        rows.append(f"{line},555-01{at:02} weekdays after 17:00,en")
        changed = date(2031, 3, 1) if at <= 5 or at > 20 else date(2031, 2, 8 + at // 2)
        log.append(f"L{at},{family},{changed},dressing_change,none")
        log.append(f"L{at},{family},{changed},connector_change,none")
        if at <= 5:
            log.append(f"L{at},{family},2031-03-0{1 + at % 3},skin_check,fever")
        if at > 15:
            log.append(f"L{at},{family},2031-03-02,skin_check,none")
    file = folder / "store.sqlite"
    with Store.open(f"sqlite:///{file}") as store:
        received = datetime(2031, 3, 3, 20, tzinfo=UTC)
        take_in(store, folder, "lines", "\n".join(rows), received)
        take_in(store, folder, "log", "\n".join(log), received)
    return file

"""What holds when a machine fails: kills, full disks, flipped bytes, wrong clocks.

    python -m tests.benchmarks.faults [KILLS OF EACH ACT] [SEED]

Prints a table: the fault, how often it was tried, what a person sees, what held. "whole" means that
the store opens, that all rows are as they were stored (`linedays verify`), and that what was
acknowledged is there; anything else is printed as LOST.
"""

from __future__ import annotations

import multiprocessing
import os
import random
import resource
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from multiprocessing.connection import Connection
from pathlib import Path

from analysis.errors import UserError
from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.store import Store
from analysis.store.database import connect
from analysis.vocabulary import Access, CallOutcome
from tests.postgresql import server_programs

AT = datetime(2026, 3, 4, 9, tzinfo=UTC)
ROWS = 2_000
CALLS = 20
MOST_BYTES = 100_000
"""Where a file cannot grow any more: the log that is ingested needs more."""
OLDER = "0016"
"""A revision from which migrations bring a store to this version."""


def url(path: Path) -> str:
    """Address of a store's file."""
    return f"sqlite:///{path}"


# What is killed; each sends what is acknowledged


def ingests(folder: Path, done: Connection) -> None:
    """Ingest a log."""
    with Store.open(url(folder / "store.sqlite")) as store:
        ingest(store, [folder / "home_log.csv"], shipped_policy())
    done.send(ROWS)


def migrates(folder: Path, done: Connection) -> None:
    """Open a store of an older version."""
    Store.open(url(folder / "older.sqlite")).close()
    done.send(1)


def calls(folder: Path, done: Connection) -> None:
    """Record calls, each with a note in the access log."""
    with Store.open(url(folder / "store.sqlite")) as store:
        for number in range(CALLS):
            at = AT + timedelta(minutes=number)
            store.record_call("F1", "N1", CallOutcome.REACHED, None, date(2026, 3, 9), at)
            store.people.note("N1", Access.RECORDED_CALL, at, family_id="F1")
            done.send(number + 1)


def backs_up(folder: Path, done: Connection) -> None:
    """Write a backup."""
    with Store.open(url(folder / "full.sqlite")) as store:
        store.backup(folder / "made.zip")
    done.send(1)


def restores(folder: Path, done: Connection) -> None:
    """Make a store from a backup."""
    Store.restored(url(folder / "restored.sqlite"), folder / "all.zip").close()
    done.send(1)


# What has to hold afterwards: a sentence on what is found


def whole(store: Store) -> bool:
    """Whether all rows are as they were stored."""
    return all(one.difference is None for one in store.verify())


def after_ingest(folder: Path, acknowledged: int) -> str:
    """All of the file or nothing, and again gives all."""
    with Store.open(url(folder / "store.sqlite")) as store:
        n_rows = len(store.records().home_log)
        held = whole(store) and n_rows in {0, ROWS} and n_rows >= acknowledged
        ingest(store, [folder / "home_log.csv"], shipped_policy())
        held = held and len(store.records().home_log) == ROWS
    return "whole" if held else "LOST"


def after_migration(folder: Path, _: int) -> str:
    """The next opening brings it to this version."""
    with Store.open(url(folder / "older.sqlite")) as store:
        return "whole" if whole(store) and len(store.ingests()) == 1 else "LOST"


def after_calls(folder: Path, acknowledged: int) -> str:
    """Every acknowledged call and note is there."""
    with Store.open(url(folder / "store.sqlite")) as store:
        kept, noted = len(store.all_calls()), len(store.people.accesses())
        held = whole(store) and min(kept, noted) >= acknowledged and kept <= acknowledged + 1
    return "whole" if held else "LOST"


def after_backup(folder: Path, acknowledged: int) -> str:
    """No backup or one that restores; the next one leaves nothing half written."""
    made = folder / "made.zip"
    held = made.exists() >= bool(acknowledged)
    if made.exists():
        with Store.restored(url(folder / "of.sqlite"), made) as store:
            held = held and whole(store) and len(store.records().home_log) == ROWS
    with Store.open(url(folder / "full.sqlite")) as store:
        store.backup(folder / "next.zip")
    return "whole" if held and not list(folder.glob(".linedays-*")) else "LOST"


def after_restore(folder: Path, acknowledged: int) -> str:
    """No tables or all rows; without tables it can be restored again."""
    path = folder / "restored.sqlite"
    database = connect(url(path), create=True)
    database.let_go()
    try:
        store = Store.open(url(path), create=False)
    except UserError:
        store = Store.restored(url(path), folder / "all.zip")
        if acknowledged:
            return "LOST"
    with store:
        return "whole" if whole(store) and len(store.records().home_log) == ROWS else "LOST"


Act = Callable[[Path, Connection], None]
ACTS: dict[str, tuple[Act, Callable[[Path, int], str]]] = {
    "ingest": (ingests, after_ingest),
    "migration": (migrates, after_migration),
    "calls": (calls, after_calls),
    "backup": (backs_up, after_backup),
    "restore": (restores, after_restore),
}


def started(act: Act, folder: Path) -> tuple[multiprocessing.process.BaseProcess, Connection]:
    """A process that acts, and where it sends what is acknowledged."""
    here, there = FORKED.Pipe(duplex=False)
    process = FORKED.Process(target=act, args=(folder, there))
    process.start()
    there.close()
    return process, here


def acknowledged_by(here: Connection) -> int:
    """The last number that was sent."""
    last = 0
    try:
        while here.poll():
            last = here.recv()
    except EOFError:
        pass
    return last


def kill(ready: Path, place: Path, kills: int, draw: random.Random) -> None:
    """Kill each act at random moments of the time that it takes."""
    for name, (act, after) in ACTS.items():
        found: Counter[str] = Counter()
        whole_seconds, in_the_middle = 0.0, 0
        for number in range(kills + 1):
            folder = place / f"{name}-{number}"
            shutil.copytree(ready, folder)
            process, here = started(act, folder)
            begun = time.monotonic()
            if number:
                process.join(draw.uniform(0, whole_seconds))
                in_the_middle += process.is_alive()
                process.kill()
            process.join()
            whole_seconds = whole_seconds or time.monotonic() - begun
            found[after(folder, acknowledged_by(here))] += 1
            shutil.rmtree(folder)
        seen = f"nothing; the next start goes on ({in_the_middle} met it at work)"
        show(f"kill -9 during {name}", kills, seen, said(found))


# Other faults


def sentence_of(act: Callable[[], object]) -> str:
    """What a person sees: the sentence, or the kind of a fault of the program."""
    try:
        act()
    except UserError as fault:
        return str(fault).split(". ")[0]
    except Exception as fault:  # the table shows what no sentence is made of
        return f"FAULT {type(fault).__name__}"
    return "done"


def in_a_child(act: Callable[[], object]) -> str:
    """As `sentence_of`, in a process of its own."""
    here, there = multiprocessing.Pipe(duplex=False)
    child = os.fork()
    if not child:
        there.send(sentence_of(act))
        os._exit(0)
    os.waitpid(child, 0)
    return str(here.recv())


def full_disk(folder: Path) -> None:
    """No file may grow beyond a size: what a full disk answers to a write."""

    def act() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (MOST_BYTES, MOST_BYTES))
        with Store.open(url(folder / "store.sqlite")) as store:
            report = ingest(store, [folder / "home_log.csv"], shipped_policy())
            if report.faults:
                raise report.faults[0]

    seen = in_a_child(act)
    show("a disk that is full during an ingest", 1, seen, after_ingest(folder, 0))


def read_only(folder: Path) -> None:
    """Another account, which may read the file and not write it."""
    folder.chmod(0o755)
    (folder / "full.sqlite").chmod(0o444)

    def act() -> None:
        os.setuid(65_534)
        Store.open(url(folder / "full.sqlite")).close()

    show("a disk that can only be read", 1, in_a_child(act), "nothing was changed")


def two_at_once(folder: Path) -> None:
    """The same file by two processes."""
    both = [started(ingests, folder) for _ in range(2)]
    for process, _ in both:
        process.join()
    with Store.open(url(folder / "store.sqlite")) as store:
        n_rows = len(store.records().home_log)
        held = whole(store) and n_rows == ROWS
    show("two ingests of one file at once", 1, "both end well", "whole" if held else "LOST")


def newer(folder: Path) -> None:
    """A store that a later version wrote."""
    database = connect(url(folder / "full.sqlite"), create=False)
    with database.changing_tables() as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '9999'").close()
    database.let_go()
    seen = sentence_of(lambda: Store.open(url(folder / "full.sqlite")))
    show("a store newer than the program", 1, seen, "nothing was changed")


def wrong_days(folder: Path) -> None:
    """A clock that jumps, the hours of a clock change, a leap day."""
    log = folder / "days.csv"
    log.write_text(
        "entry_id,line_id,done_at,kind\n"
        "a,L1,2025-03-30T02:30,flush\nb,L1,2025-10-26T02:30,flush\n"
        "c,L1,2024-02-29T10:00,flush\nd,L1,2025-02-29T10:00,flush\ne,L1,2099-01-01T10:00,flush\n"
    )
    with Store.open(url(folder / "store.sqlite")) as store:
        table = ingest(store, [log], shipped_policy(), table="home_log").tables[0]
        seen = f"{table.stored} stored, {table.refused} refused with a sentence each"
        store.people.note("N1", Access.OPENED_FAMILY, AT + timedelta(days=900), family_id="F1")
        store.people.note("N1", Access.OPENED_FAMILY, AT, family_id="F1")
        held = whole(store) and len(store.people.accesses()) == 2
        ahead = sentence_of(
            lambda: ingest(
                store,
                [folder / "home_log.csv"],
                shipped_policy(),
                received_at=datetime.fromtimestamp(time.time(), UTC) + timedelta(days=2),
            )
        )
    show("a leap day, clock changes, a day in 2099", 5, seen, "whole" if held else "LOST")
    show("a clock that is 2 days ahead", 1, ahead, "nothing was changed")


def changed_bytes(ready: Path, place: Path, tries: int, draw: random.Random) -> None:
    """Bytes of the file flipped: it opens and is whole, or it is reported."""
    original = (ready / "full.sqlite").read_bytes()
    with Store.open(url(ready / "full.sqlite")) as store:
        before = store.records().home_log
    found: Counter[str] = Counter()
    for number in range(tries):
        path = place / f"flipped-{number}.sqlite"
        data = bytearray(original)
        for _ in range(4):
            data[draw.randrange(len(data))] ^= 1 << draw.randrange(8)
        path.write_bytes(data)

        def act(path: Path = path) -> None:
            with Store.open(url(path)) as store:
                same = store.records().home_log.equals(before)
                if not whole(store):
                    raise UserError("verify names the first difference")
                if not same:
                    raise UserError("LOST without a word")

        seen = sentence_of(act)
        found["reported as damaged" if "is damaged" in seen else seen.replace(str(path), "…")] += 1
    show("flipped bits in the file", tries, said(found), "nothing is read as something else")


def torn_log(ready: Path, place: Path, tries: int, draw: random.Random) -> None:
    """The write-ahead log cut at any length, as a loss of power leaves it."""
    found: Counter[str] = Counter()
    for number in range(tries):
        folder = place / f"torn-{number}"
        shutil.copytree(ready, folder)
        process, _ = started(calls, folder)
        process.join(0.6)
        process.kill()
        process.join()
        log = folder / "store.sqlite-wal"
        if log.exists():
            os.truncate(log, draw.randrange(log.stat().st_size + 1))
        (folder / "store.sqlite-shm").unlink(missing_ok=True)

        def act(folder: Path = folder) -> None:
            with Store.open(url(folder / "store.sqlite")) as store:
                if not whole(store):
                    raise UserError("LOST")

        seen = sentence_of(act)
        # Cut behind what was moved to the file already, both no longer fit together.
        seen = "reported as damaged" if "is damaged" in seen else seen
        found["whole up to the cut" if seen == "done" else seen] += 1
        shutil.rmtree(folder)
    show("a write-ahead log cut anywhere", tries, "calls up to the cut, or a sentence", said(found))


def said(found: Counter[str]) -> str:
    """How often each was found."""
    return "; ".join(f"{what} {n}" for what, n in found.most_common())


def show(fault: str, tries: int, seen: str, held: str) -> None:
    """A row of the table."""
    sys.stdout.write(f"| {fault} | {tries} | {seen} | {held} |\n")
    sys.stdout.flush()


def prepared(folder: Path) -> Path:
    """An empty store with its log to ingest, a full one, its backup, and one of an older version."""
    from analysis.store.migrate import upgrade

    folder.mkdir()
    (folder / "lines.csv").write_text(
        "line_id,child_id,family_id,site,line_type,placed_on,home_from,dressing_type\n"
        "L1,C1,F1,North,picc,2020-01-01,2020-01-02,transparent\n"
    )
    rows = (f"e{n},L1,2025-{1 + n % 12:02d}-{1 + n % 28:02d},flush,note {n}" for n in range(ROWS))
    (folder / "home_log.csv").write_text("\n".join(["entry_id,line_id,done_at,kind,note", *rows]))
    for name, files in (("store", ["lines"]), ("full", ["lines", "home_log"])):
        with Store.open(url(folder / f"{name}.sqlite")) as store:
            ingest(store, [folder / f"{file}.csv" for file in files], shipped_policy())
    with Store.open(url(folder / "full.sqlite")) as store:
        store.backup(folder / "all.zip")
    older = connect(url(folder / "older.sqlite"), create=True)
    upgrade(older, OLDER)
    with older.changing_tables() as connection:
        connection.exec_driver_sql(
            "INSERT INTO files (file, name, sha256, size, source, received_at, ingested_at)"
            " VALUES (1, 'a.csv', 'x', 1, 'a', 1, 1)"
        ).close()
        connection.exec_driver_sql(
            'INSERT INTO file_counts (file, table_name, "read", stored, same_as_before, refused,'
            " doubts, last_row) VALUES (1, 'home_log', 0, 0, 0, 0, 0, 0)"
        ).close()
    older.let_go()
    return folder


def main() -> None:
    """Print the table."""
    kills = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    draw = random.Random(int(sys.argv[2]) if len(sys.argv) > 2 else 7)
    sys.stdout.write("| fault | tries | what a person sees | what held |\n")
    sys.stdout.write("|---|---|---|---|\n")
    with tempfile.TemporaryDirectory() as temporary:
        place = Path(temporary)
        ready = prepared(place / "ready")
        kill(ready, place, kills, draw)
        for number, fault in enumerate((full_disk, read_only, two_at_once, newer, wrong_days)):
            folder = place / f"fault-{number}"
            shutil.copytree(ready, folder)
            place.chmod(0o755)
            fault(folder)
        changed_bytes(ready, place, kills, draw)
        torn_log(ready, place, max(kills // 4, 1), draw)
    if server_programs() is not None:
        # Here, since each process that is killed would first import the pages too.
        from tests.benchmarks import server_faults

        server_faults.rows(show, max(kills // 2, 1), draw)


FORKED = multiprocessing.get_context("forkserver")

if __name__ == "__main__":
    FORKED.set_forkserver_preload(["analysis.ingest", "analysis.store.restore", "tests.postgresql"])
    main()

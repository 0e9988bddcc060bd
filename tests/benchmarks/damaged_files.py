"""Can a damaged file stop the program, fill the memory or take long? Run by hand; prints figures.

`python tests/benchmarks/damaged_files.py [--inputs N] [--seed N] [--guided]`

Each of the 40 files of `tests.shaped`, and files of our own form, is changed at random (bits
flipped, pieces cut out, doubled, swapped with another file's, numbers set to their limits) and
read: unpacked, proposed a profile for, opened, and every row checked. Bytes of a container are
changed before and after it is packed. With `--guided` atheris (libFuzzer) chooses the changes by
the lines of the readers that they reach; it is no dependency of the tests.
"""

from __future__ import annotations

import argparse
import faulthandler
import io
import random
import resource
import shutil
import sys
import tempfile
import time
import traceback
import zipfile
from collections import Counter
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from analysis.errors import UserError
from analysis.ingest.checked import Source
from analysis.ingest.checking import check
from analysis.ingest.known_lines import NOTHING_REGISTERED, KnownLines
from analysis.ingest.profile import Profile
from analysis.ingest.proposal import propose
from analysis.ingest.raw import LogFile
from analysis.ingest.reasons import FileFault
from analysis.ingest.sources import no_other_fault, open_file
from analysis.ingest.unpack import plain_files
from analysis.policy import shipped_policy
from tests.ingest_files import LINES
from tests.shaped import SHAPES

POLICY = shipped_policy()
KNOWN = KnownLines.of(NOTHING_REGISTERED)
LIMITS = (b"\x00", b"\xff", b"\x7f", b"-1", b"0", b"4294967295", b"1e309", b"99999999", b'"', b"\n")
OUR_FORM = b"entry_id,line_id,done_at,kind,findings\n1,L1,2031-03-04,skin_check,fever\n"


@dataclass
class Tally:
    """What became of the inputs of one reader."""

    inputs: int = 0
    sentences: int = 0
    unforeseen: Counter[str] = field(default_factory=Counter)
    faults: Counter[str] = field(default_factory=Counter)
    longest: float = 0.0


def read(name: str, content: bytes, folder: Path) -> str | None:
    """Read a file as ingest does; what an error that no check foresaw was, None: there was none."""
    path = folder / "input"
    path.write_bytes(content)
    with tempfile.TemporaryDirectory(dir=folder) as unpacked:
        for log in _plain(LogFile(path, name), Path(unpacked)):
            profile = Profile()
            with suppress(UserError, OSError), no_other_fault(log):
                profile = propose(log, "ward", POLICY).profile
            with no_other_fault(log):
                parts = open_file(log, profile, None).parts
            for part in parts:
                source = Source(part, profile, POLICY, 0, 1 << 60)
                with no_other_fault(log):
                    batches = list(part.batches())
                for raw in batches:
                    if len(raw.row_numbers):
                        check(raw, source, KNOWN)
    return None


def _plain(log: LogFile, folder: Path) -> list[LogFile]:
    with no_other_fault(log):
        return plain_files(log, folder)


def tried(name: str, content: bytes, folder: Path, tally: Tally) -> None:
    """Read one input and count what became of it."""
    started = time.perf_counter()
    faulthandler.dump_traceback_later(60, exit=True)
    try:
        read(name, content, folder)
    except UserError as fault:
        tally.sentences += 1
        cause = fault.__cause__
        if getattr(fault, "code", None) is FileFault.DAMAGED and cause is not None:
            place = traceback.extract_tb(cause.__traceback__)[-1]
            where = f"{type(cause).__name__} in {Path(place.filename).name}:{place.lineno}"
            tally.unforeseen[where] += 1
    except OSError:
        tally.sentences += 1
    except BaseException as fault:
        if isinstance(fault, KeyboardInterrupt):
            raise
        place = traceback.extract_tb(fault.__traceback__)[-1]
        tally.faults[f"{type(fault).__name__} in {Path(place.filename).name}:{place.lineno}"] += 1
    finally:
        faulthandler.cancel_dump_traceback_later()
    tally.inputs += 1
    tally.longest = max(tally.longest, time.perf_counter() - started)


def changed(content: bytes, other: bytes, draw: random.Random) -> bytes:
    """The content after one to eight changes."""
    made = bytearray(content)
    for _ in range(draw.choice((1, 1, 2, 4, 8))):
        at = draw.randrange(len(made) + 1)
        size = draw.choice((1, 2, 8, 64, 512))
        match draw.randrange(7):
            case 0 if made:
                made[min(at, len(made) - 1)] ^= 1 << draw.randrange(8)
            case 1:
                del made[at : at + size]
            case 2:
                made[at:at] = made[at : at + size]
            case 3:
                made[at:at] = draw.choice(LIMITS)
            case 4 if other:
                start = draw.randrange(len(other))
                made[at : at + size] = other[start : start + size]
            case 5:
                made[at : at + size] = draw.randbytes(size)
            case _:
                del made[at:]
    return bytes(made)


def repacked(content: bytes, draw: random.Random) -> bytes | None:
    """A zip archive with one member changed inside; None: it is none."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            members = {name: archive.read(name) for name in archive.namelist()}
    except zipfile.BadZipFile:
        return None
    name = draw.choice(list(members))
    members[name] = changed(members[name], draw.choice(list(members.values())), draw)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for member, inside in members.items():
            archive.writestr(member, inside)
    return out.getvalue()


def seeds() -> list[tuple[str, bytes]]:
    """File names and contents from which the inputs are made."""
    found = [("home_log.csv", OUR_FORM), ("lines.csv", LINES.encode())]
    with tempfile.TemporaryDirectory() as folder:
        for n, (make, _) in enumerate(SHAPES.values()):
            (below := Path(folder) / str(n)).mkdir()
            path = make(below)
            found.append((path.name, path.read_bytes()))
    return found


def at_random(n_inputs: int, seed: int) -> dict[str, Tally]:
    """Read inputs that are changed at random, as many of each kind of file."""
    draw, every = random.Random(seed), seeds()
    by_ending: dict[str, list[tuple[str, bytes]]] = {}
    for name, content in every:
        by_ending.setdefault(Path(name).suffix, []).append((name, content))
    tallies = {ending: Tally() for ending in by_ending}
    folder = tempfile.mkdtemp(prefix="inputs-")  # what hangs is found here
    try:
        for n in range(n_inputs):
            ending = list(by_ending)[n % len(by_ending)]
            name, content = draw.choice(by_ending[ending])
            inside = repacked(content, draw) if draw.random() < 0.5 else None
            given = inside or changed(content, draw.choice(every)[1], draw)
            tried(name, given, Path(folder), tallies[ending])
    finally:
        shutil.rmtree(folder)
    return tallies


def guided(n_inputs: int) -> None:
    """Let atheris choose the inputs; it stops at the first fault."""
    import atheris  # type: ignore[import-not-found,unused-ignore]

    names = sorted({name for name, _ in seeds()})
    corpus = Path(tempfile.mkdtemp(prefix="corpus-"))
    for n, (name, content) in enumerate(seeds()):
        (corpus / str(n)).write_bytes(bytes([names.index(name)]) + content)
    folder = Path(tempfile.mkdtemp(prefix="inputs-"))
    tally = Tally()

    def one(content: bytes) -> None:
        name = names[content[0] % len(names)] if content else names[0]
        tried(name, content[1:], folder, tally)
        if tally.inputs % 10_000 == 0:
            print(shown("guided", tally), flush=True)
        if tally.faults:
            raise RuntimeError(str(tally.faults))

    atheris.instrument_all()
    atheris.Setup([sys.argv[0], f"-runs={n_inputs}", "-max_len=20000", str(corpus)], one)
    atheris.Fuzz()


def shown(what: str, tally: Tally) -> str:
    """One line of figures."""
    unforeseen = sum(tally.unforeseen.values())
    most = "; ".join(f"{where} {n}" for where, n in tally.unforeseen.most_common(4))
    return (
        f"{what:10} {tally.inputs:7} inputs, {tally.sentences} one sentence (of these {unforeseen} "
        f"by the last resort{': ' + most if most else ''}), faults {dict(tally.faults)}, longest "
        f"{tally.longest:.2f} s"
    )


def main() -> None:
    """Print the figures."""
    asked = argparse.ArgumentParser()
    asked.add_argument("--inputs", type=int, default=100_000)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--guided", action="store_true")
    options = asked.parse_args()
    if options.guided:
        guided(options.inputs)
        return
    started = time.perf_counter()
    for ending, tally in at_random(options.inputs, options.seed).items():
        print(shown(ending, tally))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{time.perf_counter() - started:.0f} s, peak memory {peak:.0f} MB")


if __name__ == "__main__":
    main()

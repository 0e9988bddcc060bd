"""Can a damaged file stop the program, fill the memory or take long? Run by hand; prints figures.

`python tests/benchmarks/damaged_files.py [--inputs N] [--seed N] [--to FILE] [--guided] [--reader READER]`

Each of the 40 files of `tests.shaped`, files of our own form and of FHIR resources, is changed at
random (bits flipped, pieces cut out, doubled, swapped with another file's, numbers set to their
limits) and read: unpacked, proposed a profile for, opened, and every row checked. What is in a
container is changed before and after it is packed. With `--guided` atheris (libFuzzer) keeps and
changes further those inputs that reached lines of the readers which none had reached before; it is
no dependency of the tests. Figures are written as they come, so that a run that is ended counts.
"""

from __future__ import annotations

import argparse
import faulthandler
import gzip
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
from contextlib import nullcontext, suppress
from dataclasses import dataclass, field
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

if GUIDED := "--guided" in sys.argv:
    import atheris  # type: ignore[import-not-found,unused-ignore]

with atheris.instrument_imports(include=["analysis.ingest"]) if GUIDED else nullcontext():
    from analysis.errors import UserError
    from analysis.exports.fhir import form_profile
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
FHIR = (Path(__file__).parents[1] / "reference" / "data" / "fhir_r4_examples.ndjson").read_bytes()
BUNDLE = b'{"resourceType":"Bundle","entry":[{"resource":%s}]}'
SECONDS, MEGABYTES = 60, 6_000
"""Time of one input after which the run ends, and memory of the process beyond which none is given."""
SLOW, LARGE = 5.0, 300.0
"""Seconds and megabytes of one input that are reported by name."""
EVERY = 500
"""Inputs after which the figures are written."""


@dataclass
class Tally:
    """What became of the inputs of one reader."""

    inputs: int = 0
    refused: int = 0
    unforeseen: Counter[str] = field(default_factory=Counter)
    faults: Counter[str] = field(default_factory=Counter)
    longest: float = 0.0
    largest: float = 0.0


class Inputs:
    """Reads inputs one by one; what stops, is slow or large is written to `kept`."""

    def __init__(self, kept: Path, to: Path | None) -> None:
        self.kept, self.to = kept, to
        self.tallies: dict[str, Tally] = {}
        self.started = time.perf_counter()
        self.folder = Path(tempfile.mkdtemp(prefix="inputs-"))
        self.is_large = False

    def tried(self, name: str, content: bytes) -> None:
        """Read one input and count what became of it."""
        tally = self.tallies.setdefault(reader_of(name), Tally())
        (self.kept / "last").write_bytes(content)
        before, started = reset_memory(), time.process_time()
        faulthandler.dump_traceback_later(SECONDS, exit=True)
        faults = sum(tally.faults.values())
        try:
            read(name, content, self.folder)
        except UserError as fault:
            tally.refused += 1
            cause = fault.__cause__
            if getattr(fault, "code", None) is FileFault.DAMAGED and cause is not None:
                tally.unforeseen[place_of(cause)] += 1
        except OSError:
            tally.refused += 1
        except KeyboardInterrupt:
            raise
        except BaseException as fault:
            tally.faults[place_of(fault)] += 1
        finally:
            faulthandler.cancel_dump_traceback_later()
        took, grew = time.process_time() - started, peak_memory() - before
        tally.inputs += 1
        tally.longest, tally.largest = max(tally.longest, took), max(tally.largest, grew)
        if took > SLOW or grew > LARGE or sum(tally.faults.values()) > faults:
            number = sum(t.inputs for t in self.tallies.values())
            (self.kept / f"{number}-{took:.0f}s-{grew:.0f}MB-{Path(name).name}").write_bytes(
                content
            )
        if sum(t.inputs for t in self.tallies.values()) % EVERY == 0:
            self.write()

    def write(self) -> None:
        """Write the figures so far."""
        lines = [shown(name, tally) for name, tally in sorted(self.tallies.items())]
        whole = Tally(
            sum(t.inputs for t in self.tallies.values()),
            sum(t.refused for t in self.tallies.values()),
            longest=max(t.longest for t in self.tallies.values()),
            largest=max(t.largest for t in self.tallies.values()),
        )
        for tally in self.tallies.values():
            whole.unforeseen += tally.unforeseen
            whole.faults += tally.faults
        took = time.perf_counter() - self.started
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        lines += [shown("all", whole), f"{took:.0f} s, memory of the process {peak:.0f} MB"]
        text = "\n".join([HEAD, *lines]) + "\n"
        if self.to:
            self.to.write_text(text)
        else:
            print(text, flush=True)


def read(name: str, content: bytes, folder: Path) -> None:
    """Read a file as ingest does."""
    path = folder / "input"
    path.write_bytes(content)
    with tempfile.TemporaryDirectory(dir=folder) as unpacked:
        log = LogFile(path, name)
        with no_other_fault(log):
            logs = plain_files(log, Path(unpacked))
        for plain in logs:
            _read_plain(plain)


def _read_plain(log: LogFile) -> None:
    profile = form_profile()
    if b'"resourceType"' not in log.path.read_bytes()[:8192]:
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


def reader_of(name: str) -> str:
    """The ending of a file, with what is in it where that has a reader of its own."""
    return Path(name).suffix + (" FHIR" if name.startswith("export") else "")


def place_of(fault: BaseException) -> str:
    """Kind of an error and the line that raised it."""
    place = traceback.extract_tb(fault.__traceback__)[-1]
    return f"{type(fault).__name__} in {Path(place.filename).name}:{place.lineno}"


def reset_memory() -> float:
    """Memory of the process in MB, from which its next peak is counted."""
    with suppress(OSError):
        Path("/proc/self/clear_refs").write_text("5")
    return _memory("VmRSS")


def peak_memory() -> float:
    """Highest memory of the process in MB since `reset_memory`."""
    return _memory("VmHWM")


def _memory(row: str) -> float:
    status = Path("/proc/self/status").read_text()
    return int(status.split(f"{row}:")[1].split()[0]) / 1024


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
    """A compressed file or zip archive with what is in it changed; None: it is none."""
    if content.startswith(b"\x1f\x8b"):
        with suppress(Exception):
            return gzip.compress(changed(gzip.decompress(content), OUR_FORM, draw))
        return None
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            members = {name: archive.read(name) for name in archive.namelist()}
    except Exception:  # an archive that was changed already
        return None
    if not members:
        return None
    name = draw.choice(list(members))
    members[name] = changed(members[name], draw.choice(list(members.values())), draw)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for member, inside in members.items():
            with suppress(Exception):
                archive.writestr(member, inside)
    return out.getvalue()


def seeds() -> list[tuple[str, bytes]]:
    """File names and contents from which the inputs are made."""
    found = [
        ("home_log.csv", OUR_FORM),
        ("lines.csv", LINES.encode()),
        ("export.ndjson", FHIR),
        ("export.json", BUNDLE % b'},{"resource":'.join(FHIR.strip().splitlines())),
    ]
    with tempfile.TemporaryDirectory() as folder:
        for n, (make, _) in enumerate(SHAPES.values()):
            (below := Path(folder) / str(n)).mkdir()
            path = make(below)
            found.append((path.name, path.read_bytes()))
    return found


def at_random(n_inputs: int, seed: int, inputs: Inputs) -> None:
    """Read inputs that are changed at random, as many of each kind of file."""
    draw, every = random.Random(seed), seeds()
    by_reader: dict[str, list[tuple[str, bytes]]] = {}
    for name, content in every:
        by_reader.setdefault(reader_of(name), []).append((name, content))
    for n in range(n_inputs):
        name, content = draw.choice(by_reader[list(by_reader)[n % len(by_reader)]])
        inside = repacked(content, draw) if draw.random() < 0.5 else None
        inputs.tried(name, inside or changed(content, draw.choice(every)[1], draw))


def guided(n_inputs: int, seed: int, inputs: Inputs, reader: str | None) -> None:
    """Let atheris choose the inputs of a reader (None: any) by the lines that they reach."""
    every = [(name, content) for name, content in seeds() if reader in {None, reader_of(name)}]
    names = sorted({name for name, _ in every})
    corpus = Path(tempfile.mkdtemp(prefix="corpus-"))
    for n, (name, content) in enumerate(every):
        (corpus / str(n)).write_bytes(bytes([names.index(name)]) + content)

    def one(content: bytes) -> None:
        inputs.tried(names[content[0] % len(names)] if content else names[0], content[1:])

    def change(content: bytes, largest: int, seed: int) -> bytes:
        draw = random.Random(seed)
        if content[:1] and (inside := repacked(content[1:], draw) if draw.random() < 0.7 else None):
            return (content[:1] + inside)[:largest]
        if draw.random() < 0.5:
            return (content[:1] + changed(content[1:], draw.choice(every)[1], draw))[:largest]
        return bytes(atheris.Mutate(content, largest))

    given = [
        f"-runs={n_inputs}",
        f"-seed={seed}",
        "-max_len=20000",
        "-rss_limit_mb=0",
        "-verbosity=0",
    ]
    atheris.Setup([sys.argv[0], *given, str(corpus)], one, custom_mutator=change)
    atheris.Fuzz()


HEAD = f"{'reader':14}{'tried':>8}{'read':>8}{'refused':>8}{'s':>7}{'MB':>6}{'faults':>7}"


def shown(what: str, tally: Tally) -> str:
    """One line: worst processor time and memory of an input, and faults that reach a user."""
    unforeseen = sum(tally.unforeseen.values())
    most = "; ".join(f"{where} {n}" for where, n in tally.unforeseen.most_common(6))
    as_read = tally.inputs - tally.refused - sum(tally.faults.values())
    return (
        f"{what:14}{tally.inputs:8}{as_read:8}{tally.refused:8}{tally.longest:7.2f}"
        f"{tally.largest:6.0f}{sum(tally.faults.values()):7} {dict(tally.faults) or ''}"
        f"{f' refused without a check of its own: {unforeseen} ({most})' if unforeseen else ''}"
    ).rstrip()


def main() -> None:
    """Write the figures."""
    asked = argparse.ArgumentParser()
    asked.add_argument("--inputs", type=int, default=100_000)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--guided", action="store_true")
    asked.add_argument("--reader", help="with --guided: only this one, such as .xlsx")
    asked.add_argument("--to", type=Path, help="file of the figures, written as they come")
    asked.add_argument("--kept", type=Path, help="folder of inputs that fail, are slow or large")
    options = asked.parse_args()
    resource.setrlimit(resource.RLIMIT_AS, (MEGABYTES << 20, MEGABYTES << 20))
    kept = options.kept or Path(tempfile.mkdtemp(prefix="kept-"))
    kept.mkdir(parents=True, exist_ok=True)
    inputs = Inputs(kept, options.to)
    if options.guided:
        guided(options.inputs, options.seed, inputs, options.reader)
    else:
        at_random(options.inputs, options.seed, inputs)
    inputs.write()
    shutil.rmtree(inputs.folder)


if __name__ == "__main__":
    main()

"""Do the counts of rows add up, and are they the same before an ingest, after it and on the page?"""

from __future__ import annotations

from pathlib import Path

from analysis.ingest import ingest
from analysis.ingest.preview import preview
from analysis.ingest.profile_file import parse_profile
from analysis.ingest.profile_toml import as_toml
from analysis.ingest.proposal import propose
from analysis.ingest.raw import LogFile
from analysis.ingest.unpack import plain_files
from analysis.store import Store
from dashboard.incoming.queries.files import previewed
from dashboard.session.views import PageContext
from tests.ingest_files import LINES, POLICY, RECEIVED_AT, take_in, written
from tests.shaped import SHAPES

WITHOUT_L3 = "\n".join(line for line in LINES.splitlines() if not line.startswith("L3"))
"""So that one of the three rows of each file is refused."""


def counted(tables) -> tuple[tuple[int, ...], ...]:
    """Rows read, stored, the same as before, refused."""
    return tuple((t.read, t.stored, t.same_as_before, t.refused) for t in tables)


def described(name: str, folder: Path):
    """A file of a shape, and how it is ingested with the profile that is proposed."""
    make, answers = SHAPES[name]
    (sent := folder / "sent").mkdir(parents=True)
    (unpacked := folder / "unpacked").mkdir()
    path = make(sent)
    (log,) = plain_files(LogFile.at(path), unpacked)
    text = as_toml(propose(log, "ward", POLICY, answers).profile)
    sources = [parse_profile(text, "ward", "ward")]
    return path, {"received_at": RECEIVED_AT, "ingested_at": RECEIVED_AT, "sources": sources}


def counts_of(store: Store, name: str, folder: Path) -> list[tuple[tuple[int, ...], ...]]:
    """Of a file of a shape: a dry run, the page, the ingest, the ingest again."""
    path, options = described(name, folder)
    with store.trying() as trial:
        shown = preview(trial, path, POLICY, **options)
        page = previewed(shown, "1", (), context=PageContext.__new__(PageContext))
        first = ingest(trial, path, POLICY, **options)
        again = ingest(trial, path, POLICY, **options)
    return [
        counted(shown.summary.tables),
        counted(page.counts),
        counted(first.tables),
        counted(again.tables),
    ]


def test_counts_of_forty_files_add_up_and_are_the_same_everywhere(tmp_path: Path) -> None:
    with Store.open(f"sqlite:///{tmp_path}/s.sqlite") as store:
        take_in(store, written(tmp_path, "lines.csv", WITHOUT_L3))
        found = {name: counts_of(store, name, tmp_path / f"{n}") for n, name in enumerate(SHAPES)}
    first, again = ((3, 2, 0, 1),), ((3, 0, 2, 1),)
    assert found == {name: [first, first, first, again] for name in SHAPES}


def test_a_tick_of_a_kind_is_shown_with_the_kind_it_is_read_as(tmp_path: Path) -> None:
    path, options = described("a column for each kind of entry (csv)", tmp_path)
    with Store.open(f"sqlite:///{tmp_path}/s.sqlite") as store:
        take_in(store, written(tmp_path, "lines.csv", LINES))
        shown = preview(store, path, POLICY, **options)
    page = previewed(shown, "1", (), context=PageContext.__new__(PageContext))
    cells = {column.head: column.cells[0] for column in page.sheets[0].columns}
    changed = cells["Dressing changed"]
    assert (changed.written, changed.read) == ("☑", "dressing_change")

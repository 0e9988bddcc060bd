"""A small programme as text files, and an empty store to ingest files into."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from analysis.ingest import IngestSummary, Profile, ingest
from analysis.policy import shipped_policy
from analysis.store import Store
from tests.empty_store import made_once

POLICY = shipped_policy()
RECEIVED_AT = datetime(2031, 3, 31, 12, tzinfo=UTC)

LINES = """\
line_id,child_id,family_id,site,line_type,placed_on,home_from,removed_on,removal_reason,dressing_type
L1,C1,F1,north,picc,2031-01-10,2031-01-20,,,transparent
L2,C2,F2,north,picc,2031-01-10,2031-01-20,2031-02-10,therapy_complete,gauze
L3,C2,F2,north,picc,2031-02-10,2031-02-12,,,gauze
L4,C4,F4,south,picc,2031-01-10,2031-01-20,,,gauze
L5,C4,F4,south,tunneled_cvc,2031-01-10,2031-01-20,,,gauze
"""
"""F1 has one line, F2 one after the other, F4 two at the same time."""

STAYS = """\
child_id,from_on,to_on,place
C1,2031-03-01,2031-03-05,hospital
"""

CAREGIVERS = """\
caregiver_id,family_id,relation
P1,F1,parent
P2,F2,parent
"""


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """An empty store."""
    with Store.open(f"sqlite:///{tmp_path}/test.sqlite") as opened:
        yield opened


@pytest.fixture
def programme(store: Store, tmp_path: Path, tmp_path_factory: pytest.TempPathFactory) -> Store:
    """A store that knows the lines, stays and caregivers above."""
    folder = tmp_path / "registry"
    folder.mkdir()
    for name, text in (("lines", LINES), ("stays", STAYS), ("caregivers", CAREGIVERS)):
        written(folder, f"{name}.csv", text)

    def make() -> None:
        assert take_in(store, folder).refused == 0

    made_once(store, tmp_path_factory.getbasetemp() / "programme.sqlite", make)
    return store


def written(folder: Path, name: str, content: str | bytes) -> Path:
    """A file of that name and content."""
    path = folder / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def take_in(
    store: Store,
    *paths: Path,
    profile: Profile | None = None,
    table: str | None = None,
    received_at: datetime = RECEIVED_AT,
) -> IngestSummary:
    """Ingest files, and see to it that the counts add up."""
    summary = ingest(
        store,
        paths,
        POLICY,
        profile,
        table,
        received_at,
        ingested_at=received_at,
    )
    for count in summary.tables:
        assert count.read == count.stored + count.same_as_before + count.refused
    return summary


def refusals(store: Store) -> list[tuple[int, str | None, str]]:
    """Row number, column and reason of the refused rows that are on the list."""
    rows = store.refused()
    columns = rows["column"].astype(object).where(rows["column"].notna(), None)
    return list(zip(rows["row_number"].tolist(), columns, rows["reason"], strict=True))


def doubts(store: Store) -> list[tuple[int, str]]:
    """Row number and code of the doubts about rows in force."""
    rows = store.doubts()
    return sorted(zip(rows["row_number"].tolist(), rows["doubt"], strict=True))

"""The demo's files, written and ingested once for all tests of this folder."""

from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from analysis.ingest import ingest, load_profile
from analysis.policy import shipped_policy
from analysis.snapshot import Snapshot, take
from analysis.store import Store
from synthetic_data import Demo, Written, generate, write

AS_OF = date(2031, 3, 10)
RECEIVED = datetime(2031, 3, 10, 5, 0, tzinfo=UTC)
POLICY = shipped_policy()


@dataclass(frozen=True)
class Ingested:
    """A demo, its files, and the store they went into."""

    demo: Demo
    written: Written
    url: str
    store: Store
    summaries: list

    def again(self):
        """Ingest every file once more."""
        return [read_in(self.store, *source) for source in self.written.sources]

    def snapshot(self) -> Snapshot:
        return take(self.store, POLICY, AS_OF)


def read_in(store: Store, path: Path, profile: Path | None):
    loaded = load_profile(profile) if profile else None
    return ingest(store, [path], POLICY, loaded, received_at=RECEIVED)


def ingested(folder: Path, families: int, seed: int) -> Ingested:
    demo = generate(families, seed=seed, until=AS_OF)
    written = write(demo, folder / "files")
    url = f"sqlite:///{folder / 'demo.sqlite'}"
    store = Store.open(url)
    summaries = [read_in(store, *source) for source in written.sources]
    return Ingested(demo, written, url, store, summaries)


@pytest.fixture(scope="session")
def whole_demo(tmp_path_factory):
    """All 240 families; tests that change the store take `small_demo`."""
    made = ingested(tmp_path_factory.mktemp("demo"), 240, seed=1)
    yield made
    made.store.close()


@pytest.fixture
def small_demo(tmp_path):
    """Forty families, for tests that change the store."""
    made = ingested(tmp_path, 40, seed=2)
    yield made
    made.store.close()

"""Every run of the tests tries the same cases, so that what passed here passes everywhere."""

from datetime import UTC, datetime

import pytest
from argon2 import PasswordHasher

from tests.cases import register
from tests.empty_store import copied_from

register()


@pytest.fixture(autouse=True, scope="session")
def _clock_of_ingest():
    """Most tests' programmes lie in 2031: files are ingested after that unless a test says when."""
    with pytest.MonkeyPatch.context() as patch:
        moment = int(datetime(2033, 1, 1, tzinfo=UTC).timestamp()) * 1_000_000
        patch.setattr("analysis.ingest.run.present_moment", lambda: moment)
        yield


@pytest.fixture(autouse=True, scope="session")
def _cheap_hashes():
    """Most tests sign somebody in; what a real hash is like, `test_people` looks at."""
    with pytest.MonkeyPatch.context() as patch:
        cheap = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
        patch.setattr("analysis.store.passwords._hasher", cheap)
        yield


@pytest.fixture(autouse=True, scope="session")
def _empty_stores(tmp_path_factory):
    """Most tests begin with an empty store."""
    with pytest.MonkeyPatch.context() as patch:
        template = tmp_path_factory.mktemp("empty") / "store.sqlite"
        patch.setattr("analysis.store.migrate.upgrade", copied_from(template))
        yield

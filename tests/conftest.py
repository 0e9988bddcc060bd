"""Every run of the tests tries the same cases, so that what passed here passes everywhere."""

import gc
from datetime import UTC, datetime
from functools import cache

import pytest
import sqlalchemy as sa
from alembic.script import ScriptDirectory
from argon2 import PasswordHasher
from sqlalchemy.dialects.postgresql.psycopg import PGDialect_psycopg

from analysis.store.sqlite_driver import SQLiteThroughArrow
from tests.cases import register
from tests.chromium import launched
from tests.empty_store import copied_from

register()


SHARED = {"tests/demo", "tests/notebooks"}
"""Folders whose tests share what takes long to make."""


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """One process runs the tests of a file, or of a folder that shares something."""
    from xdist.scheduler import LoadScopeScheduling

    class WithWhatIsShared(LoadScopeScheduling):
        def _split_scope(self, nodeid):
            file = nodeid.partition("::")[0]
            folder = file.rpartition("/")[0]
            return folder if folder in SHARED else file

    return WithWhatIsShared(config, log) if config.getvalue("dist") == "loadfile" else None


def pytest_collection_finish():
    """The garbage collector looks at what the tests make, and not each time at all modules."""
    gc.collect()
    gc.freeze()


@pytest.fixture(scope="session")
def browser():
    with launched() as chromium:
        yield chromium


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


@pytest.fixture(autouse=True, scope="session")
def _statements_compiled_once():
    """Most tests open a store of their own: a statement is compiled for the first of them."""
    create_engine, compiled = sa.create_engine, sa.util.LRUCache(2000)

    def create(*args, **options):
        engine = create_engine(*args, **options)
        engine._compiled_cache = compiled
        return engine

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("analysis.store.database.sa.create_engine", create)
        for dialect in (SQLiteThroughArrow, PGDialect_psycopg):
            patch.setattr(dialect, "__hash__", lambda self: hash(type(self)))
            patch.setattr(dialect, "__eq__", lambda self, other: type(self) is type(other))
        yield


@pytest.fixture(autouse=True, scope="session")
def _migrations_loaded_once():
    """Restored stores begin with the migrations."""
    scripts = cache(ScriptDirectory)

    def from_config(config):
        return scripts(config.get_main_option("script_location"))

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(ScriptDirectory, "from_config", from_config)
        yield

"""Every run of the tests tries the same cases, so that what passed here passes everywhere."""

from datetime import UTC, datetime

import pytest

from tests.cases import register

register()


@pytest.fixture(autouse=True, scope="session")
def _clock_of_ingest():
    """Most tests' programmes lie in 2031: files are ingested after that unless a test says when."""
    with pytest.MonkeyPatch.context() as patch:
        moment = int(datetime(2033, 1, 1, tzinfo=UTC).timestamp()) * 1_000_000
        patch.setattr("analysis.ingest.run.present_moment", lambda: moment)
        yield

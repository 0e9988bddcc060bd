"""Other tools, written from the definitions, give the numbers of linedays from the same files."""

from __future__ import annotations

from pathlib import Path

import pytest

from synthetic_data import generate_blocks, write_canonical
from tests.benchmarks.other_tools import with_linedays
from tests.benchmarks.side_by_side import AS_OF, TOOLS, answers, differences, installed

HERE = installed()[1:]
LEFT_OUT = [tool for tool in TOOLS[1:] if tool not in HERE]


@pytest.fixture(scope="module", autouse=True)
def _left_out(request: pytest.FixtureRequest) -> None:
    """Say which tools are not compared: the lock has none of them but pandas."""
    reporter = request.config.pluginmanager.get_plugin("terminalreporter")
    if reporter is not None and LEFT_OUT:
        reporter.write_line(f"left out, not installed: {', '.join(LEFT_OUT)}")


@pytest.fixture(scope="module")
def programme(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """An invented programme as CSV files, and the store that they were ingested into."""
    folder = tmp_path_factory.mktemp("files")
    write_canonical(generate_blocks(40, until=AS_OF, years=1, truths=False), folder, "csv")
    store = tmp_path_factory.mktemp("store") / "store.sqlite"
    with_linedays.fill(store, folder, AS_OF)
    return folder, store


@pytest.mark.parametrize("tool", HERE)
def test_another_tool_gives_the_same_numbers(tool: str, programme: tuple[Path, Path]) -> None:
    folder, store = programme
    ours, theirs = (answers(name, folder, store, AS_OF) for name in ("linedays", tool))
    assert len(ours["rates"]) > 10
    assert ours["days"]["intervals_scored"].sum() > 500
    assert differences(ours, theirs) == []


def test_a_number_that_differs_is_named(programme: tuple[Path, Path]) -> None:
    folder, store = programme
    ours, theirs = (answers(name, folder, store, AS_OF) for name in ("linedays", "pandas"))
    theirs["rates"]["events"] += 1
    theirs["days"]["in_date_days"] -= 1
    assert differences(ours, theirs) == ["days and intervals by line", "rates: events"]

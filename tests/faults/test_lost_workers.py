"""A cluster of which a worker is killed in the middle gives the same bits."""

from __future__ import annotations

import os
import random
import signal
from datetime import UTC, date, datetime
from pathlib import Path

import pandas as pd
from dask.distributed import LocalCluster

from analysis.exports.catalogue import Table
from analysis.exports.folder import typed
from analysis.partitions import in_turn, on_cluster, tallies_of_parts, write_partitions
from analysis.tables import KNOWN
from tests.properties.strategies import messy_family, numbered_rows, records_of, together

AS_OF = date(2031, 3, 12)
FRAMES = ("lines", "days", "events", "onsets")


def test_parts_of_a_killed_worker_are_calculated_by_another(tmp_path):
    chance = random.Random(7)
    families = numbered_rows(chance, [messy_family(chance, f"f{nth}") for nth in range(6)])
    records = records_of(together(families))
    log = [typed(Table(KNOWN["home_log"], records.home_log))]
    known_at = datetime(2031, 6, 2, tzinfo=UTC)
    found = write_partitions(tmp_path / "parts", records, log, [], known_at, None, 6)
    whole = tallies_of_parts(found, AS_OF, in_turn).value
    killed: list[int] = []
    with LocalCluster(
        n_workers=2, threads_per_worker=1, host="127.0.0.1", dashboard_address=None
    ) as cluster:

        def killing(work, parts):
            """Kill a worker after the first answer; the answers that it still held are lost."""
            for nth, answer in enumerate(on_cluster(cluster.scheduler_address)(work, parts)):
                if nth == 0:
                    killed.append(cluster.workers[0].pid)
                    os.kill(killed[0], signal.SIGKILL)
                yield answer

        again = tallies_of_parts(found, AS_OF, killing).value
    assert len(killed) == 1
    assert not any(Path(f"/proc/{process}").exists() for process in killed)
    assert len(whole.lines) > 6
    for name in FRAMES:
        pd.testing.assert_frame_equal(getattr(again, name), getattr(whole, name), obj=name)

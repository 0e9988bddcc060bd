"""How is a row shown as it was read: each value in the words of the formats page?"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pyarrow as pa

from analysis.ingest.checked import Checked, day_of
from analysis.ingest.zones import to_local
from analysis.tables.incoming import INCOMING
from analysis.tables.kinds import Kind


def cells_as_read(checked: Checked, n: int) -> Mapping[str, Mapping[int, str]]:
    """Values of the first rows of a batch.

    Parameters
    ----------
    checked : Checked
        The batch.
    n : int
        How many rows.

    Returns
    -------
    mapping of str to mapping of int to str
        By column and by place in the batch; what is blank or could not be read is left out. Moments
        are shown by the programme's clock.
    """
    rows = checked.accepted.slice(0, n)
    zone = checked.source.reading.programme_zone
    read: dict[str, Mapping[int, str]] = {}
    for column in INCOMING[checked.source.part.table].columns:
        if column.kind is Kind.INSTANT:
            days = _dates(rows[day_of(column.name)])
            read[column.name] = {**days, **_moments(rows[column.name], zone)}
        elif column.kind in {Kind.DATE, Kind.MONTH}:
            length = 7 if column.kind is Kind.MONTH else 10
            read[column.name] = {at: day[:length] for at, day in _dates(rows[column.name]).items()}
        else:
            read[column.name] = _texts(rows[column.name])
    if "received_at" in checked.rows.cells:
        read["received_at"] = _moments(rows["received_at"], zone)
    if "void" in checked.rows.cells:
        read["void"] = {
            at: "yes" if void else "no" for at, void in enumerate(rows["void"].to_pylist())
        }
    return read


def _texts(cells: pa.ChunkedArray) -> dict[int, str]:
    return {at: str(cell) for at, cell in enumerate(cells.to_pylist()) if cell is not None}


def _dates(cells: pa.ChunkedArray) -> dict[int, str]:
    return {
        at: str(np.datetime64(day, "D"))
        for at, day in enumerate(cells.to_pylist())
        if day is not None
    }


def _moments(cells: pa.ChunkedArray, zone: str) -> dict[int, str]:
    """Moments by a clock, to the minute, or to the second where there are seconds."""
    filled = {at: moment for at, moment in enumerate(cells.to_pylist()) if moment is not None}
    local = to_local(np.array([*filled.values()], np.int64), zone)
    return {at: _clock(int(moment)) for at, moment in zip(filled, local, strict=True)}


def _clock(moment: int) -> str:
    text = str(np.datetime64(moment, "us").astype("datetime64[s]")).replace("T", " ")
    return text.removesuffix(":00")

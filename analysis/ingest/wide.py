"""How is a sheet with one column a day read: each filled cell as an entry of that day?"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np

from analysis.ingest.profile import Profile
from analysis.ingest.raw import Part, Raw, without_rows


def by_day(part: Part, profile: Profile) -> list[Part]:
    """The parts of a sheet, one for each column of a day; itself where it has none.

    Each holds the rows with something in that column, so a row that is refused is named by its
    sheet, day and number.
    """
    days = part.heads.days
    if not days:
        return [part]
    moment, column = profile.table(part.table).moment, profile.table(part.table).day_columns
    return [
        replace(
            part,
            sheet=head if part.sheet is None else f"{part.sheet}, {head}",
            heads=replace(
                part.heads,
                columns={**part.heads.columns, at: column},
                written={**part.heads.written, at: head},
            ),
            batches=_filled(part.batches, at),
            fixed={moment: head},
            of_sheet=part.sheet,
        )
        for at, head in days.items()
    ]


def _filled(batches: Callable[[], Iterator[Raw]], at: int) -> Callable[[], Iterator[Raw]]:
    """Batches without the rows that are blank in a column."""

    def read() -> Iterator[Raw]:
        for raw in batches():
            yield without_rows(raw, np.asarray(raw.cells[at].is_null()))

    return read

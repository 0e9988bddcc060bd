"""How does an invented programme become a store to try things on?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from pathlib import Path

from analysis.cli.loading import with_progress
from analysis.cli.opening import opened
from analysis.ingest import load_profile
from analysis.policy import Policy, load_policy

IN_FOUR_SHAPES = 2_000
"""Families up to which the files are of four sources; of more they are Parquet alone."""


@dataclass(frozen=True)
class Invented:
    """A store of invented rows: its URL, and what became of the rows of its files."""

    url: str
    stored: int
    refused: int
    profiles: tuple[Path, ...]
    """How its sources write."""


def invented_store(
    folder: Path,
    *,
    families: int,
    seed: int,
    as_of: date,
    policy: Policy | None = None,
    received_at: datetime | None = None,
) -> Invented:
    """Write invented log files and take them into a store of their own.

    Parameters
    ----------
    folder : Path
        Where ``files`` and ``demo.sqlite`` are put.
    families, seed
        Same seed, same rows.
    as_of : date
        The files reach to the evening before.
    policy : Policy or None
        None: the shipped one.
    received_at : datetime or None
        Receipt of rows that do not tell theirs; None: the midnight in UTC that begins `as_of`.
    """
    from synthetic_data import PastCall, generate, generate_blocks, write, write_canonical

    settings = policy or load_policy()
    files = folder / "files"
    made: tuple[PastCall, ...] = ()
    if families <= IN_FOUR_SHAPES:
        invented = generate(families, seed=seed, until=as_of)
        sources, made = write(invented, files).sources, invented.calls
    else:
        blocks = generate_blocks(families, seed=seed, until=as_of)
        sources = tuple((path, None) for path in write_canonical(blocks, files, "parquet"))
    came = received_at or datetime.combine(as_of, time(), tzinfo=UTC)
    url = f"sqlite:///{folder / 'demo.sqlite'}"
    stored = refused = 0
    with opened(url, create=True) as store:
        for path, profile in sources:
            source = load_profile(profile) if profile else None
            summary = with_progress(
                store, [path], settings, source, received_at=came, ingested_at=came
            )
            stored += summary.stored
            refused += summary.refused
        for call in made:
            called_on = call.called_at.astimezone(settings.zone).date()
            store.record_call(**vars(call), called_on=called_on)
    profiles = dict.fromkeys(profile for _, profile in sources if profile)
    return Invented(url, stored, refused, tuple(profiles))

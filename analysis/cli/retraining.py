"""Commands on who needs retraining."""

from __future__ import annotations

from datetime import date

import pandas as pd

from analysis.cli.opening import snapshot
from analysis.cli.options import deciding as options
from analysis.cli.output import show
from analysis.cli.progress import waiting
from analysis.decisions.asked import family_languages
from analysis.decisions.retraining import not_signed_off, retraining
from analysis.decisions.sessions import group_sessions
from analysis.snapshot import Snapshot


def steps(asked: options.Retraining) -> None:
    """List families, caregivers and steps."""
    seen = snapshot(asked)
    show(_needs(seen, asked.since), asked)


def _needs(seen: Snapshot, since: date | None) -> pd.DataFrame:
    with waiting("counting steps missed"):
        if since is None:
            return seen.retraining
        return retraining(seen.timeline, seen.records, seen.policy, since)


def sign_offs(asked: options.RetrainingSignOffs) -> None:
    """List caregivers without a current sign-off."""
    seen = snapshot(asked)
    show(not_signed_off(seen.timeline, seen.records, seen.policy), asked)


def sessions(asked: options.RetrainingSessions) -> None:
    """List group sessions."""
    seen = snapshot(asked)
    languages = family_languages(seen.records) if asked.by_language else None
    found = _needs(seen, asked.since)
    show(group_sessions(found, seen.timeline, languages, asked.size), asked)

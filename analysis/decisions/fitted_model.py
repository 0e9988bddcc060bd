"""How likely is harm in a family's next seven days, by a model that was fitted before?

A discrete-time logistic regression, its coefficients adjusted towards zero. It puts families of
one band in order: a call is worth more where an event is more likely. It uses what the log holds
about care only: no language, age, site, diagnosis or other trait of a person.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.decisions.day import holds_code
from analysis.vocabulary import Reason

Floats = npt.NDArray[np.float64]

FLAGS = (
    Reason.RED_FLAG,
    Reason.COMPROMISED,
    Reason.OVERDUE,
    Reason.SKIN_EVENT_OPEN,
    Reason.SILENT,
    Reason.LATE_PATTERN,
    Reason.EARLY_FAILURES,
    Reason.NO_SIGN_OFF,
)
FEATURES = {
    "log_days_overdue": "log of 1 + most days a dressing is overdue",
    "log_silent_days": "log of 1 + days since the family was heard from",
    "log_days_since_change": "log of 1 + most days since a dressing change",
    "no_change_known": "no dressing change is known",
    "late_share": "share of changes that were late, adjusted towards one in five",
    "log_earlier_skin_events": "log of 1 + earlier skin events",
    "log_days_at_home": "log of 1 + days since a line came home or back",
    "log_stays": "log of 1 + earlier stays away from home",
    "log_days_since_finding": "log of 1 + days since the newest skin finding",
    "log_spoiled_recently": "log of 1 + dressings reported loose, damp or soiled in 14 days",
    "log_spoiled_often": "log of 1 + dressings reported loose, damp or soiled in 56 days",
    "log_days_since_new_caregiver": "log of 1 + days since a caregiver's first entry",
    "gauze": "a line is under gauze",
    "further_lines": "lines at home beyond the first",
    **{str(reason): f"reason {reason}" for reason in FLAGS},
}
"""What the model uses, in order, and what each means."""
DECIMALS = 4
"""Of a predicted share; families alike to so many are in the order of the rules."""


@dataclass(frozen=True)
class Model:
    """Log odds of an event as a sum over features; see :func:`fit_model`."""

    fitted_on: date
    """By what was known before this day began; the model may be used from it on."""
    first_morning: date
    last_morning: date
    policy: str
    edition: str
    """Of the policy: what counts as overdue or silent."""
    families: int
    family_mornings: int
    line_mornings: int
    mornings_with_event: int
    families_with_event: int
    penalty: float
    intercept: float
    centre: Floats
    scale: Floats
    coefficient: Floats
    std_error: Floats
    """Adjusted for families that are seen on many mornings."""

    def share(self, mornings: pd.DataFrame) -> Floats:
        """Share of such mornings with an event within the horizon, by row of `MORNINGS`.

        Rounded to four decimals, and summed row by row, so that it does not depend on which other
        families are in the frame.
        """
        steps = (features(mornings) - self.centre) / self.scale
        odds = self.intercept + (steps * self.coefficient).sum(axis=1)
        return np.asarray(np.round(1 / (1 + np.exp(-odds)), DECIMALS))


def features(mornings: pd.DataFrame) -> Floats:
    """Return what the model uses, one row a family-morning, columns as `FEATURES`.

    The late share is adjusted towards one in five by five intervals, so that a new line is no
    extreme. Counts stop at 60 where their logarithm is taken; no finding and no named caregiver
    count as 60 days. The season is left out: it is the same for all families of a morning, so it
    moves none of them.
    """

    def logged(name: str, blank: float = 0.0) -> Floats:
        values = mornings[name].astype("Float64").to_numpy(dtype=np.float64, na_value=blank)
        return np.asarray(np.log1p(np.clip(values, 0, 60)))

    late, scored = (mornings[n].to_numpy(dtype=np.float64) for n in ("late", "scored"))
    columns = [
        logged("days_overdue"),
        logged("silent_days"),
        logged("days_since_change"),
        mornings["days_since_change"].isna().to_numpy(dtype=np.float64),
        (late + 1) / (scored + 5),
        logged("skin_events"),
        logged("days_at_home"),
        logged("stays"),
        logged("days_since_finding", blank=60),
        logged("spoiled_recently"),
        logged("spoiled_often"),
        logged("days_since_new_caregiver", blank=60),
        mornings["gauze"].to_numpy(dtype=np.float64),
        mornings["lines"].to_numpy(dtype=np.float64) - 1,
        *(holds_code(mornings["reasons"], {str(r)}).astype(np.float64) for r in FLAGS),
    ]
    return np.column_stack(columns)

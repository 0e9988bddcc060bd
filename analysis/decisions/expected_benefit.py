"""How likely is an event in a family's next seven days, by what is known this morning?

A discrete-time logistic regression on replayed mornings, its coefficients drawn toward zero. It
serves to put families of one band in order: a call is worth more where an event is more likely. It
uses what the log says of care only: no language, age, site, diagnosis or other trait of a person.
With little data there is no model, and the rule order stands (see `decisions.order`).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special

from analysis.days import dates_of
from analysis.decisions.backtest import Replayed
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
    "late_share": "share of changes that were late, drawn toward one in five",
    "log_earlier_skin_events": "log of 1 + earlier skin events",
    "log_days_at_home": "log of 1 + days since a line came home or back",
    "log_stays": "log of 1 + earlier stays away from home",
    "gauze": "a line is under gauze",
    "further_lines": "lines at home beyond the first",
    **{str(reason): f"reason {reason}" for reason in FLAGS},
}
"""What the model looks at, in order, and what each means."""
PENALTY = 4.0
"""Half of it times each squared coefficient (of a feature in standard deviations) is taken off the
log-likelihood: a normal prior with standard deviation 1/2 (project choice)."""
FEWEST_FAMILIES = 50
"""Families with an event that a model needs; with fewer the rule order stands (project choice)."""
DECIMALS = 4
"""Of a predicted share; families alike to so many stand by the rules."""
_STEPS = 100


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
    """Allowing for families that are seen on many mornings."""

    def share(self, mornings: pd.DataFrame) -> Floats:
        """Share of such mornings with an event within the horizon, by row of `MORNINGS`.

        Rounded to four decimals, and summed row by row, so that it does not depend on which other
        families stand in the frame.
        """
        steps = (features(mornings) - self.centre) / self.scale
        odds = self.intercept + (steps * self.coefficient).sum(axis=1)
        return np.asarray(np.round(special.expit(odds), DECIMALS))


def features(mornings: pd.DataFrame) -> Floats:
    """Return what the model looks at, one row a family-morning, columns as `FEATURES`.

    The late share is drawn toward one in five by five intervals, so that a new line is no
    extreme. Counts stop at 60 where their logarithm is taken.
    """

    def logged(name: str) -> Floats:
        values = mornings[name].astype("Float64").to_numpy(dtype=np.float64, na_value=0.0)
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
        mornings["gauze"].to_numpy(dtype=np.float64),
        mornings["lines"].to_numpy(dtype=np.float64) - 1,
        *(holds_code(mornings["reasons"], {str(r)}).astype(np.float64) for r in FLAGS),
    ]
    return np.column_stack(columns)


def fit_model(
    replayed: Replayed, fitted_on: date, policy: str, edition: str, penalty: float = PENALTY
) -> Model | None:
    """Fit the model to replayed mornings; None when there are too few families with an event.

    Parameters
    ----------
    replayed : Replayed
        Mornings and later events; families that wait after a call are left out. Every event has
        to be known before `fitted_on`.
    fitted_on : date
        First day on which the model may be used.
    policy, edition : str
        Name of the policy, and the version by which the mornings were replayed.
    penalty : float
        Half of it times each squared coefficient is taken off the log-likelihood.

    Notes
    -----
    Standard errors are the sandwich with families as clusters, about the shrunk estimate.

    Source: discrete-time hazards: Allison, Sociol Methodol 1982;13:61; ridge logistic
    regression: le Cessie and van Houwelingen, Appl Stat 1992;41:191 (both from memory).
    """
    at = replayed.callable
    event, family = replayed.event[at], replayed.family[at]
    with_event = len(np.unique(family[event]))
    if with_event < FEWEST_FAMILIES:
        return None
    mornings = replayed.mornings[at]
    values = features(mornings)
    centre, scale = values.mean(axis=0), values.std(axis=0)
    scale[scale < 1e-9] = 1.0  # the same for all: it can tell nothing
    steps = np.column_stack([np.ones(len(values)), (values - centre) / scale])
    slopes = ridge_logistic(steps, event.astype(np.float64), penalty)
    risk = special.expit(steps @ slopes)
    shrink = np.diag([0.0, *[penalty] * len(FEATURES)])
    inverse = np.linalg.inv((steps * (risk * (1 - risk))[:, None]).T @ steps + shrink)
    residual = steps * (event - risk)[:, None]
    n = int(family.max()) + 1
    scores = np.column_stack([np.bincount(family, weights=c, minlength=n) for c in residual.T])
    errors = np.sqrt(np.maximum(np.diag(inverse @ (scores.T @ scores) @ inverse), 0.0))
    first, last = (
        date.fromisoformat(str(d)[:10]) for d in dates_of([replayed.day.min(), replayed.day.max()])
    )
    return Model(
        fitted_on=fitted_on,
        first_morning=first,
        last_morning=last,
        policy=policy,
        edition=edition,
        families=len(np.unique(family)),
        family_mornings=len(event),
        line_mornings=int(mornings["lines"].sum()),
        mornings_with_event=int(event.sum()),
        families_with_event=with_event,
        penalty=penalty,
        intercept=float(slopes[0]),
        centre=centre,
        scale=scale,
        coefficient=slopes[1:],
        std_error=errors[1:],
    )


def ridge_logistic(design: Floats, event: Floats, penalty: float) -> Floats:
    """Maximise the penalised likelihood by Newton's steps; the first column is not penalised."""
    shrink = np.diag([0.0, *[penalty] * (design.shape[1] - 1)])
    slopes = np.zeros(design.shape[1])
    share = np.clip(event.mean(), 1e-9, 1 - 1e-9)
    slopes[0] = np.log(share / (1 - share))

    def loss(at: Floats) -> float:
        odds = design @ at
        return float((np.logaddexp(0.0, odds) - event * odds).sum() + at @ shrink @ at / 2)

    now = loss(slopes)
    for _ in range(_STEPS):
        risk = special.expit(design @ slopes)
        gradient = design.T @ (event - risk) - shrink @ slopes
        hessian = (design * (risk * (1 - risk))[:, None]).T @ design + shrink
        step = np.linalg.solve(hessian, gradient)
        if np.abs(step).max() < 1e-9:
            return slopes + step
        while (then := loss(slopes + step)) > now and np.abs(step).max() > 1e-12:
            step = step / 2  # too far: the likelihood must not fall
        slopes, now = slopes + step, min(now, then)
    return slopes

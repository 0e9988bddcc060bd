"""How likely is an event in a family's next seven days, by what is known this morning?

A discrete-time logistic regression on replayed mornings, its coefficients drawn toward zero. It
serves to put families of one band in order: a call is worth more where an event is more likely. It
uses what the log says of care only: no language, age, site, diagnosis or other trait of a person.
The call list does not use it unless a programme decides so; with little data there is no model, and
the rule order stands.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special

from analysis.decisions.backtest import Replayed
from analysis.decisions.day import holds_code
from analysis.measures import MeasureError
from analysis.tables.columns import dates_of
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
)
FEATURES = (
    "log_days_overdue",
    "log_silent_days",
    "log_days_since_change",
    "no_change_known",
    "late_share",
    "log_earlier_skin_events",
    "further_lines",
    *(str(reason) for reason in FLAGS),
)
PENALTY = 4.0
"""Half of it times each squared coefficient (of a feature in standard deviations) is taken off the
log-likelihood: a normal prior with standard deviation 1/2 (project choice)."""
FEWEST_FAMILIES = 50
"""Families with an event that a model needs; with fewer the rule order stands (project choice)."""
_STEPS = 100


class ModelError(MeasureError):
    """A model can't be fitted or read; one sentence for a user."""


@dataclass(frozen=True)
class Model:
    """Log odds of an event as a sum over features; see :func:`fit_model`."""

    fitted_from: str
    fitted_to: str
    family_mornings: int
    families_with_event: int
    intercept: float
    centre: Floats
    scale: Floats
    coefficient: Floats
    std_error: Floats
    """Allowing for families that are seen on many mornings."""

    def risk(self, mornings: pd.DataFrame) -> Floats:
        """Probability of an event within the horizon, by row of `MORNINGS`."""
        steps = (features(mornings) - self.centre) / self.scale
        return np.asarray(special.expit(self.intercept + steps @ self.coefficient))

    def text(self) -> str:
        """Return the model as TOML, with odds ratios a person can read."""
        lines = [
            "# Log odds of an event within 7 days = intercept + sum of coefficient x (value - centre) / scale.",
            "# odds_ratio and its 95 % limits are for one scale more of the feature.",
            f'fitted_from = "{self.fitted_from}"',
            f'fitted_to = "{self.fitted_to}"',
            f"family_mornings = {self.family_mornings}",
            f"families_with_event = {self.families_with_event}",
            f"intercept = {self.intercept!r}",
        ]
        for at, name in enumerate(FEATURES):
            slope, error = float(self.coefficient[at]), float(self.std_error[at])
            low, high = np.exp(slope - 1.96 * error), np.exp(slope + 1.96 * error)
            lines += [
                "",
                f"[feature.{name}]",
                f"centre = {float(self.centre[at])!r}",
                f"scale = {float(self.scale[at])!r}",
                f"coefficient = {slope!r}",
                f"std_error = {error!r}",
                f"odds_ratio = {np.exp(slope):.3f}",
                f"odds_ratio_limits = [{low:.3f}, {high:.3f}]",
            ]
        return "\n".join(lines) + "\n"


def features(mornings: pd.DataFrame) -> Floats:
    """Return what the model looks at, one row a family-morning, columns as `FEATURES`.

    The late share is drawn toward one in five by five intervals, so that a new line is no
    extreme.
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
        mornings["lines"].to_numpy(dtype=np.float64) - 1,
        *(holds_code(mornings["reasons"], {str(r)}).astype(np.float64) for r in FLAGS),
    ]
    return np.column_stack(columns)


def fit_model(replayed: Replayed, penalty: float = PENALTY) -> Model | None:
    """Fit the model to replayed mornings; None when there are too few families with an event.

    Parameters
    ----------
    replayed : Replayed
        Mornings and later events; families that wait after a call are left out.
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
    values = features(replayed.mornings[at])
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
    days = [str(d)[:10] for d in dates_of([replayed.day.min(), replayed.day.max()])]
    return Model(
        fitted_from=days[0],
        fitted_to=days[1],
        family_mornings=len(event),
        families_with_event=with_event,
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


def read_model(path: Path) -> Model:
    """Read a model that `Model.text` wrote.

    Raises
    ------
    ModelError
        It is no model of this version.
    """
    try:
        told = tomllib.loads(path.read_text(encoding="utf-8"))
        each = [told["feature"][name] for name in FEATURES]
        if len(told["feature"]) != len(FEATURES):
            raise KeyError("feature")
        columns = {n: np.array([float(one[n]) for one in each]) for n in (
            "centre", "scale", "coefficient", "std_error")}  # fmt: skip
        return Model(
            fitted_from=str(told["fitted_from"]),
            fitted_to=str(told["fitted_to"]),
            family_mornings=int(told["family_mornings"]),
            families_with_event=int(told["families_with_event"]),
            intercept=float(told["intercept"]),
            **columns,
        )
    except (KeyError, TypeError, ValueError) as fault:
        raise ModelError(
            f"{path} is no model of this version ({fault}). Fit it anew: linedays backtest --fit "
            "FILE."
        ) from None

"""How is the order of calling fitted to replayed mornings?

With little data there is no model, and the order of the rules stays (see `decisions.order`); what
a model is, is in `decisions.fitted_model`.
"""

from __future__ import annotations

from datetime import date

import numpy as np
from scipy import special

from analysis.days import dates_of
from analysis.decisions.fitted_model import FEATURES, Floats, Model, features
from analysis.decisions.replayed import Replayed

PENALTY = 4.0
"""Half of it times each squared coefficient (of a feature in standard deviations) is taken off the
log-likelihood: a normal prior with standard deviation 1/2 (project choice)."""
FEWEST_FAMILIES = 50
"""Families with an event that a model needs; with fewer the rule order is used (project choice)."""
_STEPS = 100


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
    scale[scale < 1e-9] = 1.0  # the same for all: no information
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

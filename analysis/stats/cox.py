"""How does a line's hazard differ with what was true of it on the day?

Cox regression with delayed entry, covariates that change during follow-up and errors clustered
by family, and the splitting of follow-up that it needs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from analysis.stats.curve_limits import normal_quantile
from analysis.stats.day_table import Flags, Floats, Ints, same_length, whole_numbers

if TYPE_CHECKING:
    from statsmodels.duration.hazard_regression import PHReg

FADED = 1e-6
"""A fit that keeps less than this share of the information it began with has no finite end."""

CLOSE = 1e-12
"""Log-likelihood that a further step could gain at the most."""

MOST_STEPS = 200
"""Newton needs a handful; one step a unit of an infinite coefficient."""


class NoEstimateError(ValueError):
    """The data hold no finite hazard ratio; the message gives the reason, for a person to read."""


@dataclass(frozen=True, eq=False)
class CoxFit:
    """Result of :func:`cox`; arrays of shape (n_covariates,) in the order given."""

    names: tuple[str, ...]
    """What each covariate is called."""
    coefficients: Floats
    """Log hazard ratios per unit of the covariate."""
    std_errors: Floats
    """Their standard errors with clusters kept whole; nan when they say nothing of it,
    as one cluster does."""
    naive_errors: Floats
    """Their standard errors as if all rows were of independent lines."""
    hazard_ratios: Floats
    """exp(coefficients)."""
    lower: Floats
    """Lower limits of the hazard ratios, from `std_errors`."""
    upper: Floats
    """Upper limits of the hazard ratios, from `std_errors`."""
    p: Floats
    """Two-sided p of a hazard ratio of 1, from `std_errors`."""
    events: int
    """Events counted."""
    clusters: int
    """Clusters among the rows: with few (under 30 or so) the errors are too small."""


@dataclass(frozen=True, eq=False)
class SplitRows:
    """Follow-up split where a line enters or leaves a period; arrays of shape (n_rows,)."""

    line: Ints
    """Position of the line among those given."""
    start: Ints
    """Row covers the days ``start < day <= stop``, unit: days since placement."""
    stop: Ints
    event: Flags
    """The line ended at `stop`: on its last row only."""
    exposed: Flags
    """The row lies in a period."""


def cox(
    start_days: npt.ArrayLike,
    stop_days: npt.ArrayLike,
    events: npt.ArrayLike,
    covariates: npt.ArrayLike,
    clusters: npt.ArrayLike,
    *,
    names: Sequence[str] | None = None,
    confidence: float = 0.95,
) -> CoxFit:
    """Hazard ratios by Cox regression, with standard errors clustered by group.

    A line is at risk from its entry on, and each row holds for ``start < day <= stop``, so a
    covariate may change between the rows of one line (:func:`split_at_periods`). Ends of several
    lines on one day are taken as by Breslow.

    Parameters
    ----------
    start_days, stop_days : array_like, shape (n_rows,)
        Time since placement at which the row starts and stops, unit: days.
    events : array_like of bool, shape (n_rows,)
        The line ended by the cause of interest at the row's stop.
    covariates : array_like of float, shape (n_rows, n_covariates)
        Values that held during the row.
    clusters : array_like, shape (n_rows,)
        Family of the row: rows of one family are not taken as independent.
    names : sequence of str, optional
        Names of the covariates, for messages; default "covariate 0" and so on.
    confidence : float in (0, 1), default 0.95
        Two-sided.

    Returns
    -------
    CoxFit
        Limits and p from the normal distribution and the clustered errors.

    Raises
    ------
    ValueError
        Shapes do not fit, a value is not finite, or a row does not start before it stops: names
        the first bad position.
    NoEstimateError
        No events; a covariate that does not vary within any set of lines at risk; or events that
        are all on one side of a covariate, which no finite hazard ratio describes.

    Notes
    -----
    *Source:* partial likelihood: Cox, JRSS B 34 (1972) 187; clustered errors: Lin & Wei, JASA 84
    (1989) 1074 (both from memory). Likelihood by statsmodels PHReg; the clustered errors are its
    formula, whose cost it multiplies by the number of days with an event. Rows that cover no event
    carry no information and are left out, and time is replaced by the rank of the event, which
    the partial likelihood cannot separate from time.

    Examples
    --------
    >>> fit = cox([0, 0, 0, 0], [1, 2, 3, 4], [1, 1, 1, 1], [[1], [0], [1], [0]], [1, 2, 3, 4])
    >>> fit.hazard_ratios.round(3).tolist(), fit.events
    ([2.562], 4)
    """
    z = normal_quantile(confidence)
    start, stop, event, values, codes = _checked(
        start_days, stop_days, events, covariates, clusters
    )
    called = tuple(names) if names else tuple(f"covariate {j}" for j in range(values.shape[1]))
    if len(called) != values.shape[1]:
        raise ValueError(f"{len(called)} names for {values.shape[1]} covariates")
    if not event.any():
        raise NoEstimateError("No line ended: a hazard ratio cannot be estimated.")

    # One row covers the events numbered first + 1 to last in time; without any it is left out.
    times = np.unique(stop[event])
    first = np.searchsorted(times, start, side="right")
    last = np.searchsorted(times, stop, side="right")
    informative = last > first
    spread = values[informative].std(axis=0)
    spread[spread == 0] = 1.0
    from statsmodels.duration.hazard_regression import PHReg  # takes long to load

    model = PHReg(
        last[informative].astype(np.float64),
        (values[informative] - values[informative].mean(axis=0)) / spread,
        status=event[informative].astype(np.int64),
        entry=first[informative] + 0.5,
        ties="breslow",
    )
    _refuse_without_information(model.hessian(np.zeros(len(called))), called)
    scaled = _highest(model, called)
    coefficients = scaled / spread
    inverse = np.linalg.inv(-model.hessian(scaled))
    naive = np.sqrt(np.diag(inverse)) / spread
    residuals = _score_residuals(
        first[informative], last[informative], event[informative], model.exog, scaled
    )
    of_cluster = [np.bincount(codes[informative], column) for column in residuals.T]
    by_cluster = np.column_stack(of_cluster) @ inverse
    clustered = np.sqrt((by_cluster**2).sum(axis=0)) / spread
    # Clusters whose parts cancel, as those of one cluster do, say nothing of the error.
    errors = np.where(clustered > 1e-6 * naive, clustered, np.nan)
    return CoxFit(
        names=called,
        coefficients=coefficients,
        std_errors=errors,
        naive_errors=naive,
        hazard_ratios=np.exp(coefficients),
        lower=np.exp(coefficients - z * errors),
        upper=np.exp(coefficients + z * errors),
        p=2 * ndtr(-np.abs(coefficients / errors)),
        events=int(event.sum()),
        clusters=int(codes.max()) + 1,
    )


def split_at_periods(
    start_days: npt.ArrayLike,
    stop_days: npt.ArrayLike,
    events: npt.ArrayLike,
    period_lines: npt.ArrayLike,
    period_from_days: npt.ArrayLike,
    period_to_days: npt.ArrayLike,
) -> SplitRows:
    """Split each line's follow-up where it enters or leaves a period, such as being overdue.

    A period is a run of line-days ``from <= day < to``. The hazard of a day is explained by the
    state of the line at the midnight before it, so the period covers the days at risk
    ``from < day <= to``: a line removed on the day it would have come into the period was not in
    it, one removed on the day a period is cut by the removal was.

    Parameters
    ----------
    start_days, stop_days : array_like of int, shape (n_lines,)
        Each line is at risk on ``start < day <= stop``, unit: days since placement.
    events : array_like of bool, shape (n_lines,)
        The line ended at its stop.
    period_lines : array_like of int, shape (n_periods,)
        Position of the line the period belongs to.
    period_from_days, period_to_days : array_like of int, shape (n_periods,)
        First day of the period and the day after its last, unit: days since placement. Periods of
        one line do not overlap; parts outside its follow-up are cut off.

    Returns
    -------
    SplitRows
        In order of line and start. The rows of a line cover its follow-up without gap or overlap.

    Raises
    ------
    ValueError
        Lengths differ, values are not whole numbers, a line does not start before it stops, a
        period does not begin before it ends, belongs to no line, or overlaps another of its line.

    Examples
    --------
    A line at risk on days 1 to 9, overdue on the line-days 4 and 5.

    >>> rows = split_at_periods([0], [9], [True], [0], [4], [6])
    >>> list(zip(rows.start.tolist(), rows.stop.tolist(), rows.exposed.tolist()))
    [(0, 4, False), (4, 6, True), (6, 9, False)]
    """
    start = whole_numbers(start_days, "start_days")
    stop = whole_numbers(stop_days, "stop_days")
    event = np.asarray(events, dtype=np.bool_)
    same_length(start_days=start, stop_days=stop, events=event)
    _refuse(start >= stop, "a line must start before it stops; position {}")
    line, since, until = _checked_periods(
        period_lines, period_from_days, period_to_days, len(start)
    )

    since = np.maximum(since, start[line])
    until = np.minimum(until, stop[line])
    inside = since < until
    line, since, until = line[inside], since[inside], until[inside]

    # One packed key is one day of one line, in order; a row runs from one cut to the next one.
    lowest = int(start.min(initial=0))
    width = int(stop.max(initial=0)) - lowest + 1
    every = np.arange(len(start))
    begins = every * width + start - lowest
    period_begins = line * width + since - lowest
    period_ends = line * width + until - lowest
    ends = every * width + stop - lowest
    cuts = np.unique(np.concatenate((begins, period_begins, period_ends, ends)))
    rows = np.setdiff1d(cuts, ends)
    row_line = rows // width
    row_stop = cuts[np.searchsorted(cuts, rows) + 1] - row_line * width + lowest
    started = np.searchsorted(period_begins, rows, side="right")
    ended = np.searchsorted(period_ends, rows, side="right")
    return SplitRows(
        line=row_line,
        start=rows - row_line * width + lowest,
        stop=row_stop,
        event=event[row_line] & (row_stop == stop[row_line]),
        exposed=started > ended,
    )


def _checked(
    start_days: npt.ArrayLike,
    stop_days: npt.ArrayLike,
    events: npt.ArrayLike,
    covariates: npt.ArrayLike,
    clusters: npt.ArrayLike,
) -> tuple[Floats, Floats, Flags, Floats, Ints]:
    """The rows as arrays, clusters numbered from 0."""
    start = np.asarray(start_days, dtype=np.float64)
    stop = np.asarray(stop_days, dtype=np.float64)
    event = np.asarray(events).astype(np.bool_)
    values = np.asarray(covariates, dtype=np.float64)
    _, codes = np.unique(np.asarray(clusters), return_inverse=True)
    if values.ndim != 2 or values.shape[1] == 0:
        raise ValueError(f"covariates must have one column each, not the shape {values.shape}")
    same_length(start_days=start, stop_days=stop, events=event, covariates=values, clusters=codes)
    finite = np.isfinite(start) & np.isfinite(stop) & np.isfinite(values).all(axis=1)
    _refuse(~finite, "days and covariates must be finite; position {}")
    _refuse(start >= stop, "a row must start before it stops; position {}")
    return start, stop, event, values, codes


def _checked_periods(
    period_lines: npt.ArrayLike, since_days: npt.ArrayLike, until_days: npt.ArrayLike, n_lines: int
) -> tuple[Ints, Ints, Ints]:
    """The periods as arrays, in order of line and day."""
    line = whole_numbers(period_lines, "period_lines")
    since = whole_numbers(since_days, "period_from_days")
    until = whole_numbers(until_days, "period_to_days")
    same_length(period_lines=line, period_from_days=since, period_to_days=until)
    _refuse((line < 0) | (line >= n_lines), "a period belongs to no line; position {}")
    _refuse(since >= until, "a period must begin before it ends; position {}")
    order = np.lexsort((since, line))
    line, since, until = line[order], since[order], until[order]
    overlap = (line[1:] == line[:-1]) & (since[1:] < until[:-1])
    if overlap.any():
        where = int(order[1:][np.argmax(overlap)])
        raise ValueError(f"a period overlaps another of its line; position {where}")
    return line, since, until


def _refuse(bad: Flags, sentence: str) -> None:
    """Raise ValueError naming the first bad position, if there is one."""
    if bad.any():
        raise ValueError(sentence.format(int(np.argmax(bad))))


def _refuse_without_information(hessian: Floats, names: tuple[str, ...]) -> None:
    """Refuse covariates that do not vary, alone or together, within any set of lines at risk."""
    information = np.diag(-hessian)
    for name, amount in zip(names, information, strict=True):
        if amount <= 1e-10:
            raise NoEstimateError(
                f"{name} is the same for all lines at risk whenever one ended: its hazard ratio "
                "cannot be estimated."
            )
    scale = np.sqrt(information)
    if np.linalg.matrix_rank(-hessian / np.outer(scale, scale), tol=1e-9) < len(names):
        raise NoEstimateError(
            f"{', '.join(names)} cannot be separated: one follows from the others."
        )


def _highest(model: PHReg, names: tuple[str, ...]) -> Floats:
    """Coefficients of the highest likelihood, by Newton's steps, halved while they go down.

    The library's own steps run past the top, and past any bound, when there is no top.
    """
    b = np.zeros(len(names))
    information = at_start = -model.hessian(b)
    with np.errstate(all="ignore"):
        for _ in range(MOST_STEPS):
            # On the way to an infinite coefficient the information fades, in any unit.
            if not np.isfinite(information).all() or _share_left(at_start, information) < FADED:
                break
            score = model.score(b)
            step = np.linalg.solve(information, score)
            if not np.isfinite(step).all():
                break
            if score @ step < CLOSE:
                return np.asarray(b + step)
            enough = model.loglike(b) - CLOSE
            while not model.loglike(b + step) >= enough:  # nan is not enough either
                step = step / 2
            b = b + step
            information = -model.hessian(b)
    raise NoEstimateError(
        f"The events are on one side of {', '.join(names)}: no finite hazard ratio describes "
        "them. Report the counts instead."
    )


def _score_residuals(
    first: Ints, last: Ints, event: Flags, values: Floats, coefficients: Floats
) -> Floats:
    """What each row adds to the score, shape (n_rows, n_covariates); rows add up to 0.

    A row covers the events numbered ``first + 1`` to ``last``; one with an event ends at the last.
    """
    linear = values @ coefficients
    weight = np.exp(linear - linear.max())
    n = int(last.max()) + 1

    def at_risk(amount: Floats) -> Floats:
        """By number of the event, the sum over the rows that cover it."""
        covering = np.bincount(first + 1, amount, n + 1) - np.bincount(last + 1, amount, n + 1)
        return np.asarray(np.cumsum(covering)[1:n])

    total = at_risk(weight)
    mean = np.column_stack([at_risk(weight * column) for column in values.T]) / total[:, None]
    hazard = np.bincount(last[event], minlength=n)[1:] / total
    # From before the first event on, so that a difference is what lies between two of them.
    passed = np.concatenate([[0.0], np.cumsum(hazard)])
    mean_passed = np.vstack([np.zeros_like(mean[:1]), np.cumsum(mean * hazard[:, None], axis=0)])
    expected = values * (passed[last] - passed[first])[:, None]
    expected -= mean_passed[last] - mean_passed[first]
    residuals = -weight[:, None] * expected
    residuals[event] += values[event] - mean[last[event] - 1]
    return residuals


def _share_left(at_start: Floats, information: Floats) -> float:
    """Share of the information that is left, in the direction that lost most."""
    return float(np.linalg.eigvals(np.linalg.solve(at_start, information)).real.min())

"""How often would a programme's own chart give a false signal if nothing changed?"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from analysis.stats.charts import u_chart
from analysis.stats.dispersion import chart_dispersion
from analysis.stats.inputs import whole_numbers

REPLICATES = 100
SEED = 20_310


def false_alarm_rate(
    events: npt.ArrayLike,
    line_days: npt.ArrayLike,
    family: npt.ArrayLike,
    period: npt.ArrayLike,
    *,
    baseline: int | None = None,
    replicates: int = REPLICATES,
    seed: int = SEED,
) -> float:
    """Share of charts with a signal, of steady programmes like this one.

    The simulated programmes have this one's families, line-days and overall rate. Families differ
    as much as they do here (gamma), and so do periods beyond that (gamma).

    Parameters
    ----------
    events, line_days : array_like of int, shape (n,)
        One entry a family and period.
    family, period : array_like of int, shape (n,)
        Code of the family; number of the period from 0.
    baseline : int, optional
        As of the chart: signals count after it. Default: all periods, and all count.
    replicates : int
        Programmes simulated; the error of a share p is about ``sqrt(p (1 - p) / replicates)``.
    seed : int
        Of the random generator.

    Returns
    -------
    float
        0 to 1; nan without events or line-days, or with no period after the baseline.

    Raises
    ------
    ValueError
        Counts or days that are negative or not whole.

    Notes
    -----
    Source: parametric bootstrap, spreads by the method of moments; the chart is judged as
    `stats.charts.u_chart` with `stats.dispersion.chart_dispersion` judges the real one.

    Examples
    --------
    >>> families, months = np.tile(np.arange(20), 24), np.repeat(np.arange(24), 20)
    >>> steady = np.random.default_rng(1).poisson(0.1, 480)
    >>> false_alarm_rate(steady, [30] * 480, families, months) < 0.2
    True
    """
    counts, days = whole_numbers(events, "events"), whole_numbers(line_days, "line_days")
    used = days > 0
    counts, days = counts[used], days[used]
    of_period = np.asarray(period)[used]
    of_family = np.unique(np.asarray(family)[used], return_inverse=True)[1]
    periods = int(of_period.max(initial=-1)) + 1
    first = baseline or 0
    total = int(counts.sum())
    if total == 0 or periods <= first:
        return math.nan
    mean = total * days / days.sum()
    families = int(of_family.max()) + 1
    of_families = _spread(
        np.bincount(of_family, counts).astype(np.float64),
        np.bincount(of_family, mean).astype(np.float64),
    )
    whole = np.bincount(of_period, days, periods)
    seen = chart_dispersion(counts, days, of_family, of_period)
    excess = max(0.0, seen.of_periods - max(1.0, seen.of_families)) if periods > 1 else 0.0
    of_periods = excess * periods / total
    rng = np.random.default_rng(seed)
    alarms = 0
    for _ in range(replicates):
        rate = _rates(rng, of_families, families)[of_family]
        rate = rate * _rates(rng, of_periods, periods)[of_period]
        sampled = rng.poisson(mean * rate)
        base = of_period < (baseline or periods)
        found = chart_dispersion(sampled[base], days[base], of_family[base], of_period[base])
        chart = u_chart(
            np.bincount(of_period, sampled, periods).astype(np.int64),
            whole.astype(np.int64),
            baseline=baseline,
            dispersion=found.over(np.arange(periods) < (baseline or periods)),
            centre_error=0.0 if baseline is None else found.centre_error,
            independent=found.independent,
        )
        alarms += any(bool(broken[first:].any()) for broken in chart.signals.values())
    return alarms / replicates


def _spread(counts: npt.NDArray[np.float64], means: npt.NDArray[np.float64]) -> float:
    """Squared coefficient of variation of true rates, by moments; 0 for none to see."""
    squares = float((means**2).sum())
    return max(0.0, float(((counts - means) ** 2 - means).sum()) / squares) if squares else 0.0


def _rates(rng: np.random.Generator, spread: float, size: int) -> npt.NDArray[np.float64]:
    """Rates around 1 with that squared coefficient of variation."""
    return rng.gamma(1 / spread, spread, size) if spread > 1e-6 else np.ones(size)

"""Survival estimates read straight from the textbook, line by line and day by day.

Slow and obvious on purpose, in exact fractions where the formula allows. A line is
``(entry, exit, cause)``: at risk on the days ``entry < day <= exit``; cause 0 is censored.
Shares no code with the project.
"""

from __future__ import annotations

from fractions import Fraction
from math import exp, inf, log, sqrt

Line = tuple[int, int, int]


def at_risk(lines: list[Line], day: int) -> int:
    count = 0
    for entry, leave, _ in lines:
        if entry < day <= leave:
            count += 1
    return count


def ended(lines: list[Line], day: int, cause: int | None = None) -> int:
    count = 0
    for _, leave, why in lines:
        if leave == day and why != 0 and (cause is None or why == cause):
            count += 1
    return count


def last_day(lines: list[Line]) -> int:
    return max((leave for _, leave, _ in lines), default=0)


def kaplan_meier(lines: list[Line], start: int = 0) -> list[tuple[int, Fraction, Fraction | None]]:
    """Day, share in place and Greenwood's variance, from the start to the last day.

    The variance is None once nobody is left.
    """
    share = Fraction(1)
    spread = Fraction(0)
    found: list[tuple[int, Fraction, Fraction | None]] = [(start, share, Fraction(0))]
    for day in range(start + 1, last_day(lines) + 1):
        n, d = at_risk(lines, day), ended(lines, day)
        if n and share:
            share *= 1 - Fraction(d, n)
            if d < n:
                spread += Fraction(d, n * (n - d))
        found.append((day, share, share**2 * spread if share else None))
    return found


def log_log_limits(share: float, variance: float, z: float) -> tuple[float, float]:
    """Limits of a share strictly between 0 and 1 on the scale log(-log)."""
    width = z * sqrt(variance) / (share * abs(log(share)))
    return share ** exp(width), share ** exp(-width)


def restricted_mean(lines: list[Line], horizon: int, start: int = 0) -> tuple[Fraction, Fraction]:
    """Area under the curve from the start to the horizon, and its variance."""
    share = {day: s for day, s, _ in kaplan_meier(lines, start)}
    area = sum((share[day] for day in range(start, horizon)), Fraction(0))
    variance = Fraction(0)
    for day in range(start + 1, horizon):
        n, d = at_risk(lines, day), ended(lines, day)
        if d and n > d:
            right = sum((share[later] for later in range(day, horizon)), Fraction(0))
            variance += right**2 * Fraction(d, n * (n - d))
    return area, variance


def aalen_johansen(
    lines: list[Line], n_causes: int, start: int = 0
) -> list[tuple[int, list[Fraction], list[Fraction]]]:
    """Day, then share and variance of: still in place, ended by cause 1, 2, and so on.

    The state probabilities are multiplied day by day by the transition matrix; the covariance
    follows from the multinomial draw of each day.
    """
    states = n_causes + 1
    share = [Fraction(1)] + [Fraction(0)] * n_causes
    cov = [[Fraction(0)] * states for _ in range(states)]
    found = [(start, list(share), [Fraction(0)] * states)]
    for day in range(start + 1, last_day(lines) + 1):
        n = at_risk(lines, day)
        if n:
            leave = [Fraction(ended(lines, day, k), n) for k in range(1, states)]
            move = [[Fraction(int(i == j)) for j in range(states)] for i in range(states)]
            move[0] = [1 - sum(leave, Fraction(0)), *leave]
            new = [[Fraction(0)] * states for _ in range(states)]
            for i in range(states):
                for j in range(states):
                    for a in range(states):
                        for b in range(states):
                            new[i][j] += move[a][i] * cov[a][b] * move[b][j]
                    drawn = move[0][i] * ((i == j) - move[0][j]) / n
                    new[i][j] += share[0] ** 2 * drawn
            cov = new
            share = [sum(share[a] * move[a][j] for a in range(states)) for j in range(states)]
        found.append((day, list(share), [cov[j][j] for j in range(states)]))
    return found


def logrank_parts(
    groups: list[list[Line]], cause: int | None = None
) -> tuple[list[Fraction], list[list[Fraction]]]:
    """Observed less expected events by group, and their covariance."""
    k = len(groups)
    everybody = [line for group in groups for line in group]
    excess = [Fraction(0)] * k
    cov = [[Fraction(0)] * k for _ in range(k)]
    for day in range(1, last_day(everybody) + 1):
        n, d = at_risk(everybody, day), ended(everybody, day, cause)
        if not d:
            continue
        share = [Fraction(at_risk(group, day), n) for group in groups]
        for i in range(k):
            excess[i] += ended(groups[i], day, cause) - d * share[i]
            if n > 1:
                for j in range(k):
                    cov[i][j] += share[i] * ((i == j) - share[j]) * Fraction(d * (n - d), n - 1)
    return excess, cov


def mean_count(
    rows: list[tuple[int, int, int]], events: list[tuple[int, int]], until: int
) -> tuple[Fraction, Fraction]:
    """Mean cumulative number of events by a day, and its variance over clusters.

    A row is ``(start, stop, cluster)``, an event ``(day, cluster)``.
    """
    mean = Fraction(0)
    part = {cluster: Fraction(0) for _, _, cluster in rows}
    for day in range(1, until + 1):
        n = sum(1 for start, stop, _ in rows if start < day <= stop)
        d = sum(1 for when, _ in events if when == day)
        if not n:
            continue
        mean += Fraction(d, n)
        for cluster in part:
            own_rows = sum(1 for a, b, c in rows if a < day <= b and c == cluster)
            own_events = sum(1 for when, c in events if when == day and c == cluster)
            part[cluster] += (own_events - own_rows * Fraction(d, n)) / n
    return mean, sum((p**2 for p in part.values()), Fraction(0))


CoxRow = tuple[float, float, bool, float, int]
"""Start, stop, ended, one covariate, cluster."""


def cox_one(rows: list[CoxRow]) -> tuple[float, float, float]:
    """Log hazard ratio of one covariate by bisection of the score, ties as by Breslow, with the
    variance from the information and the variance over clusters; infinite without information.
    """
    low, high = -20.0, 20.0
    for _ in range(60):
        middle = (low + high) / 2
        if _score(rows, middle) > 0:
            low = middle
        else:
            high = middle
    b = (low + high) / 2
    information = 0.0
    part = {row[4]: 0.0 for row in rows}
    for time in _event_times(rows):
        there = [row for row in rows if row[0] < time <= row[1]]
        weight = sum(exp(b * row[3]) for row in there)
        mean = sum(row[3] * exp(b * row[3]) for row in there) / weight
        square = sum(row[3] ** 2 * exp(b * row[3]) for row in there) / weight
        d = sum(1 for row in there if row[2] and row[1] == time)
        information += d * (square - mean**2)
        for row in there:
            own = 1.0 if row[2] and row[1] == time else 0.0
            part[row[4]] += (row[3] - mean) * (own - d * exp(b * row[3]) / weight)
    if information == 0:
        return b, inf, inf
    return b, 1 / information, sum(p**2 for p in part.values()) / information**2


def _event_times(rows: list[CoxRow]) -> list[float]:
    return sorted({row[1] for row in rows if row[2]})


def _score(rows: list[CoxRow], b: float) -> float:
    total = 0.0
    for time in _event_times(rows):
        there = [row for row in rows if row[0] < time <= row[1]]
        weight = sum(exp(b * row[3]) for row in there)
        mean = sum(row[3] * exp(b * row[3]) for row in there) / weight
        total += sum(row[3] - mean for row in there if row[2] and row[1] == time)
    return total

"""The definitions of the quantities on which the educator decides."""

from __future__ import annotations

from datetime import date

import numpy as np

from analysis.definitions.model import Definition, Example, Rows, records_of
from analysis.stats.bootstrap import cluster_share_interval
from analysis.stats.regression import clustered_rate_ratio
from analysis.stats.shrinkage import BetaBinomial
from analysis.tallies import Tallies
from analysis.timeline import Timeline

_SELF_CHECKS: dict[str, Rows] = {
    "lines": {"home_from": ["2031-03-01"], "dressing_on": ["2031-03-01"]},
    "home_log": {
        "done_on": [f"2031-03-{day:02}" for day in range(2, 12)],
        "kind": ["dressing_change"] * 10,
        "caregiver_id": ["K1"] * 10,
        "steps_missed": ["mask", "none"] * 4 + ["none"] * 2,
    },
}
_LEARNER: dict[str, Rows] = {
    **_SELF_CHECKS,
    "home_log": {
        **_SELF_CHECKS["home_log"],
        "steps_missed": ["mask", "mask", "none", "mask", "none", *["none"] * 3, "mask", "none"],
    },
}
_PROGRAMME = BetaBinomial(yes=2.0, no=8.0, numerator=20, denominator=100)
"""Shares of a programme's caregivers, as they may have been fitted: one in five on average."""


def _adjusted_share(_: Timeline, __: Tallies) -> object:
    checks = records_of(_SELF_CHECKS).home_log["steps_missed"]
    missed, seen = int((checks == "mask").sum()), int(checks.notna().sum())
    share = float(_PROGRAMME.posterior_mean([missed], [seen])[0])
    above = float(_PROGRAMME.probability_above(0.2, [missed], [seen])[0])
    return (round(share, 2), round(above, 2))


_FAMILIES = 12
_QUARTER = 13
"""Weekly changes in a quarter, before and after."""


def _of_each(*counts: int) -> list[int]:
    return [count for count in counts for _ in range(_FAMILIES)]


def _ratios(_: Timeline, __: Tallies) -> object:
    """Each of 12 families misses 6 of 13 before and 3 of 13 after, with a refresher or without."""
    family = np.tile(np.arange(_FAMILIES), 2)
    seen = _of_each(_QUARTER, _QUARTER)
    own = clustered_rate_ratio(_of_each(3, 6), seen, _of_each(1, 0), family)
    apart = np.arange(2 * _FAMILIES)
    against = clustered_rate_ratio(_of_each(3, 3), seen, _of_each(1, 0), apart)
    return (round(own.ratio, 2), round(against.ratio, 2))


def _by_changes(_: Timeline, __: Tallies) -> object:
    checks = records_of(_LEARNER).home_log["steps_missed"]
    missed = (checks == "mask").to_numpy()
    place = np.repeat([0, 1], [5, 5])
    found = cluster_share_interval(missed.astype(int), np.ones(10, dtype=int), place)
    return tuple(round(float(share), 2) for share in found.share)


NEEDS = (
    Definition(
        key="drawn_share",
        title="Adjusted share of a step, and the probability that it is above the limit",
        words=(
            "Only recent occasions count: those of the policy's window (6 months unless changed), and "
            "none before the caregiver's last refresher (where the log names nobody, the family's "
            "last one); older ones are shown apart. A caregiver's own "
            "share of occasions on which a step was missed is partly chance. True shares are taken to "
            "follow a beta distribution; every such distribution counts by how well it explains all "
            "caregivers, and each share is adjusted towards the programme's by as much as its few "
            "occasions deserve. Retrain: the probability of being above the limit is at least 80 %, or "
            "the last 5 or more occasions were all missed. Too early to tell: fewer than 4 occasions "
            "since a refresher. Improved or watch: since a refresher, clearly better or not. The probability is how much of "
            "what is known of the caregiver lies above the step's limit: one in five self-checks, one "
            "in ten changes for skin findings, and the policy's own limits for early failures and "
            "late changes. The limits of self-checks and skin findings are a choice of this project."
        ),
        unit="share missed; probability",
        source="beta-binomial, averaged over how caregivers may differ",
        example=Example(
            "Say that shares are known to follow a beta distribution with 2 and 8: one in five on "
            "average. A caregiver left out the mask in 4 of 10 self-checks. Adjusted share: 2 + 4 of "
            "2 + 8 + 10, so 6 of 20, not 4 of 10. The probability that the true share is above one "
            "in five is that of at most 5 successes in 19 trials with a chance of 0.2 each: 0.84.",
            _SELF_CHECKS,
            date(2031, 3, 20),
            _adjusted_share,
            (0.3, 0.84),
        ),
    ),
    Definition(
        key="refresher_effect",
        title="Effect of refreshers: own ratio, and ratio against similar families",
        words=(
            "Own ratio: the share of occasions missed in the 91 days after a refresher over that in "
            "the 91 days up to it, of the families refreshed. Families are sent after a bad period, and "
            "bad periods pass by themselves (regression to the mean), so this ratio alone shows an effect "
            "where there is none. Next to it is the ratio to what families of the same record missed that "
            "were not retrained on that day: alike in what was missed in the last quarter, the last four "
            "weeks and on the last occasion, and compared by their whole record. They stay in the "
            "comparison when they are retrained later, which understates an effect. Limits take each "
            "family as one witness and need ten families with something missed. They are shown only if a "
            "step that no refresher teaches, changing in time, confirms them: otherwise families were "
            "chosen for reasons that the log does not show, and the effect can't be estimated. The ratio "
            "for that step is shown as the negative control; it should be near 1."
        ),
        unit="ratio of shares; 1 means no change",
        source="sequence of emulated trials with a negative control; errors clustered by family",
        example=Example(
            "Twelve families missed 6 of 13 changes each, had a refresher, and missed 3 of 13 after "
            "it: own ratio 3/13 over 6/13, so 0.5. Twelve other families missed 6 of 13 as well, had "
            "none, and missed 3 of 13 in the quarter after: against similar families the ratio is "
            "3/13 over 3/13, so 1. The refreshers changed nothing.",
            _SELF_CHECKS,
            date(2031, 3, 20),
            _ratios,
            (0.5, 1.0),
        ),
    ),
    Definition(
        key="learning_curve",
        title="Learning curve of a step",
        words=(
            "The share of occasions on which a step was missed, by how many dressing changes the "
            "caregiver has done since the first sign-off: the first five, the next five, then ten, "
            "thirty, and all later. Occasions before a sign-off are left out. Limits resample whole "
            "families and need five. Later ranges hold other caregivers than the first, as lines come "
            "out: a falling curve is not all learning."
        ),
        unit="share missed",
        source="ratio of sums; limits by resampling families",
        example=Example(
            "A caregiver, signed off on 1 March, left out the mask in 3 of the first five changes and "
            "in 1 of the next five: shares 0.6 and 0.2.",
            _LEARNER,
            date(2031, 3, 20),
            _by_changes,
            (0.6, 0.2),
        ),
    ),
)
"""Who needs retraining, and whether it helped, in reading order."""

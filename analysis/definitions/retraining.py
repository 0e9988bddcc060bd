"""The definitions of the quantities on which the educator decides."""

from __future__ import annotations

from datetime import date

from analysis.definitions.model import Definition, Example, Rows, records_of
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
_PROGRAMME = BetaBinomial(yes=2.0, no=8.0, numerator=20, denominator=100)
"""Shares of a programme's caregivers, as they may have been fitted: one in five on average."""


def _drawn(_: Timeline, __: Tallies) -> object:
    checks = records_of(_SELF_CHECKS).home_log["steps_missed"]
    missed, seen = int((checks == "mask").sum()), int(checks.notna().sum())
    share = float(_PROGRAMME.posterior_mean([missed], [seen])[0])
    above = float(_PROGRAMME.probability_above(0.2, [missed], [seen])[0])
    return (round(share, 2), round(above, 2))


NEEDS = (
    Definition(
        key="drawn_share",
        title="Drawn share of a step, and the probability that it is above the limit",
        words=(
            "Caregivers differ, and a caregiver's own share of occasions on which a step was missed "
            "is partly chance. True shares are taken to follow a beta distribution, fitted to all "
            "caregivers of whom the step is known; each caregiver's share is drawn toward the "
            "programme's by as much as its few occasions deserve. The probability says how much of "
            "what is known of the caregiver lies above the step's limit: one in five self-checks, one "
            "in ten changes for skin findings, and the policy's own limits for early failures and "
            "late changes. The limits of self-checks and skin findings are a choice of this project."
        ),
        unit="share missed; probability",
        source="beta-binomial by maximum likelihood (empirical Bayes)",
        example=Example(
            "In this programme shares follow a beta distribution with 2 and 8: one in five on "
            "average. A caregiver left out the mask in 4 of 10 self-checks. Drawn share: 2 + 4 of "
            "2 + 8 + 10, so 6 of 20, not 4 of 10. The probability that the true share is above one "
            "in five is that of at most 5 successes in 19 trials with a chance of 0.2 each: 0.84.",
            _SELF_CHECKS,
            date(2031, 3, 20),
            _drawn,
            (0.3, 0.84),
        ),
    ),
)
"""Who needs retraining, and whether it helped, in reading order."""

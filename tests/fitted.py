"""A fitted order written down for a test, so that a reader can work out its shares by hand."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np

from analysis.decisions.fitted_model import FEATURES, Model
from analysis.policy import shipped_policy


def model(
    feature: str = "log_days_overdue",
    slope: float = -1.0,
    fitted_on: date = date(2031, 3, 1),
    **other: Any,
) -> Model:
    """A model that looks at one feature."""
    policy, count = shipped_policy(), len(FEATURES)
    slopes = np.where(np.array(list(FEATURES)) == feature, slope, 0.0)
    return Model(
        **{
            "fitted_on": fitted_on,
            "first_morning": date(2030, 9, 1),
            "last_morning": date(2031, 2, 22),
            "policy": policy.name,
            "edition": policy.on(fitted_on).version,
            "families": 120,
            "family_mornings": 7000,
            "line_mornings": 7400,
            "mornings_with_event": 500,
            "families_with_event": 80,
            "penalty": 4.0,
            "intercept": -0.5,
            "centre": np.full(count, 0.1),
            "scale": np.full(count, 1 / 3),
            "coefficient": slopes,
            "std_error": np.full(count, 0.2),
            **other,
        }
    )

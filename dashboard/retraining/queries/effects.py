"""Did refreshers help, and do caregivers learn by doing? Fills `HelpedView`."""

from __future__ import annotations

import pandas as pd

from analysis.decisions.practice import NO_SIGN_OFF
from analysis.decisions.refresher_effect import REGRESSION_CAUTION
from analysis.decisions.refresher_trials import WINDOW_DAYS
from analysis.decisions.refreshers import control_sentence, taught
from dashboard.addresses.retraining import NeedsChoice
from dashboard.retraining.queries.needs import step_name
from dashboard.retraining.queries.training import Training
from dashboard.retraining.views import HelpedView


def helped_view(training: Training, choice: NeedsChoice) -> HelpedView:
    """What the lower part of the educator's page shows, of all of the person's sites."""
    effects, learning = training.helped
    found = training.found
    known = taught(effects)
    known = known[(known["families"] > 0).to_numpy(dtype=bool)]
    known = known.assign(
        step_name=[step_name(found, str(s)) for s in known["step"]],
        reading=known["reading"].str.removeprefix(REGRESSION_CAUTION),
    )
    missed = known["missed_before"] + known["missed_after"]
    known = known.loc[missed.sort_values(ascending=False, kind="stable").index]
    learning = learning[(learning["step"] != NO_SIGN_OFF).to_numpy(dtype=bool)]
    missed = learning.groupby("step", observed=True)["missed"].sum().sort_values(ascending=False)
    curves = tuple((str(s), step_name(found, str(s))) for s in missed.index)
    names = dict(curves)
    curve = choice.curve if choice.curve in names else next(iter(names), None)
    own = learning[(learning["step"] == curve).to_numpy(dtype=bool, na_value=False)]
    return HelpedView(
        effects=known.reset_index(drop=True),
        learning=own.assign(name=_ranges(own)).reset_index(drop=True),
        curve=curve,
        curve_name="" if curve is None else names[curve],
        curves=tuple(sorted(curves, key=lambda pair: pair[1])),
        window_days=WINDOW_DAYS,
        control=control_sentence(effects),
    )


def _ranges(learning: pd.DataFrame) -> list[str]:
    """Ranges of changes in words: 1–5, 51 and on."""
    return [
        f"{first} on" if pd.isna(last) else f"{first}–{last}"
        for first, last in zip(learning["first_change"], learning["last_change"], strict=True)
    ]

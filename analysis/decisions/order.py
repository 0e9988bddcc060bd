"""In which order are the families of one band called?

By the rules (definitions §7), or by the share of like mornings that were followed by an event, the
highest first. Bands never change by it.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.decisions.calls import CallList
from analysis.decisions.fitted_model import Model
from analysis.decisions.mornings import with_families
from analysis.decisions.order_file import Fits
from analysis.decisions.sentences import NO_FITTED_ORDER, RULE_ORDER, expected_sentences
from analysis.policy import Edition
from analysis.tables.records import Records
from analysis.timeline import Timeline
from analysis.vocabulary import Band
from analysis.words import day_year

Floats = npt.NDArray[np.float64]
EVENT = "a skin event, an unplanned removal or a confirmed infection"


def model_on(fits: Fits | None, edition: Edition, day: date, known_on: date) -> Model | None:
    """Return the fitted order in use on a day: known by then, and fitted by the edition in force.

    Parameters
    ----------
    fits : Fits or None
        Fitted orders of the programme.
    edition : Edition
        In force on the day.
    day : date
        Day of the list.
    known_on : date
        Day on which all was received that the list may know.
    """
    model = None if fits is None else fits.on(min(day, known_on))
    return model if model is not None and model.edition == edition.version else None


def order_words(fits: Fits | None, edition: Edition, day: date, known_on: date) -> str:
    """Which order is in use within a band, and why."""
    model = model_on(fits, edition, day, known_on)
    if model is not None:
        return (
            f"Sorted by expected benefit: first the families most likely to have {EVENT} within "
            f"7 days. Fitted to {model.family_mornings:,} mornings of "
            f"{model.families:,} families, {day_year(model.first_morning)} to "
            f"{day_year(model.last_morning)}."
        )
    if fits is None:
        return f"{RULE_ORDER} {NO_FITTED_ORDER}"
    newest = fits.on(min(day, known_on))
    if newest is None:
        first = day_year(fits.models[0].fitted_on)
        return f"{RULE_ORDER} The first fitted order is from {first}, later than the data of this list."
    return (
        f"{RULE_ORDER} The newest fitted order belongs to policy edition {newest.edition}, but "
        f"{edition.version} is in force: fit it again."
    )


def in_order(
    calls: CallList, timeline: Timeline, records: Records, model: Model | None, words: str
) -> CallList:
    """Put the families of each band in order of the expected share, and add it to the sentence.

    Parameters
    ----------
    calls : CallList
        In rule order.
    timeline : Timeline
        What it was made from.
    records : Records
        What the timeline was made from.
    model : Model or None
        None: the rule order stays.
    words : str
        Which order it is; see :func:`order_words`.

    Returns
    -------
    CallList
        The same families and bands. Families with equal shares follow the rules; red flags,
        families tried today and those that wait keep their place by the rules.
    """
    if model is None:
        return replace(calls, order=words)
    mornings = with_families(timeline, records, calls)
    share = pd.Series(model.share(mornings), index=pd.Index(mornings["family_id"]))
    families = calls.families
    expected: Floats = np.array(families["family_id"].map(share), dtype=np.float64)
    ranked = families["rank"].notna().to_numpy(dtype=bool)
    expected[~ranked] = np.nan
    band = families["band"].cat.codes.to_numpy()
    red = (families["band"] == Band.SAME_DAY_REVIEW).to_numpy(dtype=bool)
    tried = (families["tried_on"] == pd.Timestamp(calls.as_of)).to_numpy(dtype=bool) & ~red
    share_first = np.where(ranked & ~red, -expected, 0.0)
    place = np.lexsort((np.arange(len(families)), share_first, tried, band, ~ranked))
    families = families.assign(expected_share=expected)
    added = pd.Series(expectation(families), index=families.index, dtype="string")
    sentence = families["sentence"] + (" " + added).fillna("")
    families = families.assign(sentence=sentence).iloc[place]
    families = families.assign(rank=calls.families["rank"].array).reset_index(drop=True)
    return replace(calls, families=families, order=words)


def expectation(families: pd.DataFrame) -> npt.NDArray[np.object_]:
    """Say the expected share of each family in words; None where the rules give the order.

    None for red flags too: a low share would read as if the call could wait.

    Parameters
    ----------
    families : DataFrame
        Columns of `CALL_FAMILIES`.

    Returns
    -------
    object array
        One text or None a row.
    """
    share: Floats = families["expected_share"].to_numpy(dtype=np.float64)
    red = (families["band"] == Band.SAME_DAY_REVIEW).to_numpy(dtype=bool)
    return expected_sentences(np.where(red, np.nan, share))

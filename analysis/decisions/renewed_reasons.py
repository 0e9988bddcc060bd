"""The reasons to call after a change of few families, from those before the change."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.decisions.calls import CareReasons
from analysis.decisions.reasons import FINDERS
from analysis.tables.codes import positions_of
from analysis.tables.linked import Linked
from analysis.tables.records import Records
from analysis.timeline import Timeline
from analysis.vocabulary import Reason

Ints = npt.NDArray[np.int64]
BY_EVIDENCE = (Reason.SKIN_EVENT_OPEN, Reason.KITS_SHORT, Reason.NO_SIGN_OFF)
"""Reasons in the order of the rows that show them; the others are in that of lines or families."""
_TABLES = ("home_log", "stays", "lines")
"""The order of the rows that show one reason."""


def renewed(
    before: CareReasons, own: CareReasons, changed: Linked, timeline: Timeline, records: Records
) -> CareReasons:
    """Take the reasons of all but linked families over from those before.

    Parameters
    ----------
    before : CareReasons
        As of the same day, with the same sign-offs, under the same policy.
    own : CareReasons
        Of the linked families alone, now.
    changed : Linked
        As of `timeline.renewed`.
    timeline, records
        Of all families, now.

    Returns
    -------
    CareReasons
        The same bits as of `care_reasons`.
    """
    reasons, evidence, flags = (
        _with_own(getattr(before, name), getattr(own, name), changed)
        for name in ("reasons", "evidence", "flags")
    )
    evidence = _sorted(evidence, *_order_of_evidence(evidence, timeline, records))
    return CareReasons(
        reasons=_sorted(reasons, *_order_of_reasons(reasons, evidence, timeline)),
        evidence=evidence,
        flags=_sorted(flags, flags["row"].to_numpy()),
    )


def _with_own(before: pd.DataFrame, own: pd.DataFrame, changed: Linked) -> pd.DataFrame:
    kept = before[~before["family_id"].isin(list(changed.family_id)).to_numpy(dtype=bool)]
    return pd.concat([kept, own], ignore_index=True)


def _sorted(frame: pd.DataFrame, *keys: Ints) -> pd.DataFrame:
    """Rows by the first key, then the second and so on, else as they are."""
    return frame.take(np.lexsort(keys[::-1])).reset_index(drop=True)


def _order_of_evidence(
    evidence: pd.DataFrame, timeline: Timeline, records: Records
) -> tuple[Ints, ...]:
    """What the finders of `FINDERS` leave evidence in order of."""
    reason, line = _reason(evidence), _place(evidence, timeline)
    table = pd.Index(_TABLES).get_indexer(pd.Index(evidence["table"])).astype(np.int64)
    row = evidence["row"].to_numpy(dtype=np.int64)
    nothing = np.zeros(len(evidence), dtype=np.int64)
    keys = np.column_stack((table, line, nothing))
    skin, kits, no_sign_off = (reason == _number(each) for each in BY_EVIDENCE)
    keys[skin] = np.column_stack((row, nothing, nothing))[skin]
    by_code, _ = pd.factorize(evidence["line_id"][no_sign_off], sort=True)
    keys[no_sign_off] = 0
    keys[no_sign_off, 0] = by_code
    log = records.home_log
    counts = log.iloc[np.searchsorted(log["row"].to_numpy(), row[kits])]
    moments = (counts[name].to_numpy().astype(np.int64) for name in ("done_on", "done_at"))
    keys[kits] = np.column_stack((*moments, row[kits]))
    return reason, *keys.T


def _order_of_reasons(
    reasons: pd.DataFrame, evidence: pd.DataFrame, timeline: Timeline
) -> tuple[Ints, Ints]:
    """What the finders leave reasons in order of, when their evidence is in order."""
    reason, place = _reason(reasons), _place(reasons, timeline)
    by_evidence = np.isin(reason, [_number(each) for each in BY_EVIDENCE])
    n_places = 1 + max(len(timeline.lines), len(timeline.families))
    shown, first = np.unique(
        _reason(evidence) * n_places + _place(evidence, timeline), return_index=True
    )
    at = np.searchsorted(shown, (reason * n_places + place)[by_evidence])
    place[by_evidence] = first[at]
    return reason, place


def _place(frame: pd.DataFrame, timeline: Timeline) -> Ints:
    """Position of the line, or of the family where a reason is about the whole family."""
    family = positions_of(frame["family_id"], timeline.families["family_id"])
    line = positions_of(frame["line_id"], timeline.lines["line_id"])
    return np.where(frame["line_id"].isna().to_numpy(dtype=bool), family, line)


def _reason(frame: pd.DataFrame) -> Ints:
    return (
        pd.Index([str(r) for r in FINDERS]).get_indexer(pd.Index(frame["reason"])).astype(np.int64)
    )


def _number(reason: Reason) -> int:
    return list(FINDERS).index(reason)

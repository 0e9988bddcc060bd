"""What do the tables on retraining hold: who does which step how, who is signed off, what helped?"""

from __future__ import annotations

from analysis.tables.columns import Frame

PRACTICE = Frame.of(
    "practice",
    "one row a step and occasion of which it is known whether it was done well",
    "family_id caregiver_id step done_on missed row",
    blank={"caregiver_id": "not recorded in the log"},
    detail={"row": "the entry that shows it"},
    coded="family_id caregiver_id step",
)

RETRAINING = Frame.of(
    "retraining",
    "one row a family, caregiver and step missed recently, or missed before a recent refresher",
    """family_id caregiver_id step seen missed shrunk_share prob_above evidence state recent_from
    refreshed_on missed_in_row seen_before missed_before""",
    blank={
        "caregiver_id": "not recorded in the log",
        "evidence": "nothing missed recently",
        "refreshed_on": "no refresher known",
        "shrunk_share prob_above": "a fact, not a share (no_sign_off)",
    },
    detail={"seen": "recently", "evidence": "missed recently"},
)

NOT_SIGNED_OFF = Frame.of(
    "not_signed_off",
    "one row a caregiver who lately did what a skill is for without a current sign-off",
    "family_id site caregiver_id changes last_change_on why signed_on evidence",
    key="caregiver_id",
    blank={"caregiver_id": "not recorded in the log", "signed_on": "never"},
    detail={
        "site": "of the family's lines in place",
        "last_change_on": "of the changes counted",
        "signed_on": "the newest one",
    },
)

LEARNING = Frame.of(
    "learning",
    "one row a step and range of changes done since the caregiver's first sign-off",
    "step first_change last_change families seen missed share lower upper",
    key="step first_change",
    blank={"last_change": "and all later", "lower upper": "few families"},
    detail={
        "families": "seen in the range",
        "share": "missed / seen",
        "lower upper": "families resampled",
    },
)

SESSIONS = Frame.of(
    "sessions",
    "one row a group of families of a site who probably miss the same step too often",
    "site step language part families family_ids caregiver_ids",
    key="site step language part",
    blank={"language": "languages together", "caregiver_ids": "not recorded in the log"},
    detail={"language": "of the group", "families": "who would come"},
)

REFRESHERS = Frame.of(
    "refreshers",
    "one row a step: what was missed before and after refreshers",
    """step families seen_before missed_before seen_after missed_after own_ratio own_lower own_upper
    moments_compared adjusted_ratio adjusted_lower adjusted_upper reading""",
    key="step",
    blank={
        "own_ratio adjusted_ratio": "not known",
        "own_lower own_upper adjusted_lower adjusted_upper": "too few families",
    },
    detail={"families": "with a refresher, both sides seen"},
)

FAMILY_REFRESHERS = Frame.of(
    "family_refreshers",
    "one row a family and step missed before the family's last refresher",
    """family_id refreshed_on step seen_before missed_before seen_after missed_after expected_after
    prob_so_few reading""",
    key="family_id step",
)

"""What do the tables on retraining hold: who does which step how, who is signed off, what helped?"""

from __future__ import annotations

from analysis.tables.columns import Column, Frame, Kind

_FAMILY = Column("family_id", Kind.TEXT, "code of the family")
_CAREGIVER = Column(
    "caregiver_id", Kind.TEXT, "code of the caregiver", blank="the log does not say who"
)
_STEP = Column(
    "step",
    Kind.TEXT,
    "step code of the policy, or early_failure, skin_after_change, late_change, no_sign_off",
)
_SITE = Column("site", Kind.CODES, "sites of the family's lines in place")

PRACTICE = Frame(
    "practice",
    "one row a step and occasion on which it can be told whether it was done well",
    (
        _FAMILY,
        _CAREGIVER,
        _STEP,
        Column("done_on", Kind.DATE, "day of the change that it speaks of"),
        Column("missed", Kind.FLAG, "the step was left out, or the change went wrong"),
        Column("row", Kind.COUNT, "home-log row that shows it"),
    ),
)

RETRAINING = Frame(
    "retraining",
    "one row a family, caregiver and step that was missed at least once",
    (
        _FAMILY,
        _CAREGIVER,
        _STEP,
        Column("seen", Kind.COUNT, "occasions on which it can be told", "occasions"),
        Column("missed", Kind.COUNT, "of these not done well", "occasions"),
        Column(
            "shrunk_share",
            Kind.NUMBER,
            "share missed, drawn toward the programme's for the step",
            "share from 0 to 1",
            blank="a fact, not a share (no_sign_off)",
        ),
        Column(
            "prob_above",
            Kind.NUMBER,
            "probability that the true share is above the step's limit",
            "share from 0 to 1",
            blank="a fact, not a share (no_sign_off)",
        ),
        Column("evidence", Kind.CODES, "numbers of the home-log rows that show it"),
    ),
)

NOT_SIGNED_OFF = Frame(
    "not_signed_off",
    "one row a caregiver who lately did what a skill is for without a current sign-off",
    (
        _FAMILY,
        _SITE,
        _CAREGIVER,
        Column("changes", Kind.COUNT, "how often it was lately done", "times"),
        Column("last_change_on", Kind.DATE, "day of the newest of them"),
        Column("why", Kind.CODE, "never, expired, with_help or not_yet"),
        Column("signed_on", Kind.DATE, "newest demonstration", blank="never"),
        Column("evidence", Kind.CODES, "numbers of the home-log rows that show it"),
    ),
    key=("caregiver_id",),
)

LEARNING = Frame(
    "learning",
    "one row a step and range of changes done since the caregiver's first sign-off",
    (
        _STEP,
        Column(
            "first_change", Kind.COUNT, "first change of the range, 1 the first ever", "changes"
        ),
        Column(
            "last_change", Kind.COUNT, "last change of the range", "changes", blank="and all later"
        ),
        Column("families", Kind.COUNT, "families seen in it", "families"),
        Column("seen", Kind.COUNT, "occasions on which it can be told", "occasions"),
        Column("missed", Kind.COUNT, "of these not done well", "occasions"),
        Column("share", Kind.NUMBER, "missed / seen", "share from 0 to 1"),
        Column("lower", Kind.NUMBER, "lower 95 % limit, families resampled", blank="few families"),
        Column("upper", Kind.NUMBER, "upper 95 % limit, families resampled", blank="few families"),
    ),
    key=("step", "first_change"),
)

SESSIONS = Frame(
    "sessions",
    "one row a group of families of a site who probably miss the same step too often",
    (
        Column("site", Kind.TEXT, "clinic or team"),
        _STEP,
        Column("language", Kind.TEXT, "language of the group", blank="not told apart"),
        Column("part", Kind.COUNT, "number of the group among those of its site and step"),
        Column("families", Kind.COUNT, "families who would come", "families"),
        Column("family_ids", Kind.CODES, "their codes"),
        Column("caregiver_ids", Kind.CODES, "their caregivers", blank="the log does not say who"),
    ),
    key=("site", "step", "language", "part"),
)

REFRESHERS = Frame(
    "refreshers",
    "one row a step: what was missed before and after refreshers",
    (
        _STEP,
        Column("families", Kind.COUNT, "refreshed families with both sides seen", "families"),
        Column("seen_before", Kind.COUNT, "occasions in the window before", "occasions"),
        Column("missed_before", Kind.COUNT, "of these not done well", "occasions"),
        Column("seen_after", Kind.COUNT, "occasions in the window after", "occasions"),
        Column("missed_after", Kind.COUNT, "of these not done well", "occasions"),
        Column(
            "own_ratio", Kind.NUMBER, "families' own share after / before", blank="cannot be told"
        ),
        Column("own_lower", Kind.NUMBER, "lower 95 % limit", blank="too few families"),
        Column("own_upper", Kind.NUMBER, "upper 95 % limit", blank="too few families"),
        Column("spells", Kind.COUNT, "spells of families not retrained, compared with", "spells"),
        Column(
            "adjusted_ratio",
            Kind.NUMBER,
            "share after / that after equally bad spells without a refresher",
            blank="cannot be told",
        ),
        Column("adjusted_lower", Kind.NUMBER, "lower 95 % limit", blank="too few families"),
        Column("adjusted_upper", Kind.NUMBER, "upper 95 % limit", blank="too few families"),
        Column("reading", Kind.TEXT, "what that says, in plain words"),
    ),
    key=("step",),
)

FAMILY_REFRESHERS = Frame(
    "family_refreshers",
    "one row a family and step missed before the family's last refresher",
    (
        _FAMILY,
        Column("refreshed_on", Kind.DATE, "day of the last refresher"),
        _STEP,
        Column("seen_before", Kind.COUNT, "occasions in the window before", "occasions"),
        Column("missed_before", Kind.COUNT, "of these not done well", "occasions"),
        Column("seen_after", Kind.COUNT, "occasions in the window after", "occasions"),
        Column("missed_after", Kind.COUNT, "of these not done well", "occasions"),
        Column(
            "expected_after",
            Kind.NUMBER,
            "as many as a family with such a before misses without a refresher",
            "occasions",
        ),
        Column("prob_so_few", Kind.NUMBER, "chance of so few or fewer without a refresher"),
        Column("reading", Kind.TEXT, "what that says, in plain words"),
    ),
    key=("family_id", "step"),
)

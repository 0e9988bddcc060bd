"""How often does what happen in the invented programme?

Every number here is invented: chosen so that a morning's list, the rates and the curves
look like those of a home-care programme, and taken from no programme.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum

from analysis.vocabulary import (
    ChangeReason,
    DressingType,
    LineType,
    OutcomeKind,
    Place,
    Relation,
    RemovalReason,
    Therapy,
)

Odds = Mapping[StrEnum | int, float]

# -- families and children ----------------------------------------------------------------
JOINED_AT_START = 0.42
"""Share of families that the programme already had when its log began."""
SECOND_CHILD = 0.06
SECOND_LINE = 0.11
LEAVES = 0.03
DIES = 0.006

THERAPY: Odds = {
    Therapy.PARENTERAL_NUTRITION: 54,
    Therapy.CHEMOTHERAPY: 30,
    Therapy.ANTIMICROBIAL: 8,
    Therapy.OTHER: 8,
}
NEEDED_DAYS: Mapping[StrEnum, tuple[int, int]] = {
    Therapy.PARENTERAL_NUTRITION: (500, 4000),
    Therapy.CHEMOTHERAPY: (280, 800),
    Therapy.ANTIMICROBIAL: (14, 75),
    Therapy.OTHER: (90, 1800),
}
"""How long a child needs a line once at home, from and to, in days."""
AGE_YEARS: Mapping[StrEnum, tuple[float, float]] = {
    Therapy.PARENTERAL_NUTRITION: (0.15, 11),
    Therapy.CHEMOTHERAPY: (1, 17),
    Therapy.ANTIMICROBIAL: (0.3, 17),
    Therapy.OTHER: (0.3, 20),
}
LANGUAGE: Odds = {0: 62, 1: 12, 2: 9, 3: 7, 4: 6, 5: 4}
LANGUAGES = ("en", "es", "ar", "fr", "pl", "vi")

# -- lines --------------------------------------------------------------------------------
LINE_TYPE: Mapping[StrEnum, Odds] = {
    Therapy.PARENTERAL_NUTRITION: {
        LineType.TUNNELED_CVC: 80,
        LineType.PICC: 12,
        LineType.IMPLANTED_PORT: 5,
        LineType.OTHER: 3,
    },
    Therapy.CHEMOTHERAPY: {
        LineType.IMPLANTED_PORT: 45,
        LineType.TUNNELED_CVC: 35,
        LineType.PICC: 18,
        LineType.OTHER: 2,
    },
    Therapy.ANTIMICROBIAL: {LineType.PICC: 85, LineType.NONTUNNELED_CVC: 12, LineType.OTHER: 3},
    Therapy.OTHER: {
        LineType.TUNNELED_CVC: 45,
        LineType.IMPLANTED_PORT: 25,
        LineType.PICC: 25,
        LineType.NONTUNNELED_CVC: 5,
    },
}
SECOND_LINE_TYPE: Odds = {LineType.PICC: 80, LineType.NONTUNNELED_CVC: 20}
DAYS_TO_COMPLICATION: Mapping[StrEnum, float] = {
    LineType.TUNNELED_CVC: 900,
    LineType.NONTUNNELED_CVC: 120,
    LineType.PICC: 300,
    LineType.IMPLANTED_PORT: 2500,
    LineType.OTHER: 500,
}
"""Mean days at home until a complication ends the line."""
DAYS_TO_EXCHANGE: Mapping[StrEnum, float] = {
    LineType.TUNNELED_CVC: 2500,
    LineType.NONTUNNELED_CVC: 300,
    LineType.PICC: 1000,
    LineType.IMPLANTED_PORT: 6000,
    LineType.OTHER: 1500,
}
COMPLICATION: Odds = {
    RemovalReason.INFECTION: 34,
    RemovalReason.OCCLUSION: 19,
    RemovalReason.DISLODGEMENT: 16,
    RemovalReason.DAMAGE: 12,
    RemovalReason.THROMBOSIS: 6,
    RemovalReason.SKIN_INJURY: 5,
    RemovalReason.OTHER_COMPLICATION: 5,
    RemovalReason.UNKNOWN: 3,
}
DRESSING: Mapping[StrEnum, Odds] = {
    LineType.TUNNELED_CVC: {
        DressingType.TRANSPARENT: 75,
        DressingType.TRANSPARENT_CHG: 15,
        DressingType.GAUZE: 5,
        DressingType.NONE: 5,
    },
    LineType.NONTUNNELED_CVC: {DressingType.TRANSPARENT: 60, DressingType.TRANSPARENT_CHG: 40},
    LineType.PICC: {
        DressingType.TRANSPARENT: 72,
        DressingType.TRANSPARENT_CHG: 25,
        DressingType.GAUZE: 3,
    },
    LineType.IMPLANTED_PORT: {DressingType.TRANSPARENT: 80, DressingType.TRANSPARENT_CHG: 20},
    LineType.OTHER: {DressingType.TRANSPARENT: 90, DressingType.GAUZE: 10},
}
CHANGE_ORDER = 0.07
CHANGE_ORDERS: Odds = {3: 20, 4: 20, 5: 40, 10: 20}
FLUSH_ORDER: Odds = {-1: 62, 1: 8, 2: 6, 7: 24}
PORT_FLUSH_ORDER: Odds = {-1: 15, 28: 85}
KIT_DELIVERY: Odds = {28: 60, 14: 25, 30: 11, -1: 4}

# -- changing the dressing ------------------------------------------------------------------
LATE_HABIT: Odds = {3: 81, 10: 16, 38: 3}
"""Per cent of changes that a family makes after the due day, and how many families do."""
EARLY_BY_A_DAY = 0.13
FAILS = 0.065
"""Share of dressings that become loose, damp or soiled before their day, in most families."""
FAIL_DAY = (3, 5, 7, 10, 14, 26, 35)
"""Odds of the day on which they do, in sevenths of the interval."""
EARLY_FAIL_DAY = (14, 24, 24, 18, 10, 6, 4)
FAIL_REASON: Odds = {ChangeReason.LOOSE: 60, ChangeReason.DAMP: 28, ChangeReason.SOILED: 12}
CHANGED_NEXT_DAY = 0.1
"""Of the failed dressings, those reported on one day and changed on the next."""
REPORTED_FIRST = 0.25
"""Of the others, those with an entry of their own before the change."""
TO_GAUZE = 0.01
MISSING_HABIT: Odds = {4: 72, 12: 24, 45: 4}
"""Per thousand entries that are never written down, and how many families leave so many."""

QUIET_PER_DAY = 1 / 300
"""How often a family stops writing for a while though the care goes on."""
QUIET_DAYS = (8, 20)

# -- away from home ---------------------------------------------------------------------------
HOSPITAL_PER_DAY: Mapping[StrEnum, float] = {
    Therapy.PARENTERAL_NUTRITION: 1 / 170,
    Therapy.CHEMOTHERAPY: 1 / 60,
    Therapy.ANTIMICROBIAL: 1 / 150,
    Therapy.OTHER: 1 / 200,
}
PLACE: Odds = {Place.HOSPITAL: 86, Place.RESPITE: 9, Place.OTHER: 5}
RESPITE_FAMILIES = 0.07
RESPITE_PER_DAY = 1 / 45
MOVED_ON = 0.05
"""Stays followed by another that touches or overlaps it."""
DRESSED_THERE = 0.85

# -- harm -------------------------------------------------------------------------------------
SKIN_PER_DAY = 1.4 / 1000
# What raises the risk of a skin event on a day, `synthetic_data.skin_risk`: times as high, and
# within how many days of what.
RISK_SPOILED, SPOILED_DAYS = 4.0, 10
"""After a report of a loose, damp or soiled dressing."""
RISK_OFTEN, OFTEN, OFTEN_DAYS = 2.0, 2, 56
"""After so many such reports."""
RISK_WORN, WORN_DAYS = 3.0, 8
"""While a dressing is worn for more days than that."""
RISK_NEW, NEW_DAYS = 3.0, 28
"""After a caregiver began."""
RISK_BEFORE_REMOVAL, BEFORE_REMOVAL_DAYS = 8.0, 28
"""Before a line is lost to infection or to the skin."""
AGAIN, AGAIN_DAYS = 0.3, (10, 40)
"""Share of skin events that follow an earlier one of the line, and after how many days."""
SEASON, WARMEST_DAY = 0.15, 200
"""How much the risk goes up and down with the day of the year, and when it is highest."""
INFECTION_PER_DAY: Mapping[StrEnum, float] = {
    Therapy.PARENTERAL_NUTRITION: 0.55 / 1000,
    Therapy.CHEMOTHERAPY: 0.25 / 1000,
    Therapy.ANTIMICROBIAL: 0.2 / 1000,
    Therapy.OTHER: 0.2 / 1000,
}
OUTCOME_PER_DAY: Mapping[StrEnum, float] = {
    OutcomeKind.EXIT_SITE_INFECTION: 0.18 / 1000,
    OutcomeKind.OCCLUSION: 0.3 / 1000,
    OutcomeKind.DISLODGEMENT: 0.05 / 1000,
    OutcomeKind.BREAKAGE: 0.08 / 1000,
    OutcomeKind.THROMBOSIS: 0.04 / 1000,
}
INFECTION_REPORTED_AGAIN = 0.08
ALARM_PER_DAY = 0.3 / 1000
"""Red flags without a confirmed harm."""
ALARM: Mapping[str, float] = {
    "fever": 50,
    "chills": 12,
    "fever;chills": 8,
    "bleeding": 12,
    "line_cracked": 5,
    "line_pulled_out": 3,
    "arm_or_neck_swelling": 5,
    "breathing_trouble": 5,
}
SKIN_FINDING: Mapping[str, float] = {
    "redness": 36,
    "rash": 13,
    "redness;itch": 8,
    "blister": 6,
    "skin_tear": 6,
    "maceration": 10,
    "swelling": 5,
    "drainage": 5,
    "crusting": 5,
    "redness;swelling;tenderness": 3,
    "pus": 1.5,
    "redness;pus": 1.5,
}
WATCHED_FINDING: Mapping[str, float] = {"itch": 55, "tenderness": 25, "bruise": 20}
WATCHED = 0.004

# -- what else is written down ---------------------------------------------------------------
CHECKS_A_WEEK: Odds = {4: 25, 10: 50, 25: 25}
"""Tenths of a skin check a week that a family writes down besides its changes."""
CONNECTORS_LOGGED = 0.45
NOTE = 0.02
NOTES = (
    "bath evening, kept it dry",
    "went well",
    "two of us this time",
    "new corner table with better light",
    "slept through it",
    "used the spare kit",
    "the cartoon helped",
    "school trip tomorrow; changed before it",
    "asked for a longer extension",
    "delivery came in the morning",
)
STEP_HABIT: Odds = {1: 75, 4: 20, 15: 5}
"""Per cent of self-checks with a step left out, and how many caregivers leave so many."""

# -- who does it, and who may -------------------------------------------------------------------
SECOND_CAREGIVER: Odds = {
    Relation.PARENT: 60,
    Relation.GRANDPARENT: 18,
    Relation.HOME_NURSE: 14,
    Relation.OTHER_RELATIVE: 6,
    Relation.OTHER: 2,
}
THIRD_CAREGIVER: Odds = {
    Relation.GRANDPARENT: 40,
    Relation.HOME_NURSE: 30,
    Relation.OTHER_RELATIVE: 18,
    Relation.SELF: 7,
    Relation.OTHER: 5,
}
REFRESHED_IN_TIME = 0.965

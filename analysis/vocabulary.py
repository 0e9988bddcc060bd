"""The closed word lists of the programme.

Each list is an enumeration whose values are the words in files, in the store and in
output. Lists that a programme may extend (finding codes, step codes) are not here but
in the policy file.
"""

from __future__ import annotations

from enum import StrEnum


class LineType(StrEnum):
    """Kind of central venous line."""

    TUNNELED_CVC = "tunneled_cvc"
    NONTUNNELED_CVC = "nontunneled_cvc"
    PICC = "picc"
    IMPLANTED_PORT = "implanted_port"
    OTHER = "other"


class DressingType(StrEnum):
    """What covers the exit site."""

    TRANSPARENT = "transparent"
    TRANSPARENT_CHG = "transparent_chg"
    GAUZE = "gauze"
    NONE = "none"


class RemovalReason(StrEnum):
    """Why a line was removed."""

    THERAPY_COMPLETE = "therapy_complete"
    PLANNED_EXCHANGE = "planned_exchange"
    INFECTION = "infection"
    OCCLUSION = "occlusion"
    DISLODGEMENT = "dislodgement"
    DAMAGE = "damage"
    THROMBOSIS = "thrombosis"
    SKIN_INJURY = "skin_injury"
    OTHER_COMPLICATION = "other_complication"
    DEATH = "death"
    UNKNOWN = "unknown"


PLANNED_REMOVALS = frozenset({RemovalReason.THERAPY_COMPLETE, RemovalReason.PLANNED_EXCHANGE})
"""Removals that are not a failure of the line (death is counted apart)."""


class Therapy(StrEnum):
    """What the line is for."""

    PARENTERAL_NUTRITION = "parenteral_nutrition"
    CHEMOTHERAPY = "chemotherapy"
    ANTIMICROBIAL = "antimicrobial"
    OTHER = "other"


class Place(StrEnum):
    """Where a child sleeps while not at home."""

    HOSPITAL = "hospital"
    RESPITE = "respite"
    OTHER = "other"


class Relation(StrEnum):
    """Who a caregiver is to the child."""

    PARENT = "parent"
    GRANDPARENT = "grandparent"
    OTHER_RELATIVE = "other_relative"
    HOME_NURSE = "home_nurse"
    SELF = "self"
    OTHER = "other"


class Skill(StrEnum):
    """What a caregiver is signed off for."""

    DRESSING_CHANGE = "dressing_change"
    CONNECTOR_CHANGE = "connector_change"
    FLUSH = "flush"
    NEEDLE_CHANGE = "needle_change"


class SignOffOutcome(StrEnum):
    """Result of a return demonstration."""

    INDEPENDENT = "independent"
    WITH_HELP = "with_help"
    NOT_YET = "not_yet"


class SignOffKind(StrEnum):
    """First training or a refresher."""

    FIRST = "first"
    REFRESHER = "refresher"


class EntryKind(StrEnum):
    """What a home-log entry reports."""

    DRESSING_CHANGE = "dressing_change"
    SKIN_CHECK = "skin_check"
    CONNECTOR_CHANGE = "connector_change"
    NEEDLE_CHANGE = "needle_change"
    FLUSH = "flush"
    PORT_ACCESSED = "port_accessed"
    PORT_DEACCESSED = "port_deaccessed"
    SUPPLY_COUNT = "supply_count"
    NOTE = "note"


class ChangeReason(StrEnum):
    """Why a dressing was changed."""

    SCHEDULED = "scheduled"
    LOOSE = "loose"
    DAMP = "damp"
    SOILED = "soiled"
    SKIN = "skin"
    OTHER = "other"


class DressingCondition(StrEnum):
    """How the dressing was found."""

    INTACT = "intact"
    LOOSE = "loose"
    DAMP = "damp"
    SOILED = "soiled"


COMPROMISED_WORDS = frozenset(
    {DressingCondition.LOOSE, DressingCondition.DAMP, DressingCondition.SOILED}
)
"""Conditions after which a dressing has to be changed the same day."""


class OutcomeKind(StrEnum):
    """Harm confirmed by the clinic."""

    BLOODSTREAM_INFECTION = "bloodstream_infection"
    EXIT_SITE_INFECTION = "exit_site_infection"
    OCCLUSION = "occlusion"
    DISLODGEMENT = "dislodgement"
    BREAKAGE = "breakage"
    THROMBOSIS = "thrombosis"


class CallOutcome(StrEnum):
    """What came of a call to a family."""

    REACHED = "reached"
    NO_ANSWER = "no_answer"


class Task(StrEnum):
    """Care that is due again and again."""

    DRESSING = "dressing"
    CONNECTOR = "connector"
    NEEDLE = "needle"
    FLUSH = "flush"


class State(StrEnum):
    """State of a task on a line in the morning of the as-of day; first that applies."""

    ENDED = "ended"
    NOT_AT_HOME = "not_at_home"
    NOT_ACCESSED = "not_accessed"
    UNKNOWN = "unknown"
    COMPROMISED = "compromised"
    OVERDUE = "overdue"
    DUE_TODAY = "due_today"
    IN_DATE = "in_date"


class Band(StrEnum):
    """How soon a family is called, most urgent first."""

    SAME_DAY_REVIEW = "same_day_review"
    CALL_TODAY = "call_today"
    CALL_THIS_WEEK = "call_this_week"
    WAITING = "waiting"
    SET_ASIDE = "set_aside"
    NO_CALL = "no_call"


RESTING = (Band.WAITING, Band.SET_ASIDE)
"""Bands of families that are not called now, for any reason."""


class Arrangement(StrEnum):
    """An arrangement for a family."""

    ASSIGNED = "assigned"
    """Who makes the next call."""
    SET_ASIDE = "set_aside"
    """Not to be listed until a day."""


class Reason(StrEnum):
    """Why a family is called, in the order in which reasons are read out."""

    RED_FLAG = "red_flag"
    COMPROMISED = "compromised"
    OVERDUE = "overdue"
    SKIN_EVENT_OPEN = "skin_event_open"
    SILENT = "silent"
    STATE_UNKNOWN = "state_unknown"
    EARLY_FAILURES = "early_failures"
    LATE_PATTERN = "late_pattern"
    KITS_SHORT = "kits_short"
    NO_SIGN_OFF = "no_sign_off"
    OVERDUE_CONNECTOR = "overdue_connector"
    OVERDUE_NEEDLE = "overdue_needle"
    OVERDUE_FLUSH = "overdue_flush"


class NeedState(StrEnum):
    """What recent evidence shows of a caregiver and step, most urgent first."""

    RETRAIN = "retrain"
    WATCH = "watch"
    """Recently retrained, and neither above the limit nor clearly better."""
    TOO_EARLY = "too_early"
    """Recently retrained, with too few changes since."""
    IMPROVED = "improved"
    NO_NEED = "no_need"
    """Something was missed, but the share is not likely above the limit."""


class FindingMark(StrEnum):
    """What a finding code of the policy counts as; a code may carry several."""

    SKIN_EVENT = "skin_event"
    WATCHED = "watched"
    RED_FLAG = "red_flag"


class Grouping(StrEnum):
    """By what a measure is split."""

    ALL = "all"
    MONTH = "month"
    QUARTER = "quarter"
    SITE = "site"
    NURSE = "nurse"
    LINE_TYPE = "line_type"
    DRESSING_TYPE = "dressing_type"
    THERAPY = "therapy"
    AGE_BAND = "age_band"
    FAMILY = "family"


class SignalState(StrEnum):
    """What is known of a rate that is followed, and what is being done about a signal."""

    NEW = "new"
    BEING_LOOKED_INTO = "being_looked_into"
    EXPLAINED = "explained"
    CLOSED = "closed"
    STEADY = "steady"
    TOO_FEW_EVENTS = "too_few_events"
    TOO_EARLY = "too_early"
    NOT_JUDGED = "not_judged"


SIGNAL_WORK = (
    SignalState.NEW,
    SignalState.BEING_LOOKED_INTO,
    SignalState.EXPLAINED,
    SignalState.CLOSED,
)
"""States of a signal that somebody sets."""


class Basis(StrEnum):
    """Whether every line counts, or a child's day once however many lines."""

    LINE = "line"
    CHILD = "child"


NOTHING_SEEN = "none"
"""In a list of codes: checked, nothing seen (blank: not recorded)."""


class Role(StrEnum):
    """Work of a person who signs in to the dashboard."""

    MANAGER = "manager"
    NURSE = "nurse"
    PREVENTION = "prevention"
    EDUCATOR = "educator"
    READER = "reader"


class SessionState(StrEnum):
    """Whether a training session takes place."""

    PLANNED = "planned"
    CANCELLED = "cancelled"


class Access(StrEnum):
    """What a person did, as written in the access log."""

    SIGNED_IN = "signed_in"
    SIGN_IN_REFUSED = "sign_in_refused"
    SIGNED_OUT = "signed_out"
    OPENED_FAMILY = "opened_family"
    RECORDED_CALL = "recorded_call"
    TOOK_BACK_CALL = "took_back_call"
    MARKED_REFRESHER = "marked_refresher"
    TOOK_BACK_REFRESHER = "took_back_refresher"
    PLANNED_SESSION = "planned_session"
    ASSIGNED_FAMILY = "assigned_family"
    SET_FAMILY_ASIDE = "set_family_aside"
    TOOK_BACK_ARRANGEMENT = "took_back_arrangement"
    ANNOTATED_RATES = "annotated_rates"
    WITHDREW_ANNOTATION = "withdrew_annotation"
    ACTED_ON_SIGNAL = "acted_on_signal"
    EXPORTED_TABLE = "exported_table"
    PRINTED_CONTACTS = "printed_contacts"
    TOOK_IN_FILE = "took_in_file"
    MENDED_ROW = "mended_row"
    DESCRIBED_SOURCE = "described_source"
    REFUSED = "refused"
    DELETED_FAMILY = "deleted_family"
    ADDED_USER = "added_user"
    ENDED_USER = "ended_user"
    UNLOCKED_USER = "unlocked_user"
    ENDED_SIGN_INS = "ended_sign_ins"
    BEGAN_TWO_STEPS = "began_two_steps"
    ENDED_TWO_STEPS = "ended_two_steps"
    SET_PASSWORD = "set_password"  # noqa: S105 - the word for an act, not a password


class Limits(StrEnum):
    """Kind of 95 % limits of a rate or a ratio of rates."""

    EXACT = "exact"
    """Garwood; events taken as independent."""
    MIDP = "midp"
    """Shorter, covers about as often as it claims; events taken as independent."""
    CLUSTERED = "clustered"
    """Exact, widened by how far families differ beyond chance."""


class ChartKind(StrEnum):
    """What a point of a control chart is."""

    U = "u"
    """The rate of a period."""
    T = "t"
    """Calendar days between two events."""
    G = "g"
    """Home line-days between two events."""


class Private(StrEnum):
    """What an export leaves out unless it is asked for by name."""

    CONTACT = "contact"
    LANGUAGE = "language"
    NOTE = "note"


class Versions(StrEnum):
    """Which versions of a record."""

    CURRENT = "current"
    """The one in force by the known-at time; withdrawn records are left out."""
    ALL = "all"
    """Every one received by then, withdrawals too."""


class As(StrEnum):
    """Kind of file."""

    CSV = "csv"
    PARQUET = "parquet"


class Copy(StrEnum):
    """Who a copy is for."""

    TEAM = "team"
    """Names families and shows every count: for the team only."""
    OUTSIDE = "outside"
    """May leave the team: no single family, and the small-cell rule."""

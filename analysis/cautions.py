"""Which cautions are on every screen, every printed page, in the help and in the README?"""

CAUTIONS = (
    "linedays supports trained staff and does not diagnose.",
    "For any red flag, follow your programme's emergency protocol.",
    "Local policy, the child's orders and licensed practice come first.",
    "Rates are per home line-day: not NHSN rates, and not a submission to any registry.",
)

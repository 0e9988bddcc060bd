"""Dated settings, each with its source: intervals, thresholds, code lists.

Every number that a clinic may want to change is here and nowhere else.
"""

from analysis.policy.model import Edition, FindingCode, IntervalRule, Policy, Settings, StepCode
from analysis.policy.read import PolicyError, load_policy, parse_policy, read_text, shipped_policy

__all__ = [
    "Edition",
    "FindingCode",
    "IntervalRule",
    "Policy",
    "PolicyError",
    "Settings",
    "StepCode",
    "load_policy",
    "parse_policy",
    "read_text",
    "shipped_policy",
]

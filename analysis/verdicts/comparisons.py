"""Do two groups, or the groups of a table or a funnel, differ?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import pandas as pd

from analysis.verdicts.model import Verdict
from analysis.verdicts.names import GROUPS, group_name
from analysis.vocabulary import Grouping
from analysis.words import counted, limits, listed, number, percent, sentence

ADJUSTED = "adjusted for repeat events in a family"
INDEPENDENT = "each event taken as independent"


class DifferenceCode(StrEnum):
    """What a comparison of two rates shows."""

    NO_EVENTS = "no_events"
    TOO_FEW_FAMILIES = "too_few_families"
    """Too few families have an event to adjust for families with several of them."""
    NO_CLEAR_DIFFERENCE = "no_clear_difference"
    HIGHER = "higher"
    """The first is higher by more than chance."""
    LOWER = "lower"


@dataclass(frozen=True)
class RatioVerdict(Verdict):
    """Whether two rates differ; ratio of the first over the second with its 95 % limits."""

    code: DifferenceCode
    ratio: float
    lower: float
    upper: float
    adjusted: bool
    """The limits are adjusted for repeat events in a family."""


def ratio_verdict(ratios: pd.DataFrame, names: tuple[str, str]) -> RatioVerdict:
    """Read a comparison of two rates.

    Parameters
    ----------
    ratios : DataFrame
        COMPARISON: events taken as independent, then errors clustered by family. The second row
        decides where it has limits.
    names : tuple of str
        What the first and the second are called.
    """
    alone, clustered = ratios.iloc[0], ratios.iloc[1]
    first, second = names
    adjusted = not (pd.isna(clustered["lower"]) or pd.isna(clustered["upper"]))
    row = clustered if adjusted else alone
    ratio, lower, upper = (float(row[c]) for c in ("ratio", "lower", "upper"))

    def verdict(code: DifferenceCode, text: str) -> RatioVerdict:
        return RatioVerdict(code, text, ratio, lower, upper, adjusted)

    if pd.isna(alone["ratio"]):
        return verdict(
            DifferenceCode.NO_EVENTS,
            f"Nothing to compare: neither {first} nor {second} has an event.",
        )
    span = f"95 % limits {limits(lower, upper)}, {ADJUSTED if adjusted else INDEPENDENT}"
    if math.isinf(ratio):
        has = f"{second} has no events, so the ratio has no value ({span})"
    else:
        has = f"{first} has {number(ratio)} times the rate of {second} ({span})"
    if not adjusted and 0 < ratio < math.inf:
        return verdict(
            DifferenceCode.TOO_FEW_FAMILIES,
            sentence(f"too few families have an event to compare the rates: {has}"),
        )
    few = "" if adjusted else " Repeat events in a family could not be adjusted for."
    if lower > 1:
        return verdict(
            DifferenceCode.HIGHER, sentence(f"{first} is higher by more than chance: {has}") + few
        )
    if upper < 1:
        return verdict(
            DifferenceCode.LOWER, sentence(f"{first} is lower by more than chance: {has}") + few
        )
    return verdict(
        DifferenceCode.NO_CLEAR_DIFFERENCE, sentence(f"no clear difference: {has}") + few
    )


class GroupsCode(StrEnum):
    """What a table of rates by group shows."""

    TOO_FEW_GROUPS = "too_few_groups"
    LIMITS_OVERLAP = "limits_overlap"
    LIMITS_APART = "limits_apart"
    """The limits of at least two groups do not overlap."""


@dataclass(frozen=True)
class GroupsVerdict(Verdict):
    """Whether the limits of groups overlap, without ranking them."""

    code: GroupsCode
    groups: int
    """Groups with home line-days."""
    without_events: int


def groups_verdict(table: pd.DataFrame, by: Grouping) -> GroupsVerdict:
    """Read a table of rates by group.

    Parameters
    ----------
    table : DataFrame
        RATES.
    by : Grouping
        The grouping of the table.
    """
    rated = table[(table["line_days"] > 0).to_numpy(dtype=bool)]
    none = int((rated["events"] == 0).sum())
    _, many = GROUPS[by]
    if len(rated) < 2:
        text = f"Nothing to compare: fewer than two {many} have home line-days."
        return GroupsVerdict(GroupsCode.TOO_FEW_GROUPS, text, len(rated), none)
    apart = float(rated["lower"].max()) > float(rated["upper"].min())
    text = (
        "Some 95 % limits do not overlap: compare those groups below."
        if apart
        else f"All 95 % limits overlap: this table alone shows no clear difference between {many}."
    )
    if none:
        has = counted(none, "group has", "groups have")
        text += f" {has} no events: the upper limit shows how high the rate may still be."
    text += f" {sentence(many)[:-1]} also differ in the children they have."
    code = GroupsCode.LIMITS_APART if apart else GroupsCode.LIMITS_OVERLAP
    return GroupsVerdict(code, text, len(rated), none)


class FunnelCode(StrEnum):
    """What a funnel shows."""

    TOO_FEW_GROUPS = "too_few_groups"
    INSIDE = "inside"
    """All groups lie inside the 95 % limits."""
    OUTSIDE_95 = "outside_95"
    OUTSIDE_998 = "outside_998"


@dataclass(frozen=True)
class FunnelVerdict(Verdict):
    """Which groups lie outside the limits, in order of their name and never ranked."""

    code: FunnelCode
    groups: int
    outside_998: tuple[str | None, ...]
    """Groups as tables name them; None: not recorded."""
    outside_95: tuple[str | None, ...]
    """Outside the 95 % limits and inside the 99.8 % ones."""


def funnel_verdict(funnel: pd.DataFrame, by: Grouping) -> FunnelVerdict:
    """Read a funnel.

    Parameters
    ----------
    funnel : DataFrame
        FUNNEL.
    by : Grouping
        The grouping of the funnel.
    """
    _, many = GROUPS[by]
    judged = funnel["judged"].to_numpy(dtype=bool) & (funnel["judged_days"] > 0)
    rated, left_out = funnel[judged], funnel.loc[~judged & (funnel["line_days"] > 0), "group"]
    left_out_words = ""
    if len(left_out):
        named = listed([group_name(g, by) for g in left_out])
        are = "is" if len(left_out) == 1 else "are"
        left_out_words = " " + sentence(f"{named} {are} not judged: too few days are logged")
    if len(rated) < 2:
        text = f"Nothing to compare: fewer than two {many} have home line-days that can be judged."
        return FunnelVerdict(FunnelCode.TOO_FEW_GROUPS, text + left_out_words, len(rated), (), ())
    rate = rated["judged_rate_per_1000"]
    far = (rate > rated["upper_998"]) | (rate < rated["lower_998"])
    near = ~far & ((rate > rated["upper_95"]) | (rate < rated["lower_95"]))
    parts, outside = [], []
    for flag, limit in ((far, "99.8 %"), (near, "95 %")):
        groups = [None if pd.isna(g) else str(g) for g in rated.loc[flag.to_numpy(bool), "group"]]
        outside.append(tuple(groups))
        if groups:
            named = listed([group_name(g, by) for g in groups])
            parts.append(
                f"{named} {'is' if len(groups) == 1 else 'are'} outside the {limit} limits"
            )
    text = "; ".join(parts) if parts else f"All {many} are inside the 95 % limits"
    text = f"{sentence(f'{text} around the rate of all {many}')} {_by_chance(len(rated), many)}{left_out_words}"
    code = (
        FunnelCode.OUTSIDE_998
        if outside[0]
        else FunnelCode.OUTSIDE_95
        if outside[1]
        else FunnelCode.INSIDE
    )
    return FunnelVerdict(code, text, len(rated), outside[0], outside[1])


def _by_chance(groups: int, many: str) -> str:
    """How often chance alone puts at least one of alike groups outside.

    Examples
    --------
    >>> _by_chance(20, "sites")
    'If all 20 sites were alike, the chance that at least one is outside is up to 64 % for the 95 % limits and up to 4 % for the 99.8 % limits.'
    """
    at_95, at_998 = (percent(1 - level**groups) for level in (0.95, 0.998))
    all_of = f"both {many}" if groups == 2 else f"all {groups} {many}"
    return (
        f"If {all_of} were alike, the chance that at least one is outside is up to {at_95} for "
        f"the 95 % limits and up to {at_998} for the 99.8 % limits."
    )

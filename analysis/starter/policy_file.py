"""How does a programme's own policy file begin: with every setting, interval and code explained?

A line that only repeats the policy that linedays ships with has a number sign in front and no
space after it; taking that away makes the line the programme's own.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from analysis.cautions import CAUTIONS
from analysis.policy import Edition, Policy, shipped_policy
from analysis.policy.model import SETTING_FIELDS, FindingCode, IntervalRule, StepCode

NO_ZONE = "FILL IN: Area/City"
"""Refused as a time zone, so that none is taken unseen."""


def policy_text(policy: Policy, edition: Edition, zone: str | None) -> str:
    """A policy file (TOML) that holds what an edition holds.

    Parameters
    ----------
    policy : Policy
        Its name.
    edition : Edition
        The edition whose values are shown; what differs from the shipped policy is in force in the
        file, the rest is there to be changed.
    zone : str or None
        The programme's time zone; None: it has to be filled in before the file can be used.
    """
    shipped = shipped_policy()
    usual = shipped.editions[-1]
    own = policy.name != shipped.name
    lines = [
        "# The programme's policy: every interval, threshold and code list of linedays.",
        "# Take away the # in front of a line and change its value to make it your own; write in",
        "# `source` who decided it. What is left as it is stays as linedays ships it.",
        "# Check the file with: linedays policy --check policy.toml",
        *(f"# {caution}" for caution in CAUTIONS),
        "",
        f"name = {_text(policy.name if own else 'our programme')}",
        "",
        "# The zone in which days are counted, from the IANA list, such as 'Asia/Tokyo'. Set it",
        "# before the first ingest: a late evening may be another day in another zone.",
        f"time_zone = {_text(zone or NO_ZONE)}",
        "",
        "# An edition holds from its first day on. For a later change write a new [[edition]] block",
        "# below with its own version and day, so that earlier days are judged as they were then.",
        "[[edition]]",
        f"version = {_text(edition.version if own else 'our programme 1')}",
        f"effective_from = {edition.effective_from}",
        "",
        "[edition.settings]",
        *_settings(edition, usual),
        "# Days from a change to the next. The most specific block counts: task, dressing type and",
        '# line type, then fewer of them. days = "none": never due by the calendar, only when needed.',
        *_intervals(edition, usual),
        "# What may be seen at the skin or the child. marks: skin_event (counts in the skin rate),",
        "# watched (shown, not counted), red_flag (follow the programme's emergency protocol).",
        "[edition.finding]",
        *_codes(edition.findings, usual.findings, _finding),
        "",
        "# Steps of the self-check at a change. instruction (may be left out): printed on the hand-outs",
        "# of training sessions.",
        "[edition.step]",
        *_codes(edition.steps, usual.steps, _step),
    ]
    return "\n".join(lines) + "\n"


def _settings(edition: Edition, usual: Edition) -> Iterator[str]:
    for name, about in SETTING_FIELDS.items():
        value, source = getattr(edition.settings, name), edition.setting_sources[name]
        same = (value, source) == (getattr(usual.settings, name), usual.setting_sources[name])
        means = about.metadata
        yield f"# {_sentence(means['meaning'])} Unit: {means['unit']}, {means['low']:g} to {means['high']:g}."
        shown = list(value) if isinstance(value, tuple) else value
        yield f"{_mark(same)}{name} = {{ value = {shown}, source = {_text(source)} }}"
        yield ""


def _intervals(edition: Edition, usual: Edition) -> Iterator[str]:
    for rule in edition.intervals:
        mark = _mark(rule in usual.intervals)
        yield from (mark + line for line in _interval(rule))
        yield ""


def _interval(rule: IntervalRule) -> Iterator[str]:
    yield "[[edition.interval]]"
    yield f"task = {_text(rule.task)}"
    if rule.dressing_type:
        yield f"dressing_type = {_text(rule.dressing_type)}"
    if rule.line_type:
        yield f"line_type = {_text(rule.line_type)}"
    yield f"days = {_text('none') if rule.days is None else rule.days}"
    yield f"source = {_text(rule.source)}"


def _codes(codes: Any, usual: Any, written: Any) -> Iterator[str]:
    for code, entry in codes.items():
        yield f"{_mark(usual.get(code) == entry)}{code} = {{ {written(entry)} }}"


def _finding(finding: FindingCode) -> str:
    marks = json.dumps(sorted(map(str, finding.marks)))
    return f"label = {_text(finding.label)}, marks = {marks}, source = {_text(finding.source)}"


def _step(step: StepCode) -> str:
    how = f", instruction = {_text(step.instruction)}" if step.instruction else ""
    return f"label = {_text(step.label)}, source = {_text(step.source)}{how}"


def _mark(same: bool) -> str:
    return "#" if same else ""


def _sentence(text: Any) -> str:
    return f"{str(text)[:1].upper()}{str(text)[1:]}."


def _text(text: str) -> str:
    return json.dumps(str(text), ensure_ascii=False)

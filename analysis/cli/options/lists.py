"""Options of the commands that list families, lines and settings."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from analysis.cli.options.shared import Output, PolicyOption, Reading, StoreOption
from analysis.vocabulary import Band, Grouping, Task


@dataclass(frozen=True, kw_only=True)
class OfTask(Reading):
    """A care task."""

    task: Annotated[Task, typer.Option("--task", help="Care task.")] = Task.DRESSING


@dataclass(frozen=True, kw_only=True)
class Lines(OfTask):
    """One row per line: home line-days, in date or not, state on the day."""


@dataclass(frozen=True, kw_only=True)
class Adherence(OfTask):
    """How often care was on time and in date, with 95 % limits that resample families."""

    by: Annotated[Grouping, typer.Option("--by", help="How to split.")] = Grouping.ALL


@dataclass(frozen=True, kw_only=True)
class Chosen(Reading):
    """Which families."""

    site: Annotated[
        str | None, typer.Option("--site", metavar="SITE", help="Only families of this site.")
    ] = None
    nurse: Annotated[
        str | None, typer.Option("--nurse", metavar="NURSE", help="Only families of this nurse.")
    ] = None
    language: Annotated[
        str | None,
        typer.Option(
            "--language", metavar="LANGUAGE", help="Only families called in this language."
        ),
    ] = None


class ListedBand(StrEnum):
    """A band of the list; families that need no call are not on it."""

    SAME_DAY_REVIEW = str(Band.SAME_DAY_REVIEW)
    CALL_TODAY = str(Band.CALL_TODAY)
    CALL_THIS_WEEK = str(Band.CALL_THIS_WEEK)
    WAITING = str(Band.WAITING)
    SET_ASIDE = str(Band.SET_ASIDE)


@dataclass(frozen=True, kw_only=True)
class Calls(Chosen):
    """Which families to call, in calling order, and why; families called already come last."""

    band: Annotated[
        ListedBand | None, typer.Option("--band", help="Only families of this band.")
    ] = None


@dataclass(frozen=True, kw_only=True)
class CallsDone(Chosen):
    """Calls recorded on the day."""


@dataclass(frozen=True, kw_only=True)
class CallsArranged(Reading):
    """Who makes the next call to a family, and until when families are postponed."""


@dataclass(frozen=True, kw_only=True)
class PolicySettings(StoreOption, PolicyOption, Output):
    """Every setting of the store's policy with its source, or set or check a policy file."""

    set_file: Annotated[
        Path | None,
        typer.Option("--set", metavar="FILE", help="Make a file the policy of the store."),
    ] = None
    redate: Annotated[
        bool,
        typer.Option(
            "--redate", help="With --set: date all moments again in the time zone of the file."
        ),
    ] = False

    check: Annotated[
        Path | None,
        typer.Option(
            "--check", metavar="FILE", help="Check a policy file and report what is wrong."
        ),
    ] = None

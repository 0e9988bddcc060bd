"""Commands on sources: describe one from a file it sent, list them, write one as TOML."""

from __future__ import annotations

import getpass
import sys
from collections.abc import Mapping
from datetime import UTC, datetime

import typer

from analysis.cli.opening import opened, policy_of, today, tried
from analysis.cli.options.loading import SourceOf, Sources, SourcesExport, SourcesImport
from analysis.cli.output import show
from analysis.cli.previewing import as_paragraphs
from analysis.errors import UsageError, nearest
from analysis.files import write_whole
from analysis.ingest.preview import preview
from analysis.ingest.profile import Profile
from analysis.ingest.profile_file import load_profile, parse_profile
from analysis.ingest.profile_toml import as_toml
from analysis.ingest.proposal import LEAVE, Proposal, Question, propose
from analysis.ingest.raw import LogFile
from analysis.ingest.stored_sources import freshness, newest_sources
from analysis.ingest.unpack import plain_files
from analysis.policy import Policy, load_policy
from analysis.store import Store
from analysis.tables import INCOMING
from analysis.unfinished import temporary_folder

MOST_SHOWN = 12
"""Answers of a question that are listed."""


def describe_source(asked: SourceOf) -> None:
    """Propose a source profile, ask what is ambiguous, show its effect, store it."""
    if asked.table is not None and asked.table not in INCOMING:
        raise UsageError(
            f"{asked.table!r} is not a table; tables are {', '.join(INCOMING)}."
            f"{nearest(asked.table, INCOMING)}"
        )
    if not asked.file.is_file():
        raise UsageError(f"{asked.file}: there is no such file. Check the path.")
    with temporary_folder() as folder:
        _describe(asked, plain_files(LogFile.at(asked.file), folder)[0])


def _describe(asked: SourceOf, log: LogFile) -> None:
    """Describe the source of a plain file."""
    name = asked.name or log.stem
    answers = _answers(asked.answer or [])
    policy = _policy(asked)
    found = _asked_until_clear(log, name, policy, answers, asked.table)
    text = as_toml(found.profile)
    typer.echo(f"Proposed for the source {name}:\n\n{text}")
    if found.questions:
        for question in found.questions:
            typer.echo(f"linedays: {_in_words(question)}", err=True)
        typer.echo(
            "linedays: Nothing was stored. Answer with --answer 'KEY=ANSWER' for each question.",
            err=True,
        )
        raise typer.Exit(2)
    _show_effect(asked, log, policy, parse_profile(text, name, name))
    if not asked.save and not (sys.stdin.isatty() and typer.confirm("Store this profile?")):
        typer.echo("linedays: Nothing was stored. Store it with --save.", err=True)
        return
    with opened(asked.store, create=True) as store:
        version = store.set_source_profile(name, text, getpass.getuser(), datetime.now(UTC))
    typer.echo(
        f"linedays: Stored as version {version} of the source {name}. Files with the same headers "
        f"are read by it: linedays ingest {asked.file}",
        err=True,
    )


def _policy(asked: SourceOf) -> Policy:
    """The policy that is named or the store's; no store is made or locked."""
    if not Store.is_there(asked.store):
        return load_policy(asked.policy)
    with opened(asked.store) as store:
        return policy_of(store, asked.policy)


def _show_effect(asked: SourceOf, log: LogFile, policy: Policy, profile: Profile) -> None:
    """Show what the file would become under a profile."""
    with tried(asked.store) as store:
        zone_is_set = store.policy() is not None
        shown = preview(store, [log], policy, profile, zone_is_set=zone_is_set)
    typer.echo("\n".join(as_paragraphs(shown)))
    for sentence in (*shown.summary.notes, *shown.summary.faults):
        typer.echo(f"linedays: {sentence}", err=True)


def _answers(given: list[str]) -> dict[str, str]:
    """Answers by key; the key may hold an equals sign, the answer not."""
    answers = {}
    for one in given:
        key, mark, answer = one.rpartition("=")
        if not mark or not key.strip():
            raise UsageError(f"--answer {one!r}: write it as KEY=ANSWER.")
        answers[key.strip()] = answer.strip()
    return answers


def _asked_until_clear(
    log: LogFile, name: str, policy: Policy, answers: Mapping[str, str], table: str | None
) -> Proposal:
    """Ask on a terminal until nothing is open; an answer that no question has is refused."""
    given = dict(answers)
    while True:
        found = propose(log, name, policy, given, table)
        if not found.questions or not sys.stdin.isatty():
            return found
        for question in found.questions:
            given[question.key] = _prompted(question)


def _prompted(question: Question) -> str:
    """Ask one question; a number chooses an answer of the list."""
    typer.echo(question.text)
    for number, answer in enumerate(question.answers[:MOST_SHOWN], 1):
        typer.echo(f"  {number}  {'leave it' if answer == LEAVE else answer}")
    answer = typer.prompt("Number or answer", default="1").strip()
    if answer.isdecimal() and 1 <= int(answer) <= len(question.answers):
        return question.answers[int(answer) - 1]
    return str(answer)


def _in_words(question: Question) -> str:
    """A question with its key and answers, for one who answers by options."""
    shown = ", ".join(question.answers[:MOST_SHOWN]) or "no suggestion"
    return f"{question.text} KEY: {question.key}; answers: {shown}"


def list_sources(asked: Sources) -> None:
    """List sources and when each was last heard from."""
    with opened(asked.store) as store:
        policy = policy_of(store, None)
        show(freshness(store, policy.zone, today(policy)), asked)


def export_source(asked: SourcesExport) -> None:
    """Write a source's profile as TOML."""
    with opened(asked.store) as store:
        every = [source for source in store.source_profiles() if source.name == asked.name]
        names = list(newest_sources(store))
    if not every:
        listed = ", ".join(names) or "none"
        raise UsageError(
            f"There is no source {asked.name!r}. Known: {listed}.{nearest(asked.name, names)}"
        )
    number = asked.version or len(every)
    if not 1 <= number <= len(every):
        raise UsageError(f"The source {asked.name!r} has the versions 1 to {len(every)}.")
    text = every[number - 1].text
    if asked.out is None:
        sys.stdout.write(text)
    else:
        write_whole(asked.out, text, replace=asked.force)


def import_source(asked: SourcesImport) -> None:
    """Store a profile from a TOML file."""
    profile = load_profile(asked.file)
    with opened(asked.store, create=True) as store:
        version = store.set_source_profile(
            profile.name, as_toml(profile), getpass.getuser(), datetime.now(UTC)
        )
    recorded = any(looks.header or looks.resource for looks in profile.tables.values())
    typer.echo(
        f"linedays: Stored as version {version} of the source {profile.name}. "
        + (
            "Files with the same headers, or FHIR resources of its types, are read by it."
            if recorded
            else f"It lists no headers, so name it: ingest --source {profile.name!r}"
        ),
        err=True,
    )

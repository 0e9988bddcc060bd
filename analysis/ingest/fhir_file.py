"""How are the resources of a FHIR R4 Bundle, or of a bulk export (one a line), read as rows?

One resource is one row of the table that the source profile gives its type; the cells are what the
profile's FHIRPath expressions give, and nothing else of the resource is read.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from itertools import islice
from typing import Any

import numpy as np

from analysis.ingest.faults import IngestError
from analysis.ingest.fhir_path import Paths, Resource, ValueFaultError, cell, is_personal
from analysis.ingest.fhir_resources import named, referenced, resources, type_of
from analysis.ingest.fhir_sentences import resources_left_out_note
from analysis.ingest.heads import match_heads
from analysis.ingest.limits import BATCH_ROWS
from analysis.ingest.profile import Profile, TableProfile
from analysis.ingest.raw import Broken, LogFile, Part, Raw, raw_rows, text_columns
from analysis.ingest.reasons import FileFault, Refusal
from analysis.tables.incoming import INCOMING
from analysis.tables.kinds import Kind

RESOURCE = "resource"
"""Head under which type and id of the resource are stored with each row."""
_SEVERAL = frozenset({"site", "nurse"})
"""Columns of text that may hold several values joined by semicolons, as lists of codes may."""
_MARK = b'"resourceType"'


def is_fhir(start: bytes) -> bool:
    """Whether the first bytes of a JSON file show that it holds FHIR resources."""
    return _MARK in start


def types_in(log: LogFile) -> frozenset[str]:
    """The types of the first resources of a file."""
    return frozenset(type_of(resource) for _, resource in islice(resources(log), 100))


def fhir_parts(
    log: LogFile, profile: Profile, table: str | None
) -> tuple[list[Part], tuple[str, ...]]:
    """Open a FHIR file.

    Parameters
    ----------
    log : LogFile
        A Bundle, a list of resources, or one resource a line.
    profile : Profile
        Its tables with a `resource` are read.
    table : str or None
        Only this table; None: all of them.

    Returns
    -------
    list of Part and tuple of str
        One part a table; sentences on resources left out. Row numbers count the entries of a Bundle,
        else the lines, from 1.

    Raises
    ------
    IngestError
        It is not valid JSON or too large, no table of the profile reads a resource, or an expression
        cannot be used.
    """
    tables = {
        name: looks
        for name, looks in profile.tables.items()
        if looks.resource and table in {None, name}
    }
    if not tables:
        raise IngestError(FileFault.FHIR_PROFILE, log.name)
    counts = Counter(type_of(resource) for _, resource in resources(log))
    paths = Paths(log.name, _by_reference(log, tables.values()))
    parts = [
        _part(log, name, profile, paths)
        for name, looks in tables.items()
        if counts.keys() & set(looks.resource)
    ]
    read = {name for looks in tables.values() for name in looks.resource}
    others = {name: n for name, n in counts.items() if name not in read}
    if not parts and not log.fhir_others:  # else those of another file may refer to them
        raise IngestError(FileFault.FHIR_NO_RESOURCE, log.name, types=", ".join(sorted(others)))
    notes = (resources_left_out_note(log.name, others),) if others else ()
    return parts, notes


def _part(log: LogFile, table: str, profile: Profile, paths: Paths) -> Part:
    looks = profile.table(table)
    expressions = {**looks.heads, **{t.head: t.column for t in looks.ticks}}
    expressions |= {head: column for column, head in looks.times.items()}
    for expression, column in expressions.items():
        if is_personal(expression, column):
            raise IngestError(
                FileFault.FHIR_PERSONAL, log.name, expression=expression, column=column
            )
    head = [*expressions, RESOURCE]
    heads = match_heads(head, table, _without_header(profile, table), log.name)
    read = [paths.compiled(expression) for expression in expressions]
    several = [_may_be_several(table, column) for column in expressions.values()]
    chosen = paths.compiled(looks.where) if looks.where else None
    batches: Callable[[], Iterator[Raw]] = partial(
        _batches, log, frozenset(looks.resource), read, several, chosen
    )
    return Part(log.name, ", ".join(looks.resource), table, heads, batches)


def _without_header(profile: Profile, table: str) -> Profile:
    """The profile without a recorded header, which a FHIR file does not have."""
    tables = {**profile.tables, table: replace(profile.table(table), header=())}
    return replace(profile, tables=tables)


def _may_be_several(table: str, column: str) -> bool:
    kinds = {c.name: c.kind for c in INCOMING[table].columns}
    return kinds.get(column) is Kind.CODES or column in _SEVERAL


def _batches(
    log: LogFile,
    types: frozenset[str],
    read: Sequence[Callable[[Resource], list[Any]]],
    several: Sequence[bool],
    chosen: Callable[[Resource], list[Any]] | None,
) -> Iterator[Raw]:
    """Rows of the chosen resources; an expression without a single value breaks its row."""
    wanted = (
        (number, resource)
        for number, resource in resources(log)
        if type_of(resource) in types and (chosen is None or _is_true(chosen, resource))
    )
    while batch := list(islice(wanted, BATCH_ROWS)):
        broken: list[Broken] = []
        rows = [
            [*_cells(at, resource, read, several, broken), named(resource)]
            for at, (_, resource) in enumerate(batch)
        ]
        numbers = np.array([number for number, _ in batch], np.int64)
        yield raw_rows(numbers, text_columns(rows, len(read) + 1), broken)


def _cells(
    at: int,
    resource: Resource,
    read: Sequence[Callable[[Resource], list[Any]]],
    several: Sequence[bool],
    broken: list[Broken],
) -> Iterator[str]:
    for column, (values_of, may_be_several) in enumerate(zip(read, several, strict=True)):
        try:
            yield cell(values_of(resource), several=may_be_several)
        except ValueFaultError as fault:
            broken.append(Broken(at, column, fault.value, fault.reason))
            yield ""
        except Exception:
            broken.append(Broken(at, column, "", Refusal.FHIR_VALUE))
            yield ""


def _is_true(chosen: Callable[[Resource], list[Any]], resource: Resource) -> bool:
    """Whether a condition holds; a resource on which it fails is read, so that it is seen."""
    try:
        return bool(chosen(resource) == [True])
    except Exception:
        return True


def _by_reference(log: LogFile, tables: Iterable[TableProfile]) -> Mapping[str, Resource]:
    """Resources to which those of a file lead, if an expression follows references."""
    found: dict[str, Resource] = {}
    for looks in tables:
        steps = max(e.count("resolve(") for e in (*looks.heads, looks.where, ""))
        if steps:
            found |= referenced(log, frozenset(looks.resource), steps)
    return found

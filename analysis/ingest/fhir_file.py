"""How are the resources of a FHIR R4 Bundle, or of a bulk export (one a line), read as rows?

One resource is one row of the table that the source profile gives its type; the cells are what the
profile's FHIRPath expressions give, and nothing else of the resource is read.
"""

from __future__ import annotations

import codecs
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from itertools import islice
from typing import Any

import numpy as np
import orjson

from analysis.ingest.faults import IngestError
from analysis.ingest.fhir_path import Paths, Resource, ValueFaultError, cell, is_personal
from analysis.ingest.fhir_sentences import resources_left_out_note
from analysis.ingest.heads import match_heads
from analysis.ingest.json_lines import broken, json_lines
from analysis.ingest.limits import BATCH_ROWS, JSON_BYTES, ROW_BYTES
from analysis.ingest.profile import Profile
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
    return frozenset(_type(resource) for _, resource in islice(_resources(log), 100))


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
    counts = Counter(_type(resource) for _, resource in _resources(log))
    paths = Paths(log.name, _by_reference(log, tables.values()))
    parts = [
        _part(log, name, profile, paths)
        for name, looks in tables.items()
        if counts.keys() & set(looks.resource)
    ]
    read = {name for looks in tables.values() for name in looks.resource}
    others = {name: n for name, n in counts.items() if name not in read}
    if not parts:
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
        for number, resource in _resources(log)
        if _type(resource) in types and (chosen is None or _is_true(chosen, resource))
    )
    while batch := list(islice(wanted, BATCH_ROWS)):
        broken: list[Broken] = []
        rows = [
            [*_cells(at, resource, read, several, broken), _named(resource)]
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
            broken.append(Broken(at, column, fault.value, Refusal.FHIR_VALUE))
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


def _type(resource: Resource) -> str:
    return str(resource.get("resourceType") or "no resourceType")


def _named(resource: Resource) -> str:
    """Type and id of a resource: where a row comes from."""
    return f"{_type(resource)}/{resource.get('id', '')}"


def _by_reference(log: LogFile, tables: Any) -> Mapping[str, Resource]:
    """The file's resources by what references hold, if an expression follows references."""
    expressions = [e for looks in tables for e in (*looks.heads, looks.where)]
    if not any("resolve(" in expression for expression in expressions):
        return {}
    if log.path.stat().st_size > JSON_BYTES:
        raise IngestError(FileFault.JSON_TOO_LARGE, log.name)
    found: dict[str, Resource] = {}
    for _, resource in _resources(log):
        found[_named(resource)] = resource
        found[str(resource.get(_FULL_URL, _named(resource)))] = resource
    return found


_FULL_URL = "_fullUrl"


# Bundles, lists and lines


def _resources(log: LogFile) -> Iterator[tuple[int, Resource]]:
    """The resources of a file with their numbers, from 1."""
    with log.path.open("rb") as stream:
        first = stream.readline(ROW_BYTES)
        is_last = not stream.read(1)
    resource = _loaded(first)
    if isinstance(resource, dict) and not (is_last and resource.get("entry")):
        for number, value in json_lines(log):
            yield number, value if isinstance(value, dict) else {}
        return
    if log.path.stat().st_size > JSON_BYTES:
        raise IngestError(FileFault.JSON_TOO_LARGE, log.name)
    try:
        whole = orjson.loads(log.path.read_bytes().removeprefix(codecs.BOM_UTF8))
    except orjson.JSONDecodeError as fault:
        raise broken(log, fault.lineno, fault.msg) from None
    yield from _of_bundle(whole)


def _of_bundle(whole: Any) -> Iterator[tuple[int, Resource]]:
    entries = whole.get("entry") if isinstance(whole, dict) else whole
    if not isinstance(entries, list):
        entries = [whole]
    for number, entry in enumerate(entries, 1):
        if not isinstance(entry, dict):
            yield number, {}
        elif isinstance(entry.get("resource"), dict):
            url = entry.get("fullUrl")
            yield number, {**entry["resource"], **({_FULL_URL: url} if url else {})}
        else:
            yield number, entry


def _loaded(line: bytes) -> Any:
    try:
        return orjson.loads(line.removeprefix(codecs.BOM_UTF8).strip())
    except orjson.JSONDecodeError:
        return None

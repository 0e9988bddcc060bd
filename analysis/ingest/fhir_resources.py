"""Which resources does a FHIR file hold, and which do those of other files name?

*Source:* HL7, FHIR R4 (4.0.1), section 2.3 (references between resources) and the specification of
bulk data export, by which the resources of each type are in a file of their own.
"""

from __future__ import annotations

import codecs
from collections.abc import Iterable, Iterator
from contextlib import suppress
from typing import Any

import orjson

from analysis.ingest.faults import IngestError
from analysis.ingest.fhir_path import Resource
from analysis.ingest.json_lines import broken, json_lines
from analysis.ingest.limits import JSON_BYTES, ROW_BYTES
from analysis.ingest.raw import LogFile
from analysis.ingest.reasons import FileFault

_FULL_URL = "_fullUrl"


def referenced(log: LogFile, types: frozenset[str], steps: int) -> dict[str, Resource]:
    """Resources that those of some types in a file refer to, in it and in those ingested with it.

    Parameters
    ----------
    log : LogFile
        The file.
    types : frozenset of str
        Types of its resources whose references are followed.
    steps : int
        How many references are followed one after the other.

    Returns
    -------
    dict
        Resources by what references to them hold: type and id, or the full URL in a Bundle.
    """
    found: dict[str, Resource] = {}
    wanted = set(_references(one for _, one in resources(log) if type_of(one) in types))
    for _ in range(steps):
        last: list[Resource] = []
        for file in (log, *log.fhir_others):
            with suppress(IngestError, OSError):  # reported when it is its turn
                for _, resource in resources(file):
                    names = {named(resource), str(resource.get(_FULL_URL))} & wanted
                    found |= dict.fromkeys(names, resource)
                    last += [resource] * bool(names)
        wanted = set(_references(last)) - found.keys()
    return found


def _references(values: Iterable[Any]) -> Iterator[str]:
    """What the references hold that are anywhere in some values."""
    for value in values:
        if isinstance(value, dict):
            if isinstance(name := value.get("reference"), str):
                yield name
            yield from _references(value.values())
        elif isinstance(value, list):
            yield from _references(value)


def type_of(resource: Resource) -> str:
    """The type of a resource."""
    return str(resource.get("resourceType") or "no resourceType")


def named(resource: Resource) -> str:
    """Type and id of a resource: where a row comes from."""
    return f"{type_of(resource)}/{resource.get('id', '')}"


def resources(log: LogFile) -> Iterator[tuple[int, Resource]]:
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

"""How does the home log leave as FHIR R4, and how is a form for it described?

A Questionnaire has one item a column of the home log, and each entry is one QuestionnaireResponse to
it. The source profile below reads the responses, those written here and those of another system
that shows the form. *Source:* HL7, FHIR R4 (4.0.1), Questionnaire and QuestionnaireResponse.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import orjson
import pandas as pd

from analysis.exports.catalogue import Table
from analysis.exports.records import as_incoming
from analysis.ingest.profile import Profile, TableProfile
from analysis.policy import Edition
from analysis.tables.columns import Column
from analysis.tables.incoming import HOME_LOG, ON_EVERY_ROW
from analysis.tables.kinds import Kind
from analysis.vocabulary import NOTHING_SEEN
from analysis.words import plain

FORM = "urn:linedays:home-log"
"""Canonical address of the form."""
CODES, CHILDREN, ENTRIES = (f"urn:linedays:{what}" for what in ("codes", "child", "entry"))
"""Systems of codes and identifiers."""
SOURCE = "home log as FHIR"
_RECEIVED = ON_EVERY_ROW[0].name
_NOT_ASKED = ("entry_id",)
"""Columns that are no item: they have a place of their own in a response."""
_TYPES = {Kind.INSTANT: "dateTime", Kind.DATE: "date", Kind.COUNT: "integer", Kind.TEXT: "string"}
_ANSWERS = {Kind.INSTANT: "valueDateTime", Kind.DATE: "valueDate", Kind.TEXT: "valueString"}


def questionnaire(edition: Edition) -> dict[str, Any]:
    """The form: a Questionnaire whose items are the columns of the home log.

    Parameters
    ----------
    edition : Edition
        Gives findings and steps.
    """
    return {
        "resourceType": "Questionnaire",
        "id": "home-log",
        "url": FORM,
        "version": edition.version,
        "status": "active",
        "title": "Home log of a central venous line",
        "subjectType": ["Patient"],
        "item": [_item(column, edition) for column in _asked()],
    }


def _asked() -> list[Column]:
    return [column for column in HOME_LOG.columns if column.name not in _NOT_ASKED]


def _item(column: Column, edition: Edition) -> dict[str, Any]:
    item: dict[str, Any] = {"linkId": column.name, "text": column.meaning}
    labels = {word: plain(word) for word in column.allowed}
    if column.name == "findings":
        labels = {code: finding.label for code, finding in edition.findings.items()}
    if column.name == "steps_missed":
        labels = {code: step.label for code, step in edition.steps.items()}
    if column.kind is Kind.CODES:
        labels[NOTHING_SEEN] = NOTHING_SEEN
    item["type"] = "choice" if labels else _TYPES[column.kind]
    item["required"] = column.required
    if labels:
        item["repeats"] = column.kind is Kind.CODES
        item["answerOption"] = [
            {"valueCoding": {"system": CODES, "code": code, "display": label}}
            for code, label in labels.items()
        ]
    return item


def form_profile() -> Profile:
    """The source profile that reads responses to the form."""
    answers = {column.name: _expression(column) for column in (*_asked(), ON_EVERY_ROW[0])}
    looks = TableProfile(
        resource=("QuestionnaireResponse",),
        where=f"questionnaire = '{FORM}'",
        heads={
            "identifier.value": "entry_id",
            **{expression: name for name, expression in answers.items()},
            "iif(status = 'entered-in-error', 'yes', 'no')": "void",
        },
    )
    return Profile(SOURCE, tables={HOME_LOG.name: looks})


def _expression(column: Column) -> str:
    answer = f"item.where(linkId = '{column.name}').answer.value"
    return f"{answer}.code" if column.kind in {Kind.CODE, Kind.CODES} else answer


def as_ndjson(edition: Edition, log: Table, lines: pd.DataFrame) -> bytes:
    """The form and a response to it for each entry, one resource a line.

    Parameters
    ----------
    edition : Edition
        Gives the codes of the form.
    log : Table
        Entries of the home log as `record_tables` returns them.
    lines : DataFrame
        `line_id` and `child_id`.

    Returns
    -------
    bytes
        UTF-8; the same for the same entries.
    """
    child_of = dict(zip(lines["line_id"].astype(str), lines["child_id"].astype(str), strict=True))
    resources = [questionnaire(edition), *_responses(log, child_of)]
    return b"".join(orjson.dumps(resource) + b"\n" for resource in resources)


def _responses(log: Table, child_of: dict[str, str]) -> Iterator[dict[str, Any]]:
    written = as_incoming(log)
    kinds = {column.name: column.kind for column in written.entry.columns}
    filled = written.frame.astype("object").where(written.frame.notna(), None)  # type: ignore[call-overload]  # the stubs leave out None
    for row in filled.to_dict("records"):
        cells = {str(name): value for name, value in row.items() if value is not None}
        response: dict[str, Any] = {
            "resourceType": "QuestionnaireResponse",
            "questionnaire": FORM,
            "status": "completed",
            "authored": cells["done_at"],
        }
        if "entry_id" in cells:
            response["identifier"] = {"system": ENTRIES, "value": cells.pop("entry_id")}
        child = child_of.get(str(cells.get("line_id")))
        if child is not None:
            identifier = {"system": CHILDREN, "value": child}
            response["subject"] = {"type": "Patient", "identifier": identifier}
        response["item"] = [
            {"linkId": name, "answer": list(_answers(kinds[name], value))}
            for name, value in cells.items()
        ]
        yield response


def _answers(kind: Kind, value: Any) -> Iterator[dict[str, Any]]:
    if kind in {Kind.CODE, Kind.CODES}:
        for code in str(value).split(";"):
            yield {"valueCoding": {"system": CODES, "code": code}}
    elif kind is Kind.COUNT:
        yield {"valueInteger": int(value)}
    else:
        yield {_ANSWERS[kind]: str(value)}

"""What does a FHIRPath expression give in a resource, as the text of one cell?

*Source:* HL7, FHIRPath Normative Release 2.0.0; the functions of FHIR R4 (4.0.1), section 2.1.9.1,
of which `resolve` finds resources of the files that are ingested together.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from decimal import Decimal
from functools import lru_cache
from importlib import import_module
from typing import Any

from analysis.ingest.faults import IngestError
from analysis.ingest.reasons import FileFault, Refusal

Resource = Mapping[str, Any]

_TEXT = re.compile(r"'(?:\\.|[^'\\])*'")
_PERSONAL = re.compile(r"(?<![\w$%])(?:name|address|photo|display|div)\b(?!\s*\()")
_TELECOM = re.compile(r"(?<![\w$%])telecom\b")


class ValueFaultError(Exception):
    """An expression gives no single value; `value` shows what it gives, without its content."""

    def __init__(self, value: str, reason: Refusal = Refusal.FHIR_VALUE) -> None:
        super().__init__(value)
        self.value, self.reason = value, reason


class Paths:
    """The expressions of one file, each parsed once."""

    def __init__(self, file: str, resources: Mapping[str, Resource]) -> None:
        self.file = file
        self._resources = resources
        self._contained: Mapping[str, Resource] = {}
        self._options = {
            "userInvocationTable": {"resolve": {"fn": self._resolve, "arity": {0: []}}}
        }

    def compiled(self, expression: str) -> Callable[[Resource], list[Any]]:
        """Parse an expression.

        Raises
        ------
        IngestError
            It is not FHIRPath, or the library that reads it is not installed.
        """
        if not is_valid(self.file, expression):
            raise IngestError(FileFault.FHIR_EXPRESSION, self.file, expression=expression)
        from fhirpathpy import compile as parsed
        from fhirpathpy.models import models

        read = parsed(expression, model=models["r4"], options=self._options)

        def values(resource: Resource) -> list[Any]:
            inside = resource.get("contained")
            self._contained = {
                f"#{one.get('id')}": one
                for one in (inside if isinstance(inside, list) else [])
                if isinstance(one, dict)
            }
            return list(read(resource, None))

        return values

    def _resolve(self, nodes: list[Any]) -> list[Any]:
        """The resources to which references lead.

        Raises
        ------
        ValueFaultError
            One leads to none: what is read of it would be missing without a word.
        """
        node_of: Any = import_module("fhirpathpy.engine.nodes").ResourceNode
        found = []
        for node in nodes:
            data = node.data if isinstance(node, node_of) else node
            reference = data.get("reference") if isinstance(data, dict) else data
            resource = self._resources.get(str(reference)) or self._contained.get(str(reference))
            if resource is None:
                raise ValueFaultError(str(reference or ""), Refusal.FHIR_REFERENCE)
            found.append(node_of.create_node(resource, resource.get("resourceType")))
        return found


def is_valid(file: str, expression: str) -> bool:
    """Whether the whole of a text is one FHIRPath expression.

    Raises
    ------
    IngestError
        The library that reads it is not installed.
    """
    try:
        return _is_valid(expression)
    except ImportError:
        raise IngestError(FileFault.FHIR_EXTRA, file) from None


@lru_cache(maxsize=1_000)
def _is_valid(expression: str) -> bool:
    from antlr4 import CommonTokenStream, InputStream, Token
    from fhirpathpy.parser.generated.FHIRPathLexer import FHIRPathLexer
    from fhirpathpy.parser.generated.FHIRPathParser import FHIRPathParser

    lexer = FHIRPathLexer(InputStream(expression))
    lexer.removeErrorListeners()
    tokens = CommonTokenStream(lexer)
    parser = FHIRPathParser(tokens)
    parser.removeErrorListeners()
    parser.expression()
    return parser.getNumberOfSyntaxErrors() == 0 and tokens.LA(1) == Token.EOF


def is_personal(expression: str, column: str) -> bool:
    """Whether an expression reads what names a person: names, addresses, photos, narratives.

    Only the column for contacts may hold a telephone number.

    Examples
    --------
    >>> is_personal("subject.resolve().name.family", "child_id")
    True
    >>> is_personal("identifier.where(system = 'urn:name').value", "child_id")
    False
    >>> is_personal("telecom.value", "contact"), is_personal("telecom.value", "note")
    (False, True)
    """
    bare = _TEXT.sub("''", expression).replace("`", "")
    return bool(
        _PERSONAL.search(bare) or (column != "contact" and _TELECOM.search(bare) is not None)
    )


def cell(values: list[Any], *, several: bool) -> str:
    """The values of an expression as one cell; `several` are joined by semicolons where allowed.

    Raises
    ------
    ValueFaultError
        A value has parts of its own, or there are several and one is needed.

    Examples
    --------
    >>> cell(["redness", "fever"], several=True), cell([True], several=False), cell([], several=False)
    ('redness;fever', 'true', '')
    """
    texts = list(dict.fromkeys(_text(value) for value in values if value is not None))
    if len(texts) > 1 and not several:
        raise ValueFaultError(f"{len(texts)} values")
    return ";".join(texts)


def _text(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Mapping | list):
        raise ValueFaultError("a value with parts of its own")
    if isinstance(value, Decimal) and value == value.to_integral_value():
        return str(int(value))
    return str(value)

"""What is wrong with a FHIR file that nothing of it is imported, and how is it fixed?"""

from __future__ import annotations

from collections.abc import Mapping

from analysis.ingest.reasons import FileFault

FHIR_FILE: Mapping[FileFault, str] = {
    FileFault.FHIR_PROFILE: "it holds FHIR resources. Name a source profile whose tables have a "
    "resource, with --source FILE, or store it with: linedays sources import FILE.",
    FileFault.FHIR_EXTRA: "reading FHIR needs the extra fhir: pip install 'linedays[fhir]'.",
    FileFault.FHIR_EXPRESSION: "{expression!r} in the source profile is not a FHIRPath expression. "
    "Correct it.",
    FileFault.FHIR_PERSONAL: "{expression!r} in the source profile would put a name, an address, a "
    "photo, a telephone number or a displayed text into {column}. Use a code, such as an identifier.",
    FileFault.FHIR_NO_RESOURCE: "it holds no resource that the source profile reads, but {types}. Add "
    "one of them as resource of a table.",
}


def resources_left_out_note(file: str, types: Mapping[str, int]) -> str:
    """Resources of a FHIR file that no table of the source profile reads.

    Examples
    --------
    >>> resources_left_out_note("export.json", {"Organization": 2})
    'export.json: resources that no table of the source profile reads: Organization 2; skipped.'
    """
    listed = ", ".join(f"{name} {n}" for name, n in sorted(types.items()))
    return f"{file}: resources that no table of the source profile reads: {listed}; skipped."

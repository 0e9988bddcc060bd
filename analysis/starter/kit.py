"""Which files are in the starter kit?"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from importlib import resources

import orjson

from analysis.cautions import CAUTIONS
from analysis.exports.fhir import form_profile, questionnaire
from analysis.ingest.profile_toml import as_toml as profile_as_toml
from analysis.policy import Edition, Policy
from analysis.reports.pdf import PdfError, pdf_file
from analysis.starter.diary import Paper, diary_page
from analysis.starter.policy_file import policy_text
from analysis.starter.registry import registry_sheets
from analysis.starter.sheets import MADE_ON, workbook
from analysis.starter.texts import Texts, as_toml
from analysis.starter.typed import diary_profile, diary_sheet
from analysis.vocabulary import DressingType

INCOMING = "incoming"
"""Folder of the files to ingest."""
REGISTRY, DIARY = f"{INCOMING}/registry.xlsx", f"{INCOMING}/diary.xlsx"
PLACE = "/path/to/kit"
"""Stands for the kit's folder where that is not known."""
_FIRST = "\nIn a new terminal, so that it knows linedays, first: {}"
_TEMPLATES = {
    "README.txt": "readme.txt",
    "schedule/crontab.txt": "crontab.txt",
    "schedule/linedays-ingest.service": "service.txt",
    "schedule/linedays-ingest.timer": "timer.txt",
}


@dataclass(frozen=True)
class Kit:
    """Files by their path in the kit; `faults` are sentences on what could not be made."""

    files: Mapping[str, bytes]
    faults: tuple[str, ...]


def kit_files(
    policy: Policy,
    edition: Edition,
    texts: Texts,
    zone: str | None = None,
    place: str = PLACE,
    command: str = "linedays",
    activate: str | None = None,
) -> Kit:
    """Make the starter kit.

    Parameters
    ----------
    policy, edition : Policy and Edition
        Whose codes, intervals and settings the forms and the policy file show.
    texts : Texts
        Of the diary and its workbook.
    zone : str, optional
        The programme's time zone, for the policy file.
    place, command : str
        Where the kit will be, and the program, for the scheduled ingest.
    activate : str, optional
        The command after which a terminal knows the program by its name, where it needs one.

    Returns
    -------
    Kit
        The same files for the same arguments. Where no PDF can be made the diary is in HTML.
    """
    files = {
        REGISTRY: workbook(registry_sheets(edition)),
        DIARY: workbook([diary_sheet(texts, edition)]),
        "diary.toml": profile_as_toml(diary_profile(texts, edition)).encode(),
        "policy.toml": policy_text(policy, edition, zone).encode(),
        "texts.toml": as_toml(texts).encode(),
    }
    shipped = resources.files("analysis.starter").joinpath("templates")
    for name, template in _TEMPLATES.items():
        text = shipped.joinpath(template).read_text("utf-8")
        text = text.replace("{place}", place).replace("{command}", command)
        text = text.replace("{activate}", "" if activate is None else _FIRST.format(activate))
        files[name] = text.replace("{cautions}", "\n".join(CAUTIONS)).encode()
    faults: list[str] = []
    files["fhir/questionnaire.json"] = orjson.dumps(
        questionnaire(edition), option=orjson.OPT_INDENT_2
    )
    files["fhir/profile.toml"] = profile_as_toml(form_profile()).encode()
    files |= dict(_printed(texts, edition, faults))
    return Kit(files, tuple(dict.fromkeys(faults)))


def _printed(texts: Texts, edition: Edition, faults: list[str]) -> Iterator[tuple[str, bytes]]:
    """The diary for each dressing and paper."""
    for dressing in DressingType:
        for paper in Paper:
            page = diary_page(texts, edition, dressing, paper)
            name = f"print/diary-{dressing}-{paper}"
            try:
                yield f"{name}.pdf", pdf_file(page)
            except PdfError as fault:
                faults.append(str(fault))
                yield f"{name}.html", page.encode()


def zipped(kit: Kit) -> bytes:
    """The kit as one archive."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in kit.files.items():
            about = zipfile.ZipInfo(name, MADE_ON.timetuple()[:6])
            about.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(about, content)
    return out.getvalue()

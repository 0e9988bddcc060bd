"""Options of the commands on files: reports, policies, exports and backups."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path

from analysis.cli.options.declared import argument, command, flag, option, options, required
from analysis.cli.options.shared import (
    AsOfOption,
    ForceOption,
    KnownAtOption,
    OnADay,
    Output,
    PolicyOption,
    StoreOption,
)
from analysis.vocabulary import As, Copy, Private, Role, Versions


class For(StrEnum):
    """Whose report."""

    MANAGER = str(Role.MANAGER)
    PREVENTION = str(Role.PREVENTION)
    EDUCATOR = str(Role.EDUCATOR)
    ALL = "all"


@command("report", "reporting:report")
class ReportFiles(StoreOption, PolicyOption, KnownAtOption, ForceOption):
    """Weekly summary or monthly report as one HTML file and one PDF for each role.

    Rows received after the last day of the week or month are left out, unless --known-at names
    a later day. The same command on the same store gives the same files.
    """

    whose: For = required("Whose report; all: one for each role.", name="for")
    month_name: str | None = option("Report on a month: 2031-03.", name="month", metavar="MONTH")
    week_name: str | None = option(
        "Weekly summary of an ISO week: 2031-W11.", name="week", metavar="WEEK"
    )
    folder: Path = option("Where the files are put.", name="out", metavar="FOLDER", default=Path())
    copy: Copy = option(
        "team: names families and shows small counts; outside: no family, counts from 1 "
        "to 10 hidden.",
        default=Copy.TEAM,
    )
    site: list[str] | None = option(
        "Only families of this site; may be repeated [all].", metavar="SITE"
    )


@command("policy", "settings:policy_settings")
class PolicySettings(StoreOption, PolicyOption, Output):
    """Every setting of the store's policy with its source, or set or check a policy file."""

    set_file: Path | None = option(
        "Make a file the policy of the store.", name="set", metavar="FILE"
    )
    redate: bool = flag("With --set: date all moments again in the time zone of the file.")
    check: Path | None = option("Check a policy file and report what is wrong.", metavar="FILE")


@options
class ToFolder(OnADay):
    """A folder of files."""

    write: Path = required("A new folder for the files.", metavar="FOLDER")
    kind: As = option("csv; or parquet, which keeps types.", name="as", default=As.CSV)


@command("export", "exporting:export")
class Export(ToFolder):
    """Records and the tables calculated from them as files, each with its data dictionary.

    Files of records (CSV) can be ingested again. The same command on the same store gives the same
    files. They hold codes of families and are for the team.
    """

    tables: list[str] | None = argument("Tables [default: all].", "[TABLE…]", default=None)
    versions: Versions = option(
        "Of records: those in force, or all that were ever received.", default=Versions.CURRENT
    )
    private: list[Private] | None = option(
        "Write this too, else left out; may be repeated.", name="with"
    )


@command("export deidentified", "exporting:extract")
class ExportDeidentified(ToFolder):
    """An extract for people outside the team, with a statement of what remains identifiable.

    It ends with the last quarter that has been over for 28 days, so that consecutive extracts
    cannot be subtracted. Codes are replaced, dates moved, free text left out and rare words hidden.
    """

    key_file: Path | None = option(
        "The same codes and shifts each time, by the key in this file, made if it isn't "
        "there [default: a key that is not kept].",
        metavar="FILE",
    )


@command("export fhir", "exporting:export_fhir")
class ExportFhir(OnADay, ForceOption):
    """The home log as FHIR R4: a Questionnaire and a QuestionnaireResponse for each entry.

    One resource a line (NDJSON). It holds codes of families and is for the team. 'linedays starter'
    writes the profile that reads such responses.
    """

    file: Path = argument("A new file.", "FILE")
    private: list[Private] | None = option(
        "Write this too, else left out; may be repeated.", name="with"
    )


@command("export partitions", "partitioned:export_partitions")
class ExportPartitions(StoreOption, KnownAtOption):
    """Records as Parquet in parts with whole families, to calculate them on several machines.

    lines, adherence, rates and dwell read the folder with --partitions. Contacts, languages and
    notes are left out.
    """

    write: Path = required("A new folder.", metavar="FOLDER")
    parts: int = option("How many parts, with about as many lines each.", default=16, min=1)


@command("backup", "keeping:backup")
class Backup(StoreOption):
    """Write everything in the store to one file, while others go on working.

    Policy files and fitted orders are files of their own: keep them with it.
    """

    file: Path = argument("A file that isn't there yet; with --keep a folder.", "FILE")
    keep: int | None = option(
        "Write into the folder FILE, named after the moment, keep so many of the newest and report "
        "in its last-backup.txt.",
        min=1,
        max=10_000,
    )
    try_restore: bool = flag("Restore it into a temporary store and compare all hashes.")
    settings: Path | None = option(
        "Settings that name the store, as of 'linedays serve'.", metavar="FILE"
    )
    key_file: Path | None = option(
        "Encrypt it with the key in this file, made if it isn't there. Keep the key elsewhere: "
        "without it nobody can restore the backup.",
        metavar="FILE",
    )


@command("delete-family", "deleting:delete_family")
class DeleteFamily(StoreOption):
    """Delete everything of a family on request: rows, versions, refused rows, calls, sign-offs.

    The access log keeps the family's code with who viewed and who deleted it. Backups made before
    still hold the family. Files that bring it again are not stored.
    """

    family: str = argument("Code of the family.", "FAMILY")
    reason: str = required("Why, for the access log; no names.", metavar="TEXT")
    shared: bool = flag("Also children, lines and caregivers that were of another family as well.")
    yes: bool = flag("Do not ask again.")


@command("retention", "deleting:retention")
class Retention(StoreOption, PolicyOption, AsOfOption, Output):
    """Families whose last day is longer ago than the policy's retention_years; nothing is deleted.

    The last day is the one on which their last line was removed or they left the programme.
    """


@command("grants", "keeping:grants")
class Grants:
    """SQL that gives an account on a PostgreSQL server the rights it needs, and no more.

    The owner of the database runs it after the first start and after each new version:
    linedays grants app | psql DATABASE
    """

    role: str = argument("Role of the account.", "ROLE")


@command("verify", "keeping:verify")
class Verify(StoreOption, Output):
    """Compare stored rows with their compressed copies and with the hashes of when they were added.

    The last hash of each table changes with every file and act: a note of it kept elsewhere shows
    later whether a store was written again as a whole. What this command printed as CSV is such a
    note, see --noted.
    """

    noted: Path | None = option(
        "What this command printed as CSV earlier: checks that nothing stored before it changed.",
        metavar="FILE",
    )


@command("restore", "keeping:restore")
class Restore(StoreOption):
    """Make a new store from a backup, all of it or nothing; nothing is ever overwritten.

    The store may be of either kind, as the backup may be. Everybody signs in again.
    """

    file: Path = argument("What 'linedays backup' wrote.", "FILE")
    key_file: Path | None = option("The key of an encrypted backup.", metavar="FILE")

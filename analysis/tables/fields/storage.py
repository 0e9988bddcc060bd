"""Which fields do lists of the store have: ingests, refused rows, accesses, notes?"""

from __future__ import annotations

from analysis.tables.fields.plain import count, day, moment, text, word
from analysis.tables.kinds import Field, Kind, Sensitivity
from analysis.vocabulary import Access

STORAGE = (
    text("policy_file", "file that the policy was read from"),
    text("time_zone", "time zone in which days are counted"),
    count("refused_row", "number on the list of refused rows", low=1),
    count("ingest", "number of the ingest"),
    text("file", "name of the file"),
    text("sheet", "sheet of the workbook"),
    count("row_number", "row number in the file"),
    text("column", "first column with a problem"),
    Field(
        "value", Kind.TEXT, "what the cell held", sensitivity=Sensitivity.FREE_TEXT, identity=False
    ),
    text("reason", "reason code of a refusal", only_in=("refused",)),
    Field(
        "row",
        Kind.TEXT,
        "the whole row: a JSON object of its cells",
        sensitivity=Sensitivity.FREE_TEXT,
        identity=False,
        only_in=("refused",),
    ),
    text("doubt", "code of the doubt"),
    text("sha256", "SHA-256 of the bytes of the file"),
    count("size", "size of the file", "bytes"),
    day("received_on", "day the clinic got the row"),
    moment("ingested_at", "when it was read"),
    Field(
        "brought_by",
        Kind.TEXT,
        "staff code of the person who imported it on the dashboard",
        sensitivity=Sensitivity.STAFF,
        identity=False,
    ),
    count("read", "rows read", "rows"),
    count("stored", "rows that were new", "rows"),
    count("same_as_before", "rows already known", "rows"),
    count("refused", "rows that could not be used", "rows"),
    count("doubts", "rows with a doubt", "rows"),
    count("last_row", "last stored row of the table after the file", low=-1),
    moment("undone_at", "when it was undone"),
    Field(
        "undone_by",
        Kind.TEXT,
        "staff code of the person who undid it",
        sensitivity=Sensitivity.STAFF,
        identity=False,
    ),
    day("on_day", "day that the note is about"),
    Field(
        "text",
        Kind.TEXT,
        "what happened, in free text",
        sensitivity=Sensitivity.FREE_TEXT,
        identity=False,
    ),
    moment("withdrawn_at", "when it was withdrawn"),
    Field(
        "withdrawn_by",
        Kind.TEXT,
        "staff code of the person who withdrew it",
        sensitivity=Sensitivity.STAFF,
        identity=False,
    ),
    count("access", "number of the access, in order of time"),
    moment("at", "when"),
    Field(
        "who", Kind.TEXT, "staff code of the user", sensitivity=Sensitivity.STAFF, identity=False
    ),
    word("what", "what was done", allowed=tuple(Access)),
    Field(
        "about",
        Kind.TEXT,
        "page, table, address or user",
        sensitivity=Sensitivity.STAFF,
        identity=False,
    ),
)

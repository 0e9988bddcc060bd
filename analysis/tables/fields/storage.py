"""Which fields do lists of the store have: ingests, refused rows, accesses, notes?"""

from __future__ import annotations

from analysis.tables.fields.kinds import count, day, free_text, moment, staff, text, word
from analysis.vocabulary import Access

STORAGE = (
    text("policy_file", "file that the policy was read from"),
    text("time_zone", "time zone in which days are counted"),
    count("refused_row", "number on the list of refused rows", low=1),
    count("earlier_row", "number of the earlier stored row", low=1),
    count("ingest", "number of the ingest"),
    text("file", "name of the file"),
    text("sheet", "sheet of the workbook"),
    count("row_number", "row number in the file"),
    text("column", "first column with a problem"),
    free_text("value", "what the cell held"),
    text("reason", "reason code of a refusal", only_in="refused"),
    free_text("further", "what else is wrong: a JSON list of column, value and reason"),
    free_text("row", "the whole row: a JSON object of its cells", only_in="refused"),
    text("doubt", "code of the doubt"),
    text("sha256", "SHA-256 of the bytes of the file"),
    count("size", "size of the file", "bytes"),
    day("received_on", "day the clinic got the row"),
    moment("ingested_at", "when it was read"),
    staff("brought_by", "staff code of the person who imported it on the dashboard"),
    count("read", "rows read", "rows"),
    count("stored", "rows that were new", "rows"),
    count("same_as_before", "rows already known", "rows"),
    count("refused", "rows that could not be used", "rows"),
    count("doubts", "rows with a doubt", "rows"),
    count("last_row", "last stored row of the table after the file", low=-1),
    moment("undone_at", "when it was undone"),
    staff("undone_by", "staff code of the person who undid it"),
    day("on_day", "day that the note is about"),
    free_text("text", "what happened, in free text"),
    moment("withdrawn_at", "when it was withdrawn"),
    staff("withdrawn_by", "staff code of the person who withdrew it"),
    count("access", "number of the access, in order of time"),
    moment("at", "when"),
    staff("who", "staff code of the user"),
    word("what", "what was done", allowed=Access),
    staff("about", "page, table, address or user"),
)

"""What does the statement say that goes with a de-identified extract?

It names no day of the store: neither the as-of day nor when the extract was made.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd

from analysis.exports.deidentified import Extract
from analysis.exports.folder import Written
from analysis.exports.pseudonyms import END_DAYS, REACH_DAYS
from analysis.stats.small_cells import LARGEST_HIDDEN
from analysis.words import CAUTIONS


def statement(
    extract: Extract,
    alone: pd.DataFrame,
    dated: int,
    read: Mapping[str, tuple[int, int]],
    files: Sequence[Written],
) -> str:
    """The statement in Markdown.

    Parameters
    ----------
    extract : Extract
        What is written.
    alone : DataFrame
        As `identifiable.alone` gives it.
    dated : int
        As `linked.dated_by_end` gives it.
    read : dict of (int, int)
        As `linked.read_off` gives it.
    files : sequence of Written
        The files.
    """
    known = "\n".join(
        f"| {row.known} | {row.alone} | {row.few} | {row.fewest} |"
        for row in alone.itertuples(index=False)
    )
    hidden = "\n".join(
        f"| {column} | {_few(int(children))} |"
        for column, children in extract.hidden.itertuples(index=False, name=None)
    )
    listed = "\n".join(f"| {f.path} | {f.rows} | `{f.sha256}` |" for f in files)
    cautions = "\n".join(f"- {caution}" for caution in CAUTIONS)
    return f"""# De-identified extract from linedays: what was done, and what remains

{extract.children} children. **This is no guarantee and no legal finding.** The person who
lets the extract leave the team decides, under the law and the agreements that apply, who gets it and
on which terms.

## What was done

- **Codes** of children, families, lines, caregivers, entries and sites were replaced by HMAC-SHA-256 of
  the code under a secret key that is not in the extract. Without the key they can't be found,
  not even by trying all codes; extracts under different keys can't be joined by code.
- **Dates**: all dates of one child, the receipt of its rows among them, were moved by the same number
  of days, drawn for the child under the key: about a century, so that none can be taken for a
  true one, and up to {REACH_DAYS} days less or more, each number as likely. Days between two dates of
  one child are the true ones. Weekday, season and calendar year are not.
- **Clock times** were cut off. **Months of birth** became age bands on the first day at home.
- **Closed quarters only**: nothing of the days after the last quarter that had been over for 28 days. All
  extracts made until the next quarter is closed hold the same, so subtracting two of them gives nothing.
- **Follow-up** of each child ends on a day of its own, up to {END_DAYS - 1} days before that quarter ends, as if the
  family had left the programme: lines end with `left_on`, later rows are gone.
- **Left out**: contacts, languages, notes, staff codes, recorded calls and arrangements, a sender's own further
  columns, refused rows, earlier versions, withdrawn rows, and rows of no child with a line
  ({extract.rows_without_child} rows).
- **Rare words**: a word that 1 to {LARGEST_HIDDEN} children of the whole extract hold reads `hidden` (a rare
  number of a line is blank), with the next rarest of its column until `hidden` stands for more than
  {LARGEST_HIDDEN} children, where so many have the column.

| column with hidden words | children with one |
|---|---|
{hidden or "| none | 0 |"}

## What that costs

- Dates of two children can't be compared: nothing by month, season or weekday, no control chart, no rate over
  calendar time; and of a family with several children, not whether it was silent on a day.
- Caregivers and sign-offs of a family with several children are listed once for each child, with its shift: count
  them by family and caregiver, not by row.
- Which of two entries of one day came first is lost, so a few intervals calculated again can differ from those
  in `intervals`, which were calculated before anything was moved.

## What remains identifiable

Of {extract.children} children, counted on this extract (k-anonymity, Sweeney 2002):

| if somebody knows of a child | alone with it | with at most {LARGEST_HIDDEN} like it | smallest group |
|---|---|---|---|
{known}

- **The rhythm of a child's care is its own.** Days between admissions, dressing changes and findings are true: who
  knows a few of them to the day (a hospital, a school, a relative, the family itself) can find the child and
  then read all the rest. Few columns hidden would change that; fewer readers do.
- **The end of the extract dates no child exactly.** Tried on this extract: who takes each child's last date for
  the day on which the extract ends finds the true dates of {_few(dated)} of {extract.children} children, without
  knowing which. Such a reader knows the others' dates to within {END_DAYS} days.
- **A day that many share gives shifts away.** Rows that came in together, as in a first import of old logs, share
  their day of receipt. Who learns such a day can work back to the child's true dates. Do not pass on when logs
  were imported.
- Siblings share a family code, and a sign-off of their caregiver is listed with each, so that their dates can be
  laid side by side: who finds one finds the other.
- **Hidden words can follow from other tables.** Tried on this extract: who takes a line with an access for a port
  finds the hidden kind of line of {_of(read["kind of line"])}; who takes the days between due changes for the
  order finds the hidden order of {_of(read["order"])}. Days between changes still suggest an order.
- Findings, harms and reasons of removal are as they were, but for rare words.
- Who holds the key and the store can find every child. Keep a key file apart from the extract, or use none.

This is not the list of the Safe Harbor method of the US privacy rule (45 CFR 164.514(b)(2)): that allows no date more
exact than a year, moved or not. Under that rule it would need an expert's determination (164.514(b)(1)).
Elsewhere other law applies; pseudonymised data may well count as personal data.

{cautions}

## Files

`dictionary/` states of each column what it holds.

| file | rows | SHA-256 |
|---|---|---|
{listed}
"""


def _of(found: tuple[int, int]) -> str:
    return f"{_few(found[1])} of {_few(found[0])} children"


def _few(count: int) -> str:
    """A count of children, unless it is itself a small cell."""
    return f"1 to {LARGEST_HIDDEN}" if 1 <= count <= LARGEST_HIDDEN else str(count)

"""Which notes are on the chart, and is a new one valid?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from string import ascii_uppercase

import pandas as pd

from analysis.snapshot import Snapshot
from analysis.store import Store
from analysis.verdicts import period_of
from analysis.vocabulary import Grouping
from dashboard.layout.words import day_year
from dashboard.rates.views import Annotation
from dashboard.security.roles import Reader
from dashboard.session.forms import Form, FormError
from dashboard.session.frames import cells, distinct

MOST_CHARACTERS = 200
ALL_SITES = ""
"""What the form sends for all sites."""


@dataclass(frozen=True)
class AnnotationForm(Form):
    """A note as typed in."""

    on_day: object
    site: object
    text: object


def shown_notes(store: Store, found: Snapshot, reader: Reader) -> tuple[Annotation, ...]:
    """Notes in force when `found` was known that concern the reader's sites, by day."""
    known = store.annotations(found.known_at)
    in_scope = pd.Series(data=True, index=known.index)
    if reader.sites is not None:
        in_scope = known["site"].isna() | known["site"].isin(list(reader.sites))
    shown = known["withdrawn_at"].isna() & in_scope
    shown &= known["on_day"] <= pd.Timestamp(found.as_of)
    known = known[shown.to_numpy(dtype=bool)].sort_values(["on_day", "row"])
    zone = found.policy.zone
    names = ("row", "on_day", "site", "text", "made_by", "made_at")
    return tuple(
        Annotation(
            row=int(row),
            mark=mark_of(at),
            on=day.date(),
            site=site,
            text=text,
            made_by=by,
            made_on=made.tz_localize("UTC").tz_convert(zone).date(),
        )
        for at, (row, day, site, text, by, made) in enumerate(cells(known, *names))
    )


def marks_on(annotations: tuple[Annotation, ...], chart: pd.DataFrame, period: str) -> pd.DataFrame:
    """Where notes are on a chart whose periods are one apart; others are left out."""
    days = pd.DatetimeIndex([a.on for a in annotations])
    spans = days.to_period("M" if period == "month" else "Q")
    place = pd.Index(chart["period"].astype(str)).get_indexer(
        pd.Index([period_of(a.on, Grouping(period)) for a in annotations], dtype="object")
    )
    lengths = (spans.end_time - spans.start_time).days + 1
    within = (days - spans.start_time).days / lengths
    marks = pd.DataFrame(
        {
            "at": place - 0.5 + within,
            "mark": [a.mark for a in annotations],
            "text": [a.text for a in annotations],
        }
    )
    return marks[place >= 0].reset_index(drop=True)


def mark_of(at: int) -> str:
    """The letter of the nth note; after Z a number follows.

    Examples
    --------
    >>> mark_of(0), mark_of(25), mark_of(26)
    ('A', 'Z', 'A2')
    """
    again, letter = divmod(at, len(ascii_uppercase))
    return ascii_uppercase[letter] + (str(again + 1) if again else "")


def sites_to_write_for(found: Snapshot, reader: Reader) -> tuple[str, ...]:
    """Sites that a reader may add notes for; `ALL_SITES` for a person who sees all of them."""
    known = distinct(found.records.lines["site"])
    if reader.sites is None:
        return (ALL_SITES, *known)
    return tuple(site for site in known if site in reader.sites)


def checked_text(text: object) -> str:
    """What happened, in one line.

    Raises
    ------
    FormError
        It is empty or too long.
    """
    note = " ".join(text.split()) if isinstance(text, str) else ""
    if not note:
        raise FormError("Write what happened, such as: new antiseptic.")
    if len(note) > MOST_CHARACTERS:
        raise FormError(f"Shorten what happened to {MOST_CHARACTERS} characters.")
    return note


def checked_day(text: object, as_of: date) -> date:
    """The day of a note.

    Raises
    ------
    FormError
        It is not a date, or is after the as-of day.
    """
    try:
        day = date.fromisoformat(str(text))
    except ValueError:
        raise FormError(f"Write the day as a date, such as {day_year(as_of)}.") from None
    if day > as_of:
        raise FormError(
            f"Choose a day up to {day_year(as_of)}: a note is about something that happened."
        )
    return day


def checked_site(site: object, sites: tuple[str, ...]) -> str | None:
    """The site of a note; None: all of them.

    Raises
    ------
    FormError
        There is no such site for this person.
    """
    if not isinstance(site, str) or site not in sites:
        raise FormError("Choose a site from the list.")
    return site or None

"""Where is any family, also one that is not on today's list?"""

from __future__ import annotations

from dataclasses import replace

from dash.development.base_component import Component

from dashboard.addresses.families import (
    EVERY_FAMILY,
    FAMILIES,
    FamiliesChoice,
    lasting_query,
    read_families,
    with_hidden,
    write_families,
)
from dashboard.addresses.family import FamilyChoice, family_address
from dashboard.changes.parts import changes_place
from dashboard.families import words as families_words
from dashboard.families.queries import FamiliesQueries
from dashboard.families.views import FamiliesView
from dashboard.layout import frame as shell
from dashboard.layout.serialised import serialised
from dashboard.layout.templates import static
from dashboard.security.roles import Page
from dashboard.session.session import Session

PATH = FAMILIES
TITLE = "Families"


def layout(session: Session, search: str | None) -> list[Component]:
    """All families that this person may see, with what is searched for and filtered."""
    queries = FamiliesQueries(session)
    asked = read_families(search)
    view = queries.families(asked)
    if search and not asked.q:
        session.keep_choice(PATH, lasting_query(asked))
    content = session.cached(
        (PATH, view.choice),
        lambda: serialised(_content(view)),  # the same for all who see the same
    )
    changes = changes_place(queries.changes(view.choice), Page.FAMILIES)
    return shell.page(PATH, view.context, [changes, content], finding=view.choice.q)


def _content(view: FamiliesView) -> Component:
    """Search, filters and the rows of the page."""
    choice = view.choice
    opened = FamilyChoice(opened_from=write_families(replace(choice, page=1)))
    steps = ((choice.page - 1, "Earlier families"), (choice.page + 1, "Later families"))
    return static(
        "families/page",
        title=TITLE,
        view=view,
        families_words=families_words,
        heads=[
            (
                name,
                _address(replace(choice, sort=sort)),
                families_words.ORDER[sort] if sort == choice.sort else None,
            )
            for sort, name in families_words.HEADS.items()
            if sort not in choice.hidden
        ],
        hidden=choice.hidden,
        columns=[
            (
                name,
                column in choice.hidden,
                _address(with_hidden(choice, choice.hidden ^ {column})),
            )
            for column, name in list(families_words.HEADS.items())[1:]
        ],
        rows=[(row, family_address(row.family_id, opened)) for row in view.rows],
        filters=_filters(view),
        every_family=EVERY_FAMILY,
        is_chosen=choice != FamiliesChoice(),
        pages=[
            (write_families(replace(choice, page=page)), name)
            for page, name in steps
            if 1 <= page <= view.pages
        ],
    )


def _address(choice: FamiliesChoice) -> str:
    address = write_families(replace(choice, page=1))
    return EVERY_FAMILY if address == FAMILIES else address


def _filters(view: FamiliesView) -> list[tuple[str, str, str | None, list[tuple[str, str]]]]:
    """Name in the address, label, choice and options of each filter."""
    choice = view.choice

    def options(values: tuple[str, ...]) -> list[tuple[str, str]]:
        return [("", "All"), *((value, value) for value in values)]

    places = [("", "All"), *((p, families_words.PLACES[p]) for p in view.places)]
    return [
        ("place", "Where listed", choice.place, places),
        ("nurse", "Nurse", choice.nurse, options(view.nurses)),
        ("site", "Site", choice.site, options(view.sites)),
    ]

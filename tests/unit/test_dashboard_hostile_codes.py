"""Codes and texts that hold markup are shown as text on the call list, the panel and data in."""

from __future__ import annotations

from datetime import UTC, date, datetime
from html.parser import HTMLParser
from typing import Any

from analysis.vocabulary import Role
from dashboard.addresses.calls import Choice
from dashboard.call_actions.views import Arranged, News
from dashboard.call_state.views import CallMade, CallRow, NeedShown, ReasonView
from dashboard.calls import parts
from dashboard.calls.views import CallDone, CallsView, CapacityView, Opened, ReasonWithRows
from dashboard.evidence.views import Source
from dashboard.layout.templates import render
from dashboard.security.roles import Reader
from dashboard.session.views import PageContext

HARM = '<img src=x onerror="alert(1)">\''
DAY, AT = date(2031, 3, 4), datetime(2031, 3, 4, 9, tzinfo=UTC)
CONTEXT = PageContext(
    as_of=DAY,
    known_at=AT,
    knows_whole_day=True,
    is_today=True,
    records_calls=True,
    policy=HARM,
    edition=HARM,
    demo=False,
    reader=Reader(HARM, Role.MANAGER),
)


class Found(HTMLParser):
    """Tags and attributes that a browser would see."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.names: set[str] = set()
        self.texts: list[str] = []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[Any]) -> None:
        self.tags.add(tag)
        self.names |= {name for name, _ in attrs}

    def handle_data(self, data: str) -> None:
        self.texts.append(data)


def harmless(html: str, *, least: int) -> None:
    """No tag or attribute of the text, which is shown at least so often."""
    found = Found(html)
    assert "img" not in found.tags
    assert "onerror" not in found.names
    assert "".join(found.texts).count(HARM) >= least


def row(band: str = "call_today", **given: Any) -> CallRow:
    known = {
        "rank": 1,
        "family_id": HARM,
        "band": band,
        "sentences": (HARM, HARM, HARM),
        "reasons": ("overdue", "silent", "overdue"),
        "days_overdue": 2,
        "silent": True,
        "silent_days": 9,
        "last_heard_on": DAY,
        "nurses": (HARM,),
        "sites": (HARM,),
        "recheck_on": DAY,
        "expected": HARM,
        "assigned_to": HARM,
        "postponed_by": HARM,
        "postponed_reason": HARM,
        "attempts": HARM,
    }
    return CallRow(**{**known, **given})


def view(**given: Any) -> CallsView:
    done = CallDone(
        1, HARM, AT, HARM, reached=False, agreed=HARM, recheck_on=DAY, band="call_today"
    )
    known = {
        "context": CONTEXT,
        "choice": Choice(nurse=HARM, site=HARM, language=HARM),
        "order": HARM,
        "counts": {"same_day_review": 0, "call_today": 1, "call_this_week": 0, "waiting": 1},
        "families_at_home": 2,
        "families_silent": 1,
        "silent_after_days": 8,
        "sites": (HARM,),
        "nurses": (HARM,),
        "languages": (HARM,),
        "first": row(),
        "rows": (row(),),
        "total": 1,
        "pages": 1,
        "resting": (row("waiting", family_id=HARM + "2"),),
        "done": (done,),
        "done_count": 1,
        "capacity": CapacityView(1, 1, HARM, HARM, HARM),
    }
    return CallsView(**{**known, **given})


def test_the_head_of_the_call_list_shows_codes_as_text():
    harmless(parts.head(view()), least=8)
    harmless(parts.head(view(first=None)), least=5)


def test_the_rows_of_the_call_list_show_codes_as_text():
    shown = view()
    harmless(parts.rows(shown, None, parts.closed_rows(shown), parts.done(shown)), least=20)


def test_the_panel_shows_codes_as_text():
    source = Source(HARM, 1, HARM, HARM, 2, AT, ((HARM, HARM),), (HARM,))
    opened = Opened(
        context=CONTEXT,
        row=row(),
        reasons=(ReasonWithRows(ReasonView(HARM, HARM, HARM, HARM, ()), (source,), 1),),
        calls=(CallMade(1, DAY, HARM, reached=True, agreed=HARM, recheck_on=DAY, made_at=AT),),
        arranged=(
            Arranged(1, AT, HARM, "assigned", HARM, None, None),
            Arranged(2, AT, HARM, "set_aside", None, DAY, HARM),
        ),
        callers=(HARM,),
        needs=(NeedShown(HARM, HARM, HARM, HARM),),
        contact=HARM,
        language=HARM,
        recheck_on=DAY,
        form=HARM,
        others=HARM,
        next_family_id=HARM,
    )
    harmless(parts.panel(opened, Choice(), News(HARM, can_undo=True)), least=20)


def test_frame_and_messages_show_codes_as_text():
    harmless(render("layout/not_found", what=HARM), least=1)
    harmless(render("security/plain", title=HARM, what=HARM), least=3)
    harmless(
        render(
            "security/sign_in",
            title="Sign in",
            message=HARM,
            token=HARM,
            to=HARM,
            code=HARM,
            provider=HARM,
        ),
        least=1,
    )

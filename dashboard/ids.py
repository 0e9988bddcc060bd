"""Names of the components that callbacks speak of."""

from __future__ import annotations

URL = "url"
PAGE = "page"
CHANGED = "changed"
"""Counts what this reader recorded or took back, so that list and panel are drawn anew."""
LOOKED = "looked"
"""Set when a page comes back into view, so that a list left open is drawn anew."""
CHANGED_BY_ITSELF = frozenset({f"{LOOKED}.data"})
"""What a page changes without anybody doing anything; it does not keep a sign-in open."""

CALLS_HEAD = "calls-head"
CALLS_LIST = "calls-list"
SPLIT = "split"
PANEL = "panel"
OPENED = "opened"
FOCUSED = "focused"

RECORD = "record-call"
"""The form of a call as it was sent."""
TAKE_BACK = "take-back"
"""The recorded call that a button asked to take back."""

TAKE_OUT = "take-out"
"""Set when the list is asked for as a file."""
DOWNLOAD = "download"

PANEL_FAULT = "panel-fault"

FAMILY_BODY = "family-body"
FAMILY_FIGURE = "family-figure"
FAMILY_ASKED = "family-asked"
"""The source row asked for in the table. The buttons themselves have no id: hundreds of matched
ids hold a browser up."""
FAMILY_SOURCE = "family-source"
"""The place where a source row is shown."""

RATES_HEAD = "rates-head"
RATES_BODY = "rates-body"
DWELL_HEAD = "dwell-head"
DWELL_BODY = "dwell-body"
WEEK_HEAD = "week-head"
WEEK_BODY = "week-body"

NEEDS_HEAD = "needs-head"
NEEDS_LIST = "needs-list"
NEED_PANEL = "need-panel"
NEED_FAULT = "need-fault"
NEED_OPENED = "need-opened"
NEEDS_SPLIT = "needs-split"
MARK_REFRESHER = "mark-refresher"
"""The form of a refresher as it was sent."""
UNMARK_REFRESHER = "unmark-refresher"
"""The refresher that a button asked to take back."""
NEEDS_BODY = "needs-body"
NEEDS_DRAWN = "needs-drawn"
"""The choice under which the lower part of the page was drawn."""

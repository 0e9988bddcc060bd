"""Names of the components that callbacks speak of."""

from __future__ import annotations

URL = "url"
PAGE = "page"
CHANGED = "changed"
"""Counts what this reader recorded or took back, so that list and panel are drawn anew."""
LOOKED = "looked"
"""Set when a page comes back into view, so that a list left open is drawn anew."""

CALLS_HEAD = "calls-head"
CALLS_LIST = "calls-list"
SPLIT = "split"
PANEL = "panel"
OPENED = "opened"
FOCUSED = "focused"

MADE_BY = "made-by"
REACHED = "reached"
AGREED = "agreed"
RECHECK_ON = "recheck-on"
RECORD = "record-call"
RECORD_FAULT = "record-fault"
FORM_FAMILY = "form-family"
TAKE_BACK = "take-back"
"""Type of the buttons that take a recorded call back; `row` is the call."""

TAKE_BACK_FAULT = "take-back-fault"

FIGURE = "line-figure"
"""Type of the timelines; `line` is the line's code."""
SHOW_ROW = "show-row"
"""Type of the buttons that show a source row; `line`, `table` and `row` name it."""
SOURCE = "source"
"""Type of the place where a line's source row is shown; `line` is the line's code."""

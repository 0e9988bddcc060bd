"""How is a log entry voided that a later one corrects?"""

from __future__ import annotations

from datetime import datetime

from analysis.store import Store, StoreError
from dashboard.session.forms import FormError
from dashboard.session.ingesting import PATIENCE_SECONDS


def void(store_url: str, number: int, who: str, at: datetime, *, undo: bool) -> str:
    """Void an entry, or undo that; returns where the entry is from.

    Raises
    ------
    FormError
        It has a number of its own or is not in force, or somebody else is writing to the store.
    """
    try:
        with Store.open(store_url, create=False, wait_seconds=PATIENCE_SECONDS) as store:
            if undo:
                store.restore_entry(number, who, at)
            else:
                store.void_entry(number, who, at)
            sent = store.versions_of_row("home_log", number)[0]
    except StoreError as fault:
        raise FormError(str(fault)) from None
    sheet = f", sheet {sent.sheet}" if sent.sheet else ""
    return f"{sent.file}{sheet}, row {sent.row_number},"

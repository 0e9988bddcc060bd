"""What every notebook starts with: a store, its day, and figures that stay in an exported page.

Import it first: it sets how wide tables are printed and has figures carry their own library, so that
an HTML file made of a notebook shows them without a network.
"""

from __future__ import annotations

import tempfile
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

import pandas as pd
import plotly.io as pio
from IPython import get_ipython
from plotly.io.base_renderers import HtmlRenderer

from analysis.cli.inventing import invented_store
from analysis.cli.opening import today
from analysis.policy import load_policy
from analysis.snapshot import Snapshot
from analysis.store import Store
from analysis.vocabulary import Role
from analysis.words import CAUTIONS
from dashboard.config import DashboardConfig
from dashboard.security.roles import Reader
from dashboard.session.service import Service
from dashboard.session.session import Session

INVENTED_DAY = date(2031, 3, 10)
"""Day of the invented programme, which has no clock of its own."""

pd.set_option("display.width", 160, "display.max_columns", 20, "display.max_colwidth", 90)


class Offline(HtmlRenderer):
    """Figures as HTML; their library is in the notebook once. plotly's own asks a server for MathJax."""

    def to_mimebundle(self, fig_dict: dict[str, Any]) -> dict[str, str]:
        """Return the figure as a part of a page."""
        page = pio.to_html(
            fig_dict, self.config, include_plotlyjs=False, include_mathjax=False, full_html=False
        )
        return {"text/html": page}


if get_ipython() is not None:
    pio.renderers["offline"] = Offline(global_init=True)
    pio.renderers.default = "offline"


@dataclass(frozen=True)
class Programme:
    """A store on a day, as a nurse manager of the chosen sites sees it."""

    as_of: date
    session: Session
    """What the queries of the dashboard's pages ask with."""
    _service: Service
    _folder: tempfile.TemporaryDirectory[str] | None = None

    @property
    def store(self) -> Store:
        """The open store."""
        return self._service.store

    @property
    def snapshot(self) -> Snapshot:
        """Everything known of the chosen sites on the day."""
        return self.session.snapshot()

    def of_site(self, site: str) -> Session:
        """The same for one site alone."""
        return self._service.session_of(_reader([site]))

    def close(self) -> None:
        """Close the store and delete an invented one."""
        self._service.close()
        if self._folder is not None:
            self._folder.cleanup()


def open_programme(
    store: str | None = None,
    policy: str | Path | None = None,
    as_of: date | None = None,
    known_at: date | datetime | None = None,
    sites: Collection[str] | None = None,
    *,
    families: int = 240,
    seed: int = 1,
) -> Programme:
    """Open a store, or invent a programme, and print the cautions.

    Parameters
    ----------
    store : str or None
        URL of a store; None: a programme is invented in a temporary folder.
    policy : str, Path or None
        Policy file; None: the policy shipped with linedays.
    as_of : date or None
        Day to view; None: the day of the newest log entry of the store.
    known_at : date, datetime or None
        Rows received later are left out; None: the end of the day viewed.
    sites : collection of str or None
        Sites to include; None: all.
    families, seed
        Of the invented programme.
    """
    file = None if policy is None else Path(policy)
    folder = None
    if store is None:
        folder = tempfile.TemporaryDirectory()
        as_of = as_of or INVENTED_DAY
        where = Path(folder.name)
        store = invented_store(where, families=families, seed=seed, as_of=as_of).url
    day = as_of or newest_day(store, file)
    service = Service.open(DashboardConfig(store, file, as_of=day, known_at=known_at))
    print(*CAUTIONS, sep="\n")
    return Programme(day, service.session_of(_reader(sites)), service, folder)


def newest_day(store: str, policy: Path | None = None) -> date:
    """Day of the newest log entry of a store; of a store without entries: today."""
    with Store.open(store, create=False) as opened:
        newest = opened.records().home_log["done_on"].max()
    return today(load_policy(policy)) if pd.isna(newest) else newest.date()


def _reader(sites: Collection[str] | None) -> Reader:
    return Reader("notebook", Role.MANAGER, None if sites is None else frozenset(sites))

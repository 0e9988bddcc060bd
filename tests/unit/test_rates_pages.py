"""Do the pages of rates and dwell time work with no rows, one line, and unknown choices?"""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.store import Store
from analysis.vocabulary import Role
from dashboard.addresses.dwell import DwellChoice
from dashboard.addresses.rates import RatesChoice
from dashboard.config import DashboardConfig
from dashboard.dwell import layout as dwell
from dashboard.dwell.queries import DwellQueries
from dashboard.rates import layout as rates
from dashboard.rates.queries import RatesQueries
from dashboard.security.roles import Reader
from dashboard.session.service import Service

ONE_LINE = """\
line_id,child_id,family_id,site,line_type,placed_on,home_from,dressing_type,dressing_on
L1,C1,F1,North,picc,2031-03-01,2031-03-01,transparent,2031-03-01
"""
AS_OF = date(2031, 3, 4)


@pytest.fixture(name="ask", params=["no rows", "one line"])
def _ask(request, tmp_path):
    url = f"sqlite:///{tmp_path / 'store.sqlite'}"
    with Store.open(url) as store:
        if request.param == "one line":
            (tmp_path / "lines.csv").write_text(ONE_LINE, encoding="utf-8")
            received = datetime(2031, 3, 2, tzinfo=UTC)
            ingest(store, [tmp_path / "lines.csv"], shipped_policy(), received_at=received)
    service = Service.open(DashboardConfig(store_url=url, as_of=AS_OF))
    yield service.session_of(Reader("P1", Role.PREVENTION))
    service.close()


@pytest.mark.parametrize("period", ["month", "quarter"])
@pytest.mark.parametrize("event", ["skin", "bloodstream_infection"])
def test_rates_of_hardly_any_rows_are_shown_in_words(ask, event, period):
    view = RatesQueries(ask).rates(RatesChoice(event=event, period=period, baseline="first"))
    assert rates._body(view)
    assert "no rate" in view.whole_words or "no events in 3 home line-days" in view.whole_words
    assert "provisional" in view.drift or "no home line-days" in view.drift.lower()
    assert view.two_groups.ratios.empty


@pytest.mark.parametrize("by", ["all", "site", "line_type", "therapy"])
def test_dwell_time_of_hardly_any_rows_is_shown_in_words(ask, by):
    view = DwellQueries(ask).dwell(DwellChoice(by))
    assert dwell._body(view)
    assert "no dwell time" in view.answer or "too few for a curve" in view.answer
    assert view.tests == ()


def test_limits_from_a_first_year_that_is_not_over_are_from_all_months(ask):
    assert RatesQueries(ask).rates(RatesChoice(baseline="first")).choice.baseline is None


def test_an_unknown_choice_is_replaced_by_its_default(ask):
    odd = RatesChoice("<b>", "moon", "hour", "all", "sun", "x", "y", "z")
    chosen = RatesQueries(ask).rates(odd).choice
    assert (chosen.event, chosen.basis, chosen.period, chosen.by) == (
        "skin",
        "line",
        "month",
        "site",
    )
    assert DwellQueries(ask).dwell(DwellChoice("moon")).choice == DwellChoice("all")


def test_the_same_question_is_answered_from_the_cache(ask):
    assert RatesQueries(ask).rates(RatesChoice()) is RatesQueries(ask).rates(
        RatesChoice(event="not known")
    )


def test_every_table_of_rates_has_log_coverage(ask):
    view = RatesQueries(ask).rates(RatesChoice())
    for table in (view.whole, view.chart, view.by_group, view.funnel):
        assert "log_coverage" in table.columns


def test_a_chart_without_an_event_has_no_rate_of_false_signals(ask):
    assert RatesQueries(ask).false_alarms(RatesChoice()) == ""

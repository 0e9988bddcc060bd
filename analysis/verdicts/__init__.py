"""What does a statistic mean? One verdict each: a code, its numbers and a sentence.

Pages, reports, notebooks and commands show these verdicts and word none of their own, so that
they cannot disagree.
"""

from analysis.verdicts.charts import (
    ChartCode,
    ChartVerdict,
    chart_verdict,
    false_alarm_sentence,
)
from analysis.verdicts.comparisons import (
    DifferenceCode,
    FunnelCode,
    FunnelVerdict,
    GroupsCode,
    GroupsVerdict,
    RatioVerdict,
    funnel_verdict,
    groups_verdict,
    ratio_verdict,
)
from analysis.verdicts.dwell import (
    HazardVerdict,
    LogrankVerdict,
    hazard_verdict,
    logrank_verdict,
)
from analysis.verdicts.gaps import GapCode, GapVerdict, gap_verdict
from analysis.verdicts.logging import LoggingCode, LoggingVerdict, logging_verdict
from analysis.verdicts.model import Verdict
from analysis.verdicts.names import (
    compared_name,
    event_name,
    group_name,
    period_name,
    period_of,
    span_name,
)
from analysis.verdicts.rates import data_words, heard_sentence, rate_sentence
from analysis.verdicts.surveillance import (
    Headline,
    SignalVerdict,
    place_name,
    signal_headline,
    signals_table,
    site_name,
)
from analysis.verdicts.trends import TrendCode, TrendVerdict, trend_verdict

__all__ = [
    "ChartCode",
    "ChartVerdict",
    "DifferenceCode",
    "FunnelCode",
    "FunnelVerdict",
    "GapCode",
    "GapVerdict",
    "GroupsCode",
    "GroupsVerdict",
    "HazardVerdict",
    "Headline",
    "LoggingCode",
    "LoggingVerdict",
    "LogrankVerdict",
    "RatioVerdict",
    "SignalVerdict",
    "TrendCode",
    "TrendVerdict",
    "Verdict",
    "chart_verdict",
    "compared_name",
    "data_words",
    "event_name",
    "false_alarm_sentence",
    "funnel_verdict",
    "gap_verdict",
    "group_name",
    "groups_verdict",
    "hazard_verdict",
    "heard_sentence",
    "logging_verdict",
    "logrank_verdict",
    "period_name",
    "period_of",
    "place_name",
    "rate_sentence",
    "ratio_verdict",
    "signal_headline",
    "signals_table",
    "site_name",
    "span_name",
    "trend_verdict",
]

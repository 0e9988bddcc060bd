"""Which commands are there? Each has a class of options and a function that answers them.

The function is named and not imported: its module, with pandas and the database, is loaded when
the command runs. A name of two words is a further table of the first word's command.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from importlib import import_module
from typing import Any

from analysis.cli.options import deciding, files, lists, people, rates, serving


@dataclass(frozen=True)
class Command:
    """What a command is asked with, and by which function of `analysis.cli` it is answered."""

    options: type[Any]
    """A dataclass: a field is an option, the docstring is the help."""
    answered_by: str
    """Module of `analysis.cli`, a colon, the function."""

    def answer(self, asked: object) -> None:
        """Load what the command needs and run it."""
        module, name = self.answered_by.split(":")
        getattr(import_module(f"analysis.cli.{module}"), name)(asked)


COMMANDS: Mapping[str, Command] = {
    "ingest": Command(files.Ingest, "loading:ingest_files"),
    "refused": Command(files.Refused, "loading:refused"),
    "calls": Command(lists.Calls, "calling:calls"),
    "calls done": Command(lists.CallsDone, "calling:done"),
    "calls arranged": Command(lists.CallsArranged, "calling:arranged"),
    "lines": Command(lists.Lines, "reading:lines"),
    "adherence": Command(lists.Adherence, "reading:adherence_table"),
    "rates": Command(rates.Rates, "statistics:rates_table"),
    "rates trend": Command(rates.RatesTrend, "statistics:rates_trend"),
    "rates standardised": Command(rates.RatesStandardised, "statistics:rates_standardised"),
    "rates families": Command(rates.RatesFamilies, "statistics:rates_families"),
    "rates provisional": Command(rates.RatesProvisional, "statistics:rates_provisional"),
    "rates logging": Command(rates.RatesLogging, "statistics:rates_logging"),
    "compare": Command(rates.Compare, "statistics:comparison"),
    "chart": Command(rates.Chart, "statistics:chart"),
    "funnel": Command(rates.Funnel, "statistics:funnel"),
    "dwell": Command(rates.Dwell, "dwelling:dwell_table"),
    "dwell compare": Command(rates.DwellCompare, "dwelling:dwell_comparison"),
    "dwell overdue": Command(rates.DwellOverdue, "dwelling:dwell_overdue"),
    "retraining": Command(deciding.Retraining, "retraining:steps"),
    "retraining sign-offs": Command(deciding.RetrainingSignOffs, "retraining:sign_offs"),
    "retraining sessions": Command(deciding.RetrainingSessions, "retraining:sessions"),
    "retraining learning": Command(deciding.RetrainingLearning, "retraining:learning"),
    "retraining refreshers": Command(deciding.RetrainingRefreshers, "retraining:refresher_effect"),
    "retraining last-refresher": Command(
        deciding.RetrainingLastRefresher, "retraining:last_refresher"
    ),
    "backtest": Command(deciding.Backtest, "judging:orders"),
    "backtest events": Command(deciding.BacktestEvents, "judging:events"),
    "backtest calibration": Command(deciding.BacktestCalibration, "judging:calibrated"),
    "whatif": Command(deciding.WhatIf, "judging:two_policies"),
    "capacity": Command(deciding.Capacity, "planning:days_ahead"),
    "capacity kits": Command(deciding.CapacityKits, "planning:kits"),
    "refit": Command(deciding.Refit, "fitting:refit"),
    "report": Command(files.ReportFiles, "reporting:report"),
    "policy": Command(lists.PolicySettings, "settings:policy_settings"),
    "export": Command(files.Export, "exporting:export"),
    "export deidentified": Command(files.ExportDeidentified, "exporting:extract"),
    "backup": Command(files.Backup, "keeping:backup"),
    "restore": Command(files.Restore, "keeping:restore"),
    "user add": Command(people.UserAdd, "people:add"),
    "user list": Command(people.UserList, "people:everybody"),
    "user end": Command(people.UserEnd, "people:end"),
    "user password": Command(people.UserPassword, "people:new_password"),
    "user record": Command(people.UserRecord, "people:record"),
    "serve": Command(serving.Serve, "serving:serve"),
    "demo": Command(serving.Demo, "serving:demo"),
}

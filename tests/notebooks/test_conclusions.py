"""What notebooks conclude is what was planted, what the command line says and what the store holds."""

import io
import re
import sys

import pandas as pd
import pytest

from analysis.cli.app import main
from tests.notebooks.conftest import AS_OF

THIN = "\N{NARROW NO-BREAK SPACE}"


@pytest.fixture
def command(invented, monkeypatch, capsys):
    """The table that a command of the command line prints of the same store and day."""

    def told(*words):
        place = ("--store", invented.url, "--as-of", AS_OF.isoformat(), "--format", "csv")
        monkeypatch.setattr(sys, "argv", ["linedays", *words, *place])
        with pytest.raises(SystemExit):
            main()
        return pd.read_csv(io.StringIO(capsys.readouterr().out))

    return told


def counts_in(text):
    """Whole numbers of a text, in order."""
    return [int(n) for n in re.findall(r"\d+", text.replace(THIN, ""))]


def test_adherence_is_that_of_the_command_line(answer, command):
    row = command("adherence").iloc[0]
    first, second = answer("adherence").splitlines()[:2]
    on_time, of = counts_in(first.split(", ", 1)[1])[:2]
    assert (on_time, of) == (row["intervals_on_time"], row["intervals_scored"])
    assert counts_in(second)[:2] == [row["in_date_days"], row["out_of_date_days"]]
    assert f": {100 * row['on_time_share']:.0f} % (" in first
    assert f"in date {100 * row['in_date_share']:.0f} % (" in second


def test_the_families_planted_to_change_late_are_named(answer, invented, command):
    named = set(re.findall(r"F-\d+", answer("adherence")))
    # Named for their last 8 intervals, about half of which are late: one in seven is missed by chance.
    planted = set(invented.truth.late_habit)
    assert len(planted) >= 3
    assert len(planted & named) >= len(planted) - 1
    listed = command("calls")
    late = listed["reasons"].fillna("").str.split(";").map(lambda r: "late_pattern" in r)
    assert named == set(listed.loc[late, "family_id"])


def test_rates_are_those_of_the_command_line(answer, command):
    told = answer("rates_and_charts").replace(THIN, "")
    for event in ("skin", "bloodstream_infection"):
        row = command("rates", "--event", event).iloc[0]
        limits = f"{row['rate_per_1000']:.2f} per 1000 home line-days (95 % limits {row['lower']:.2f} to {row['upper']:.2f})"
        assert f"{limits}, {row['events']} events in {row['line_days']} home line-days" in told


def test_the_site_whose_skin_rate_was_planted_to_double_is_named_and_no_other(answer, invented):
    skin, blood = answer("rates_and_charts").split("Bloodstream infection")
    stepped = re.findall(
        r"At (\w+) the rate stepped up, likeliest from \w+ \d+ \((.+?) to (.+?)\)", skin
    )
    [(site, first, last)] = stepped
    assert site == invented.truth.skin_site
    planted = pd.Period(invented.truth.skin_from, "M")
    assert pd.Period(first, "M") <= planted <= pd.Period(last, "M")
    assert f"{site} lies outside the 95 % limits" in skin
    assert "At no site by itself can a step be told" in blood

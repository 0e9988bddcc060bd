"""The policy file: editions, inheritance, and a sentence with file, line and key for every fault."""

from datetime import date

import pytest

from analysis.policy import PolicyError, load_policy, shipped_policy
from analysis.vocabulary import DressingType, FindingMark, LineType, Task

EDITION = '[[edition]]\nversion = "a"\neffective_from = 2031-01-01\n'


def read(tmp_path, text):
    path = tmp_path / "ours.toml"
    path.write_text(text, encoding="utf-8")
    return load_policy(path)


def test_shipped_intervals_are_those_of_the_guidelines():
    # SHEA/IDSA/APIC, Strategies to prevent CLABSI in acute-care hospitals, 2022 update, essential
    # practices after insertion, no. 3: transparent at least every 7 days, gauze every 2 days.
    edition = shipped_policy().on(date(2031, 1, 1))
    for line_type in LineType:
        assert edition.interval_days(Task.DRESSING, DressingType.TRANSPARENT, line_type) == 7
        assert edition.interval_days(Task.DRESSING, DressingType.GAUZE, line_type) == 2
    # INS Standards 2021, Standard 36 (as quoted by others): not more often than every 96 hours.
    assert edition.settings.connector_min_days * 24 == 96
    # NHSN repeat infection timeframe: 14 days, event day = day 1.
    assert edition.settings.infection_repeat_days == 14


def test_every_setting_interval_and_code_has_a_source():
    edition = shipped_policy().on(date(2031, 1, 1))
    assert all(edition.setting_sources.values())
    assert all(rule.source for rule in edition.intervals)
    assert all(code.source for code in [*edition.findings.values(), *edition.steps.values()])


def test_finding_codes_are_those_of_the_formats():
    edition = shipped_policy().on(date(2031, 1, 1))
    assert "pus" in edition.codes_marked(FindingMark.SKIN_EVENT)
    assert "pus" in edition.codes_marked(FindingMark.RED_FLAG)
    assert edition.codes_marked(FindingMark.WATCHED) == {"itch", "tenderness", "bruise"}


def test_a_past_day_is_judged_by_the_edition_then_in_force(tmp_path):
    text = EDITION + '[edition.settings]\ngrace_days = { value = 1, source = "our team" }\n'
    policy = read(tmp_path, text)
    assert policy.on(date(2030, 12, 31)).settings.grace_days == 0
    assert policy.on(date(2031, 1, 1)).settings.grace_days == 1
    assert policy.on(date(2031, 1, 1)).setting_sources["grace_days"] == "our team"


def test_what_an_edition_does_not_name_stays_as_before(tmp_path):
    rule = '[[edition.interval]]\ntask = "dressing"\ndressing_type = "gauze"\n'
    second = EDITION.replace('"a"', '"b"').replace("2031-01", "2031-06")
    text = EDITION + rule + 'days = 3\nsource = "x"\n' + second
    policy = read(tmp_path, text)
    later = policy.on(date(2031, 7, 1))
    assert later.version == "b"
    assert later.interval_days(Task.DRESSING, DressingType.GAUZE, LineType.PICC) == 3
    assert later.interval_days(Task.DRESSING, DressingType.TRANSPARENT, LineType.PICC) == 7


def test_the_most_specific_interval_wins(tmp_path):
    def rule(keys, days):
        return f'[[edition.interval]]\ntask = "dressing"\n{keys}days = {days}\nsource = "x"\n'

    gauze, picc = 'dressing_type = "gauze"\n', 'line_type = "picc"\n'
    text = EDITION + rule(gauze + picc, 1) + rule(picc, 4) + rule("", 9)
    edition = read(tmp_path, text).on(date(2031, 1, 1))
    assert edition.interval_days(Task.DRESSING, DressingType.GAUZE, LineType.PICC) == 1
    assert edition.interval_days(Task.DRESSING, DressingType.GAUZE, LineType.OTHER) == 2
    assert edition.interval_days(Task.DRESSING, None, LineType.PICC) == 4
    assert edition.interval_days(Task.DRESSING, None, LineType.OTHER) == 9


@pytest.mark.parametrize(
    ("text", "line", "says"),
    [
        ("colour = 1\n", 1, "colour: is not known here"),
        ('time_zone = "Mars"\n', 1, "time_zone: 'Mars' is no IANA time zone"),
        ('[[edition]]\nversion = "a"\n', 1, "effective_from: needs a date"),
        (EDITION + "[edition.settings]\n\ngrace_days = 3\n", 6, "grace_days: needs the form"),
        (
            EDITION + '[edition.settings]\ngrace_days = { value = -1, source = "x" }\n',
            5,
            "a whole number of days from 0 to 31",
        ),
        (
            EDITION + "[edition.settings]\ngrace_days = { value = 1 }\n",
            5,
            'grace_days.source: needs a text; for a source write the publication or "common',
        ),
        (
            EDITION + '[edition.settings]\ngrase_days = { value = 1, source = "x" }\n',
            5,
            "grase_days: is not known here",
        ),
        (
            EDITION + '[edition.settings]\nage_band_starts = { value = [1, 0], source = "x" }\n',
            5,
            "whole years in rising order",
        ),
        (
            EDITION + '[[edition.interval]]\ntask = "dressing"\ndays = 3\nsource = "x"\n'
            '[[edition.interval]]\ntask = "dresing"\ndays = 3\nsource = "x"\n',
            9,
            "'dresing' is not one of dressing, connector, needle, flush",
        ),
        (
            EDITION + '[[edition.interval]]\ntask = "flush"\ndays = 0\nsource = "x"\n',
            6,
            'neither "none" nor a whole number of days from 1 to 31',
        ),
        (
            EDITION + '[edition.finding]\nodour = { label = "odour", source = "x" }\n',
            5,
            "marks: needs a list of",
        ),
        (EDITION + '[edition.step]\nNone = { label = "x", source = "x" }\n', 5, "small letters"),
        (
            EDITION
            + '[edition.finding]\nskin = { label = "x", marks = ["watched"], source = "x" }\n',
            5,
            "none of bloodstream_infection",
        ),
        (EDITION + EDITION, 6, "is not after the edition before"),
    ],
)
def test_a_fault_names_file_line_and_key(tmp_path, text, line, says):
    with pytest.raises(PolicyError) as fault:
        read(tmp_path, text)
    assert f"ours.toml line {line}, " in str(fault.value)
    assert says in str(fault.value)


def test_text_that_is_not_toml_is_told_with_its_line(tmp_path):
    with pytest.raises(PolicyError, match="not valid TOML: .*line 2"):
        read(tmp_path, 'name = "x"\nversion = = 2\n')


def test_a_file_that_is_not_there_or_not_text_is_told(tmp_path):
    with pytest.raises(PolicyError, match="cannot be read as UTF-8"):
        load_policy(tmp_path / "missing.toml")
    (tmp_path / "latin.toml").write_bytes(b'name = "\xe9"')
    with pytest.raises(PolicyError, match="cannot be read as UTF-8"):
        load_policy(tmp_path / "latin.toml")

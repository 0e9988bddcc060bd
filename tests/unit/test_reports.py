"""Reports: the same numbers as the commands, the same bytes, and nothing that may not leave."""

import builtins
import re
import shutil
import sys
from dataclasses import replace
from datetime import UTC, date, datetime

import pandas as pd
import pytest

from analysis import reports
from analysis.cli import reporting
from analysis.cli.app import main
from analysis.days import day_number
from analysis.ingest import ingest
from analysis.measures.adherence import adherence
from analysis.measures.counts import MeasureError
from analysis.measures.rates import rates
from analysis.policy import shipped_policy
from analysis.reports import figures, render
from analysis.reports.cells import counts_of
from analysis.reports.report import Table
from analysis.snapshot import take
from analysis.store import Store
from analysis.tallies import between
from analysis.timeline.versions import times_of
from analysis.vocabulary import Basis, CallOutcome, Copy, Grouping, Limits, Role, Task
from dashboard.layout import words
from synthetic_data import generate_blocks, write_canonical

POLICY = shipped_policy()
TODAY = date(2031, 3, 10)
WEEK, MONTH = reports.week("2031-W09"), reports.month("2031-02")
THIN = "\N{NARROW NO-BREAK SPACE}"
COUNTS = ("Events", "Skin events", "Families")


@pytest.fixture(scope="module")
def file(tmp_path_factory):
    """A store of thirty invented families, two years to 10 March 2031."""
    folder = tmp_path_factory.mktemp("reports")
    files = write_canonical(generate_blocks(30, seed=3, until=TODAY), folder / "files", "csv")
    with Store.open(f"sqlite:///{folder / 'store.sqlite'}") as store:
        for path in files:
            ingest(store, [path], POLICY, received_at=datetime(2031, 3, 10, 5, tzinfo=UTC))
        listed = take(store, POLICY, WEEK.start).calls.families["family_id"]
        for hour, family in enumerate(listed.head(3)):
            at = datetime(2031, 2, 25, 9 + hour, tzinfo=UTC)
            store.record_call(
                family,
                "N1",
                CallOutcome.REACHED if hour > 0 else CallOutcome.NO_ANSWER,
                None,
                date(2031, 2, 27),
                at,
            )
    return folder / "store.sqlite"


@pytest.fixture(scope="module")
def store(file):
    with Store.open(f"sqlite:///{file}", create=False) as opened:
        yield opened


@pytest.fixture(scope="module")
def made(store):
    found = {p.name: reports.gather(store, POLICY, p, None, TODAY) for p in (WEEK, MONTH)}
    quarter, known_at = reports.outside_request(MONTH, None, None)
    return {**found, quarter.name: reports.gather(store, POLICY, quarter, known_at, TODAY)}


QUARTER = reports.outside_request(MONTH, None, None)[0]
"""The quarter that a copy for outside of the week or the month reports on."""


def report(made, period, role, copy):
    """A report, put together once."""
    key = (period.name, role, copy)
    if key not in made:
        made[key] = reports.REPORTS[role](made[period.name], copy)
    return made[key]


def table(report, title, at=0):
    part = next(p for p in report.parts if p.title.startswith(title))
    return part.tables[at]


def run(monkeypatch, file, *arguments):
    """Exit code of the command, run two days after the store's last entries."""
    monkeypatch.setattr(reporting, "today", lambda policy: date(2031, 3, 12))
    monkeypatch.setattr(
        sys, "argv", ["linedays", "report", "--store", f"sqlite:///{file}", *arguments]
    )
    with pytest.raises(SystemExit) as ended:
        main()
    return ended.value.code or 0


# -- periods


@pytest.mark.parametrize(
    "name", ["2031-W54", "2031-W00", "2031-9", "W09", "2031-W9", "0001-W01", "9999-W52"]
)
def test_a_week_that_is_none_is_refused_with_how_to_write_it(name):
    with pytest.raises(MeasureError, match="2031-W11"):
        reports.week(name)


def test_the_last_week_of_a_year_may_end_in_the_next():
    found = reports.week("2026-W53")  # from memory of the ISO rule: 2026 has 53 weeks
    assert (found.start, found.end) == (date(2026, 12, 28), date(2027, 1, 4))
    assert found.before().name == "2026-W52"


def test_a_period_that_is_not_over_is_refused_and_the_one_before_named(store):
    with pytest.raises(MeasureError, match="2031-W10"):
        reports.gather(store, POLICY, reports.week("2031-W11"), None, TODAY)


def test_a_known_at_before_the_end_is_refused(store):
    with pytest.raises(MeasureError, match="2031-02-28"):
        reports.gather(store, POLICY, MONTH, date(2031, 2, 27), TODAY)


# -- the same numbers


def test_the_counts_between_two_mornings_of_a_month_are_those_of_the_month(made):
    found, now = made[MONTH.name].tallies, made[MONTH.name].now.tallies
    for of, args in ((rates, ("skin", Basis.LINE, Limits.EXACT)), (adherence, (Task.DRESSING,))):
        if of is rates:
            event, basis, limits = args
            whole = rates(found, event, Grouping.ALL, basis, limits)
            month = rates(now, event, Grouping.MONTH, basis, limits)
        else:
            whole = adherence(found, Grouping.ALL, *args)
            month = adherence(now, Grouping.MONTH, *args)
        month = month[month["group"] == MONTH.name].reset_index(drop=True)
        pd.testing.assert_frame_equal(whole.drop(columns="group"), month.drop(columns="group"))


def test_the_counts_of_the_weeks_add_up_to_those_of_the_whole(made):
    now = made[WEEK.name].now
    mornings = [replace(now, as_of=day) for day in (date(2031, 2, 10), WEEK.start, WEEK.end)]
    one, two, whole = (
        between(mornings[b].tallies, mornings[a].tallies) for a, b in ((0, 1), (1, 2), (0, 2))
    )
    for name in ("home_line_days", "in_date_days", "out_of_date_days", "intervals_scored"):
        assert one.days[name].sum() + two.days[name].sum() == whole.days[name].sum(), name
    assert len(one.onsets) + len(two.onsets) == len(whole.onsets)
    assert 0 < two.days["home_line_days"].sum() <= 7 * 4 * len(two.lines)


def test_the_in_date_share_of_a_site_is_that_of_the_command(made):
    now = made[MONTH.name].now.tallies
    month = adherence(now, Grouping.MONTH, Task.DRESSING).set_index("group").loc[MONTH.name]
    parts = report(made, MONTH, Role.MANAGER, Copy.TEAM).parts
    answer = next(p.answer for p in parts if "in date" in p.title)
    assert reports_percent(month["in_date_share"]) in answer
    assert str(int(month["intervals_scored"])) in answer.replace("\N{NARROW NO-BREAK SPACE}", "")


def reports_percent(share):
    return words.percent(share)


def test_calls_of_the_week_are_counted_on_their_morning(made):
    rows = table(report(made, WEEK, Role.MANAGER, Copy.TEAM), "How many families").rows
    assert {row[0]: row[-2:] for row in rows}["Tue 25 Feb"] == ("3", "2")
    assert rows[0][0] == "Mon 24 Feb"
    assert rows[-1][-2:] == ("", "")  # its calls are of the next week


# -- what a copy may hold


def test_numbers_stand_below_one_another_and_codes_and_words_do_not():
    rows = (("F-1", "1\N{NARROW NO-BREAK SPACE}204", "–", "2 of 3"), ("F-2", "7.5 %", "", "0"))
    shown = Table("Families", ("Family", "Days", "Share", "Late"), rows)
    assert shown.of_digits == (False, True, False, False)
    assert Table("Nobody", ("Family", "Days"), ()).of_digits == (False, False)


@pytest.mark.parametrize("role", list(reports.REPORTS))
def test_a_copy_for_outside_names_no_family_caregiver_or_nurse(made, role):
    text = reports.html_file(report(made, QUARTER, role, Copy.OUTSIDE))
    records = made[QUARTER.name].now.records
    lines, people = records.lines, records.caregivers["caregiver_id"]
    for code in {*lines["family_id"], *lines["line_id"], *lines["nurse"].dropna(), *people}:
        assert not re.search(rf"\b{re.escape(code)}\b", text), code
    assert "May leave the team" in text


@pytest.mark.parametrize("role", list(reports.REPORTS))
def test_a_copy_for_outside_shows_no_count_from_1_to_10(made, role):
    found = report(made, QUARTER, role, Copy.OUTSIDE)
    counted = [
        (part.title, row)
        for part in found.parts
        for shown in part.tables
        for at in [n for n, h in enumerate(shown.heads) if h in COUNTS]
        for row in shown.rows
        if row[at] != "hidden" and 1 <= int(row[at].replace(THIN, "")) <= 10
    ]
    assert counted == []
    for said in (*found.brief, *(p.answer for p in found.parts)):
        assert not re.search(r"(^|[ ,;])hidden (families|caregivers|of|have)", said), said
        assert not re.search(r"\b([1-9]|10) (families|caregivers|of them|skin events)\b", said)
        assert said[0] == said[0].upper()


def test_there_is_something_to_hide(made):
    inside = rates(made[QUARTER.name].tallies, "skin", Grouping.SITE, Basis.LINE, Limits.EXACT)
    assert inside["events"].between(1, 10).any()
    outside = report(made, QUARTER, Role.PREVENTION, Copy.OUTSIDE)
    assert "hidden" in {row[1] for row in table(outside, "How do sites compare").rows}


@pytest.fixture(scope="module")
def moving(tmp_path_factory):
    """A store of thirty families at two sites; in each of six quarters one moves to the other."""
    folder = tmp_path_factory.mktemp("moving")
    files = write_canonical(generate_blocks(30, seed=4, until=TODAY), folder / "files", "csv")
    with Store.open(f"sqlite:///{folder / 'store.sqlite'}") as store:
        of_lines = [path for path in files if path.stem.startswith("lines")]
        versions = []
        for path in of_lines:
            lines = pd.read_csv(path, dtype="string")
            lines["site"] = lines["site"].where(lines["site"] == "Fern", "Willow")
            lines.to_csv(path, index=False)
            versions.append(lines)
        newest = pd.concat(versions).drop_duplicates("line_id", keep="last")
        days = [f"{y}-{m:02}-10" for y in (2029, 2030) for m in (5, 8, 11)]
        still = newest[newest["removed_on"].isna() & newest["left_on"].isna()].head(len(days))
        moved = still.assign(
            site=still["site"].map({"Fern": "Willow", "Willow": "Fern"}),
            valid_from=days,
            received_at=[f"{day}T08:00" for day in days],
        )
        moved.to_csv(folder / "lines-moved.csv", index=False)
        for path in (*files, folder / "lines-moved.csv"):
            ingest(store, [path], POLICY, received_at=datetime(2031, 3, 10, 5, tzinfo=UTC))
        yield store


def test_copies_of_twenty_weeks_and_months_reveal_nothing_when_subtracted(moving):
    """An attacker holds every copy for outside and subtracts any two of them."""
    known = moving.records()
    times = times_of(known, known.lines["line_id"], day_number(TODAY), POLICY.zone)
    assert set(times["site"]) == {"Fern", "Willow"}
    assert times.groupby("line_id")["site"].nunique().eq(2).sum() == 6
    last = reports.week_of(date(2031, 3, 9))
    weeks, months = [last], [MONTH]
    while len(weeks) < 20:
        weeks.append(weeks[-1].before())
        months.append(months[-1].before())
    asked = {
        p.name: reports.outside_request(p, None, None)
        for p in (*weeks, *months)
        if p.start > date(2029, 9, 1)
    }
    assert len({quarter.name for quarter, _ in asked.values()}) > 3
    # One moment a quarter: all copies that report on it hold the same.
    assert len(set(asked.values())) == len({quarter.name for quarter, _ in asked.values()})
    held: dict[tuple[str, ...], str] = {}
    for quarter, known_at in set(asked.values()):
        data = reports.gather(moving, POLICY, quarter, known_at, TODAY)
        for role in reports.REPORTS:
            found = reports.REPORTS[role](data, Copy.OUTSIDE)
            for part in found.parts:
                assert part.figure is None
                for shown in part.tables:
                    _no_single_gap(shown)
                    # No number of one quarter stands in the copy of another.
                    for row in shown.rows if quarter.words in shown.label else ():
                        key = (role, shown.label, row[0])
                        assert held.setdefault(key, quarter.name) == quarter.name
    assert len(held) > 10


def _no_single_gap(shown):
    """No column has one hidden count alone, which the sum of the others would give away."""
    for at, head in enumerate(shown.heads):
        if head in COUNTS and shown.heads[0] in ("Site", "Band"):
            cells = [row[at] for row in shown.rows]
            # Alone beside zeros it equals the sum, which is small and hidden as well.
            alone = cells.count("hidden") == 1 and set(cells) - {"0", "hidden"}
            assert not alone, (shown.label, cells)


def test_a_copy_for_outside_of_one_site_is_refused(monkeypatch, file, capsys):
    asked = ("--for", "prevention", "--month", "2031-02", "--copy", "outside")
    assert run(monkeypatch, file, *asked, "--site", "Fern") == 2
    assert "covers all sites" in capsys.readouterr().err
    assert run(monkeypatch, file, *asked, "--known-at", "2031-03-05") == 2
    assert "fixed day of receipt" in capsys.readouterr().err


def test_the_other_counts_do_not_reveal_a_hidden_one():
    assert counts_of([4, 25, 0, 12], Copy.OUTSIDE) == ["hidden", "25", "0", "hidden"]
    assert counts_of([4, 25, 0, 12], Copy.OUTSIDE, add_up=False) == ["hidden", "25", "0", "12"]
    assert counts_of([4, 25, 0, 12], Copy.TEAM) == ["4", "25", "0", "12"]
    assert counts_of([], Copy.OUTSIDE) == []


def test_a_team_copy_says_so_and_names_families(made):
    found = report(made, WEEK, Role.MANAGER, Copy.TEAM)
    assert found.about.startswith("For the team only")
    listed = made[WEEK.name].now.calls.families
    first = listed.loc[listed["rank"] == 1, "family_id"].iloc[0]
    assert table(found, "Which families to call first").rows[0][1] == first


@pytest.mark.parametrize("role", list(reports.REPORTS))
def test_every_report_shows_what_it_rests_on(made, role):
    found = report(made, MONTH, role, Copy.TEAM)
    names = dict(found.basis)
    assert names["Data received by"].startswith("end of 2031-02-28")
    assert re.fullmatch(r"[0-9a-f]{64}", names["SHA-256 of files, calls and policy"])
    assert "version" in names["Policy"]
    text = reports.html_file(found)
    assert all(caution.split("'")[0] in text for caution in found.cautions)
    assert "log coverage" in text
    assert "Home line-days" in text


# -- the same bytes


def test_the_same_command_gives_the_same_bytes_after_later_rows(
    monkeypatch, file, tmp_path, capsys
):
    copied = shutil.copy(file, tmp_path / "later.sqlite")
    with Store.open(f"sqlite:///{copied}", create=False) as store:
        later = tmp_path / "home_log.csv"
        line = store.records().lines["line_id"].iloc[0]
        later.write_text(
            f"entry_id,line_id,done_at,kind,findings\nx1,{line},2031-02-20,skin_check,redness\n"
        )
        ingest(store, [later], POLICY, received_at=datetime(2031, 3, 11, tzinfo=UTC))
    for of, where in ((file, "before"), (copied, "after")):
        out = str(tmp_path / where)
        assert (
            run(
                monkeypatch,
                of,
                "--month",
                "2031-02",
                "--for",
                "prevention",
                "--copy",
                "outside",
                "--out",
                out,
            )
            == 0
        )
    written = sorted(path.name for path in (tmp_path / "before").iterdir())
    assert written == [
        f"linedays-{QUARTER.name}-prevention-outside.{end}" for end in ("html", "pdf")
    ]
    for name in written:
        first = (tmp_path / "before" / name).read_bytes()
        assert (tmp_path / "after" / name).read_bytes() == first, name
    assert (tmp_path / "before" / written[1]).read_bytes().startswith(b"%PDF")
    # With the later row known, the report is another one.
    monkeypatch.setattr(reporting, "pdf_file", lambda _: b"%PDF")
    args = ("--month", "2031-02", "--for", "prevention", "--copy", "team", "--out")
    for known, where in ((), "as-then"), (("--known-at", "2031-03-12"), "later"):
        assert run(monkeypatch, copied, *args, str(tmp_path / where), *known) == 0
    name = "linedays-2031-02-prevention-team.html"
    assert (tmp_path / "as-then" / name).read_text() != (tmp_path / "later" / name).read_text()


def has_pango():
    try:
        reports.pdf_file('<html lang="en"><title>x</title><p>x</p></html>')
    except reports.PdfError:
        return False
    return True


def test_the_machine_of_the_tests_can_make_a_pdf():
    assert has_pango()


def test_without_its_library_the_pdf_is_missing_with_a_sentence_and_the_html_is_there(
    monkeypatch, file, tmp_path, capsys
):
    real = builtins.__import__

    def without(name, *rest):
        if name == "weasyprint":
            raise OSError("cannot load library 'libpango-1.0-0'")
        return real(name, *rest)

    monkeypatch.setattr(builtins, "__import__", without)
    args = ("--week", "2031-W09", "--for", "prevention", "--out", str(tmp_path))
    assert run(monkeypatch, file, *args) == 3
    assert [path.suffix for path in tmp_path.iterdir()] == [".html"]
    told = capsys.readouterr().err
    assert "apt-get install" in told
    assert told.count("\n") == 1


def test_nothing_is_fetched_by_a_report(made):
    text = reports.html_file(report(made, WEEK, Role.MANAGER, Copy.TEAM))
    assert not re.search(r"(src|href)=|url\((?!#)|@import", text)


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--for", "manager"), "--month or --week"),
        (("--for", "manager", "--month", "2031-02", "--week", "2031-W09"), "--month or --week"),
        (("--for", "manager", "--month", "2031-13"), "2031-03"),
    ],
)
def test_a_report_called_wrongly_says_how(monkeypatch, file, capsys, arguments, told):
    assert run(monkeypatch, file, *arguments) == 2
    assert told in capsys.readouterr().err


def test_an_empty_store_still_gives_reports_in_words(tmp_path):
    with Store.open(f"sqlite:///{tmp_path / 'empty.sqlite'}") as store:
        found = reports.gather(store, POLICY, WEEK, None, TODAY)
    assert reports.REPORTS
    for put_together in reports.REPORTS.values():
        for copy in Copy:
            text = reports.html_file(put_together(found, copy))
            assert not re.search(r"\b(nan|NaT|None|<NA>)\b", text)
            assert "Families were logging on – of" in text


# -- figures


def test_figures_use_no_colour_beyond_grey(made):
    assert any(part.figure for part in report(made, MONTH, "manager", Copy.TEAM).parts)
    for role in reports.REPORTS:
        for part in report(made, MONTH, role, Copy.TEAM).parts:
            svg = render.svg(part.figure.drawing) if part.figure else ""
            for red, green, blue in re.findall(r"#(\w\w)(\w\w)(\w\w)", svg):
                channels = [int(c, 16) for c in (red, green, blue)]
                assert max(channels) - min(channels) < 32, svg[:80]


def test_a_figure_stays_within_its_frame():
    points = [figures.Point(f"Jan {n}", value) for n, value in enumerate((1.0, float("nan"), 90.0))]
    drawn = render.svg(figures.control_chart(points, [2.0] * 3, [0.0] * 3, [5.0] * 3, "per 1000"))
    heights = [float(v) for v in re.findall(r'cy="([\d.]+)"', drawn)]
    assert len(heights) == 2
    assert all(0 <= h <= 280 for h in heights)
    assert "▲ 90.0" in drawn
    only = figures.ranges([figures.Point("a", float("nan"))], "x", reference=1.0, ratio=True)
    assert "not available" in render.svg(only)


def test_the_report_states_how_often_such_a_chart_gives_a_false_signal(made):
    part = next(
        p
        for p in report(made, MONTH, Role.PREVENTION, Copy.TEAM).parts
        if p.title.startswith("Is the rate of skin events")
    )
    assert [n for n in part.notes if "If the rate were steady, " in n and "like this one" in n]


@pytest.mark.parametrize("role", list(reports.REPORTS))
@pytest.mark.parametrize("copy", list(Copy))
def test_a_report_needs_of_the_store_what_is_read_for_its_role(made, store, role, copy):
    _, known_at = reports.outside_request(MONTH, None, None)
    period, at = (MONTH, None) if copy is Copy.TEAM else (QUARTER, known_at)
    alone = reports.gather(store, POLICY, period, at, TODAY, roles=[role])
    assert len(alone.mornings) == (len(period.mornings) if role is Role.MANAGER else 1)
    assert reports.html_file(reports.REPORTS[role](alone, copy)) == reports.html_file(
        report(made, period, role, copy)
    )

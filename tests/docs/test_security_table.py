"""The guide's table of security requirements is whole, and the tests that it names are there.

*Source* of the numbers: OWASP Application Security Verification Standard 5.0.0 (2025), the table of
requirements that it publishes as CSV: those of level 1 and 2.
"""

import re
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).parents[2]
GUIDE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
SECTION = re.search(r"## Security, requirement by requirement\n(.*?)\n### ", GUIDE, re.DOTALL)[1]

LEVELS_1_AND_2 = """
1.1.1-2 1.2.1-9 1.3.1-11 1.4.1-3 1.5.1-2 2.1.1-3 2.2.1-3 2.3.1-4 2.4.1-1
3.2.1-2 3.3.1-4 3.4.1-6 3.5.1-5 3.7.1-2 4.1.1-3 4.2.1-1 4.3.1-2 4.4.1-4
5.1.1-1 5.2.1-3 5.3.1-2 5.4.1-3 6.1.1-3 6.2.1-12 6.3.1-4 6.4.1-4 6.5.1-5 6.6.1-3 6.8.1-4
7.1.1-3 7.2.1-4 7.3.1-2 7.4.1-5 7.5.1-2 7.6.1-2 8.1.1-2 8.2.1-3 8.3.1-1 8.4.1-1
9.1.1-3 9.2.1-4 10.1.1-2 10.2.1-2 10.3.1-4 10.4.1-11 10.5.1-5 10.6.1-2 10.7.1-3
11.1.1-2 11.2.1-3 11.3.1-3 11.4.1-4 11.5.1-1 11.6.1-1 12.1.1-3 12.2.1-2 12.3.1-4
13.1.1-1 13.2.1-5 13.3.1-2 13.4.1-5 14.1.1-2 14.2.1-4 14.3.1-3
15.1.1-3 15.2.1-3 15.3.1-7 16.1.1-1 16.2.1-5 16.3.1-4 16.4.1-3 16.5.1-3
17.1.1-1 17.2.1-4 17.3.1-2
"""


def numbers_in(text: str) -> list[str]:
    """Every number of a text, those within its ranges too."""
    found = []
    for section, first, last in re.findall(
        r"(?<![\d.])(\d+\.\d+)\.(\d+)(?:[–-](?:\1\.)?(\d+))?(?![\d.]*\d)", text
    ):
        found += [f"{section}.{n}" for n in range(int(first), int(last or first) + 1)]
    return found


def test_every_requirement_of_levels_1_and_2_is_in_the_table_once():
    wanted = numbers_in(LEVELS_1_AND_2)
    assert len(wanted) == 253  # from memory: 70 of level 1 and 183 of level 2
    left_out = re.search(r"Left out, (.*?)\n\n", SECTION, re.DOTALL)[1]
    heads = re.findall(r"^\| (.*?) \|", SECTION, re.MULTILINE)
    named = Counter([*numbers_in(left_out), *(n for head in heads for n in numbers_in(head))])
    assert sorted(set(wanted) - set(named)) == []
    assert sorted(set(named) - set(wanted)) == []
    assert [number for number, times in named.items() if times > 1] == []


def test_each_row_says_how_it_is_met_or_what_is_missing_and_names_tests_that_are_there():
    rows = re.findall(r"^\| (\d[^|]*) \| ([^|]*) \| ([^|]*) ?\|$", SECTION, re.MULTILINE)
    assert len(rows) > 70
    without = [head for head, how, test in rows if not test.strip() and "**Gap**" not in how]
    assert without == []
    named = set(re.findall(r"`(tests/[\w./]+)`", SECTION))
    assert len(named) > 30
    assert [name for name in sorted(named) if not (ROOT / name).exists()] == []


def test_each_fault_and_leak_has_a_test_that_is_there():
    listed = re.search(r"### Faults and leaks, and their tests\n(.*?)\n### ", GUIDE, re.DOTALL)[1]
    rows = re.findall(r"^\| (?!---|fault or leak)([^|]*) \| ([^|]*) \|$", listed, re.MULTILINE)
    named = [re.findall(r"`(tests/[\w/]+\.py)::(test_\w+)`", tests) for _, tests in rows]
    assert len(rows) > 20
    assert all(named)
    missing = [
        f"{file}::{name}"
        for file, name in sorted({one for row in named for one in row})
        if not re.search(rf"def {name}\(", (ROOT / file).read_text(encoding="utf-8"))
    ]
    assert missing == []

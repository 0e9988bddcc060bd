"""What a person reads is written in the words of the project's list, nowhere in others."""

from collections import Counter

import pytest

from tests.docs import plain_english
from tests.docs.plain_english import found_in

STILL = {
    "analysis/decisions": 18,
    "analysis/exports": 10,
    "analysis/reports": 6,
    "analysis/store": 7,
    "analysis/tables": 3,
    "analysis/timeline": 2,
    "dashboard/family": 2,
    "dashboard/figures": 3,
    "dashboard/rates": 11,
    "dashboard/retraining": 6,
    "dashboard/security": 2,
}
"""Parts that are not rewritten yet, with how many places they have; the number only falls."""


def test_no_part_uses_words_of_the_list():
    found = Counter(plain_english.part(one.file) for one in found_in())
    more = {part: n for part, n in found.items() if n > STILL.get(part, 0)}
    assert more == {}, (
        "python tests/docs/plain_english.py FOLDER lists the places and what to write"
    )


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("Nothing can be told of delays.", ["told"]),
        ("It stands beside the chart.", ["stands", "beside"]),
        ("A letter stands for a key, and people understand it.", []),
        ("This family was set\naside until Monday.", ["set\naside"]),
        ("In the policy file, with its source.", []),
    ],
)
def test_the_list_finds_words_of_texts(text, words):
    assert [one.text for one in plain_english.in_text("README.md", 1, "text", text)] == words


@pytest.mark.parametrize(("name", "found"), [("told_lines", 1), ("HowTold", 1), ("untold", 0)])
def test_the_list_finds_parts_of_names(name, found):
    assert len([*plain_english.in_name("analysis/words.py", 1, name)]) == found

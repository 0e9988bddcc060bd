"""What a person reads is written in the words of the project's list, nowhere in others."""

from collections import Counter

import pytest

from tests.docs import plain_english
from tests.docs.plain_english import found_in


def test_no_part_uses_words_of_the_list():
    found = Counter(plain_english.part(one.file) for one in found_in())
    assert found == {}, (
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

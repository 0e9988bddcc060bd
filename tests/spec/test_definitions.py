"""Every definition's example gives the number that was worked out by hand."""

import pytest

from analysis.definitions import DEFINITIONS


@pytest.mark.parametrize("definition", DEFINITIONS, ids=lambda d: d.key)
def test_the_example_gives_its_answer(definition):
    assert definition.example.run() == definition.example.answer


def test_keys_are_unique_and_nothing_is_left_blank():
    assert len({d.key for d in DEFINITIONS}) == len(DEFINITIONS)
    assert all(d.title and d.words and d.unit and d.source for d in DEFINITIONS)

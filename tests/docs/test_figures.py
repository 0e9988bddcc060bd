"""The figures of the guide are those that the benchmarks wrote."""

import json

from tests.benchmarks.guide import FIGURES, GUIDE, in_words, printed


def test_the_figures_of_the_guide_are_those_of_the_json():
    guide = GUIDE.read_text("utf-8")
    assert printed(guide, in_words(json.loads(FIGURES.read_text("utf-8")))) == guide

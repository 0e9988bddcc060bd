"""What an extract shows of a column is held by more than ten children, whatever the column holds."""

import pandas as pd
from hypothesis import given
from hypothesis import strategies as st

from analysis.exports.rare_values import rare_values

HELD = st.lists(st.tuples(st.integers(0, 40), st.sampled_from("abcdef")), max_size=150)


def children_of(held, words):
    return {child for child, word in held if word in words}


@given(HELD, st.sampled_from([None, "a"]))
def test_no_shown_word_and_not_the_hidden_ones_together_point_at_ten_or_fewer(held, blank):
    child, word = ([pair[at] for pair in held] for at in (0, 1))
    rare = rare_values(pd.Series(child, dtype="object"), pd.Series(word, dtype="object"), blank)
    there = set(word)
    shown = there - rare - {blank}
    assert rare <= there - {blank}
    assert all(len(children_of(held, {w})) > 10 for w in shown)
    if rare and shown:
        assert len(children_of(held, rare | {blank})) > 10
    # Nothing is hidden without need: with the commonest hidden word shown, a rule would break.
    if rare:
        most = max(rare, key=lambda w: (len(children_of(held, {w})), w))
        without = rare - {most}
        needed = len(children_of(held, {most})) <= 10 or not without
        assert needed or len(children_of(held, without | {blank})) <= 10

"""Few rows of a long frame are the same whether its texts lie in one part or in several."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.tables.codes import rows_at


@pytest.mark.parametrize("at", [[], [0], [5], [1, 3, 4], [0, 1, 2, 3, 4, 5]])
def test_rows_of_several_parts_are_those_that_pandas_takes(at: list[int]) -> None:
    part = pd.DataFrame({"code": pd.array(["a", None, "b"], "string[pyarrow]"), "n": [1, 2, 3]})
    frame = pd.concat([part, part], ignore_index=True)
    places = np.array(at, dtype=np.int64)
    assert frame["code"].array.__arrow_array__().num_chunks == 2
    pd.testing.assert_frame_equal(rows_at(frame, places), frame.take(places))

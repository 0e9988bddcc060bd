"""Cox regression with a covariate that changes during follow-up.

Data: 103 people waiting for a heart, split at the transplant; Crowley & Hu, JASA 72 (1977) 27;
file made by R survival, vignette "Using time dependent covariates", section 3.3.

Values: as printed there, ``coxph(Surv(tstart, tstop, death) ~ age*trt + surgery + year,
ties = "breslow")``.
"""

import csv
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from analysis.stats.cox import CoxFit, cox
from tests.printed import printed

DATA = Path(__file__).parent / "data" / "jasa_tmerge.csv"
NAMES = ["age", "trt", "surgery", "year", "age and trt"]


@pytest.fixture(scope="module")
def rows() -> dict[str, np.ndarray]:
    with DATA.open() as file:
        found = list(csv.DictReader(file))
    return {name: np.array([float(row[name]) for row in found]) for name in found[0]}


def fitted(rows: dict[str, np.ndarray]) -> CoxFit:
    covariates = np.column_stack(
        [rows["age"], rows["trt"], rows["surgery"], rows["year"], rows["age"] * rows["trt"]]
    )
    return cox(
        rows["tstart"], rows["tstop"], rows["death"], covariates, rows["subject"], names=NAMES
    )


@pytest.mark.parametrize(
    ("name", "coefficient", "std_error"),
    [
        ("age", "0.01527", "0.01750"),
        ("surgery", "-0.62113", "0.36786"),
        ("year", "-0.13608", "0.07090"),
    ],
)
def test_coefficients_are_as_published(
    rows: dict[str, np.ndarray], name: str, coefficient: str, std_error: str
) -> None:
    fit = fitted(rows)
    at = NAMES.index(name)
    assert fit.coefficients[at] == printed(coefficient)
    assert fit.naive_errors[at] == printed(std_error)


def test_rows_and_events_are_those_of_the_source(rows: dict[str, np.ndarray]) -> None:
    assert len(rows["subject"]) == 170
    assert fitted(rows).events == 75
    assert fitted(rows).clusters == 103


def test_splitting_follow_up_further_changes_nothing(rows: dict[str, np.ndarray]) -> None:
    """Identity: most of these rows cover no event, which spoils the library's own clustered
    errors."""
    pieces: dict[str, list[float]] = {name: [] for name in rows}
    for at in range(len(rows["subject"])):
        start, stop = rows["tstart"][at], rows["tstop"][at]
        cuts = [start, *np.arange(np.floor(start) + 3, stop, 3), stop]
        for since, until in pairwise(cuts):
            for name in rows:
                pieces[name].append(rows[name][at])
            pieces["tstart"][-1], pieces["tstop"][-1] = since, until
            pieces["death"][-1] = rows["death"][at] * (until == stop)
    split = fitted({name: np.array(values) for name, values in pieces.items()})
    whole = fitted(rows)
    np.testing.assert_allclose(split.coefficients, whole.coefficients, rtol=1e-6)
    np.testing.assert_allclose(split.std_errors, whole.std_errors, rtol=1e-6)
    np.testing.assert_allclose(split.naive_errors, whole.naive_errors, rtol=1e-6)

"""Which fitted orders has a programme, and on which days was each in use?

One TOML file holds them, one ``[[fit]]`` after the other, oldest first. A refit adds one and
removes none, so that the list of any past morning can be made again. The policy names the file.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import date, datetime
from pathlib import Path
from typing import Any

import numpy as np

from analysis.decisions.fitted_model import FEATURES, Model
from analysis.files import write_whole
from analysis.policy import Policy, PolicyError
from analysis.toml_file import TomlError, parsed, read_plain

HEAD = """\
# Orders of calling fitted to past mornings by "linedays refit", oldest first; the newest that was
# fitted by then is in use on a day. Log odds of an event within 7 days
# = intercept + sum of coefficient x (value - centre) / scale.
# odds_ratio and its 95 % limits are for one scale more of the feature; nothing reads them.
"""
_COLUMNS = ("centre", "scale", "coefficient", "std_error")
_NUMBERS = tuple(f.name for f in fields(Model) if f.type in {"int", "float", "date", "str"})


class OrderError(PolicyError):
    """A file of fitted orders cannot be used; one sentence for a user."""


@dataclass(frozen=True)
class Fits:
    """Fitted orders of a programme, oldest first, and their file."""

    file: str
    models: tuple[Model, ...]

    def on(self, day: date) -> Model | None:
        """The newest that was fitted by what was known before a day; None before the first."""
        fitted = [m for m in self.models if m.fitted_on <= day]
        return fitted[-1] if fitted else None


def fits_of(policy: Policy) -> Fits | None:
    """Read the fitted orders that a policy names; None when it names none.

    Raises
    ------
    OrderError
        The file cannot be read or is no such file.
    """
    return None if policy.order_file is None else read_fits(policy.order_file)


def read_fits(path: Path) -> Fits:
    """Read a file of fitted orders.

    Raises
    ------
    OrderError
        It cannot be read, or a fit in it is not one of this version.
    """
    try:
        content = parsed(read_plain(path, "utf-8"))
    except (OSError, UnicodeDecodeError) as fault:
        raise OrderError(
            f"{path}: the fitted order cannot be read ({type(fault).__name__}). Write it with "
            f"linedays refit {path}, or take order_file out of the policy."
        ) from None
    except TomlError as fault:
        raise OrderError(f"{path}: not valid TOML: {fault}. {_refit_hint(path)}") from None
    blocks = content.get("fit")
    if not isinstance(blocks, list) or not blocks:
        raise OrderError(f"{path}: holds no [[fit]], so it is no fitted order. {_refit_hint(path)}")
    models = tuple(_model(block, f"{path}, fit {n}", path) for n, block in enumerate(blocks, 1))
    days = [m.fitted_on for m in models]
    if any(a >= b for a, b in itertools.pairwise(days)):
        raise OrderError(f"{path}: put the fits in order of fitted_on, each day once.")
    return Fits(str(path), models)


def add_fit(path: Path, model: Model) -> None:
    """Write a model at the end of a file, which is made where there is none.

    The file is whole at every moment: what reads it meanwhile finds the old or the new one.

    Raises
    ------
    OrderError
        The file is no file of fitted orders, or holds one of the same day or a later one.
    FileError
        It cannot be written.
    """
    text = HEAD
    if path.exists():
        newest = read_fits(path).models[-1]
        if newest.fitted_on >= model.fitted_on:
            raise OrderError(
                f"{path} already holds a fit of {newest.fitted_on}, and fits are in order of "
                f"time. Remove it from the file, name another file, or fit --as-of a later day."
            )
        text = path.read_text(encoding="utf-8")
    write_whole(path, text.rstrip("\n") + "\n\n" + text_of(model), replace=True)


def text_of(model: Model) -> str:
    """Return a model as a ``[[fit]]`` of TOML, with odds ratios a person can read."""
    lines = ["[[fit]]"]
    lines += [f"{name} = {_value(getattr(model, name))}" for name in _NUMBERS]
    for at, (name, meaning) in enumerate(FEATURES.items()):
        slope, error = float(model.coefficient[at]), float(model.std_error[at])
        low, high = np.exp(slope - 1.96 * error), np.exp(slope + 1.96 * error)
        lines += [
            "",
            f"[fit.feature.{name}]  # {meaning}",
            f"odds_ratio = {np.exp(slope):.3f}",
            f"odds_ratio_limits = [{low:.3f}, {high:.3f}]",
            *(f"{column} = {float(getattr(model, column)[at])!r}" for column in _COLUMNS),
        ]
    return "\n".join(lines) + "\n"


def _value(value: object) -> str:
    """A date, a number or a text as TOML."""
    if isinstance(value, str):
        escaped = value.replace("\\", "\\\\").replace('"', '\\"')
        return f'"{escaped}"'
    return value.isoformat() if isinstance(value, date) else repr(value)


def _model(block: Any, where: str, path: Path) -> Model:
    if not isinstance(block, Mapping) or not isinstance(block.get("feature"), Mapping):
        raise OrderError(f"{where}: has no [fit.feature.…]. {_refit_hint(path)}")
    given = block["feature"]
    for name in (*FEATURES, *given):
        if name not in given or name not in FEATURES:
            raise OrderError(
                f"{where}, feature {name}: this version of linedays looks at other features. "
                f"{_refit_hint(path)}"
            )
    numbers: dict[str, Any] = {name: _checked(block, name, where, path) for name in _NUMBERS}
    columns: dict[str, Any] = {
        c: np.array([_checked(given[n], c, f"{where}, feature {n}", path) for n in FEATURES])
        for c in _COLUMNS
    }
    if (columns["scale"] <= 0).any():
        raise OrderError(f"{where}: a scale is not above 0. {_refit_hint(path)}")
    return Model(**numbers, **columns)


def _checked(block: Any, name: str, where: str, path: Path) -> Any:
    """A value of the kind that a model's field has."""
    kinds = {f.name: f.type for f in fields(Model)}
    value = block.get(name) if isinstance(block, Mapping) else None
    kind = kinds[name]
    good = {
        "date": isinstance(value, date) and not isinstance(value, datetime),
        "str": isinstance(value, str),
        "int": type(value) is int and value >= 0,
    }.get(
        str(kind),
        isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value),
    )
    if not good:
        raise OrderError(
            f"{where}, {name}: {value!r} is not what refit writes. {_refit_hint(path)}"
        )
    return value


def _refit_hint(path: Path) -> str:
    return f"Move it away and fit again: linedays refit {path}"

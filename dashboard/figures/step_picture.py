"""Which families miss which steps? A square a family and step, the surer the larger.

Size, filling and the number each tell the probability, so that the picture reads in grey.
"""

from __future__ import annotations

from typing import Any

import pandas as pd
import plotly.graph_objects as go

from dashboard.figures import theme

ROW = 30
HEAD = 64
LIKELY = 0.8
LARGEST = 26
SMALLEST = 5
LEAST_COLUMNS = 8
"""Few columns are together at the left, so that the eye need not travel."""
LETTERS = 12
"""Names of steps are broken into lines of about so many letters."""


def step_picture(
    cells: pd.DataFrame, families: tuple[str, ...], steps: tuple[str, ...]
) -> go.Figure:
    """Draw families as rows and steps as columns.

    Parameters
    ----------
    cells : DataFrame
        One row a family and step with something missed: ``family_id``, ``step_name``, ``prob``
        (0-1), ``missed``, ``seen``.
    families, steps : tuple of str
        Rows from the top and columns from the left.

    Returns
    -------
    Figure
        A filled square with a white number where the probability is half or more, else an open
        one, its number next to it; a blank place where nothing was missed.
    """
    cells = theme.plain_in(cells, "family_id", "step_name")
    families, steps = tuple(map(theme.plain, families)), tuple(map(theme.plain, steps))
    figure = go.Figure()
    at_family = {code: -at for at, code in enumerate(families)}
    at_step = {name: at for at, name in enumerate(steps)}
    likely = (cells["prob"] >= LIKELY).to_numpy(dtype=bool)
    for name, part in (("half or more", cells[likely]), ("under half", cells[~likely])):
        filled = name == "half or more"
        figure.add_trace(
            go.Scatter(
                name=name,
                x=[at_step[s] for s in part["step_name"]],
                y=[at_family[f] for f in part["family_id"]],
                mode="markers+text",
                text=[_number(p) if filled else _faint(p) for p in part["prob"]],
                textposition="middle center" if filled else "middle right",
                textfont={"size": theme.SMALL, "color": theme.SHEET if filled else theme.SOFT_INK},
                marker={
                    "symbol": "square",
                    "size": [_size(p) for p in part["prob"]],
                    "color": theme.BLUE if filled else theme.SHEET,
                    "opacity": 1,
                    "line": {"width": 1.5, "color": theme.BLUE if filled else theme.EDGE},
                },
                hovertext=[_hover(r) for r in part.to_dict("records")],
                hoverinfo="text",
                cliponaxis=False,
            )
        )
    figure.update_xaxes(
        theme.AXIS,
        side="top",
        range=[-0.6, max(len(steps), LEAST_COLUMNS) - 0.4],
        tickvals=list(at_step.values()),
        ticktext=[_broken(name) for name in steps],
        ticks="",
    )
    figure.update_yaxes(
        theme.AXIS,
        range=[-len(families) + 0.4, 0.6],
        tickvals=list(at_family.values()),
        ticktext=list(families),
        ticks="",
    )
    theme.quiet(figure, height=HEAD + ROW * len(families) + 16)
    figure.update_layout(margin={"l": 8, "r": 24, "t": HEAD, "b": 8})
    return figure


def _size(prob: float) -> float:
    return max(float(SMALLEST), LARGEST * float(prob) ** 0.5)


def _number(prob: float) -> str:
    return f"{min(99, round(100 * prob))}"


def _faint(prob: float) -> str:
    return f"{round(100 * prob)}" if prob >= 0.05 else ""


def _hover(row: dict[Any, Any]) -> str:
    prob = 100 * float(row["prob"])
    return (
        f"Family {row['family_id']}, {row['step_name']}<br>{row['missed']} of {row['seen']} "
        f"missed<br>probability {prob:.0f} %"
    )


def _broken(name: str) -> str:
    """A name in lines of few letters, broken between words."""
    lines: list[str] = []
    for word in name.split():
        if lines and len(lines[-1]) + len(word) < LETTERS:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return "<br>".join(lines)

"""What is a figure of a report made of? Shapes on a sheet of fixed width, in plain numbers."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import ClassVar

WIDTH = 640
INK, SOFT, RULE, WHITE = "#1d2530", "#4a5361", "#d5d0c4", "#ffffff"


@dataclass(frozen=True)
class Line:
    """A straight line between two points."""

    kind: ClassVar = "line"
    x1: float
    y1: float
    x2: float
    y2: float
    colour: str = INK
    width: float = 1.0
    dash: str = ""


@dataclass(frozen=True)
class Box:
    """A rectangle; hatched ones differ from others in black and white too."""

    kind: ClassVar = "box"
    x: float
    y: float
    width: float
    height: float
    fill: str = WHITE
    edge: str = INK
    hatched: bool = False


@dataclass(frozen=True)
class Text:
    """A label."""

    kind: ClassVar = "text"
    x: float
    y: float
    words: str
    anchor: str = "start"
    colour: str = SOFT
    bold: bool = False


@dataclass(frozen=True)
class Dot:
    """A value: a filled or hollow circle, or a diamond."""

    kind: ClassVar = "dot"
    x: float
    y: float
    hollow: bool = False
    diamond: bool = False


Shape = Line | Box | Text | Dot


@dataclass
class Drawing:
    """Shapes in the order in which they are painted."""

    height: int
    name: str = "figure"
    """Lower-case letters and hyphens; unlike that of any other drawing on the page."""
    shapes: list[Shape] = field(default_factory=list)
    width: int = WIDTH

    def add(self, *shapes: Shape) -> None:
        """Paint shapes over those that are there."""
        self.shapes.extend(shapes)

    @property
    def has_hatching(self) -> bool:
        """Whether a box is hatched: asked by the template of a figure."""
        return any(isinstance(s, Box) and s.hatched for s in self.shapes)

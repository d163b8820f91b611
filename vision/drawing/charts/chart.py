"""What is on a chart: lines, marks, bands and rules in the units of its two axes.

Tested in tests/vision/drawing/charts/test_draw_chart.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from vision.records import FloatArray


@dataclass(frozen=True)
class Mark:
    """The shape drawn at a point.

    Attributes
    ----------
    shape : {"disc", "square", "triangle", "diamond", "bar"}
        A bar is an upright stroke.
    size_pt : float
        Height in points (1/72 inch).
    inside, edge : str
        Colours as ``#rrggbb``.
    edge_pt : float
        Width of the edge.
    every : int
        1 marks each point, 5 each fifth.
    """

    shape: str
    size_pt: float
    inside: str
    edge: str
    edge_pt: float = 1.0
    every: int = 1


@dataclass(frozen=True)
class Line:
    """Points joined by a line, marked, or both.

    Attributes
    ----------
    x, y : ndarray of shape (N,), float
        In the units of the axes; a point that is not finite leaves a gap.
    colour : str
        As ``#rrggbb``.
    width_pt : float
        0 joins nothing.
    dash : tuple of float
        Lengths of dash and gap in turn, in widths of the line; empty draws it whole.
    mark : Mark or None
        At the points.
    name : str
        In the legend; empty leaves it out there.
    level : int
        What has a higher level is drawn over what has a lower one.
    flat : bool
        Whether it ends at its last point, cut off, instead of half a width beyond.
    """

    x: FloatArray
    y: FloatArray
    colour: str
    width_pt: float = 0.0
    dash: tuple[float, ...] = ()
    mark: Mark | None = None
    name: str = ""
    level: int = 2
    flat: bool = False


@dataclass(frozen=True)
class Band:
    """The room between two lines over the same `x`, each of shape (N,), tinted."""

    x: FloatArray
    low: FloatArray
    high: FloatArray
    colour: str
    cover: float = 0.22
    name: str = ""
    level: int = 1


@dataclass(frozen=True)
class Rule:
    """A straight line over the whole chart at one value, with its name along it."""

    value: float
    words: str
    colour: str
    upright: bool = False
    width_pt: float = 1.2
    dash: tuple[float, ...] = ()
    level: int = 2


@dataclass(frozen=True)
class RightAxis:
    """Another scale at the right: its name, and what of it one unit of the left axis is."""

    label: str
    per_unit: float


@dataclass(frozen=True)
class Chart:
    """A chart; the legend names its items in their order.

    Attributes
    ----------
    items : tuple of Line, Band and Rule
    x_span, y_span : (float, float)
        The values at the ends of the axes.
    x_label, y_label : str
    right : RightAxis or None
    """

    items: tuple[Line | Band | Rule, ...]
    x_span: tuple[float, float]
    y_span: tuple[float, float]
    x_label: str
    y_label: str
    right: RightAxis | None = None

    def __post_init__(self) -> None:
        """Refuse an axis without length.

        Raises
        ------
        ValueError
            If a span is not finite, or does not rise.
        """
        for low, high in (self.x_span, self.y_span):
            if not (math.isfinite(low) and math.isfinite(high) and low < high):
                raise ValueError(f"an axis must rise, got {low} to {high}")

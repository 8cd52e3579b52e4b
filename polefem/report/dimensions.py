"""Dimensions of a drawing: what is measured and where, as values, and the lines that show them.

Points are complex, in metres, where they lie on the drawing; lengths are printed in millimetres, angles in degrees.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import FancyArrowPatch
from matplotlib.patheffects import withStroke

from polefem.report.sections import ring_path
from polefem.report.style import EDGE
from polefem.shapes import Arc
from polefem.units import deg, mm

__all__ = ["Dimension", "Leader", "Span", "Sweep", "draw_dimensions", "draw_leaders", "millimetres"]

_SIZE = 8.0
_WIDTH = 0.7
_HALO = [withStroke(linewidth=2.5, foreground="white")]


def millimetres(*lengths: float) -> str:
    """Lengths (m) as they are printed: four digits at most, in mm.

    >>> millimetres(0.0121, 0.0316492)
    '12.1 x 31.65'
    """
    return " x ".join(f"{length / mm:.4g}" for length in lengths)


@dataclass(frozen=True)
class Span:
    """A length between two points; its line lies `aside` (m) to the left of the way from start to end."""

    name: str
    start: complex
    end: complex
    aside: float = 0.0

    @property
    def value(self) -> float:
        """The length, m."""
        return abs(self.end - self.start)

    @property
    def text(self) -> str:
        """The length as printed."""
        return millimetres(self.value)


@dataclass(frozen=True)
class Sweep:
    """An angle about the origin from `start` to `end` (rad), shown on an arc of `radius`, led out from `face` (m)."""

    name: str
    start: float
    end: float
    radius: float
    face: float

    @property
    def value(self) -> float:
        """The angle, rad."""
        return self.end - self.start

    @property
    def text(self) -> str:
        """The angle as printed."""
        return f"{self.value / deg:.4g}°"


@dataclass(frozen=True)
class Leader:
    """Words at the margin with a line to a point; value: the length (m) or angle (rad) that they say, if one."""

    name: str
    text: str
    point: complex
    value: float | None = None


Dimension = Span | Sweep | Leader


def draw_dimensions(axes: Axes, dimensions: Sequence[Dimension]) -> None:
    """Draw the lines of all spans and sweeps."""
    for dimension in dimensions:
        if isinstance(dimension, Span):
            _draw_span(axes, dimension)
        elif isinstance(dimension, Sweep):
            _draw_sweep(axes, dimension)


def draw_leaders(axes: Axes, leaders: Sequence[Leader], x: float, step: float) -> None:
    """Draw words in a column that begins (or, left of all points, ends) at x (m), in the order of their points.

    step: least distance from one to the next, m.
    """
    ordered = sorted(leaders, key=lambda leader: leader.point.imag)
    wanted = [leader.point.imag for leader in ordered]
    levels: list[float] = []
    for level in wanted:
        levels.append(max(level, levels[-1] + step) if levels else level)
    lift = float(np.mean(levels) - np.mean(wanted)) if levels else 0.0
    left = all(leader.point.real > x for leader in leaders)
    for leader, level in zip(ordered, levels, strict=True):
        axes.annotate(
            leader.text,
            xy=_spot(leader.point),
            xytext=_spot(complex(x, level - lift)),
            fontsize=_SIZE,
            color=EDGE,
            ha="right" if left else "left",
            va="center",
            annotation_clip=False,
            arrowprops={"arrowstyle": "-", "color": EDGE, "linewidth": 0.6, "shrinkA": 2.0, "shrinkB": 0.0},
        )
        axes.plot(
            *_spot(leader.point),
            "o",
            color=EDGE,
            markeredgecolor="white",
            markeredgewidth=0.4,
            markersize=3.2,
            zorder=5,
        )


def _spot(z: complex) -> tuple[float, float]:
    return z.real / mm, z.imag / mm


def _draw_span(axes: Axes, span: Span) -> None:
    way = (span.end - span.start) / span.value
    start, end = (z + 1j * way * span.aside for z in (span.start, span.end))
    for foot, tip in ((span.start, start), (span.end, end)):
        _thin(axes, foot, tip)
    arrow = FancyArrowPatch(
        _spot(start),
        _spot(end),
        arrowstyle="<|-|>",
        mutation_scale=6,
        shrinkA=0,
        shrinkB=0,
        color=EDGE,
        linewidth=_WIDTH,
        zorder=4,
    )
    axes.add_patch(arrow)
    turn = (math.degrees(math.atan2(way.imag, way.real)) + 90 - 1e-6) % 180 - 90
    _write(axes, (start + end) / 2, span.text, turn)


def _draw_sweep(axes: Axes, sweep: Sweep) -> None:
    ends = [complex(np.exp(1j * angle)) for angle in (sweep.start, sweep.end)]
    for turn in ends:
        _thin(axes, sweep.face * turn, sweep.radius * turn)
    arc = Arc(sweep.radius * ends[0], sweep.radius * ends[1], 0j, True)
    axes.add_patch(
        FancyArrowPatch(
            path=ring_path((arc,), closed=False),
            arrowstyle="<|-|>",
            mutation_scale=6,
            edgecolor=EDGE,
            facecolor=EDGE,
            linewidth=_WIDTH,
            zorder=4,
        )
    )
    _write(axes, sweep.radius * complex(np.exp(0.5j * (sweep.start + sweep.end))), sweep.text, 0.0)


def _thin(axes: Axes, start: complex, end: complex) -> None:
    axes.plot(*zip(_spot(start), _spot(end), strict=True), color=EDGE, linewidth=0.5, zorder=4)


def _write(axes: Axes, at: complex, text: str, turn: float) -> None:
    axes.text(
        *_spot(at),
        text,
        fontsize=_SIZE,
        rotation=turn,
        ha="center",
        va="center",
        color=EDGE,
        path_effects=_HALO,
        zorder=6,
    )

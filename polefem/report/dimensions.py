"""Dimensions of a drawing: what is measured and where, as values, and the lines that show them.

Points are complex, in metres, where they lie on the drawing; lengths are printed in millimetres, angles in degrees.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass

from polefem.report import plotting
from polefem.report.sections import ring_path
from polefem.report.style import EDGE
from polefem.shapes import Arc
from polefem.units import deg, mm

__all__ = [
    "AngularDimension",
    "Dimension",
    "Leader",
    "LinearDimension",
    "draw_dimensions",
    "draw_leaders",
    "millimetres",
    "write_letter",
]

_SIZE = 8.0
_WIDTH = 0.7


def millimetres(*lengths: float) -> str:
    """Lengths (m) as they are printed: in mm, to a hundredth.

    >>> millimetres(0.0121, 0.0316492)
    '12.1 x 31.65'
    """
    return " x ".join(f"{length / mm:.2f}".rstrip("0").rstrip(".") for length in lengths)


@dataclass(frozen=True)
class LinearDimension:
    """A length between two points; its line lies `aside` (m) to the left of the way from start to end.

    printed: on the line itself; else a leader says it.
    """

    name: str
    start: complex
    end: complex
    aside: float = 0.0
    printed: bool = True

    @property
    def value(self) -> float:
        """The length, m."""
        return abs(self.end - self.start)

    @property
    def text(self) -> str:
        """The length as printed."""
        return millimetres(self.value)

    @property
    def spots(self) -> tuple[complex, complex]:
        """Where its line starts and ends."""
        aside = 1j * self.aside * (self.end - self.start) / self.value
        return self.start + aside, self.end + aside


@dataclass(frozen=True)
class AngularDimension:
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

    @property
    def spots(self) -> tuple[complex, complex, complex]:
        """Where its arc starts, where it says the angle, and where it ends."""
        start, middle, end = (
            cmath.rect(self.radius, angle) for angle in (self.start, (self.start + self.end) / 2, self.end)
        )
        return start, middle, end


@dataclass(frozen=True)
class Leader:
    """Words at the margin with a line to a point; value: the length (m) or angle (rad) that they say, if one.

    inside: 1 or -1 where a sheet puts their letter above or below the point itself, and no line to it.
    """

    name: str
    text: str
    point: complex
    value: float | None = None
    inside: int = 0

    @property
    def spots(self) -> tuple[complex]:
        """Where it points."""
        return (self.point,)


Dimension = LinearDimension | AngularDimension | Leader


def draw_dimensions(axes: plotting.Axes, dimensions: Sequence[Dimension], size: float = _SIZE) -> None:
    """Draw the lines of all spans and sweeps; size: of their words, pt."""
    for dimension in dimensions:
        if isinstance(dimension, LinearDimension):
            _draw_linear(axes, dimension, size)
        elif isinstance(dimension, AngularDimension):
            _draw_angular(axes, dimension, size)


def draw_leaders(
    axes: plotting.Axes, leaders: Sequence[Leader], x: float, line: float, size: float = _SIZE
) -> None:
    """Draw words in a column that begins (or, left of all points, ends) at x (m), in the order of their points.

    line: height of a line of words, m. size: of the words, pt.
    """
    ordered = sorted(leaders, key=lambda leader: leader.point.imag)
    half = [(0.5 * leader.text.count("\n") + 0.65) * line for leader in ordered]
    levels: list[float] = []
    for at, leader in enumerate(ordered):
        least = levels[-1] + half[at - 1] + half[at] if levels else leader.point.imag
        levels.append(max(leader.point.imag, least))
    lift = sum(level - leader.point.imag for level, leader in zip(levels, ordered, strict=True)) / max(
        1, len(levels)
    )
    left = all(leader.point.real > x for leader in leaders)
    for leader, level in zip(ordered, levels, strict=True):
        axes.annotate(
            leader.text,
            xy=_spot(leader.point),
            xytext=_spot(complex(x, level - lift)),
            fontsize=size,
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


def write_letter(axes: plotting.Axes, leader: Leader, line: float, size: float = _SIZE) -> None:
    """The words of a leader that lies inside, a line of words (of that height, m) above or below its point."""
    _write(axes, leader.point + 0.8j * leader.inside * line, leader.text, 0.0, size)


def _spot(z: complex) -> tuple[float, float]:
    return z.real / mm, z.imag / mm


def _draw_linear(axes: plotting.Axes, dimension: LinearDimension, size: float) -> None:
    start, end = dimension.spots
    for foot, tip in ((dimension.start, start), (dimension.end, end)):
        _thin(axes, foot, tip)
    arrow = plotting.FancyArrowPatch(
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
    if dimension.printed:
        # Never upside down; upright words are read from the right.
        turn = (math.degrees(cmath.phase(end - start)) + 90 - 1e-6) % 180 - 90
        _write(axes, (start + end) / 2, dimension.text, turn, size)


def _draw_angular(axes: plotting.Axes, dimension: AngularDimension, size: float) -> None:
    start, middle, end = dimension.spots
    for tip in (start, end):
        _thin(axes, tip * dimension.face / dimension.radius, tip)
    arrow = plotting.FancyArrowPatch(
        path=ring_path((Arc(start, end, 0j, True),), closed=False),
        arrowstyle="<|-|>",
        mutation_scale=6,
        edgecolor=EDGE,
        facecolor=EDGE,
        linewidth=_WIDTH,
        zorder=4,
    )
    axes.add_patch(arrow)
    _write(axes, middle, dimension.text, 0.0, size)


def _thin(axes: plotting.Axes, start: complex, end: complex) -> None:
    axes.plot(*zip(_spot(start), _spot(end), strict=True), color=EDGE, linewidth=0.5, zorder=4)


def _write(axes: plotting.Axes, at: complex, text: str, turn: float, size: float) -> None:
    axes.text(
        *_spot(at),
        text,
        fontsize=size,
        rotation=turn,
        ha="center",
        va="center",
        color=EDGE,
        path_effects=[plotting.withStroke(linewidth=2.5, foreground="white")],
        zorder=6,
    )

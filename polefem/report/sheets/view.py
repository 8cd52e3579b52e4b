"""A view: part of a drawing with its dimensions, put on a sheet at a scale. Words at the margin are letters there, and
are written out in a list, so that a view is no wider than what it shows, on paper and on a phone alike."""

from __future__ import annotations

import itertools
import string
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from polefem.report import plotting
from polefem.report.dimensions import Dimension, Leader, draw_dimensions, draw_leaders, write_letter
from polefem.report.sheets.paper import INCH, LINE
from polefem.report.style import EDGE
from polefem.units import mm

__all__ = ["View", "keys", "one_line", "put"]

_KEYS = 9.0  # mm: room for letters on either side

Box = tuple[float, float, float, float]


@dataclass(frozen=True, eq=False)
class View:
    """What is drawn, in the machine's own metres.

    title: over it. box: left, low, right and high end of what it shows, m. dimensions: on it. paint: puts it on axes in
    mm, given the scale and the size of words in pt. rim: free of it on all sides, on paper, mm. to_scale: whether its
    lengths are the machine's; else they are the paper's.
    """

    title: str
    box: Box
    dimensions: tuple[Dimension, ...]
    paint: Callable[[plotting.Axes, float, float], None]
    rim: float = 4.0
    to_scale: bool = True

    @property
    def leaders(self) -> tuple[Leader, ...]:
        """Those of its dimensions that are written out beside it."""
        return tuple(each for each in self.dimensions if isinstance(each, Leader))

    def of_side(self, sign: int) -> tuple[Leader, ...]:
        """Leaders that go to the right (1) or to the left (-1)."""
        middle = (self.box[0] + self.box[2]) / 2
        beside = (each for each in self.leaders if not each.inside)
        return tuple(each for each in beside if (each.point.real >= middle) == (sign > 0))

    def size(self, scale: float) -> tuple[float, float]:
        """Width and height on paper, mm."""
        left, low, right, high = (bound / mm / self.lengths(scale) for bound in self.box)
        beside = sum(_KEYS for sign in (-1, 1) if self.of_side(sign))
        least = max(len(self.of_side(sign)) for sign in (-1, 1)) * LINE * 1.3
        return right - left + 2 * self.rim + beside, max(high - low, least) + 2 * self.rim + 1.6 * LINE

    def lengths(self, scale: float) -> float:
        """Its own scale on a sheet of a scale."""
        return scale if self.to_scale else 1.0


def keys() -> Iterator[str]:
    """Letters for leaders: A to Z, then AA and so on; none that looks like a number."""
    letters = [letter for letter in string.ascii_uppercase if letter not in "IO"]
    yield from letters
    yield from map("".join, itertools.product(letters, letters))


def one_line(words: str) -> str:
    """Words on one line.

    >>> one_line("coil side 12 x 16.5\\n120 turns a pole")
    'coil side 12 x 16.5, 120 turns a pole'
    """
    return ", ".join(line.strip().removesuffix(",") for line in words.splitlines())


def put(
    figure: plotting.Figure,
    view: View,
    spot: tuple[float, float],
    scale: float,
    size: float,
    letters: Iterator[str],
) -> list[str]:
    """Draw a view with its lower left corner at a spot of a figure (mm) at a scale; returns what its letters stand for.

    size: of words, pt. letters: those that are not taken yet.
    """
    width, height = view.size(scale)
    whole = figure.get_size_inches() * INCH
    axes = figure.add_axes(
        (spot[0] / whole[0], spot[1] / whole[1], width / whole[0], height / whole[1]), frameon=False
    )
    axes.set_axis_off()
    axes.set_xticks([])
    axes.set_yticks([])
    own = view.lengths(scale)
    left, low, right, high = (bound / mm for bound in view.box)
    room = own * _KEYS
    x = left - own * view.rim - (room if view.of_side(-1) else 0.0)
    middle = (low + high) / 2
    down = middle - own * (height - 1.6 * LINE) / 2
    axes.set_xlim(x, x + own * width)
    axes.set_ylim(down, down + own * height)
    view.paint(axes, own, size)
    draw_dimensions(axes, view.dimensions, size)
    said, line = [], LINE * own * mm
    for leader in view.leaders:
        if leader.inside:
            key = replace(leader, text=next(letters))
            said.append(f"{key.text}: {one_line(leader.text)}")
            write_letter(axes, key, line, size)
    for sign, edge in ((-1, left - own * view.rim), (1, right + own * view.rim)):
        listed = sorted(view.of_side(sign), key=lambda leader: -leader.point.imag)
        named = [replace(leader, text=next(letters)) for leader in listed]
        said += [f"{key.text}: {one_line(leader.text)}" for key, leader in zip(named, listed, strict=True)]
        draw_leaders(axes, named, (edge + sign * 0.3 * room) * mm, 1.3 * line, size)
    axes.text(
        x + own * width / 2,
        down + own * (height - 0.9 * LINE),
        view.title,
        ha="center",
        va="center",
        fontsize=size,
        fontweight="bold",
        color=EDGE,
    )
    return said

"""Paper, and the scale at which views fit on it: true size where they do.

Sizes are those of ISO 216, scales those of ISO 5455; words are as high as an arm's length asks: a capital of 12 points
is 3.1 mm high, 18 minutes of arc at 600 mm, where 16 are the least that is read with ease (ISO 9241-303). All three
standards from memory.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

__all__ = [
    "APART",
    "COLUMN",
    "ENLARGED",
    "INCH",
    "LETTER",
    "LINE",
    "MARGIN",
    "PAPERS",
    "SCALES",
    "WORDS",
    "Paper",
    "Spot",
    "placed",
    "scale_words",
]

#: mm.
INCH = 25.4
#: Rim that printers leave free, mm.
MARGIN = 6.0
#: Size of words, pt, and height of a line of them, mm.
WORDS, LINE = 12.0, 5.4
#: Width of a column of words beside views, mm, and of the least letter, of which as many go on a line.
COLUMN, LETTER = 78.0, 2.6
#: Lengths of the machine over lengths on paper: reductions, and enlargements for small things.
SCALES = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0)
ENLARGED = (0.05, 0.1, 0.2, 0.5)
APART = 3.0


@dataclass(frozen=True)
class Paper:
    """A sheet. name: of its size. width, height: mm."""

    name: str
    width: float
    height: float

    @property
    def upright(self) -> bool:
        """Whether it is higher than wide: words then stand below the views, else beside them."""
        return self.height > self.width

    @property
    def columns(self) -> int:
        """Of words: one beside views; as many as go below them."""
        return math.floor((self.width - 2 * MARGIN) / COLUMN) if self.upright else 1

    @property
    def column(self) -> float:
        """Width of one, mm."""
        whole = self.width - 2 * MARGIN - (self.columns - 1) * APART
        return whole / self.columns if self.upright else COLUMN

    def lines(self) -> int:
        """Lines that fit one column of words."""
        return math.floor((self.height - 2 * MARGIN) / LINE)

    def room(self, lines: int) -> tuple[float, float]:
        """Width and height left for views beside so many lines of words, mm; below 0 where there is none."""
        width, height = self.width - 2 * MARGIN, self.height - 2 * MARGIN
        if self.upright:
            return width, height - (math.ceil(lines / self.columns) + 1) * LINE
        return (width - COLUMN - APART, height) if lines <= self.lines() else (-1.0, -1.0)


PAPERS = (
    Paper("A4", 297.0, 210.0),
    Paper("A4", 210.0, 297.0),
    Paper("A3", 420.0, 297.0),
    Paper("A3", 297.0, 420.0),
)

Spot = tuple[float, float]


def placed(sizes: Sequence[tuple[float, float]], room: tuple[float, float]) -> tuple[Spot, ...] | None:
    """Lower left corners (mm) of views of these sizes (mm), in rows, in the middle of a room; None where they do not
    fit.

    >>> placed([(60.0, 40.0), (60.0, 50.0)], (100.0, 100.0))
    ((20.0, 56.5), (20.0, 3.5))
    """
    width, height = room
    rows: list[list[int]] = [[]]
    used = 0.0
    for at, (wide, _) in enumerate(sizes):
        if wide > width:
            return None
        if rows[-1] and used + APART + wide > width:
            rows.append([])
            used = 0.0
        used += (APART if rows[-1] else 0.0) + wide
        rows[-1].append(at)
    heights = [max(sizes[at][1] for at in row) for row in rows]
    left = height - sum(heights) - APART * (len(rows) - 1)
    if left < 0:
        return None
    spots: dict[int, Spot] = {}
    top = height - left / 2
    for row, high in zip(rows, heights, strict=True):
        x = (width - sum(sizes[at][0] for at in row) - APART * (len(row) - 1)) / 2
        for at in row:
            spots[at] = (x, top - (high + sizes[at][1]) / 2)
            x += sizes[at][0] + APART
        top -= high + APART
    return tuple(spots[at] for at in range(len(sizes)))


def scale_words(scale: float) -> str:
    """A scale as drawings say it.

    >>> scale_words(1.0), scale_words(2.0), scale_words(0.2)
    ('1 : 1', '1 : 2', '5 : 1')
    """
    return f"1 : {scale:g}" if scale >= 1 else f"{1 / scale:g} : 1"

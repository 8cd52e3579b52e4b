"""How pictures look: one size of type, grids that stay behind, colours that print and that all eyes tell apart.

A quantity is shown in colours of our own, from pale to deep in steps that look equal, so that grey print and colour
blindness leave its order as it is. They are straight lines between a few colours in CIELAB (CIE 15, white point D65),
where equal steps look equal. Kinds are shown in colours that differ in lightness as well as in hue, each with a line
style of its own.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from polefem.files import complete
from polefem.report import plotting

__all__ = [
    "EDGE",
    "KINDS",
    "LINES",
    "MATERIALS",
    "axes_on",
    "field_colours",
    "new_figure",
    "plain_axes",
    "save",
    "steps",
]

# Pale sand, over green and blue, to deep violet: lightness, and the two axes of hue.
_ANCHORS = np.array([[97, -1, 4], [80, -16, 4], [62, -20, -14], [44, -4, -32], [24, 18, -34]], dtype=float)


def _srgb(lab: NDArray[np.float64]) -> NDArray[np.float64]:
    """CIELAB colours, shape (n, 3), as sRGB from 0 to 1 (IEC 61966-2-1; coefficients from memory)."""
    y = (lab[:, 0] + 16) / 116
    root = np.column_stack([y + lab[:, 1] / 500, y, y - lab[:, 2] / 200])
    xyz = np.where(root > 6 / 29, root**3, 3 * (6 / 29) ** 2 * (root - 4 / 29)) * [0.95047, 1.0, 1.08883]
    mix = [[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]]
    linear = np.clip(xyz @ np.transpose(mix), 0.0, 1.0)
    coded: NDArray[np.float64] = np.where(
        linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055
    )
    return coded


def _between(anchors: NDArray[np.float64], count: int) -> NDArray[np.float64]:
    """Colours in steps that look equal along the straight lines between anchors, shape (count, 3)."""
    way = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(anchors, axis=0), axis=1))])
    at = np.linspace(0.0, way[-1], count)
    return np.column_stack([np.interp(at, way, anchors[:, k]) for k in range(3)])


KINDS = ("#1d3557", "#c8553d", "#3a7d6b", "#b08900", "#7a4988", "#6b7280", "#0f7fb3", "#8a3b12")
LINES = ("-", "--", "-.", ":", (0, (5, 1)), (0, (3, 1, 1, 1, 1, 1)), (0, (1, 1)), (0, (7, 2)))
EDGE = "#22303c"
MATERIALS = {"iron": "#9aa5b1", "shaft": "#c3c9d0", "coil": "#d08c60", "air": "#ffffff"}
_DPI = 130


@cache
def field_colours() -> plotting.ListedColormap:
    """The colours of a quantity, from pale to deep."""
    return plotting.ListedColormap(_srgb(_between(_ANCHORS, 256)), name="pale to deep")


def new_figure(width: float = 6.0, height: float = 4.0) -> plotting.Figure:
    """An empty figure of this many inches, made without any global state."""
    return plotting.Figure(figsize=(width, height), layout="constrained")


def axes_on(
    figure: plotting.Figure, x: str, y: str, title: str, place: tuple[int, int, int] = (1, 1, 1)
) -> plotting.Axes:
    """Axes with labels that carry their units, and a quiet grid. place: rows, columns, which of them."""
    axes = plain_axes(figure.add_subplot(*place), title, x, y)
    axes.grid(True, color="#d8dde3", linewidth=0.6)
    axes.set_axisbelow(True)
    return axes


def plain_axes(axes: plotting.Axes, title: str, x: str = "x (mm)", y: str = "y (mm)") -> plotting.Axes:
    """Labels that carry their units, a title at the left, no frame but the two axes."""
    axes.set_xlabel(x)
    axes.set_ylabel(y)
    # Said where it stands, the title needs not look for its place, which lays out all numbers of an axis each time; so
    # does the room of a spine, which those of its numbers take in.
    axes.set_title(title, fontsize="medium", loc="left", y=1.0)
    axes.yaxis.set_offset_position("right")  # a power of ten, where one is needed: not on the title
    for side, spine in axes.spines.items():
        spine.set_in_layout(False)
        spine.set_visible(side not in ("top", "right"))
    return axes


def steps(count: int) -> list[tuple[float, float, float, float]]:
    """Colours for curves of one growing quantity: from light to deep, short of the palest."""
    return [tuple(field_colours()(x)) for x in np.linspace(1.0, 0.3, count)[::-1]]


def save(figure: plotting.Figure, path: Path) -> Path:
    """Write the figure where the path says; its ending says the format."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with complete(path) as part:
        figure.savefig(part, dpi=_DPI)
    return path

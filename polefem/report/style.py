"""How pictures look: one size of type, grids that stay behind, colours that print and that all eyes tell apart.

Quantities are shown in a map of even steps in lightness (cividis: J. R. Nunez, C. R. Anderton, R. S. Renslow,
PLoS ONE 13(7), 2018: made for colour-blind readers). Kinds are shown in colours of our own that differ in lightness
as well as in hue, each with a line style of its own.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.figure import Figure

__all__ = ["FIELD_COLOURS", "KINDS", "LINES", "MATERIALS", "axes_on", "new_figure", "save", "steps"]

FIELD_COLOURS = colormaps["cividis"]
KINDS = ("#1d3557", "#c8553d", "#3a7d6b", "#b08900", "#7a4988", "#6b7280", "#0f7fb3", "#8a3b12")
LINES = ("-", "--", "-.", ":", (0, (5, 1)), (0, (3, 1, 1, 1, 1, 1)), (0, (1, 1)), (0, (7, 2)))
MATERIALS = {"iron": "#9aa5b1", "coil": "#d08c60", "air": "#ffffff"}
_DPI = 130


def new_figure(width: float = 7.0, height: float = 4.4) -> Figure:
    """An empty figure of this many inches, made without any global state."""
    return Figure(figsize=(width, height), layout="constrained")


def axes_on(figure: Figure, x: str, y: str, title: str) -> Axes:
    """Axes with labels that carry their units, and a quiet grid."""
    axes = figure.add_subplot()
    axes.set_xlabel(x)
    axes.set_ylabel(y)
    axes.set_title(title, fontsize="medium", loc="left")
    axes.grid(True, color="#d8dde3", linewidth=0.6)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    return axes


def steps(count: int) -> list[tuple[float, float, float, float]]:
    """Colours for curves of one growing quantity: from dark to light, short of the palest."""
    return [tuple(FIELD_COLOURS(x)) for x in np.linspace(0.0, 0.85, count)]


def save(figure: Figure, path: Path) -> Path:
    """Write the figure where the path says; its ending says the format."""
    path.parent.mkdir(parents=True, exist_ok=True)
    figure.savefig(path, dpi=_DPI)
    return path

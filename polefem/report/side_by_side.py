"""Shapes held against each other: their outlines at the gap over each other, their figures as bars from nought."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polefem.outline.builds import builds_of
from polefem.params import Machine
from polefem.report import plotting
from polefem.report.poles import on_yoke
from polefem.report.sections import ring_path
from polefem.report.style import KINDS, LINES, axes_on, new_figure
from polefem.study import Record, braking, error_from_map, figure_words, quantity_of_figure
from polefem.units import mm

__all__ = ["FigureBars", "OutlinesAtGap", "draw_bars", "draw_outlines", "figure_bars", "outlines_at_gap"]

Array = NDArray[np.float64]
_BEHIND = 0.35  # of the widest pole: how far behind the gap is shown

_LETTERS = 29  # of a name beside a bar
_BESIDE = 34  # letters of names of which two stand side by side


@dataclass(frozen=True, eq=False)
class OutlinesAtGap:
    """The first pole of either side, aligned, of each shape. paths: by name, of rotor and stator, mm, the axis upright.
    window: low and high end of what is shown, mm; reach: to either side of the axis, mm. upright: the axis' name."""

    paths: Mapping[str, tuple[plotting.Path, plotting.Path]]
    window: tuple[float, float]
    reach: float
    upright: str


def outlines_at_gap(machines: Mapping[str, Machine]) -> OutlinesAtGap:
    """The poles of machines, by name, as they face each other across the gap; of axial ones at the mean radius.

    Raises GeometryRefused for a pole that makes no edge.
    """
    paths, faces, widths, flat = {}, [], [], False
    for name, machine in machines.items():
        both = []
        for build in builds_of(machine):
            _, front = on_yoke(build.edges[0], build.seat)
            both.append(ring_path(front, closed=False))
            faces.append(build.row.face / mm)
            widths.append(build.edges[0].width / mm)
        paths[name] = both[0], both[1]
        flat = machine.flat
    behind = _BEHIND * max(widths)
    upright = "along the shaft (mm)" if flat else "from the shaft (mm)"
    return OutlinesAtGap(paths, (min(faces) - behind, max(faces) + behind), 0.75 * max(widths), upright)


def draw_outlines(outlines: OutlinesAtGap) -> plotting.Figure:
    """The picture of outlines over each other."""
    single = max(map(len, outlines.paths), default=0) > _BESIDE
    figure = new_figure(6.0, 4.6 + (0.17 * len(outlines.paths) if single else 0.0))
    axes = axes_on(figure, "across the poles (mm)", outlines.upright, "Poles at the gap, aligned")
    for at, (name, paths) in enumerate(outlines.paths.items()):
        for part, path in enumerate(paths):
            axes.add_patch(
                plotting.PathPatch(
                    path,
                    facecolor="none",
                    edgecolor=KINDS[at % len(KINDS)],
                    linestyle=LINES[at % len(LINES)],
                    linewidth=1.4,
                    label=name if part == 0 else None,
                )
            )
    axes.set_xlim(-outlines.reach, outlines.reach)
    axes.set_ylim(outlines.window)
    axes.set_aspect("equal")
    figure.legend(loc="outside lower left", ncols=1 if single else 2, frameon=False, fontsize="small")
    return figure


@dataclass(frozen=True, eq=False)
class FigureBars:
    """Figures of shapes. names: of the shapes. figures: by label with unit, value and error of each, shape (n, 2)."""

    names: tuple[str, ...]
    figures: Mapping[str, Array]


def figure_bars(records: Sequence[Record], figures: Sequence[str]) -> FigureBars:
    """Some figures of designs with their errors from the map, in the units they are shown in; nan where not known."""
    found = {}
    for name in figures:
        brakes = braking(records, name)
        how = quantity_of_figure(name, brakes)
        rows = []
        for record in records:
            value = None if record.figures is None else record.figures.value(name)
            error = error_from_map(record, name) if value is not None else None
            rows.append(
                [
                    np.nan if value is None else value / how.size,
                    np.nan if error is None else error / abs(how.size),
                ]
            )
        found[f"{figure_words(name, brakes)} ({how.unit})"] = np.array(rows, dtype=float).reshape(-1, 2)
    return FigureBars(tuple(record.name for record in records), found)


def draw_bars(bars: FigureBars) -> plotting.Figure:
    """The picture: a panel a figure, bars that begin at nought, so that their lengths compare."""
    count = len(bars.names)
    figure = new_figure(6.0, len(bars.figures) * (0.9 + 0.26 * count))
    rows = np.arange(count)
    panels = figure.subplots(len(bars.figures), 1, squeeze=False)[:, 0]
    for at, (axes, (label, values)) in enumerate(zip(panels, bars.figures.items(), strict=True)):
        error = {"ecolor": "#10151b", "capsize": 2.5, "elinewidth": 1.0}
        axes.barh(
            rows, values[:, 0], xerr=values[:, 1], color=KINDS[6 * (at % 2)], height=0.66, error_kw=error
        )
        axes.set_yticks(rows, [_short(name) for name in bars.names])
        axes.tick_params(labelsize="small")
        axes.invert_yaxis()
        axes.set_xlabel(label, fontsize="small")
        axes.axvline(0.0, color="#22303c", linewidth=0.8)
        for side in ("top", "right", "left"):
            axes.spines[side].set_visible(False)
    return figure


def _short(name: str) -> str:
    """A name as long as there is room for: what is long is cut in the middle, since names differ at their ends.

    >>> _short("wheel shape and current: current alone 0012")
    'wheel shap…current alone 0012'
    """
    return name if len(name) <= _LETTERS else f"{name[: _LETTERS // 2 - 4]}…{name[-_LETTERS // 2 - 3 :]}"

"""Cross sections: the outline with its arcs, and the flux density in it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from polefem.field import Field
from polefem.outline import Outline, Part, Ring
from polefem.outline.parts import whole_parts
from polefem.report import plotting
from polefem.report.style import EDGE, MATERIALS, axes_on, field_colours, new_figure
from polefem.shapes import Arc
from polefem.units import mm

__all__ = [
    "FluxDensity",
    "draw_flux_density",
    "draw_section",
    "flux_density",
    "paint_flux_density",
    "part_path",
    "ring_path",
    "section_paths",
    "unrolled",
]

Array = NDArray[np.float64]
_LINES = 24


def section_paths(outline: Outline) -> list[tuple[str, plotting.Path]]:
    """Every part of the whole cross section, its material and its edges in mm, rotor aligned; holes cut out.

    An arc is a run of cubic curves that stray from it by less than one part in a million of its radius.
    """
    return [(part.material, part_path(part)) for part in whole_parts(outline)]


def part_path(part: Part) -> plotting.Path:
    """All edges of a part, mm; those of openings run the other way, which leaves them empty."""
    return plotting.Path.make_compound_path(*(ring_path(ring) for ring in part.rings))


def draw_section(outline: Outline, title: str) -> plotting.Figure:
    """The picture of a cross section."""
    figure = new_figure(5.4, 5.2)
    axes = axes_on(figure, "x (mm)", "y (mm)", title)
    axes.grid(False)
    paths = section_paths(outline)
    for material, path in paths:
        axes.add_patch(plotting.PathPatch(path, facecolor=MATERIALS[material], edgecolor=EDGE, linewidth=0.8))
    found = sorted({material for material, _ in paths}, reverse=True)
    axes.legend(
        handles=[plotting.Patch(facecolor=MATERIALS[m], edgecolor=EDGE, label=m) for m in found],
        loc="upper right",
        frameon=False,
        fontsize="small",
    )
    axes.set_aspect("equal")
    axes.autoscale_view()
    return figure


@dataclass(frozen=True, eq=False)
class FluxDensity:
    """The size of the flux density and the lines of flux.

    points: ndarray, shape (n, 2), mm. triangles: ndarray, shape (m, 3). size: ndarray, shape (m,), T, at their
    centres. potential: ndarray, shape (n,), Wb/m: flux runs along its contours. edges: ndarray, shape (k, 2, 2), mm:
    where one material meets another. names: of the axes. window: what is shown of the first axis, mm; all if None.
    """

    title: str
    points: Array
    triangles: NDArray[np.int64]
    size: Array
    potential: Array
    edges: Array
    names: tuple[str, str] = ("x (mm)", "y (mm)")
    window: tuple[float, float] | None = None


def unrolled(density: FluxDensity, middle: float, reach: float) -> FluxDensity:
    """The flux density of a flat section, turned so that the motion runs to the left, `middle` (mm, along the motion)
    at 0, shown up to `reach` (mm) to either side. Turned and not mirrored: a current towards the reader stays so."""

    def turned(points: Array) -> Array:
        return np.stack([middle - points[..., 1], points[..., 0]], axis=-1)

    return replace(
        density,
        points=turned(density.points),
        edges=turned(density.edges),
        names=("along the motion, which runs to the left (mm)", "along the shaft (mm)"),
        window=(-reach, reach),
    )


def flux_density(field: Field, title: str) -> FluxDensity:
    """The flux density of a field, its triangles of second order cut in four."""
    corners = field.triangles[:, [[0, 3, 5], [3, 1, 4], [5, 4, 2], [3, 4, 5]]].reshape(-1, 3)
    size = np.repeat(np.hypot(field.b[:, 0], field.b[:, 1]), 4)
    points = field.points / mm
    return FluxDensity(title, points, corners, size, field.a, points[_meeting_edges(field)])


def draw_flux_density(density: FluxDensity, most: float | None = None) -> plotting.Figure:
    """The picture of a flux density; `most` (T) is the end of its colours, the highest but for corners if not given."""
    across, high = (
        np.ptp(density.points, axis=0)
        if density.window is None
        else (
            density.window[1] - density.window[0],
            np.ptp(density.points[:, 1]),
        )
    )
    figure = new_figure(5.9, min(5.0, 1.4 + 4.4 * high / across))
    axes = axes_on(figure, *density.names, density.title)
    colours = paint_flux_density(axes, density, most)
    figure.colorbar(colours, ax=axes, label="flux density (T)", shrink=0.85, extend="max")
    return figure


def paint_flux_density(
    axes: plotting.Axes, density: FluxDensity, most: float | None = None
) -> plotting.PolyCollection:
    """Put a flux density with its lines on axes; what is returned gives a colour bar its colours."""
    axes.grid(False)
    mesh = plotting.Triangulation(density.points[:, 0], density.points[:, 1], density.triangles)
    top = most or float(np.quantile(density.size, 0.999))
    patches: Any = density.points[_rims(density.triangles)]  # its stubs know no arrays
    colours = plotting.PolyCollection(
        patches,
        array=density.size[::4],
        cmap=field_colours(),
        clim=(0.0, top),
        edgecolors="none",
        antialiaseds=False,
        rasterized=True,
    )
    axes.add_collection(colours, autolim=False)  # the lines of flux know how far the points reach
    levels = np.linspace(density.potential.min(), density.potential.max(), _LINES + 2)[1:-1]
    axes.tricontour(
        mesh, density.potential, levels=levels, colors="#10151b", linewidths=0.4, linestyles="solid"
    )
    edges = plotting.LineCollection(list(density.edges), colors="#10151b", linewidths=0.9)
    axes.add_collection(edges, autolim=False)
    axes.set_aspect("equal")
    if density.window is not None:
        axes.set_xlim(density.window)
    return colours


def _rims(triangles: NDArray[np.int64]) -> NDArray[np.int64]:
    """Points round each triangle of second order, shape (n / 4, 6), of triangles cut in four: one patch to paint, of
    one flux density, in place of four."""
    rims: NDArray[np.int64] = triangles.reshape(-1, 4, 3)[:, [0, 0, 1, 1, 2, 2], [0, 1, 1, 2, 2, 0]]
    return rims


def _meeting_edges(field: Field) -> NDArray[np.int64]:
    """Point numbers of the straight edges between triangles of different regions, or of one triangle alone."""
    t = field.triangles
    edges = np.concatenate(
        [t[:, [0, 3]], t[:, [3, 1]], t[:, [1, 4]], t[:, [4, 2]], t[:, [2, 5]], t[:, [5, 0]]]
    )
    region = np.tile(field.region, 6)
    edges = np.sort(edges, axis=1)
    order = np.lexsort((edges[:, 1], edges[:, 0]))
    edges, region = edges[order], region[order]
    same = np.concatenate([(edges[1:] == edges[:-1]).all(axis=1), [False]])
    first = np.flatnonzero(same)
    meeting: NDArray[np.int64] = edges[first[region[first] != region[first + 1]]]
    return meeting


def ring_path(ring: Ring, closed: bool = True) -> plotting.Path:
    """A ring, or an open run of segments, in mm; arcs as cubic curves."""
    vertices: list[complex] = [ring[0].start]
    codes = [plotting.Path.MOVETO]
    for segment in ring:
        if isinstance(segment, Arc):
            pieces = _cubics(segment)
            vertices += pieces
            codes += [plotting.Path.CURVE4] * len(pieces)
        else:
            vertices.append(segment.end)
            codes.append(plotting.Path.LINETO)
    if closed:
        vertices.append(vertices[0])
        codes.append(plotting.Path.CLOSEPOLY)
    points = np.array(vertices) / mm
    return plotting.Path(np.column_stack([points.real, points.imag]), codes)


def _cubics(arc: Arc) -> list[complex]:
    """Control points of cubic curves along an arc, each over 30 degrees at most."""
    count = max(1, int(np.ceil(abs(arc.sweep) / (np.pi / 6))))
    step = arc.sweep / count
    pull = 4.0 / 3.0 * np.tan(step / 4.0)
    points: list[complex] = []
    for k in range(count):
        a = (arc.start - arc.centre) * np.exp(1j * step * k)
        b = (arc.start - arc.centre) * np.exp(1j * step * (k + 1))
        points += [
            complex(arc.centre + a * (1 + 1j * pull)),
            complex(arc.centre + b * (1 - 1j * pull)),
            complex(arc.centre + b),
        ]
    return points

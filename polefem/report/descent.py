"""How a search along slopes went: its path, its first and last shape over each other, what it computed, how tightly
the last must be held."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from polefem import study as later
from polefem.drive import rectangular_torque
from polefem.outline.builds import Build, builds_of
from polefem.params import Machine
from polefem.report import plotting
from polefem.report.poles import on_yoke
from polefem.report.sections import part_path, ring_path
from polefem.report.style import EDGE, KINDS, LINES, MATERIALS, new_figure, plain_axes
from polefem.shapes import Arc, Segment
from polefem.shapes.face import face_path
from polefem.study import (
    Design,
    Limit,
    Record,
    Search,
    Variant,
    broken_limits,
    cost,
    figure_words,
    quantity_of_figure,
)
from polefem.units import deg, mm

__all__ = ["Descent", "GapCurve", "descent_of", "draw_descent", "draw_first_and_last", "gap_along_face"]

Array = NDArray[np.float64]

#: Ramps under which what was found with currents that step is looked at too.
RAMPS = (2 * deg, 4 * deg)


@dataclass(frozen=True, eq=False)
class Descent:
    """How a search along slopes went.

    figures: names of the objective, of the mean torque and of what limits are of. limits: of the search. values: of the
    figures by step, shape (n_steps, n_figures), SI, NaN where a design has none. kept: shape (n_steps,): whether a
    design keeps the limits. best: shape (n_steps,): whether it is the best so far of its descent. begins: steps at
    which descents begin. first, last: what the best descent began with, and its best, with their records. finer: the
    record of the last on a finer mesh. tightness: of the last. reached: the least that the search went by. spread: mean
    ripple and some deviations over what a workshop does, shape (n_steps,), by which the search went where it has
    tolerances; spread_words: what it is. ramps: ripple of the last by the ramps of its current, rad, its angles and
    current as they are; none where not known.
    """

    figures: tuple[str, ...]
    limits: tuple[Limit, ...]
    values: Array
    kept: NDArray[np.bool_]
    best: NDArray[np.bool_]
    begins: tuple[int, ...]
    first: tuple[Design, Record]
    last: tuple[Design, Record]
    finer: Record | None
    tightness: later.Tightness | None
    reached: float
    spread: Array | None = None
    spread_words: str = ""
    ramps: Mapping[float, float] = field(default_factory=dict)


def descent_of(search: Search, records: Sequence[Record]) -> Descent | None:
    """The path of a search along slopes, from its records in its order; None where no design of it has figures and
    keeps the limits."""
    path = [record for record in records if not _on_finer_mesh(record)]
    names = [search.objective, "mean_torque", *(limit.figure for limit in search.limits)]
    figures = tuple(dict.fromkeys(names))
    values = np.array([_values(record, figures) for record in path], dtype=float).reshape(-1, len(figures))
    kept = [r.figures is not None and not broken_limits(r.figures, search.limits) for r in path]
    spread = _spread(search, path) if search.tolerances else None
    costs = np.array([_cost(record, search.objective) for record in path]) if spread is None else spread
    costs = np.where(np.array(kept) & np.isfinite(costs), costs, np.inf)
    begins = later.begins_of(search, path)
    if not np.isfinite(costs).any():
        return None
    best = np.zeros(len(path), dtype=bool)
    for start, end in zip(begins, [*begins[1:], len(path)], strict=True):
        best[start:end] = np.isfinite(costs[start:end]) & (
            costs[start:end] <= np.minimum.accumulate(costs[start:end])
        )
    at = int(np.argmin(costs))
    ends = [max(begin for begin in begins if begin <= at), at]
    variants = [Variant(path[end].name, path[end].changes) for end in ends]
    first, last = (
        search.study(variants).designs() if ends[1] > ends[0] else 2 * search.study(variants[:1]).designs()
    )
    return Descent(
        figures=figures,
        limits=search.limits,
        values=values,
        kept=np.array(kept, dtype=bool),
        best=best,
        begins=tuple(begins),
        first=(first, path[ends[0]]),
        last=(last, path[ends[1]]),
        finer=next((record for record in records if _on_finer_mesh(record)), None),
        tightness=later.tightness_of(search, last, path[ends[1]]),
        reached=float(costs[at]),
        spread=spread,
        spread_words=f"ripple: mean + {search.deviations:g} deviations",
        ramps=ripple_by_ramp(last, path[ends[1]]) if search.objective == "ripple" else {},
    )


def ripple_by_ramp(design: Design, record: Record) -> dict[float, float]:
    """Ripple of a design by the ramps (rad) of its current, at its angles and its current: how much of what a search
    found needs currents that step; of one whose current has ramps, with these and without."""
    known, figures = record.outcome.machine_map, record.figures
    if known is None or figures is None or (known.coupling == "joint" and not figures.ramp):
        return {}  # a joint map with slopes knows phases where they meet under its own drive
    m, drive = later.at_work(known, design.machine, design.plan.end_effects), figures.switching
    ramps = [ramp for ramp in (0.0, drive.ramp or RAMPS[0], drive.ramp or RAMPS[1]) if ramp <= drive.dwell]
    return {ramp: rectangular_torque(m, replace(drive, ramp=ramp), figures.current).ripple for ramp in ramps}


def _spread(search: Search, path: Sequence[Record]) -> Array:
    designs = search.study([Variant(record.name, record.changes) for record in path]).designs()
    found = [
        later.spread_ripple(search, design, record) for design, record in zip(designs, path, strict=True)
    ]
    return np.array([np.nan if value is None else value for value in found])


def _on_finer_mesh(record: Record) -> bool:
    return any(name.partition(".")[0] == "mesh" for name in record.changes)


def _values(record: Record, names: Sequence[str]) -> list[float]:
    found = [None if record.figures is None else record.figures.value(name) for name in names]
    return [np.nan if value is None else value for value in found]


def _cost(record: Record, objective: str) -> float:
    value = None if record.figures is None else cost(record.figures, objective)
    return np.inf if value is None else value


def draw_descent(descent: Descent) -> plotting.Figure:
    """The picture of the path: objective, mean torque and what limits are of by step, one above the other."""
    shown: list[tuple[str, Array, list[Limit], float]] = []
    if descent.spread is not None:
        how = quantity_of_figure("ripple")
        shown.append((f"{descent.spread_words}\n({how.unit})", descent.spread / how.size, [], how.size))
    for name, values in zip(descent.figures, descent.values.T, strict=True):
        how = quantity_of_figure(name)
        limits = [limit for limit in descent.limits if limit.figure == name]
        shown.append((f"{figure_words(name)}\n({how.unit})", values / how.size, limits, how.size))
    figure = new_figure(6.4, 1.3 + 1.9 * len(shown))
    every = figure.subplots(len(shown), 1, sharex=True, squeeze=False)[:, 0]
    for axes, (label, values, limits, size) in zip(every, shown, strict=True):
        plain_axes(axes, "", "", label)
        axes.grid(True, color="#d8dde3", linewidth=0.6)
        axes.set_axisbelow(True)
        _draw_steps(axes, descent, values)
        _limits(axes, limits, size)
    every[0].set_title(
        "A step at a time; filled: keeps the limits,\nline: the best so far of each descent",
        fontsize="medium",
        loc="left",
    )
    every[-1].set_xlabel("designs computed")
    every[-1].xaxis.set_major_locator(plotting.MaxNLocator(integer=True))
    return figure


def _draw_steps(axes: plotting.Axes, descent: Descent, values: Array) -> None:
    steps, kept = np.arange(1, len(values) + 1), descent.kept
    for start, end in zip(descent.begins, [*descent.begins[1:], len(steps)], strict=True):
        taken = start + np.flatnonzero(descent.best[start:end])
        if len(taken):
            held = [*values[taken], values[taken[-1]]]
            axes.step([*steps[taken], end], held, where="post", color=KINDS[0], linewidth=1.8)
        if start:
            axes.axvline(start + 0.5, color="#9aa5b1", linewidth=0.8, linestyle=LINES[3])
    axes.plot(steps[kept], values[kept], "o", color=KINDS[0], markersize=4)
    axes.plot(steps[~kept], values[~kept], "o", color=KINDS[1], markersize=4, fillstyle="none")


def _limits(axes: plotting.Axes, limits: Sequence[Limit], size: float) -> None:
    for limit in limits:
        for bound, words in ((limit.least, "least"), (limit.most, "most")):
            if bound is not None:
                axes.axhline(bound / size, color=KINDS[1], linewidth=1.2, linestyle=LINES[1])
                axes.text(
                    1.0, bound / size, words, transform=axes.get_yaxis_transform(), ha="right", va="bottom"
                )


@dataclass(frozen=True, eq=False)
class GapCurve:
    """How much wider than its narrowest the gap is along a pole's face. angles: from the pole axis, deg. rises: mm."""

    angles: Array
    rises: Array


def gap_along_face(build: Build, count: int = 181) -> GapCurve:
    """The rise of the face of a side's first pole over the angle from its axis (flat: at the mean radius)."""
    pole, seat = build.row.pattern[0], build.seat
    points = np.concatenate(
        [_points(segment, count) for segment in face_path(pole, seat, f"{build.row.name}_pole")]
    )
    if seat.flat:
        return GapCurve(points.imag / seat.radius / deg, np.abs(points.real - seat.face) / mm)
    return GapCurve(np.angle(points) / deg, np.abs(np.abs(points) - seat.face) / mm)


def _points(segment: Segment, count: int) -> NDArray[np.complex128]:
    part = np.linspace(0.0, 1.0, count)
    if isinstance(segment, Arc):
        return np.asarray(
            segment.centre + (segment.start - segment.centre) * np.exp(1j * segment.sweep * part)
        )
    return np.asarray(segment.start + (segment.end - segment.start) * part)


def draw_first_and_last(first: Machine, last: Machine) -> plotting.Figure:
    """The picture of two shapes over each other: a pole of either side, and the gap along its face, magnified."""
    figure = new_figure(8.6, 6.6)
    every = figure.subplots(2, 2, width_ratios=(1.0, 1.25))
    for row, builds in zip(every, zip(builds_of(first), builds_of(last), strict=True), strict=True):
        _overlay(row[0], builds)
        axes = plain_axes(
            row[1], f"{builds[0].row.name} face", "from the pole axis (deg)", "gap wider by (mm)"
        )
        axes.grid(True, color="#d8dde3", linewidth=0.6)
        axes.set_axisbelow(True)
        kinds = zip(builds, LINES[1::-1], (KINDS[1], KINDS[0]), ("first", "last"), strict=True)
        for build, line, colour, words in kinds:
            curve = gap_along_face(build)
            axes.plot(curve.angles, curve.rises, color=colour, linestyle=line, linewidth=1.6, label=words)
        axes.set_ylim(-0.02, max(0.1, axes.get_ylim()[1]))
        axes.legend(frameon=False, fontsize="small")
    return figure


def _overlay(axes: plotting.Axes, builds: Sequence[Build]) -> None:
    """The last pole filled, the first as a dashed line over it."""
    drawn = [on_yoke(build.edges[0], build.seat) for build in builds]
    upright = "along the shaft (mm)" if builds[0].seat.flat else "from the shaft (mm)"
    plain_axes(axes, f"{builds[0].row.name} pole; dashed: first", "across, plus side at left (mm)", upright)
    axes.add_patch(plotting.PathPatch(part_path(drawn[1][0]), facecolor=MATERIALS["iron"], edgecolor="none"))
    for (iron, front), colour, line in zip(drawn, (KINDS[1], EDGE), LINES[1::-1], strict=True):
        for path in (ring_path(front, closed=False), *(ring_path(hole) for hole in iron.rings[1:])):
            axes.add_patch(
                plotting.PathPatch(path, facecolor="none", edgecolor=colour, linestyle=line, linewidth=1.2)
            )
    axes.set_aspect("equal")
    axes.autoscale_view()

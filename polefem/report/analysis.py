"""Pictures of whole studies: what beats what, how sure it is, what each field does, how a search went."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polefem.params.quantity import percent
from polefem.ranking import Uncertainty, pareto_set
from polefem.report import plotting
from polefem.report.style import KINDS, axes_on, field_colours, new_figure
from polefem.study import (
    Limit,
    Record,
    SobolIndices,
    braking,
    broken_limits,
    cost,
    figure_words,
    more_is_better,
    quantity_of_figure,
)

__all__ = [
    "ParetoPoints",
    "SearchPath",
    "draw_pareto",
    "draw_search",
    "draw_sobol_indices",
    "draw_uncertainty",
    "pareto_points",
    "search_path",
]

Array = NDArray[np.float64]


#: Of designs on a front, how many are named at most, and how far apart, in parts of what is shown along and up.
_NAMED, _APART = 24, np.array([0.3, 0.06])


@dataclass(frozen=True, eq=False)
class ParetoPoints:
    """Designs as points. objectives: of the axes (and of the colour, the third), with units in `names`. values: shape
    (n, n_objectives). best: shape (n,): whether no other beats it in all objectives. labels: of the designs."""

    objectives: tuple[str, ...]
    names: tuple[str, ...]
    values: Array
    best: NDArray[np.bool_]
    labels: tuple[str, ...]


def pareto_points(records: Sequence[Record], objectives: Sequence[str]) -> ParetoPoints:
    """Where designs lie in the space of some objectives, and which none beats."""
    known = [(record, record.figures) for record in records if record.figures is not None]
    rows = [[figures.value(objective) for objective in objectives] for _, figures in known]
    table = np.array(rows, dtype=np.float64).reshape(-1, len(objectives))  # None becomes NaN
    whole = [bool(np.isfinite(row).all()) for row in table]
    brakes = [braking(records, objective) for objective in objectives]
    shown_as = [
        quantity_of_figure(objective, turned) for objective, turned in zip(objectives, brakes, strict=True)
    ]
    values = table[whole] / np.array([how.size for how in shown_as])
    shown = [record for (record, _), is_whole in zip(known, whole, strict=True) if is_whole]
    best = {id(record) for record in pareto_set(shown, objectives)}
    names = tuple(
        f"{figure_words(objective, how.turned)} ({how.unit})"
        for objective, how in zip(objectives, shown_as, strict=True)
    )
    chosen = np.array([id(record) in best for record in shown], dtype=bool)
    return ParetoPoints(tuple(objectives), names, values, chosen, tuple(record.name for record in shown))


def draw_pareto(points: ParetoPoints) -> plotting.Figure:
    """The picture: the first two objectives as axes, a third as colour; those that none beats ringed and, if few,
    named where there is room."""
    figure = new_figure(6.0, 4.4)
    axes = axes_on(
        figure, points.names[0], points.names[1], "Shapes; ringed: no other shape is better on every goal"
    )
    x, y = points.values[:, 0], points.values[:, 1]
    if points.values.shape[1] > 2:
        shown = axes.scatter(
            x, y, c=points.values[:, 2], cmap=field_colours(), s=34, edgecolors="#6b7280", linewidths=0.4
        )
        figure.colorbar(shown, ax=axes, label=points.names[2], shrink=0.85)
    else:
        axes.scatter(x, y, color=KINDS[6], s=26)
    axes.scatter(x[points.best], y[points.best], s=90, facecolors="none", edgecolors=KINDS[1], linewidths=1.4)
    size = np.array([(np.ptp(all_of) if len(x) else 0.0) or 1.0 for all_of in (x, y)])
    named: list[Array] = []
    for at in np.flatnonzero(points.best) if points.best.sum() <= _NAMED else ():
        place = points.values[at, :2] / size
        if all((np.abs(place - other) > _APART).any() for other in named):
            named.append(place)
            axes.annotate(
                points.labels[at], (x[at], y[at]), xytext=(6, 5), textcoords="offset points", fontsize=7
            )
    return figure


def draw_uncertainty(uncertainty: Uncertainty) -> plotting.Figure:
    """The picture of error bars: two standard deviations to either side, and the chance of each to be the best."""
    how = quantity_of_figure(uncertainty.figure, uncertainty.brakes)
    figure = new_figure(6.0, 1.4 + 0.6 * len(uncertainty.names))
    axes = axes_on(
        figure,
        f"{figure_words(uncertainty.figure, uncertainty.brakes)} ({how.unit})",
        "",
        "Error bars: two standard deviations",
    )
    rows = np.arange(len(uncertainty.names))
    bars = 2 * uncertainty.deviations / abs(how.size)
    axes.errorbar(
        uncertainty.values / how.size, rows, xerr=bars, fmt="o", color=KINDS[0], capsize=4, linewidth=1.4
    )
    names = [
        f"{textwrap.fill(name, 24)}\nfirst with {percent(first)}"
        for name, first in zip(uncertainty.names, uncertainty.first, strict=True)
    ]
    axes.set_yticks(rows, names, fontsize="small")
    axes.set_ylim(len(rows) - 0.4, -0.6)
    axes.margins(x=0.08)
    return figure


def draw_sobol_indices(shares: SobolIndices) -> plotting.Figure:
    """The picture of what each field does to each figure: its share alone, and with others."""
    figure = new_figure(6.0, 1.4 + 0.5 * len(shares.fields) * len(shares.figures) / 1.6)
    axes = axes_on(
        figure, "share of the figure's variance (%)", "", "Sobol's indices; bar: alone, mark: with others"
    )
    rows = np.arange(len(shares.fields), dtype=float)
    height = 0.8 / len(shares.figures)
    for k, name in enumerate(shares.figures):
        at = rows + (k - (len(shares.figures) - 1) / 2) * height
        label = f"{figure_words(name)} ({percent(shares.q_squared[k])} predicted)"
        axes.barh(
            at, 100 * shares.first[:, k], height=0.85 * height, color=KINDS[k % len(KINDS)], label=label
        )
        axes.plot(100 * shares.total[:, k], at, "|", color="#10151b", markersize=9, markeredgewidth=1.6)
    axes.set_yticks(rows, shares.fields)
    axes.invert_yaxis()
    axes.set_xlim(left=0.0)
    figure.legend(loc="outside lower center", ncols=len(shares.figures), frameon=False, fontsize="small")
    return figure


@dataclass(frozen=True, eq=False)
class SearchPath:
    """How a search went. name: of the objective, with its unit. label: of the search. values: shape (n,): the objective
    of each design, NaN where it has none or breaks a limit. best: shape (n,): the best so far."""

    name: str
    label: str
    values: Array
    best: Array


def search_path(label: str, records: Sequence[Record], objective: str, limits: Sequence[Limit]) -> SearchPath:
    """The objective of each design of a search in its order, and the best so far."""
    brakes = braking(records, objective)
    how = quantity_of_figure(objective, brakes)
    kept = [
        r.figures if r.figures is not None and not broken_limits(r.figures, limits) else None for r in records
    ]
    costs = np.array([np.nan if f is None else cost(f, objective) for f in kept], dtype=float)
    best = np.fmin.accumulate(costs) if costs.size else costs
    sign = -1.0 if more_is_better(objective) and not brakes else 1.0
    return SearchPath(
        f"{figure_words(objective, brakes)} ({how.unit})",
        label,
        sign * costs / how.size,
        sign * best / how.size,
    )


def draw_search(
    paths: Sequence[SearchPath], references: Mapping[str, float] | None = None
) -> plotting.Figure:
    """The picture of one or more searches; references: values to draw a line at, by label, in the objective's own
    unit."""
    figure = new_figure(6.0, 4.0)
    axes = axes_on(
        figure, "designs computed", paths[0].name, "Best so far; dots: each design that keeps the limits"
    )
    for at, path in enumerate(paths):
        count = np.arange(1, len(path.values) + 1)
        axes.plot(count, path.values, ".", color=KINDS[at % len(KINDS)], markersize=4, alpha=0.45)
        axes.step(
            count, path.best, where="post", color=KINDS[at % len(KINDS)], linewidth=1.8, label=path.label
        )
    for at, (label, value) in enumerate((references or {}).items()):
        axes.axhline(
            value, color=KINDS[(len(paths) + at) % len(KINDS)], linestyle="--", linewidth=1.2, label=label
        )
    finite = np.concatenate([path.values[np.isfinite(path.values)] for path in paths])
    if finite.size:
        low, high = finite.min(), np.quantile(finite, 0.9)
        axes.set_ylim(low - 0.08 * (high - low), high + 0.1 * (high - low))
    axes.xaxis.set_major_locator(plotting.MaxNLocator(integer=True))
    axes.legend(frameon=False, fontsize="small")
    return figure

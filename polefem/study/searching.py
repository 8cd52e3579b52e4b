"""A search for the best design over ranges of fields, from a start shape, within limits.

Three ways, all with the same budget of designs. "evolution": scipy's differential evolution, generation by generation
(R. Storn, K. Price, J. Global Optim. 11 (1997) 341-359). "surrogate": a Gaussian process through all that was
computed so far proposes where to look next, by expected improvement times the chance that the limits are kept (D. R.
Jones, M. Schonlau, W. J. Welch, J. Global Optim. 13 (1998) 455-492); proposals that cannot be built are passed over
before anything is meshed.

"gradient": along the slopes of the design in all its fields (`polefem.study.gradient`), from the start and from others.

Each depends on its seed and on what was computed alone: a search that was stopped is begun again from the start,
finds in the store what it asks for, and is soon where it was.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray
from scipy.optimize import differential_evolution

from polefem.params import Machine
from polefem.params.content import content_key
from polefem.study.design import Design, of_plan
from polefem.study.gradient import Computed, descend, face_rows
from polefem.study.linear_model import Model, model_of
from polefem.study.objectives import cost
from polefem.study.proposals import promising
from polefem.study.record import Record, Status
from polefem.study.sampling import changes_at
from polefem.study.search import Search
from polefem.study.tolerances import Run

__all__ = ["begins_of", "run_search"]

Array = NDArray[np.float64]
_REFUSED = 1e6
_OUTSIDE = 1e3
_REFUSALS = 10  # designs, refused ones among them, for each that may be solved
_EVOLVE: Any = differential_evolution  # its stubs know neither many points at once nor a callback that stops


@dataclass(eq=False)
class _Known:
    """What was computed so far: points of the unit cube, records, and what each costs."""

    search: Search
    run: Run
    points: list[Array]
    records: list[Record]

    def compute(self, points: Array) -> Array:
        """Costs of points, shape (n, n_ranges), up to what is left of the budget; the rest cost as if refused."""
        taken = points[: max(self.left, 0)]
        if len(taken):
            self.records += self.run(self.search.name, self.search.designs(taken, len(self.records)))
            self.points += list(taken)
        costs = [_cost(self.search, record) for record in self.records[len(self.records) - len(taken) :]]
        return np.array(costs + [_REFUSED] * (len(points) - len(taken)))

    def forget_last(self) -> None:
        """Take the last design as not computed: it is to be computed in another way."""
        self.points.pop()
        self.records.pop()

    @property
    def left(self) -> int:
        """Designs that may yet be computed; those refused before any meshing were none, but have an end too."""
        solved = sum(record.status is not Status.REFUSED or _mapped(record) for record in self.records)
        return min(
            self.search.evaluations - solved,
            _REFUSALS * self.search.evaluations - len(self.records),
        )


def run_search(search: Search, run: Run) -> list[Record]:
    """Every design the search computed, in its order; `run` computes designs under a study's name."""
    known = _Known(search, run, [], [])
    if search.method == "gradient":
        _descend(known)
    elif search.method == "evolution":
        _evolve(known)
    else:
        _propose(known)
    return known.records


def begins_of(search: Search, records: Sequence[Record]) -> list[int]:
    """Which of the records of a search along slopes, in its order, begin its descents."""
    starts = [changes_at(search.ranges, start) for start in _first_points(search, search.starts)]
    alike = [[record.changes.items() >= start.items() for record in records] for start in starts]
    return [found.index(True) for found in alike if True in found]


def _mapped(record: Record) -> bool:
    """Whether a design has cost a map, whatever came of it."""
    return "map" in record.outcome.seconds


def _cost(search: Search, record: Record) -> float:
    """What is brought down: the objective within the limits; beyond them more than any objective; more yet if
    refused."""
    if record.figures is None:
        return _REFUSED
    excess = sum(limit.excess(record.figures) for limit in search.limits)
    value = cost(record.figures, search.objective)
    return _REFUSED if value is None else (_OUTSIDE + excess if excess > 0.0 else value)


def _evolve(known: _Known) -> None:
    search = known.search
    dimensions = len(search.ranges)
    members = max(5, min(search.evaluations // 8, 12 * dimensions))
    first = _first_points(search, members)

    def costs(x: Array) -> Array:  # scipy hands over one point, shape (d,), or many, shape (d, n)
        return known.compute(x.T if x.ndim == 2 else x[None, :])

    _EVOLVE(
        costs,
        [(0.0, 1.0)] * dimensions,
        init=first,
        maxiter=10 * search.evaluations,
        tol=0.0,
        polish=False,
        updating="deferred",
        vectorized=True,
        rng=np.random.default_rng(search.seed + 1),
        callback=lambda intermediate_result: known.left <= 0,
    )


def _descend(known: _Known) -> None:
    search = known.search
    (first,) = search.designs(search.start[None], 0)
    changed = [*first.changes, *(tolerance.field for tolerance in search.tolerances)]
    fields = tuple(dict.fromkeys(name for name in changed if not of_plan(name)))
    known.search = search = replace(search, plan=replace(search.plan, slopes=fields))
    rows = face_rows(search.base, search.ranges, search.least_radius)
    values: dict[str, float] = {}

    def model(design: Design, record: Record) -> Model | None:
        found = model_of(search, design, record)
        if found is not None and found.merit == found.value:
            values[record.key] = found.value
        return found

    starts = _first_points(search, search.starts)
    for number, start in enumerate(starts):
        until = known.left - known.left // (len(starts) - number)
        path = _Path(known, max(until, 1), search.plan.meshed_as)  # one is kept for the best on a finer mesh
        descend(start, path.compute, model, rows)
    known.search = search
    if values:
        _refine(known, min(values, key=values.__getitem__))


@dataclass(eq=False)
class _Path:
    """The designs of one descent, each on the mesh of an earlier one, moved: their figures then differ by their shapes
    alone. until: what must be left of the budget."""

    known: _Known
    until: int
    mesh_of: Machine | None = None

    def compute(self, point: Array) -> Computed | None:
        """The design at a point, with its record; None at the end of the budget.

        Where the moved mesh fails and the design can be built, it gets a mesh of its own, which is moved from then on.
        """
        if self.mesh_of is not None:
            found = self._computed(point, self.mesh_of)
            if found is None or found.record.figures is not None or not self.known.search.can_be_built(point):
                return found
            self.known.forget_last()
        found = self._computed(point, None)
        if found is None or found.record.figures is None:
            return found
        self.mesh_of = found.design.machine
        return replace(found, meshed=True)

    def _computed(self, point: Array, mesh_of: Machine | None) -> Computed | None:
        known = self.known
        if known.left <= self.until:
            return None
        known.search = replace(known.search, plan=replace(known.search.plan, meshed_as=mesh_of))
        (design,) = known.search.designs(point[None], len(known.records))
        if mesh_of is not None and content_key(design.machine) == content_key(mesh_of):
            return self._computed(point, None)  # of the same machine: its map may be there
        known.compute(point[None])
        return Computed(design, known.records[-1])


def _refine(known: _Known, key: str) -> None:
    """The design of a key once more, on a mesh half as coarse of its own, and without slopes."""
    search = known.search
    at = next(at for at, record in enumerate(known.records) if record.key == key)
    plan = replace(search.plan, slopes=(), meshed_as=None)
    (design,) = replace(search, plan=plan).designs(known.points[at][None], at)
    mesh = design.plan.mesh.coarser(0.5)
    sizes = {f"mesh.{name}": getattr(mesh, name) for name in ("corner", "face", "iron")}
    again = replace(design, name=f"{design.name} | finer mesh", changes={**design.changes, **sizes})
    known.records += known.run(search.name, [again])


def _first_points(search: Search, count: int) -> Array:
    """The start and points all over the cube, shape (count, n_ranges): those that can be built first, in the order of
    a hypercube four times as large."""
    cube = scipy.stats.qmc.LatinHypercube(len(search.ranges), rng=np.random.default_rng(search.seed)).random(
        4 * count
    )
    buildable = np.array([search.can_be_built(point) for point in cube])
    return np.vstack([search.start, cube[buildable], cube[~buildable]])[:count]


def _propose(known: _Known) -> None:
    search = known.search
    dimensions = len(search.ranges)
    begin = min(search.evaluations, max(2 * (dimensions + 1), search.evaluations // 4))
    known.compute(_first_points(search, begin))
    while known.left > 0:
        random = np.random.default_rng([search.seed, len(known.records)])
        solved = [
            (x, r.figures)
            for x, r in zip(known.points, known.records, strict=True)
            if r.figures is not None and cost(r.figures, search.objective) is not None
        ]
        if len(solved) < 3:
            known.compute(random.random((search.batch, dimensions)))
            continue
        x = np.array([point for point, _ in solved])
        costs = np.array(
            [
                (cost(figures, search.objective), *(limit.overstep(figures) for limit in search.limits))
                for _, figures in solved
            ],
            dtype=float,
        )
        pairs = zip(known.points, known.records, strict=True)
        if vain := [point for point, record in pairs if record.figures is None and _mapped(record)]:
            # What cannot work, as its map alone tells, is beyond a limit of its own, and else as bad as any.
            works = np.repeat([-1.0, 1.0], [len(solved), len(vain)])
            costs = np.column_stack([np.vstack([costs, [costs.max(axis=0)] * len(vain)]), works])
            x = np.vstack([x, vain])
        known.compute(promising(x, costs, search.batch, search.can_be_built, random))

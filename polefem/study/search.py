"""A search for the best design over ranges of fields, from a start shape, within limits.

Two ways, both with the same budget of designs. "evolution": scipy's differential evolution, generation by generation
(R. Storn, K. Price, J. Global Optim. 11 (1997) 341-359). "surrogate": a Gaussian process through all that was
computed so far proposes where to look next, by expected improvement times the chance that the limits are kept (D. R.
Jones, M. Schonlau, W. J. Welch, J. Global Optim. 13 (1998) 455-492); proposals that cannot be built are passed over
before anything is meshed.

Either depends on its seed and on what was computed alone: a search that was stopped is begun again from the start,
finds in the store what it asks for, and is soon where it was.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import differential_evolution
from scipy.stats import qmc

from polefem.errors import InvalidValue, PolefemError, refusal
from polefem.outline import outline_of
from polefem.params import Machine
from polefem.params.checks import printable, whole
from polefem.params.fields import field_value
from polefem.study.design import Design, Plan, of_plan
from polefem.study.objectives import Limit, check_figure, cost
from polefem.study.proposals import promising
from polefem.study.record import Record, Status
from polefem.study.sampling import Range, Variant, changes_at
from polefem.study.study import Constraint, Study
from polefem.study.tolerances import Run

__all__ = ["Search", "run_search"]

Array = NDArray[np.float64]
_REFUSED = 1e6
_OUTSIDE = 1e3
_REFUSALS = 10  # designs, refused ones among them, for each that may be solved
_EVOLVE: Any = differential_evolution  # its stubs know neither many points at once nor a callback that stops


@dataclass(frozen=True, eq=False)
class Search:
    """What a study file says that searches.

    name, base, plan, linked, constraints, limits: as in `Study`. ranges: of the fields that vary. objective: the figure
    to bring down (torques and torque per loss: up). evaluations: how many designs to compute, not counting those
    refused before any meshing. method: "surrogate" or "evolution". batch: how many designs to propose at a time: as
    many as there are workers.

    Raises InvalidValue for a start outside the ranges, or a figure that designs do not have.
    """

    name: str
    base: Machine
    plan: Plan
    ranges: Mapping[str, Range]
    objective: str = "ripple"
    limits: tuple[Limit, ...] = ()
    linked: Mapping[str, Callable[[Mapping[str, Any]], Any]] = field(default_factory=dict)
    constraints: tuple[Constraint, ...] = ()
    evaluations: int = 60
    method: Literal["surrogate", "evolution"] = "surrogate"
    seed: int = 0
    batch: int = 2

    def __post_init__(self) -> None:
        printable("a search has a name", "name", self.name)
        check_figure("objective", self.objective)
        whole("a search computes designs", "evaluations", self.evaluations, 4)
        whole("designs are proposed one at a time or more", "batch", self.batch)
        if self.method not in ("surrogate", "evolution"):
            rule = "a search goes one of two ways"
            raise InvalidValue(refusal(rule, "method", repr(self.method), "'surrogate', 'evolution'"))
        for name, span in self.ranges.items():
            value = field_value(self.plan if of_plan(name) else self.base, name)
            if not span.low <= value <= span.high:
                allowed = f"{span.low:.6g} to {span.high:.6g}"
                raise InvalidValue(
                    refusal("a search starts within its ranges", name, f"{value:.6g}", allowed)
                )

    @property
    def start(self) -> Array:
        """The base machine as a point of the unit cube, shape (n_ranges,)."""
        values = [field_value(self.plan if of_plan(n) else self.base, n) for n in self.ranges]
        spans = self.ranges.values()
        return np.array([(v - s.low) / (s.high - s.low) for v, s in zip(values, spans, strict=True)])

    def study(self, variants: Sequence[Variant]) -> Study:
        """A study of these variants with everything else as the search has it."""
        return Study(
            self.name,
            self.base,
            self.plan,
            variants,
            self.linked,
            self.constraints,
            (self.objective,),
            self.limits,
        )

    def designs(self, points: Array, first: int) -> list[Design]:
        """Designs at points of the unit cube, shape (n, n_ranges), numbered from `first`."""
        variants = [
            Variant(f"{self.name} {first + at:04d}", changes_at(self.ranges, point))
            for at, point in enumerate(points)
        ]
        return self.study(variants).designs()

    def can_be_built(self, point: Array) -> bool:
        """Whether the design at a point of the unit cube has an outline and keeps the constraints."""
        (design,) = self.designs(point[None], 0)
        if design.forbidden:
            return False
        try:
            outline_of(design.machine)
        except PolefemError:
            return False
        return True

    def __repr__(self) -> str:
        size = f"{self.evaluations} designs, {self.method}"
        return f"Search({self.name!r}: {self.objective} over {', '.join(self.ranges)}, {size})"


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

    @property
    def left(self) -> int:
        """Designs that may yet be computed; those refused before any meshing were none, but have an end too."""
        solved = sum(record.status is not Status.REFUSED for record in self.records)
        return min(self.search.evaluations - solved, _REFUSALS * self.search.evaluations - len(self.records))


def run_search(search: Search, run: Run) -> list[Record]:
    """Every design the search computed, in its order; `run` computes designs under a study's name."""
    known = _Known(search, run, [], [])
    if search.method == "evolution":
        _evolve(known)
    else:
        _propose(known)
    return known.records


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


def _first_points(search: Search, count: int) -> Array:
    """The start and points all over the cube, shape (count, n_ranges): those that can be built first, in the order of
    a hypercube four times as large."""
    cube = qmc.LatinHypercube(len(search.ranges), rng=np.random.default_rng(search.seed)).random(4 * count)
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
        costs = [
            (cost(figures, search.objective), *(limit.overstep(figures) for limit in search.limits))
            for _, figures in solved
        ]
        known.compute(promising(x, np.array(costs, dtype=float), search.batch, search.can_be_built, random))

"""What a search is asked: over which fields, for what, within which limits, and by which method."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from polefem.errors import InvalidValue, PolefemError, refusal, spelled
from polefem.outline import outline_of
from polefem.params import Machine
from polefem.params.checks import positive, printable, whole
from polefem.params.quantity import quantity
from polefem.study.design import Design, Plan, number_of
from polefem.study.objectives import Limit, check_figure
from polefem.study.sampling import Range, Variant, changes_at, check_ranges
from polefem.study.study import Constraint, Study
from polefem.study.tolerances import FieldTolerance

__all__ = ["Search"]

Array = NDArray[np.float64]


@spelled
@dataclass(frozen=True, eq=False)
class Search:
    """What a study file says that searches.

    name, base, plan, linked, constraints, limits: as in `Study`. ranges: of the fields that vary. objective: the figure
    to bring down (torques and torque per loss: up). evaluations: how many designs to compute, not counting those
    refused before any meshing. method: "surrogate", "evolution" or "gradient". batch: how many designs to propose at a
    time: as many as there are workers.

    Of "gradient" alone: a plan at given switching angles: slopes are known of single phases (`coupling="summed"`),
    which leaves nothing out while one conducts at a time, and of phases that share a field ("joint"), of which two at
    once meet under rectangular currents alone. starts: from how many points it goes down, the base first. least_radius:
    of the bends of a free face whose rises vary, m; 0 for any. tolerances: what a workshop does to fields; with any,
    least is the mean ripple over them and `deviations` standard deviations more, to first order of each design's
    torques. levers: names of fields by what they are together, such as "shape alone", "current alone" and "both": for
    each a search over these of the ranges alone, with its share of the evaluations, to tell which lever buys more; one
    that has all fields of others begins with the best that they found. front: limits of which one after the other
    holds, in place of those on its figure, each for its share of the evaluations and from where the one before ended: a
    front of the objective against what is so limited, first of what is hard to have. Its last design is the best of its
    path on a mesh half as coarse.

    Raises InvalidValue for a start outside the ranges, a figure that designs do not have, or a plan without slopes for
    a search along them.
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
    method: Literal["surrogate", "evolution", "gradient"] = "surrogate"
    seed: int = 0
    batch: int = 2
    starts: int = 1
    least_radius: float = field(default=0.0, metadata=quantity("mm"))
    tolerances: tuple[FieldTolerance, ...] = ()
    deviations: float = field(default=2.0, metadata=quantity())
    levers: Mapping[str, Sequence[str]] = field(default_factory=dict)
    front: tuple[Limit, ...] = ()

    def __post_init__(self) -> None:
        printable("a search has a name", "name", self.name)
        check_figure("objective", self.objective, self.plan.point_figures)
        for limit in self.limits:
            check_figure("limit", limit.figure, self.plan.point_figures)
        check_ranges(self.ranges, self.seed)
        whole("a search computes designs", "evaluations", self.evaluations, 4)
        whole("designs are proposed one at a time or more", "batch", self.batch)
        whole("a search starts somewhere", "starts", self.starts)
        positive("a bend has a radius", "least_radius", self.least_radius, "m", zero=True)
        if self.method not in ("surrogate", "evolution", "gradient"):
            rule = "a search goes one of three ways"
            allowed = "'surrogate', 'evolution', 'gradient'"
            raise InvalidValue(refusal(rule, "method", repr(self.method), allowed))
        if self.method == "gradient":
            self.plan.check_slopes()
        positive("a spread counts as nothing or more", "deviations", self.deviations, zero=True)
        if self.tolerances and (self.method, self.objective) != ("gradient", "ripple"):
            rule = "a search over what a workshop delivers goes along slopes, for the least ripple"
            found = f"{self.objective} by {self.method!r}"
            raise InvalidValue(refusal(rule, "tolerances", found, "objective 'ripple', method 'gradient'"))
        if self.front and (self.levers or self.method != "gradient"):
            rule = "a front is had along slopes, of all fields together"
            raise InvalidValue(refusal(rule, "front", f"with {self.method!r}", "'gradient' without levers"))
        for lever, names in self.levers.items():
            if not names or not set(names) <= set(self.ranges):
                rule = "a lever is some of the fields that vary"
                raise InvalidValue(refusal(rule, f"levers[{lever!r}]", list(names), ", ".join(self.ranges)))
        for name, span in self.ranges.items():
            value = number_of(self.base, self.plan, name)
            rounding = 1e-12 * (span.high - span.low)
            if not span.low - rounding <= value <= span.high + rounding:
                allowed = f"{span.low:.6g} to {span.high:.6g}"
                raise InvalidValue(
                    refusal("a search starts within its ranges", name, f"{value:.6g}", allowed)
                )

    @property
    def parts(self) -> dict[str, Search]:
        """The searches that it is made of, by lever or by limit of its front; itself, under no name, without."""
        if not self.levers and not self.front:
            return {"": self}
        share = max(self.evaluations // (len(self.levers) or len(self.front)), 4)
        part = replace(self, evaluations=share, levers={}, front=())
        of_front = {
            str(limit): replace(
                part,
                name=f"{self.name}: {limit.end}",
                limits=(*(other for other in self.limits if other.figure != limit.figure), limit),
            )
            for limit in self.front
        }
        return of_front | {
            lever: replace(
                part,
                name=f"{self.name}: {lever}",
                ranges={name: self.ranges[name] for name in names},
            )
            for lever, names in self.levers.items()
        }

    def onward(self, design: Design, mesh_of: Machine) -> Search:
        """The search from a design of one over the same fields, on the mesh that this one began with."""
        return replace(self, base=design.machine, plan=replace(design.plan, meshed_as=mesh_of))

    @property
    def start(self) -> Array:
        """The base machine as a point of the unit cube, shape (n_ranges,)."""
        values = [number_of(self.base, self.plan, name) for name in self.ranges]
        spans = self.ranges.values()
        at: list[float] = [(v - s.low) / (s.high - s.low) for v, s in zip(values, spans, strict=True)]
        inside: Array = np.clip(at, 0.0, 1.0)
        return inside

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

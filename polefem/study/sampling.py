"""What a study varies: lists, grids, and points that fill a range of many fields evenly.

Each gives variants, whose names say what they change, so that several may stand in one study. The points of Latin
hypercubes and of Sobol's sequence depend on their seed alone (scipy.stats.qmc; M. D. McKay, R. J. Beckman, W. J.
Conover, Technometrics 21 (1979) 239-245; I. M. Sobol, USSR Comput. Math. Math. Phys. 7 (1967) 86-112).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from polefem.errors import InvalidValue, refusal, spelled
from polefem.params.checks import printable, whole
from polefem.study.design import field_text

__all__ = [
    "Grid",
    "LatinHypercube",
    "Range",
    "SobolPoints",
    "Variant",
    "changes_at",
    "check_ranges",
    "name_of",
]


@spelled
@dataclass(frozen=True)
class Variant:
    """One design by name: the fields it changes, by dotted name, such as {"rotor_pole.arc": 32 * deg}."""

    name: str
    changes: Mapping[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        printable("a variant has a name", "name", self.name)


@spelled
@dataclass(frozen=True)
class Range:
    """Any number from `low` to `high`, in SI."""

    low: float
    high: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.low) and math.isfinite(self.high) and self.low < self.high):
            rule = "a range rises from one finite number to another"
            raise InvalidValue(refusal(rule, "range", f"{self.low!r} to {self.high!r}", "low below high"))


@spelled
@dataclass(frozen=True)
class Grid:
    """Every combination of listed values: {"rotor_pole.arc": [30 * deg, 34 * deg], "air_gap": [0.4 * mm]}."""

    values: Mapping[str, Sequence[Any]]
    prefix: str = ""

    def __post_init__(self) -> None:
        for name, listed in self.values.items():
            if len(listed) == 0:
                raise InvalidValue(
                    refusal("a grid has values of each field", name, "an empty list", "one or more")
                )

    def __iter__(self) -> Iterator[Variant]:
        for combination in itertools.product(*self.values.values()):
            changes = dict(zip(self.values, combination, strict=True))
            yield Variant(name_of(changes, self.prefix), changes)


@spelled
@dataclass(frozen=True)
class LatinHypercube:
    """So many points in ranges of fields, such that each range is met evenly by itself. seed: another seed, other
    points."""

    ranges: Mapping[str, Range]
    points: int
    seed: int = 0
    prefix: str = "lh"

    def __post_init__(self) -> None:
        _check(self.ranges, self.points, self.seed)

    def __iter__(self) -> Iterator[Variant]:
        unit = scipy.stats.qmc.LatinHypercube(len(self.ranges), rng=np.random.default_rng(self.seed)).random(
            self.points
        )
        return _numbered(self.ranges, unit, self.prefix)


@spelled
@dataclass(frozen=True)
class SobolPoints:
    """So many points of Sobol's sequence in ranges of fields: the next points leave the former where they are.

    Best filled with a power of two of points. seed: of the scrambling.
    """

    ranges: Mapping[str, Range]
    points: int
    seed: int = 0
    prefix: str = "sobol"

    def __post_init__(self) -> None:
        _check(self.ranges, self.points, self.seed)

    def __iter__(self) -> Iterator[Variant]:
        sequence = scipy.stats.qmc.Sobol(len(self.ranges), rng=np.random.default_rng(self.seed))
        unit = sequence.random_base2(math.ceil(math.log2(self.points)))[: self.points]
        return _numbered(self.ranges, unit, self.prefix)


def changes_at(ranges: Mapping[str, Range], unit: Sequence[float] | NDArray[np.float64]) -> dict[str, float]:
    """The changes at a point of the unit cube, shape (n_ranges,).

    >>> changes_at({"air_gap": Range(0.4e-3, 0.6e-3)}, [0.5])
    {'air_gap': 0.0005}
    """
    pairs = zip(ranges.items(), unit, strict=True)
    return {name: float(span.low + (span.high - span.low) * u) for (name, span), u in pairs}


def name_of(changes: Mapping[str, Any], prefix: str = "") -> str:
    """A name that says the changes, in the units a person reads them in.

    >>> name_of({"air_gap": 0.5e-3, "stator_poles": 6}, "wide")
    'wide air_gap 0.5 mm, stator_poles 6'
    """
    return f"{prefix} {', '.join(f'{name} {field_text(name, value)}' for name, value in changes.items())}".strip()


def _numbered(ranges: Mapping[str, Range], unit: NDArray[np.float64], prefix: str) -> Iterator[Variant]:
    width = len(str(len(unit) - 1))
    for at, point in enumerate(unit):
        yield Variant(f"{prefix} {at:0{width}d}", changes_at(ranges, point))


def _check(ranges: Mapping[str, Range], points: int, seed: int) -> None:
    whole("points are counted", "points", points)
    check_ranges(ranges, seed)


def check_ranges(ranges: Mapping[str, Range], seed: int) -> None:
    """Refuse points that have no range to lie in, and a seed below 0."""
    whole("a seed is counted from 0", "seed", seed, 0)
    if not ranges:
        raise InvalidValue(refusal("points need a range to lie in", "ranges", "empty", "one field or more"))

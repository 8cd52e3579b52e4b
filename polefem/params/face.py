"""Pole faces along which the gap varies: each says how much further from the gap the iron lies, and where."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

from polefem.errors import InvalidValue, refusal, spelled
from polefem.params.checks import Sides, both, number, positive
from polefem.params.quantity import quantity

__all__ = ["FreeFace", "RoundFace", "SlopedFace"]


@spelled
@dataclass(frozen=True)
class SlopedFace:
    """The gap grows linearly with the angle towards one edge of the face, or towards both.

    rise: by how much the gap is wider at the edge, m. start: angle from the pole axis towards that edge
    where the slope begins, rad; below 0 on the other half. Both may be a pair, minus side first.
    """

    rise: Sides = field(metadata=quantity("mm"))
    start: Sides = field(default=0.0, metadata=quantity("deg"))

    def __post_init__(self) -> None:
        rule = "a slope must widen the gap"
        if not sum(positive(rule, "face.rise", rise, "m", zero=True) for rise in both(self.rise)):
            raise InvalidValue(refusal(rule, "face.rise", "0 mm", "above 0 mm on a side"))
        for start in both(self.start):
            number("face.start", start)

    @property
    def symmetric(self) -> bool:
        """Whether the pole axis is an axis of symmetry."""
        return _even(self.rise) and _even(self.start)


@spelled
@dataclass(frozen=True)
class RoundFace:
    """A face that is an arc of its own radius, touching the gap's narrowest level at one angle.

    radius: m; its centre lies on the shaft's side of the face where it is positive, on the other where
    negative. at: angle from the pole axis where the gap is narrowest, rad.
    """

    radius: float = field(metadata=quantity("mm"))
    at: float = field(default=0.0, metadata=quantity("deg"))

    def __post_init__(self) -> None:
        if not number("face.radius", self.radius):
            raise InvalidValue(
                refusal("a round face must have a radius", "face.radius", "0 m", "above or below 0 m")
            )
        number("face.at", self.at)

    @property
    def symmetric(self) -> bool:
        """Whether the pole axis is an axis of symmetry."""
        return self.at == 0.0


@spelled
@dataclass(frozen=True)
class FreeFace:
    """A smooth face through given points.

    stations: where, from -1 at the edge on the minus side over 0 on the pole axis to 1 at the other edge, in
    parts of half the pole arc. rises: by how much the gap is wider there, m.
    """

    stations: tuple[float, ...] = field(metadata=quantity())
    rises: tuple[float, ...] = field(metadata=quantity("mm"))

    def __post_init__(self) -> None:
        stations, rises = [tuple(float(x) for x in values) for values in (self.stations, self.rises)]
        object.__setattr__(self, "stations", stations)
        object.__setattr__(self, "rises", rises)
        if len(stations) != len(rises) or len(stations) < 2:
            found = f"{len(stations)} and {len(rises)}"
            raise InvalidValue(
                refusal(
                    "a free face has a rise at each station",
                    "face.stations and face.rises",
                    found,
                    "equally many",
                )
            )
        steps = [b - a for a, b in pairwise(stations)]
        if stations[0] != -1.0 or stations[-1] != 1.0 or not all(step > 0 for step in steps):
            raise InvalidValue(
                refusal(
                    "a free face runs from edge to edge", "face.stations", stations, "increasing from -1 to 1"
                )
            )
        for rise in rises:
            positive("a free face must stay behind the narrowest gap", "face.rises", rise, "m", zero=True)

    @property
    def symmetric(self) -> bool:
        """Whether the pole axis is an axis of symmetry."""
        mirrored = [-station for station in reversed(self.stations)]
        return mirrored == list(self.stations) and self.rises == self.rises[::-1]


def _even(value: Sides) -> bool:
    minus, plus = both(value)
    return minus == plus

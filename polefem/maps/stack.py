"""Stacks of slices at stepped angles, and continuous skew: maps added up, no new mesh and no new field.

Slices on one shaft carry one current; each sees the rotor at an angle of its own, so flux linkage, torque and
co-energy are those of the slices, each at its shifted angle, weighted by its share of the stack length (common
practice; it leaves out flux that crosses from slice to slice). The sums are taken of each map's one co-energy, so
that the stack's torque is still the derivative of the stack's co-energy.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polefem.errors import InvalidValue, refusal, spelled
from polefem.maps.flux_map import FluxMap
from polefem.params.checks import number, positive, whole

__all__ = ["Slice", "skewed", "stacked"]

#: Shares and shifts closer than this are the same.
SAME = 1e-9


@spelled
@dataclass(frozen=True, eq=False)
class Slice:
    """A part of a stack: the map of a machine of the whole stack's length, the slice's share of that length, and the
    angle (rad) by which its rotor poles stand ahead of the stack's mark."""

    flux_map: FluxMap
    share: float
    ahead: float = 0.0

    def __post_init__(self) -> None:
        positive("a slice must have a share of the stack", "slice.share", self.share)
        number("slice.ahead", self.ahead)


def stacked(slices: Sequence[Slice]) -> FluxMap:
    """The map of slices on one shaft, over the currents that all of them cover.

    Raises InvalidValue where the shares do not add up to 1, or the machines differ in phases or rotor poles.
    """
    _check(slices)
    first = slices[0].flux_map
    mirror = all(part.flux_map.mirror for part in slices) and _even(slices)
    angles = _angles(first, mirror)
    top = min(part.flux_map.currents[-1] for part in slices)
    currents = first.currents[first.currents <= top]
    total = np.zeros((3, len(currents), len(angles)))
    for part in slices:
        total += part.share * np.stack(part.flux_map.at(angles + part.ahead, currents[:, None]))
    flux_errors, torque_errors = (
        [(part.share, getattr(part.flux_map, name)) for part in slices]
        for name in ("flux_linkage_error", "torque_error")
    )
    remarks = tuple(dict.fromkeys(remark for part in slices for remark in part.flux_map.remarks))
    return FluxMap(
        angles,
        currents,
        total[0],
        total[1],
        total[2],
        phases=first.phases,
        rotor_poles=first.rotor_poles,
        mirror=mirror,
        flux_linkage_error=_weighted(flux_errors),
        torque_error=_weighted(torque_errors),
        turns=first.turns,
        name=first.name,
        remarks=remarks,
    )


def skewed(flux_map: FluxMap, skew: float, points: int = 5) -> FluxMap:
    """The map of a rotor (or stator) whose poles turn by `skew` (rad) from one end of the stack to the other.

    points: how many slices stand for the twist, at the places and with the weights of Gauss and Legendre.
    """
    positive("a skew turns one way", "skew", skew, "rad", zero=True)
    whole("a skew is made of slices", "points", points)
    places, weights = np.polynomial.legendre.leggauss(points)
    return stacked(
        [
            Slice(flux_map, weight / 2, skew / 2 * place)
            for place, weight in zip(places.tolist(), weights.tolist(), strict=True)
        ]
    )


def _check(slices: Sequence[Slice]) -> None:
    if not slices:
        raise InvalidValue(refusal("a stack is made of slices", "slices", "empty", "one slice or more"))
    total = sum(part.share for part in slices)
    if abs(total - 1.0) > SAME:
        raise InvalidValue(
            refusal("the slices must make the whole stack", "sum of shares", f"{total:.9g}", "1")
        )
    kinds = {(part.flux_map.phases, part.flux_map.rotor_poles) for part in slices}
    if len(kinds) > 1:
        found = " and ".join(f"{phases} phases, {poles} rotor poles" for phases, poles in sorted(kinds))
        raise InvalidValue(
            refusal("slices on one shaft must be of one kind of machine", "slices", found, "one kind")
        )


def _even(slices: Sequence[Slice]) -> bool:
    """Whether the stack is its own mirror image: for each slice ahead, an equal one as far behind."""
    return all(
        any(
            other.flux_map is part.flux_map
            and abs(other.ahead + part.ahead) < SAME
            and abs(other.share - part.share) < SAME
            for other in slices
        )
        for part in slices
    )


def _angles(flux_map: FluxMap, mirror: bool) -> NDArray[np.float64]:
    """The first map's angles; over the whole pitch where a mirrored map makes a stack that is not."""
    if mirror or not flux_map.mirror:
        return flux_map.angles
    half = np.abs((flux_map.angles + flux_map.pitch / 2) % flux_map.pitch - flux_map.pitch / 2)
    both = np.unique(np.round(np.concatenate([-half, half]), 12))
    return both[both > -flux_map.pitch / 2 + SAME] if math.isclose(both[-1], flux_map.pitch / 2) else both


def _weighted(errors: list[tuple[float, float | None]]) -> float | None:
    known = [share * error for share, error in errors if error is not None]
    return sum(known) if len(known) == len(errors) else None

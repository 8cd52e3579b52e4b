"""Stacks of slices at stepped angles, and skew, of a whole machine: coupled maps added up, no new field.

As in `stack`: slices on one shaft carry the same phase currents, each sees the rotor at an angle of its own, and the
sums are taken of each map's one co-energy.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from polefem.errors import InvalidValue, refusal
from polefem.maps.coupled_map import CoupledMap
from polefem.maps.hermite import turned_nodes
from polefem.maps.interaction import Interaction
from polefem.maps.stack import Slice, stacked
from polefem.params.checks import positive, whole

__all__ = ["CoupledSlice", "coupled_stack", "skewed_machine"]


@dataclass(frozen=True, eq=False)
class CoupledSlice:
    """A part of a stack: the map of a machine of the whole stack's length, the slice's share of that length, and the
    angle (rad) by which its rotor poles stand ahead of the stack's mark."""

    coupled_map: CoupledMap
    share: float
    ahead: float = 0.0


def coupled_stack(slices: Sequence[CoupledSlice]) -> CoupledMap:
    """The map of slices on one shaft.

    Raises what `stacked` raises, and InvalidValue where the slices' phases interact at other angles or currents.
    """
    single = stacked([Slice(part.coupled_map.single, part.share, part.ahead) for part in slices])
    maps = [part.coupled_map for part in slices]
    first = maps[0]
    added = []
    for at, own in enumerate(first.interactions):
        others = [m.interactions[at] if at < len(m.interactions) else None for m in maps]
        if not all(_of_one_grid(own, other) for other in others):
            rule = "slices of a machine interact at the same angles and currents"
            raise InvalidValue(refusal(rule, "slices", f"others for phases {own.phases}", "maps of one grid"))
        nodes = sum(
            part.share * turned_nodes(own.angles, m.interactions[at].nodes, part.ahead)
            for part, m in zip(slices, maps, strict=True)
        )
        added.append(Interaction(own.phases, own.angles, own.currents, np.asarray(nodes)))
    return CoupledMap(
        single,
        tuple(added),
        first.coupling,
        _weighted([(part.share, part.coupled_map.flux_linkage_error) for part in slices]),
        _weighted([(part.share, part.coupled_map.torque_error) for part in slices]),
        tuple(dict.fromkeys(remark for m in maps for remark in m.remarks)),
        sum(m.lost for m in maps),
    )


def skewed_machine(coupled_map: CoupledMap, skew: float, points: int = 5) -> CoupledMap:
    """The map of a machine whose rotor (or stator) poles turn by `skew` (rad) from one end of the stack to the other.

    points: how many slices stand for the twist, at the places and with the weights of Gauss and Legendre.
    """
    positive("a skew turns one way", "skew", skew, "rad", zero=True)
    whole("a skew is made of slices", "points", points)
    places, weights = np.polynomial.legendre.leggauss(points)
    twist = zip(places.tolist(), weights.tolist(), strict=True)
    return coupled_stack([CoupledSlice(coupled_map, weight / 2, skew / 2 * place) for place, weight in twist])


def _of_one_grid(one: Interaction, other: Interaction | None) -> bool:
    return other is not None and (
        one.phases == other.phases
        and np.array_equal(one.angles, other.angles)
        and np.array_equal(one.currents, other.currents)
    )


def _weighted(errors: list[tuple[float, float | None]]) -> float | None:
    known = [share * error for share, error in errors if error is not None]
    return math.fsum(known) if len(known) == len(errors) else None

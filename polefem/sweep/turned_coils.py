"""The map of a machine some of whose phases have all their coils turned round, from the map before, with no field.

A phase with its coils turned round does what it did under the opposite current. So phases that met with equal signs now
meet with opposite ones; and where turning or mirroring the machine onto itself takes other phases, with the signs as
they are now, to their places, what these add to each other is what they add.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from polefem.field import BuiltMachine
from polefem.maps import CoupledMap, Interaction
from polefem.params import Phases, Symmetry, symmetries

__all__ = ["with_coils_turned"]

Floats = NDArray[np.float64]

#: Of a pitch: angles that are no further below one than this are at its beginning.
SAME = 1e-12


def with_coils_turned(known: CoupledMap, before: Phases, whole: BuiltMachine) -> CoupledMap | None:
    """The map of a machine from that of the same machine with its phases as they were before.

    None where coils of one phase now stand otherwise to each other, and where phases meet as none did before. Its
    errors are those of the map before, which covers all ways in which phases met there.
    """
    flips = _flips(before, whole.machine.phases)
    if flips is None:
        return None
    parts = {part.phases: part for part in known.interactions}
    ways = symmetries(before, whole.turnings)
    found: list[Interaction] = []
    for on in parts:
        way = next((way for way in ways if len({flips[p] * way.sign[p] for p in on}) == 1), None)
        source = None if way is None else parts.get(tuple(sorted(way.phase[p] for p in on)))
        if way is None or source is None:
            return None
        found.append(_image(source, on, way, known.pitch))
    return replace(known, interactions=tuple(found))


def _flips(before: Phases, after: Phases) -> tuple[int, ...] | None:
    """Of each phase: -1 where its coils are turned round, 1 where they are as before; None where they are neither."""
    if before.of_pole != after.of_pole:
        return None
    signs = {
        (phase, was * now)
        for phase, was, now in zip(before.of_pole, before.polarity, after.polarity, strict=True)
    }
    return tuple(sign for _, sign in sorted(signs)) if len(signs) == before.count else None


def _image(source: Interaction, on: tuple[int, ...], way: Symmetry, pitch: float) -> Interaction:
    """What phases add to each other that a symmetry takes to those of the source."""
    axes = [source.phases.index(way.phase[phase]) for phase in on]
    angles = np.mod(way.sense * (source.angles[:-1] - way.shift), pitch)
    angles[pitch - angles < SAME * pitch] = 0.0
    order, k = np.argsort(angles), len(on)
    places = [0, *(1 + axis for axis in axes), 1 + k, *(2 + k + axis for axis in axes)]
    nodes = source.nodes.transpose(places).take(order, axis=1 + k)
    nodes[1] *= way.sense
    return Interaction(on, np.append(angles[order], angles[order[0]] + pitch), source.currents, nodes)

"""How wrong a coupled map may be: some states between its nodes are solved, on its own mesh and on a coarser one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from polefem.field import BuiltMachine, built, transferred
from polefem.maps import CoupledMap
from polefem.solve import FactorCache, minimise
from polefem.sweep.single import COARSER

__all__ = ["with_errors"]

Floats = NDArray[np.float64]

#: States with two phases on, and with three.
STATES, THREES = 8, 2
#: The largest difference times these is taken for the error (a test on random machines holds it).
COVER_FLUX_LINKAGE = 1.5
COVER_TORQUE = 1.7
TOLERANCE = 1e-4
#: Parts of a golden section in two and three dimensions: steps of points that fill a box evenly (M. Roberts's
#: generalisation of the golden ratio, from memory).
STEPS = np.array([0.8191725134, 0.6710436067, 0.5497004779])


def with_errors(found: CoupledMap, whole: BuiltMachine) -> CoupledMap:
    """The map with its estimated errors of flux linkages and torque, by mesh and interpolation together.

    whole: the machine that the map was computed from. What three phases at once are off by is said in the remarks where
    it is more.
    """
    angles, currents = _states(found, 2, STATES)
    rough = built(whole, whole.mesh.coarser(COARSER))
    fine = _solved(whole, angles, currents)
    starts = [
        transferred(fields, own.model, other.model)
        for fields, own, other in zip(fine[2], whole.systems, rough.systems, strict=True)
    ]
    coarse = _solved(rough, angles, currents, starts)
    by_map = found.at(angles, currents)
    linkages, torque = (
        float((np.abs(own - other) + np.abs(near - own)).max())
        for own, other, near in zip(fine[:2], coarse[:2], (by_map.flux_linkages, by_map.torque), strict=True)
    )
    flux_error = max(COVER_FLUX_LINKAGE * linkages, found.single.flux_linkage_error or 0.0)
    torque_error = max(COVER_TORQUE * torque, found.single.torque_error or 0.0)
    remarks = found.remarks
    if found.phases > 2:
        angles, currents = _states(found, 3, THREES)
        off = float(np.abs(found.at(angles, currents).torque - _solved(whole, angles, currents)[1]).max())
        if off > torque_error:
            remarks = (
                *remarks,
                f"with three phases on at once the torque is off by up to some {off:.3g} N m",
            )
    return replace(found, flux_linkage_error=flux_error, torque_error=torque_error, remarks=remarks)


def _states(found: CoupledMap, size: int, count: int) -> tuple[Floats, Floats]:
    """Angles (rad) and currents (A) of `size` phases spread over the map; where these have one level, all carry it."""
    sets = list(combinations(range(found.phases), size))
    levels = next(part.currents for part in found.interactions if len(part.phases) == size)
    place = (0.5 + np.arange(count)[:, None] * STEPS) % 1.0
    currents = np.zeros((count, found.phases))
    for row in range(count):
        on = list(sets[row % len(sets)])
        share = (place[row, 1] + np.arange(size) / size) % 1.0
        currents[row, on] = levels[1] + (levels[-1] - levels[1]) * share
    return place[:, 0] * found.pitch, currents


def _solved(
    whole: BuiltMachine, angles: Floats, currents: Floats, starts: Sequence[Floats] | None = None
) -> tuple[Floats, Floats, list[Floats]]:
    """Flux linkages, shape (n, n_phases), and torque, (n,), of states, and their fields on each section, (n, size).

    starts: fields to start from, of each section, where known; else each starts from the one before it.
    """
    linkages, torque, fields = np.zeros(currents.shape), np.zeros(len(angles)), []
    for number, system in enumerate(whole.systems):
        model, cache = system.model, FactorCache(tolerance=TOLERANCE)
        here = np.zeros((len(angles), model.size))
        for at, (angle, row) in enumerate(zip(angles.tolist(), currents, strict=True)):
            coupled, cache.factor = system.at(angle), None
            start = here[max(at - 1, 0)] if starts is None else starts[number][at]
            here[at] = minimise(coupled, row @ model.loads, start, cache).unknowns
            linkages[at] += model.scale * (model.loads @ here[at])
            torque[at] += coupled.torque(here[at])
        fields.append(here)
    return linkages, torque, fields

"""At which currents phases are solved together: close where iron bends, as the map of one phase shows."""

from __future__ import annotations

from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from polefem.maps import FluxMap
from polefem.maps.polynomials import CUBIC, powers

__all__ = ["LEVELS", "placed"]

Floats = NDArray[np.float64]

#: How many levels there are.
LEVELS = 8
#: From one level to the next goes no more than this part of all currents that they are chosen from: two phases at once
#: saturate what one alone does not.
WIDEST = 0.2
#: At how many places between currents, and at how many angles of a pitch, the map of one phase is looked at.
PLACES, ANGLES = 4, 24


def placed(single: FluxMap) -> Floats:
    """`LEVELS` currents of the map of one phase, A, with its last; where it has fewer, also of even parts between.

    There the map is exact, and so is what phases add to each other: elsewhere that would have to make up for how far
    the map is off, and between levels it would not. Cubic pieces of the co-energy between levels come as near as any to
    the flux linkage of one phase, where they are furthest from it, at the current and at twice the current: two phases
    bring iron that they share to its bend at half the current of one. Found by dynamic programming.
    """
    own = np.append(0.0, single.currents)
    parts = -(-LEVELS // single.currents.size)
    some = _divided(own, parts)
    currents = _divided(some, PLACES)
    tables = [_curves(single, currents), _curves(single, 2 * currents)]
    worst = {
        (a, b): max(_distance(*table, currents, a * PLACES, b * PLACES) for table in tables)
        for a, b in combinations(range(some.size), 2)
        if b - a <= round(WIDEST * (some.size - 1))
    }
    best: dict[int, tuple[float, tuple[int, ...]]] = {0: (0.0, ())}
    for _ in range(LEVELS):
        longer: dict[int, tuple[float, tuple[int, ...]]] = {}
        for (a, b), distance in worst.items():
            if a in best:
                way = max(best[a][0], distance), (*best[a][1], b)
                longer[b] = min(longer.get(b, way), way)
        best = longer
    levels: Floats = some[list(best[some.size - 1][1])]
    return levels


def _divided(currents: Floats, parts: int) -> Floats:
    """Currents with even steps between each and the next, so many of them."""
    return np.interp(np.arange(parts * (currents.size - 1) + 1) / parts, np.arange(currents.size), currents)


def _curves(single: FluxMap, currents: Floats) -> tuple[Floats, Floats]:
    """Co-energy, J, and flux linkage, Wb, of one phase at currents, both over how often the map's last current theirs
    is; of shape (ANGLES, n). Beyond the map the flux linkage goes on straight."""
    angles = np.linspace(0.0, single.pitch, ANGLES, endpoint=False)[:, None]
    last = float(single.currents[-1])
    inside, times = np.minimum(currents, last), currents[-1] / last
    at, over = single.potential.at(angles, inside), currents - inside
    coenergy = at.coenergy + (at.flux_linkage + at.incremental_inductance * over / 2) * over
    return coenergy / times, at.flux_linkage + at.incremental_inductance * over


def _distance(coenergy: Floats, flux_linkage: Floats, currents: Floats, a: int, b: int) -> float:
    """How far the slope of Hermite's cubic over the columns a to b is from the flux linkage, at most, Wb."""
    width = currents[b] - currents[a]
    u = (currents[a : b + 1] - currents[a]) / width
    ends = [end for one in (a, b) for end in (coenergy[:, one], flux_linkage[:, one] * width)]
    slope = powers(u)[1] @ CUBIC @ np.array(ends) / width
    return float(np.abs(slope.T - flux_linkage[:, a : b + 1]).max())

"""At which currents phases are solved together: close where iron bends, as the map of one phase shows."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from polefem.maps import FluxMap
from polefem.maps.polynomials import CUBIC, powers

__all__ = ["LEVELS", "placed"]

Floats = NDArray[np.float64]

#: How many levels, and of how many even parts of the last current each is a whole number.
LEVELS, PARTS = 8, 16
#: No level is further from the next than so many parts: two phases at once saturate what one alone does not.
WIDEST = 3
#: At how many places of a part, and at how many angles of a pitch, the map of one phase is looked at.
PLACES, ANGLES = 4, 24


def placed(single: FluxMap) -> Floats:
    """`LEVELS` currents, A, the last that of the map: cubic pieces of the co-energy between them come as near as any to
    the flux linkage of one phase, where they are furthest from it, at the current and at twice the current: two phases
    bring iron that they share to its bend at half the current of one. Found by dynamic programming."""
    last = float(single.currents[-1])
    currents = np.linspace(0.0, last, PARTS * PLACES + 1)
    tables = [_curves(single, currents), _curves(single, 2 * currents)]
    step = last / (PARTS * PLACES)
    worst = {
        (a, b): max(_distance(*table, a * PLACES, b * PLACES, step) for table in tables)
        for a in range(PARTS)
        for b in range(a + 1, min(a + WIDEST, PARTS) + 1)
    }
    best: dict[int, tuple[float, tuple[int, ...]]] = {0: (0.0, ())}
    for _ in range(LEVELS):
        longer: dict[int, tuple[float, tuple[int, ...]]] = {}
        for (a, b), distance in worst.items():
            if a in best:
                way = max(best[a][0], distance), (*best[a][1], b)
                longer[b] = min(longer.get(b, way), way)
        best = longer
    levels: Floats = last / PARTS * np.array(best[PARTS][1])
    return levels


def _curves(single: FluxMap, currents: Floats) -> tuple[Floats, Floats]:
    """Co-energy, J, and flux linkage, Wb, of one phase at currents, both over how often the map's last current theirs
    is; of shape (ANGLES, n). Beyond the map the flux linkage goes on straight."""
    angles = np.linspace(0.0, single.pitch, ANGLES, endpoint=False)[:, None]
    last = float(single.currents[-1])
    inside, times = np.minimum(currents, last), currents[-1] / last
    at, over = single.potential.at(angles, inside), currents - inside
    coenergy = at.coenergy + (at.flux_linkage + at.incremental_inductance * over / 2) * over
    return coenergy / times, at.flux_linkage + at.incremental_inductance * over


def _distance(coenergy: Floats, flux_linkage: Floats, a: int, b: int, step: float) -> float:
    """How far the slope of Hermite's cubic over the columns a to b is from the flux linkage, at most, Wb."""
    u, width = np.linspace(0.0, 1.0, b - a + 1), (b - a) * step
    ends = [end for one in (a, b) for end in (coenergy[:, one], flux_linkage[:, one] * width)]
    slope = powers(u)[1] @ CUBIC @ np.array(ends) / width
    return float(np.abs(slope.T - flux_linkage[:, a : b + 1]).max())

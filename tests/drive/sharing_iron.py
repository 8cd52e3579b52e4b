"""Three saturating phases of which neighbours share iron, one pair with coils that meet with the other sign.

The co-energy is closed; the coupling is as strong as a thin yoke makes it and the whole stays convex in the currents,
as a field's is (the tests look at it).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from polefem.maps import CoupledMap, Interaction
from tests.maps.saturating import PITCH, ROTOR_POLES, sampled

__all__ = ["SHARING", "changed", "sharing_iron"]

Floats = NDArray[np.float64]

PHASES, STROKE, LAST = 3, PITCH / 3, 40.0
#: Mutual inductance, H, of neighbours whose poles lie to either side of a rotor pole, and where, in strokes.
MUTUAL, FULL_AT = 3e-3, 12.0
PAIRS = {(0, 1): (1.0, 0.5), (1, 2): (1.0, 1.5), (0, 2): (-1.0, 2.5)}


def sharing_iron(alike: bool = False, n_angles: int = 60) -> CoupledMap:
    """The map; `alike` where all pairs meet with equal sign."""
    angles, currents = np.linspace(0.0, PITCH, n_angles + 1), np.linspace(0.0, LAST, 11)
    theta, i, j = np.meshgrid(angles[:-1], currents, currents, indexing="ij")
    f, g = FULL_AT * np.tanh(i / FULL_AT), FULL_AT * np.tanh(j / FULL_AT)
    parts = []
    for phases, (sign, strokes) in PAIRS.items():
        turned = ROTOR_POLES * (theta - strokes * STROKE)
        mutual = (1.0 if alike else sign) * MUTUAL * np.exp(np.cos(turned) - 1.0)
        turning = -ROTOR_POLES * np.sin(turned) * mutual
        linkages = mutual * g / np.cosh(i / FULL_AT) ** 2, mutual * f / np.cosh(j / FULL_AT) ** 2
        part = Interaction.through(
            phases, angles, currents, mutual * f * g, turning * f * g, np.stack(linkages)
        )
        parts.append(part)
    return CoupledMap(sampled(31, 15, LAST), tuple(parts))


def changed(m: CoupledMap, factor: float) -> CoupledMap:
    """The same with all that phases add to each other times a factor: 0 leaves it out, -1 turns its sign."""
    return replace(m, interactions=tuple(replace(part, nodes=factor * part.nodes) for part in m.interactions))


SHARING = sharing_iron()

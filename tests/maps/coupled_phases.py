"""Three saturating phases that share iron, with a closed co-energy: what a coupled map must come near to."""

from __future__ import annotations

from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from polefem.maps import CoupledMap, Interaction
from tests.maps.saturating import KNEE, PITCH, ROTOR_POLES, exact, sampled

__all__ = ["PHASES", "SIGNS", "closed", "coupled"]

Floats = NDArray[np.float64]

PHASES, STROKE = 3, PITCH / 3
MUTUAL = 2e-3
#: One pair meets with the other sign.
SIGNS = {(0, 1): 1.0, (0, 2): -1.0, (1, 2): 1.0}
CURRENTS = np.array([0.0, 5.0, 10.0, 15.0, 20.0])


def pair(
    phases: tuple[int, int], angle: Floats, i: Floats, j: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """Co-energy, torque and both flux linkages that a pair adds."""
    turned = ROTOR_POLES * (angle - sum(phases) / 2 * STROKE)
    mutual = SIGNS[phases] * MUTUAL * np.exp(np.cos(turned))
    f, g = KNEE * np.tanh(i / KNEE), KNEE * np.tanh(j / KNEE)
    turning = -ROTOR_POLES * np.sin(turned) * mutual
    return (
        mutual * f * g,
        turning * f * g,
        mutual * g / np.cosh(i / KNEE) ** 2,
        mutual * f / np.cosh(j / KNEE) ** 2,
    )


def closed(angle: ArrayLike, currents: Floats) -> tuple[Floats, Floats, Floats]:
    """Flux linkages (..., 3), torque and co-energy, by hand."""
    angle = np.asarray(angle, dtype=float)
    alone = exact(angle[..., None] - np.arange(PHASES) * STROKE, currents)
    linkages, torque, coenergy = alone[0].copy(), alone[1].sum(axis=-1), alone[2].sum(axis=-1)
    for p, q in SIGNS:
        found = pair((p, q), angle, currents[..., p], currents[..., q])
        coenergy, torque = coenergy + found[0], torque + found[1]
        linkages[..., p] += found[2]
        linkages[..., q] += found[3]
    return linkages, torque, coenergy


def coupled(n_angles: int = 48) -> CoupledMap:
    """The same on grids."""
    angles = np.linspace(0.0, PITCH, n_angles + 1)
    theta, i, j = np.meshgrid(angles[:-1], CURRENTS, CURRENTS, indexing="ij")
    parts = []
    for phases in combinations(range(PHASES), 2):
        coenergy, torque, *linkages = pair((phases[0], phases[1]), theta, i, j)
        parts.append(Interaction.through(phases, angles, CURRENTS, coenergy, torque, np.stack(linkages)))
    return CoupledMap(sampled(), tuple(parts))

"""A smooth saturating phase with a closed co-energy: what an interpolation must come near to."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from polefem.maps import FluxMap

__all__ = ["exact", "sampled"]

UNALIGNED, SATURATED, KNEE, WIDTH, ROTOR_POLES = 5e-3, 0.25, 6.0, 6.0, 4
PITCH = 2 * np.pi / ROTOR_POLES


def exact(angle: ArrayLike, current: ArrayLike) -> tuple[NDArray[np.float64], ...]:
    """Flux linkage, torque and co-energy of psi = L i + s f(angle) tanh(i / k), all by hand."""
    angle, current = np.broadcast_arrays(np.asarray(angle, float), np.asarray(current, float))
    overlap = np.exp(WIDTH * (np.cos(ROTOR_POLES * angle) - 1) / 2)
    turning = -WIDTH * ROTOR_POLES / 2 * np.sin(ROTOR_POLES * angle) * overlap
    area = SATURATED * KNEE * np.log(np.cosh(current / KNEE))
    flux = UNALIGNED * current + SATURATED * overlap * np.tanh(current / KNEE)
    return flux, turning * area, UNALIGNED * current**2 / 2 + overlap * area


def sampled(n_angles: int = 31, n_currents: int = 11, last: float = 20.0) -> FluxMap:
    """The same on a grid over half a pitch."""
    angles, currents = np.linspace(0, PITCH / 2, n_angles), np.linspace(last / n_currents, last, n_currents)
    flux, torque, coenergy = exact(angles, currents[:, None])
    return FluxMap(angles, currents, flux, torque, coenergy, phases=3, rotor_poles=ROTOR_POLES, mirror=True)

"""`FluxMap`: what one phase does over angle and current. The one value that the drive sees."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["FluxMap"]

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class FluxMap:
    """Flux linkage, torque and co-energy of one phase over a grid of angles and currents.

    angles: ndarray, shape (n_angles,), rad, increasing; 0 is aligned.
    currents: ndarray, shape (n_currents,), A, increasing.
    flux_linkage: ndarray, shape (n_currents, n_angles), Wb.
    torque: ndarray, shape (n_currents, n_angles), N m.
    coenergy: ndarray, shape (n_currents, n_angles), J.
    phases, rotor_poles: of the machine; the map repeats over 2 pi / rotor_poles.
    mirror: whether torque is odd and flux linkage even in the angle (both pole shapes symmetric).
    """

    angles: Array
    currents: Array
    flux_linkage: Array
    torque: Array
    coenergy: Array
    phases: int
    rotor_poles: int
    mirror: bool

    @property
    def inductance(self) -> Array:
        """Flux linkage over current, H, shape (n_currents, n_angles)."""
        return self.flux_linkage / self.currents[:, None]

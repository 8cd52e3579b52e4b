"""A machine at eight angles and three currents in both programs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from comparing import Distance, distance
from numpy.typing import NDArray
from outline_section import reference_machine

from polefem import FluxMap, flux_map
from polefem.params import Machine

__all__ = ["CURRENTS", "Compared", "eight_angles"]

FRACTIONS = np.array(
    [0.02, 0.10, 0.17, 0.25, 0.30, 0.36, 0.42, 0.48]
)  # of the rotor pitch; between them all overlaps
CURRENTS = np.array([2.0, 8.0, 20.0])


@dataclass(frozen=True, eq=False)
class Compared:
    """angles: rad. ours: the map there. theirs: arrays of shape (n_currents, n_angles) by name."""

    angles: NDArray[np.float64]
    ours: FluxMap
    theirs: dict[str, NDArray[np.float64]]

    def off(self, share: float = 1.0) -> Distance:
        """Of our map, as if its stack were `share` as long."""
        return distance(share * self.ours.flux_linkage, share * self.ours.torque, self.theirs)

    @property
    def itself(self) -> Distance:
        """Of the reference's two torques from each other: how well it knows itself."""
        return distance(self.theirs["flux_linkage"], self.theirs["torque_virtual"], self.theirs)


def eight_angles(machine: Machine, level: int) -> Compared:
    """Solve both; level: of the reference's mesh."""
    angles = FRACTIONS * machine.rotor_pitch
    ours = flux_map(machine, angles, CURRENTS)
    columns = [reference_machine(machine, angle, CURRENTS, level) for angle in angles]
    theirs = {
        key: np.array([[getattr(point, key) for point in column] for column in columns]).T
        for key in ("flux_linkage", "torque", "torque_virtual")
    }
    return Compared(angles, ours, theirs)

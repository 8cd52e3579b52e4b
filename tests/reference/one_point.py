"""One machine at one angle and current in both programs."""

from __future__ import annotations

import numpy as np
from outline_section import reference_machine

from polefem import flux_map
from polefem.params import Machine

__all__ = ["one_point"]

AROUND = 13  # angles over a rotor pitch from which the peak torque is read


def one_point(machine: Machine, angle: float, current: float, level: int) -> tuple[float, float]:
    """Relative distance of the flux linkage, and distance of the torque as part of the current's peak torque."""
    around = np.linspace(-0.5, 0.5, AROUND) * machine.rotor_pitch
    ours = flux_map(machine, np.union1d(around, [angle]), [current])
    at = int(np.searchsorted(ours.angles, angle))
    (theirs,) = reference_machine(machine, angle, [current], level)
    peak = np.abs(ours.torque).max()
    return (
        float(ours.flux_linkage[0, at] / theirs.flux_linkage - 1),
        float((ours.torque[0, at] - theirs.torque) / peak),
    )

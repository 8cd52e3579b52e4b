"""Currents of all phases at given angles of the rotor: what a field needs to know of a drive.

Angles are the rotor's own, 0 where the first phase is aligned, counter-clockwise positive. Where the rotor turns the
other way they fall as a drive's own angles, counted in the direction of turning, grow.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from polefem.drive.drive_run import DriveRun
from polefem.params import RectangularCurrent
from polefem.params.drive_spec import Tracking

__all__ = ["rectangular_currents", "run_currents", "waveform_currents"]

Array = NDArray[np.float64]


def run_currents(run: DriveRun, angles: ArrayLike) -> Array:
    """Phase currents (A) of a run at angles (rad), shape (n_angles, n_phases)."""
    begun = run.angles[0]
    own = math.copysign(1.0, run.speed) * np.atleast_1d(np.asarray(angles, dtype=float))
    at = begun + np.mod(own - begun, run.pitch)
    columns = [np.interp(at, run.angles, run.current[:, phase]) for phase in range(run.phases)]
    return np.stack(columns, axis=1)


def rectangular_currents(
    drive: RectangularCurrent, current: float, phases: int, pitch: float, angles: ArrayLike
) -> Array:
    """Phase currents (A) of a rectangular current at angles (rad), shape (n_angles, n_phases).

    >>> rectangular_currents(RectangularCurrent(-0.5, 0.0), 8.0, 3, 1.5, [-0.2, 0.2]).tolist()
    [[8.0, 0.0, 0.0], [0.0, 8.0, 0.0]]
    """
    return current * drive.share(_own(angles, phases, pitch, drive.turn_on) - drive.turn_on)


def waveform_currents(current: Tracking, phases: int, pitch: float, angles: ArrayLike) -> Array:
    """Phase currents (A) at angles (rad), shape (n_angles, n_phases), where each phase carries a given waveform."""
    own = _own(angles, phases, pitch, current.angles[0])
    return np.interp(own, current.angles, current.currents, right=0.0)


def _own(angles: ArrayLike, phases: int, pitch: float, first: float) -> Array:
    """Each phase's own angle, from `first` on, shape (n_angles, n_phases)."""
    turned = np.atleast_1d(np.asarray(angles, dtype=float))
    own: Array = first + np.mod(turned[:, None] - np.arange(phases) * pitch / phases - first, pitch)
    return own

"""Torque under a current waveform that is simply given, whatever bridge may make it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polefem.drive.currents import waveform_currents
from polefem.drive.machine_map import of_machine
from polefem.drive.rectangular import RIPPLE_FORMULA
from polefem.errors import InvalidValue, refusal
from polefem.maps import CoupledMap
from polefem.params.drive_spec import Tracking

__all__ = ["WaveformTorque", "waveform_torque"]

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False, repr=False)
class WaveformTorque:
    """Torque of all phases, over one rotor pitch, under a given current.

    angles, torque: ndarray, shape (n,), rad and N m, at the middles of equal steps. mean, highest, lowest: of
    it, N m. ripple: RIPPLE_FORMULA. rms_current: of one phase, A. steepest: the fastest change of a phase's flux
    linkage over angle, either way, Wb/rad: times a speed it is the voltage asked of a bridge, but for the resistance's.
    coupling: of the map, "joint" or "summed".
    """

    angles: Array
    torque: Array
    mean: float
    highest: float
    lowest: float
    ripple: float
    rms_current: float
    steepest: float
    coupling: str

    def __post_init__(self) -> None:
        self.angles.flags.writeable = False
        self.torque.flags.writeable = False

    def __repr__(self) -> str:
        return (
            f"WaveformTorque({self.coupling}, mean {self.mean:.4g} N m, lowest {self.lowest:.4g} N m, "
            f"ripple {self.ripple:.3g} = {RIPPLE_FORMULA}, {self.rms_current:.4g} A rms)"
        )


def waveform_torque(m: CoupledMap, current: Tracking, samples: int = 240) -> WaveformTorque:
    """The torque when every phase carries `current` over a rotor pitch from the profile's first angle.

    Outside the profile's own angles no current flows. samples: angles of one stroke to look at.
    Raises InvalidValue for a profile longer than a rotor pitch or a current beyond the map's.
    """
    span = current.angles[-1] - current.angles[0]
    if span > of_machine(m).pitch * (1 + 1e-9):
        found, most = f"{math.degrees(span):.6g} deg", f"up to {math.degrees(m.pitch):.6g} deg"
        raise InvalidValue(
            refusal("a waveform lasts no more than a rotor pitch", "tracking.angles", found, most)
        )
    angles = (
        (np.arange(samples * m.phases) + 0.5) * m.stroke / samples
    )  # between those at which a step is likely
    flowing = waveform_currents(current, m.phases, m.pitch, angles)
    point = m.at(angles, flowing)
    torque, linkages = point.torque, point.flux_linkages
    mean = float(torque.mean())
    return WaveformTorque(
        angles=angles,
        torque=torque,
        mean=mean,
        highest=float(torque.max()),
        lowest=float(torque.min()),
        ripple=float(np.ptp(torque)) / abs(mean) if mean else math.inf,
        rms_current=float(np.sqrt((flowing**2).mean())),
        steepest=float(
            np.abs(np.diff(linkages, axis=0, append=linkages[:1])).max() / (angles[1] - angles[0])
        ),
        coupling=m.coupling,
    )

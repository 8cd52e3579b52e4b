"""`DriveRun`: what a phase and the shaft do over one electrical cycle in the steady state, in numbers."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polefem.drive.rectangular import RIPPLE_FORMULA
from polefem.params.drive_spec import DriveSpec

__all__ = ["DriveRun", "EnergyBalance"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class EnergyBalance:
    """Where the energy of one phase goes in one cycle, J.

    source: given by the supply, less what came back. source_loss, device_loss, copper: lost in the source
    resistance, in switches and diodes, in the winding. mechanical: torque times angle. stored: more in the
    field at the end than at the beginning. lent: the most that stood in the phase at once, given and then
    taken back or turned to work.
    """

    source: float
    source_loss: float
    device_loss: float
    copper: float
    mechanical: float
    stored: float
    lent: float

    @property
    def error(self) -> float:
        """What does not add up, as a share of the energy that went into the phase."""
        spent = self.source_loss + self.device_loss + self.copper + self.mechanical + self.stored
        return abs(self.source - spent) / self.lent if self.lent else 0.0


@dataclass(frozen=True, eq=False, repr=False)
class DriveRun:
    """One electrical cycle in the steady state at constant speed; every phase does the same, a stroke apart.

    drive: what was asked. speed: rad/s, below 0 in the negative direction. phases, pitch: of the machine;
    pitch, rad. angles: ndarray, shape (n,), rad, from turn-on over a rotor pitch, 0 aligned, counted in the
    direction of turning. current, flux_linkage, torque: ndarray, shape (n,), A, Wb, N m, of one phase; torque
    in the direction of turning. voltage: ndarray, shape (n - 1,), V, across the phase from each angle to the
    next (its mean, where modulated). stroke_angles, summed_torque: ndarray, shape (s,), rad and N m: all
    phases over one stroke, end left out. energy: the `EnergyBalance` of one phase. iron_loss: W, as given, 0
    where not known. periodicity_error: change of flux linkage over the cycle, as a share of its peak; what is not quite
    steady.
    """

    drive: DriveSpec
    speed: float
    phases: int
    pitch: float
    angles: Array
    current: Array
    flux_linkage: Array
    torque: Array
    voltage: Array
    stroke_angles: Array
    summed_torque: Array
    energy: EnergyBalance
    iron_loss: float
    periodicity_error: float

    def __post_init__(self) -> None:
        for name in (
            "angles",
            "current",
            "flux_linkage",
            "torque",
            "voltage",
            "stroke_angles",
            "summed_torque",
        ):
            getattr(self, name).flags.writeable = False

    @property
    def cycle_time(self) -> float:
        """Time of one electrical cycle, s."""
        return self.pitch / abs(self.speed)

    @property
    def mean_torque(self) -> float:
        """Mean of the summed torque, N m; below 0 it brakes."""
        return self.phases * self.energy.mechanical / self.pitch

    @property
    def highest_torque(self) -> float:
        """Highest summed torque, N m."""
        return float(self.summed_torque.max())

    @property
    def lowest_torque(self) -> float:
        """Lowest summed torque, N m."""
        return float(self.summed_torque.min())

    @property
    def ripple(self) -> float:
        """Torque ripple by RIPPLE_FORMULA."""
        mean = abs(self.mean_torque)
        return (self.highest_torque - self.lowest_torque) / mean if mean else math.inf

    @property
    def harmonics(self) -> Array:
        """Amplitudes of the summed torque at 1, 2, ... times the stroke frequency, N m."""
        spectrum: Array = 2 * np.abs(np.fft.rfft(self.summed_torque))[1:] / self.summed_torque.size
        return spectrum

    @property
    def peak_current(self) -> float:
        """Highest current of a phase, A."""
        return float(self.current.max())

    @property
    def rms_current(self) -> float:
        """Root of the mean square of a phase's current, A."""
        i, share = self.current, np.diff(self.angles) / self.pitch
        return math.sqrt(float((share * (i[1:] ** 2 + i[1:] * i[:-1] + i[:-1] ** 2) / 3).sum()))

    @property
    def copper_loss(self) -> float:
        """Of all phases, W."""
        return self.phases * self.energy.copper / self.cycle_time

    @property
    def input_power(self) -> float:
        """From the supply, W; below 0 it flows back."""
        return self.phases * self.energy.source / self.cycle_time

    @property
    def air_gap_power(self) -> float:
        """Torque times speed before iron loss, W; below 0 the shaft drives."""
        return self.phases * self.energy.mechanical / self.cycle_time

    @property
    def shaft_power(self) -> float:
        """Torque times speed after iron loss, W."""
        return self.air_gap_power - self.iron_loss

    @property
    def efficiency(self) -> float:
        """Power out over power in, as motor or as generator; nan where power goes in from both sides."""
        shaft, supply = self.shaft_power, self.input_power
        if shaft > 0.0 and supply > 0.0:
            return shaft / supply
        return supply / shaft if shaft < 0.0 and supply < 0.0 else math.nan

    @property
    def energy_per_stroke(self) -> float:
        """Turned to work by one phase in one cycle: the area within its loop of flux linkage and current,
        J."""
        return self.energy.mechanical

    @property
    def energy_ratio(self) -> float:
        """Energy turned to work (or won) per stroke over the energy that went into the phase's field and
        shaft.

        The ratio of T. J. E. Miller, Switched Reluctance Motors and Their Control, 1993 (from memory).
        """
        work = (self.current[1:] + self.current[:-1]) / 2 * np.diff(self.flux_linkage)
        larger = max(float(work[work > 0].sum()), -float(work[work < 0].sum()))
        return abs(self.energy.mechanical) / larger if larger else 0.0

    @property
    def extinction(self) -> float:
        """Angle at which the current has fallen to zero after turn-off, rad; nan where it never does."""
        none = (self.current == 0.0) & (self.angles > self.drive.turn_off)
        return float(self.angles[np.argmax(none)]) if none.any() else math.nan

    def speed_ripple(self, inertia: float) -> float:
        """Highest less lowest speed over a stroke, rad/s, that the torque ripple makes on a shaft of
        `inertia`, kg m^2.

        The load is taken as steady and the ripple as small against the speed.
        """
        step = self.stroke_angles[1] - self.stroke_angles[0]
        excess = np.cumsum(self.summed_torque - self.summed_torque.mean()) * step
        return float(np.ptp(excess)) / (inertia * abs(self.speed))

    def __repr__(self) -> str:
        on, off = math.degrees(self.drive.turn_on), math.degrees(self.drive.turn_off)
        return (
            f"DriveRun({self.speed:.4g} rad/s, on {on:.4g} to {off:.4g} deg: mean torque {self.mean_torque:.4g} N m, "
            f"ripple {self.ripple:.3g} = {RIPPLE_FORMULA}, current {self.rms_current:.4g} A rms and "
            f"{self.peak_current:.4g} A peak, {self.input_power:.4g} W in, {self.shaft_power:.4g} W at the shaft)"
        )

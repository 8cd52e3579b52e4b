"""`DriveRun`: what all phases and the shaft do over one rotor pitch in the steady state, in numbers."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from polefem.drive.rectangular import RIPPLE_FORMULA
from polefem.params.drive_spec import DriveSpec
from polefem.params.quantity import speed_text

__all__ = ["DriveRun", "EnergyBalance", "PhaseRun"]

Array = NDArray[np.float64]

_EVEN = 720
_NOUGHT = 1e-6


@dataclass(frozen=True)
class EnergyBalance:
    """Where the energy of all phases goes, J, over one rotor pitch or a whole run.

    source: given by the supply, less what came back. source_loss, device_loss, copper: lost in the source
    resistance, in switches and diodes, in the winding. mechanical: torque times angle. stored: more in the
    field at the end than at the beginning. lent: the most that stood in the phases at once, each by itself, given and
    then taken back or turned to work. excitation: given by the supply while it feeds a phase, before anything comes
    back; excitation_loss: lost meanwhile in source resistance, devices and winding of that phase.
    """

    source: float
    source_loss: float
    device_loss: float
    copper: float
    mechanical: float
    stored: float
    lent: float
    excitation: float
    excitation_loss: float

    @property
    def error(self) -> float:
        """What does not add up, as a share of the energy that went into the phases."""
        spent = self.source_loss + self.device_loss + self.copper + self.mechanical + self.stored
        return abs(self.source - spent) / self.lent if self.lent else 0.0


class PhaseRun(NamedTuple):
    """One phase over a rotor pitch from its own turn-on, arrays of shape (n,): angles from its own aligned angle, rad,
    in the direction of turning; current, A; flux linkage, Wb."""

    angles: Array
    current: Array
    flux_linkage: Array


@dataclass(frozen=True, eq=False, repr=False)
class DriveRun:
    """One rotor pitch in the steady state at constant speed, in which each phase is switched once, a stroke apart.

    Phases that share a field need not do alike: where coils of unlike polarity meet, strokes differ.

    drive: what was asked. speed: rad/s, below 0 in the negative direction. phases, pitch: of the machine; pitch, rad.
    coupling: of the map, "joint" or "summed". angles: ndarray, shape (n,), rad, from turn-on of the first phase over a
    rotor pitch, 0 where it is aligned, counted in the direction of turning; close where a bridge switches. current,
    flux_linkage: ndarray, shape (n, phases), A, Wb; a resting phase has the flux linkage that its neighbours give it.
    torque: ndarray, shape (n,), N m, of all phases, in the direction of turning. voltage: ndarray, shape (n - 1,
    phases), V, across each phase from each angle to the next (its mean, where modulated; what is induced, where it
    rests). energy: the `EnergyBalance` of the pitch. iron_loss: W, as given, 0 where not known. periodicity_error: the
    largest change of a flux linkage over the pitch, as a share of the peak; what is not quite steady.
    """

    drive: DriveSpec
    speed: float
    phases: int
    pitch: float
    coupling: str
    angles: Array
    current: Array
    flux_linkage: Array
    torque: Array
    voltage: Array
    energy: EnergyBalance
    iron_loss: float
    periodicity_error: float

    def __post_init__(self) -> None:
        for item in fields(self):
            if isinstance(value := getattr(self, item.name), np.ndarray):
                value.flags.writeable = False

    def of_phase(self, phase: int) -> PhaseRun:
        """One phase from its own turn-on, in its own angles."""
        shift = math.copysign(self.pitch / self.phases, self.speed) * phase
        on = self.drive.turn_on
        own = on + np.mod(self.angles[:-1] - shift - on + 1e-9, self.pitch) - 1e-9
        order = np.argsort(own, kind="stable")
        whole = np.append(order, order[0])
        angles = np.append(own[order], own[order[0]] + self.pitch)
        return PhaseRun(angles, self.current[whole, phase], self.flux_linkage[whole, phase])

    @property
    def cycle_time(self) -> float:
        """Time of one rotor pitch, s."""
        return self.pitch / abs(self.speed)

    @property
    def mean_torque(self) -> float:
        """Mean torque, N m; below 0 it brakes."""
        return self.energy.mechanical / self.pitch

    @property
    def highest_torque(self) -> float:
        """Highest torque, N m."""
        return float(self.torque.max())

    @property
    def lowest_torque(self) -> float:
        """Lowest torque, N m."""
        return float(self.torque.min())

    @property
    def ripple(self) -> float:
        """Torque ripple of the whole pitch by RIPPLE_FORMULA."""
        mean = abs(self.mean_torque)
        return (self.highest_torque - self.lowest_torque) / mean if mean else math.inf

    @property
    def harmonics(self) -> Array:
        """Amplitudes of the torque at 1, 2, ... times the frequency of the rotor pitch, N m, shape (360,).

        Strokes that are alike leave only multiples of the number of phases.
        """
        even = self.angles[0] + self.pitch * np.arange(_EVEN) / _EVEN
        torque = np.interp(even, self.angles, self.torque)
        spectrum: Array = 2 * np.abs(np.fft.rfft(torque))[1:] / _EVEN
        return spectrum

    @property
    def peak_current(self) -> float:
        """Highest current of any phase, A."""
        return float(self.current.max())

    @property
    def rms_current(self) -> float:
        """Root of the mean square of a phase's current, A; the mean is that over all phases."""
        i, share = self.current, np.diff(self.angles)[:, None] / self.pitch
        squares = share * (i[1:] ** 2 + i[1:] * i[:-1] + i[:-1] ** 2) / 3
        return math.sqrt(float(squares.sum()) / self.phases)

    @property
    def copper_loss(self) -> float:
        """Of all phases, W."""
        return self.energy.copper / self.cycle_time

    @property
    def input_power(self) -> float:
        """From the supply, W; below 0 it flows back."""
        return self.energy.source / self.cycle_time

    @property
    def air_gap_power(self) -> float:
        """Torque times speed before iron loss, W; below 0 the shaft drives."""
        return self.energy.mechanical / self.cycle_time

    @property
    def shaft_power(self) -> float:
        """Torque times speed after iron loss, W."""
        return self.air_gap_power - self.iron_loss

    @property
    def power_in(self) -> float:
        """What goes in, W: a motor's from the supply, a generator's from the shaft; from both where a rotor is braked
        and nothing comes back."""
        return max(self.input_power, 0.0) + max(-self.shaft_power, 0.0)

    @property
    def power_out(self) -> float:
        """What comes out, W: a motor's at the shaft, a generator's into the supply; 0 where power goes in from both."""
        return max(-self.input_power, 0.0) + max(self.shaft_power, 0.0)

    @property
    def efficiency(self) -> float:
        """Power out over power in, as motor or as generator; nan where power goes in from both sides."""
        given, gained = self.power_in, self.power_out
        return gained / given if given > 0.0 and gained > 0.0 else math.nan

    @property
    def bridge_loss(self) -> float:
        """In source resistance, switches and diodes, W."""
        return (self.energy.source_loss + self.energy.device_loss) / self.cycle_time

    @property
    def excitation_power(self) -> float:
        """Given by the supply while it feeds phases, W: of a generator, what it is lent before it gives back more."""
        return self.energy.excitation / self.cycle_time

    @property
    def excitation_loss(self) -> float:
        """Lost in copper and bridge while the supply feeds phases, W."""
        return self.energy.excitation_loss / self.cycle_time

    @property
    def energy_per_stroke(self) -> float:
        """Turned to work in one stroke, J: the mean area within a phase's loop of flux linkage and current."""
        return self.energy.mechanical / self.phases

    @property
    def energy_ratio(self) -> float:
        """Energy turned to work (or won) over the energy that went into the phases' field and shaft.

        The ratio of T. J. E. Miller, Switched Reluctance Motors and Their Control, 1993 (from memory).
        """
        work = (self.current[1:] + self.current[:-1]) / 2 * np.diff(self.flux_linkage, axis=0)
        larger = max(float(work[work > 0].sum()), -float(work[work < 0].sum()))
        return abs(self.energy.mechanical) / larger if larger else 0.0

    @property
    def extinction(self) -> float:
        """Angle from its own aligned one at which the last phase's current has fallen to zero after its turn-off, rad;
        nan where one never does."""
        ends = []
        for phase in range(self.phases):
            angles, current, _ = self.of_phase(phase)
            none = (current <= _NOUGHT * self.peak_current) & (angles > self.drive.turn_off)
            ends.append(float(angles[np.argmax(none)]) if none.any() else math.nan)
        return float(np.max(ends))

    def speed_ripple(self, inertia: float) -> float:
        """Highest less lowest speed over a rotor pitch, rad/s, that the torque ripple makes on a shaft of
        `inertia`, kg m^2.

        The load is taken as steady and the ripple as small against the speed.
        """
        steps, torque = np.diff(self.angles), self.torque
        gain = (torque[1:] + torque[:-1]) / 2 * steps
        excess = np.cumsum(gain - gain.sum() / self.pitch * steps)
        return float(np.ptp(excess)) / (inertia * abs(self.speed))

    def __repr__(self) -> str:
        on, off = math.degrees(self.drive.turn_on), math.degrees(self.drive.turn_off)
        return (
            f"DriveRun({self.coupling}, {speed_text(self.speed)}, on {on:.4g} to {off:.4g} deg: mean torque "
            f"{self.mean_torque:.4g} N m, ripple {self.ripple:.3g} = {RIPPLE_FORMULA}, current "
            f"{self.rms_current:.4g} A rms and {self.peak_current:.4g} A peak, {self.input_power:.4g} W in, "
            f"{self.shaft_power:.4g} W at the shaft)"
        )

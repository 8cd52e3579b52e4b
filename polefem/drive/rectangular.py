"""The ideal rectangular current: what the shaft feels when currents rise and fall in no time.

Only the static torque of the map counts here. A phase at constant current does the work that its co-energy
gains from turn-on to turn-off, so that the mean torque is had from two values of the co-energy, without a
quadrature.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from polefem.errors import InvalidValue, refusal
from polefem.maps import FluxMap
from polefem.params.checks import positive
from polefem.params.drive_spec import RectangularCurrent

__all__ = [
    "RIPPLE_FORMULA",
    "RectangularTorque",
    "copper_loss",
    "current_for_copper_loss",
    "current_for_mean_torque",
    "mean_torque",
    "rectangular_torque",
    "ripple_error",
    "torque_error",
]

Array = NDArray[np.float64]

RIPPLE_FORMULA = "(max - min) / |mean|"
"""The torque ripple that is reported; half of it is what (max - min) / (max + min) gives for a small
ripple."""

#: Share of the worst angle's torque error by which the extremes and the mean of a stroke may be off (a test on random
#: machines holds it).
COVER_RIPPLE = 0.3

_SAMPLES = 720
_HARMONICS = 24


@dataclass(frozen=True, eq=False, repr=False)
class RectangularTorque:
    """Torque of all phases summed, over one stroke, under the ideal rectangular current.

    drive, current: what was asked, A.
    angles: ndarray, shape (n,), rad, over one stroke, 0 aligned with the first phase; where a phase switches,
    the angle stands twice, with the torque before and after. torque: ndarray, shape (n,), N m. mean, highest,
    lowest: of it, N m; the lowest is the starting torque from the worst rest angle. ripple: RIPPLE_FORMULA.
    harmonics: ndarray, shape (24,), N m: amplitudes at 1, 2, ... times the stroke frequency. rms_current: of
    one phase, A. ripple_error: how far the ripple may be off by the map's own estimate, where it has one.
    """

    drive: RectangularCurrent
    current: float
    angles: Array
    torque: Array
    mean: float
    highest: float
    lowest: float
    ripple: float
    harmonics: Array
    rms_current: float
    ripple_error: float | None = None

    def __post_init__(self) -> None:
        for array in (self.angles, self.torque, self.harmonics):
            array.flags.writeable = False

    def __repr__(self) -> str:
        on, off = math.degrees(self.drive.turn_on), math.degrees(self.drive.turn_off)
        return (
            f"RectangularTorque({self.current:.4g} A from {on:.4g} to {off:.4g} deg: mean {self.mean:.4g} N m, "
            f"lowest {self.lowest:.4g} N m, ripple {self.ripple:.3g} = {RIPPLE_FORMULA})"
        )


def rectangular_torque(
    m: FluxMap, drive: RectangularCurrent, current: float, samples: int = _SAMPLES
) -> RectangularTorque:
    """The summed torque over one stroke; `samples` is how many angles to look at.

    Neighbouring phases are summed as if each were alone: their sharing of a saturated yoke is not in a map.
    Raises InvalidValue for a current beyond the map's, or a dwell longer than a rotor pitch.

    >>> from polefem.maps import linear_map
    >>> from polefem.units import deg
    >>> m = linear_map(60e-3, 6e-3, full=0.0, apart=30 * deg, current=10.0)
    >>> rectangular_torque(m, RectangularCurrent(-29 * deg, -4 * deg), 10.0)
    RectangularTorque(10 A from -29 to -4 deg: mean 4.297 N m, lowest 0 N m, ripple 1.2 = (max - min) / |mean|)
    """
    current = _checked(m, drive, current)
    angles = _angles(m, drive, samples)
    torque = np.concatenate([_summed(m, drive, current, piece) for piece in angles])
    angle = np.concatenate(angles)
    mean = mean_torque(m, drive, current)
    highest, lowest = float(torque.max()), float(torque.min())
    ripple = (highest - lowest) / abs(mean) if mean else math.inf
    return RectangularTorque(
        drive=drive,
        current=current,
        angles=angle,
        torque=torque,
        mean=mean,
        highest=highest,
        lowest=lowest,
        ripple=ripple,
        harmonics=_harmonics(angle, torque, m.stroke),
        rms_current=current * math.sqrt(drive.dwell / m.pitch),
        ripple_error=ripple_error(m, current, ripple, mean),
    )


def mean_torque(m: FluxMap, drive: RectangularCurrent, current: float) -> float:
    """Mean of the summed torque, N m: the gain of co-energy of a phase, once a stroke."""
    current = _checked(m, drive, current)
    before, after = m.at([drive.turn_on, drive.turn_off], current)[2]
    return float(after - before) / m.stroke


def torque_error(m: FluxMap, current: float) -> float | None:
    """How far any torque at a current (A) may be off by the map's own estimate, N m; None where it has none.

    The map's estimate is that of its worst point. In parts of the peak torque of its current it is about the same
    at all currents.
    """
    if m.torque_error is None:
        return None
    peak = np.abs(m.at(m.angles, current)[1]).max()
    return m.torque_error * float(peak / np.abs(m.torque).max())


def ripple_error(m: FluxMap, current: float, ripple: float, mean: float) -> float | None:
    """How far a ripple at a current (A), of a mean torque (N m), may be off by the map's own estimate.

    Highest and lowest torque off in opposite ways, and the mean too, each by `COVER_RIPPLE` of the torque error.
    """
    error = torque_error(m, current)
    return None if error is None or not mean else COVER_RIPPLE * (2 + ripple) * error / abs(mean)


def copper_loss(m: FluxMap, drive: RectangularCurrent, current: float, resistance: float) -> float:
    """Copper loss of all phases, W, for the resistance of one phase, ohm."""
    return m.phases * resistance * current**2 * drive.dwell / m.pitch


def current_for_copper_loss(m: FluxMap, drive: RectangularCurrent, resistance: float, loss: float) -> float:
    """The current, A, at which the copper loss of all phases is `loss`, W; `resistance` of one phase, ohm.

    Raises InvalidValue where that current is beyond the map's.
    """
    positive("a phase must have a resistance", "resistance", resistance, "ohm")
    positive("a copper loss must be positive", "loss", loss, "W")
    return _checked(m, drive, math.sqrt(loss / copper_loss(m, drive, 1.0, resistance)))


def current_for_mean_torque(m: FluxMap, drive: RectangularCurrent, torque: float) -> float:
    """The current, A, at which the mean of the summed torque is `torque`, N m (below 0: generating).

    Raises InvalidValue where the drive gives no such torque at any current of the map.
    """
    last = float(m.currents[-1])
    reach = mean_torque(m, drive, last)
    if not 0.0 < torque / reach <= 1.0 if reach else True:
        rule = "the mean torque must be within what the map's last current gives"
        found, most = f"{torque:.6g} N m", f"between 0 and {reach:.6g} N m, that of {last:.6g} A"
        raise InvalidValue(refusal(rule, "torque", found, most))
    return float(brentq(lambda i: mean_torque(m, drive, i) - torque, 0.0, last, xtol=1e-9 * last))


def _checked(m: FluxMap, drive: RectangularCurrent, current: float) -> float:
    if drive.dwell > m.pitch * (1 + 1e-9):
        found, most = f"{math.degrees(drive.dwell):.6g} deg", f"up to {math.degrees(m.pitch):.6g} deg"
        raise InvalidValue(refusal("a phase conducts for no more than a rotor pitch", "dwell", found, most))
    current = positive("a rectangular current must flow", "current", current, "A", zero=True)
    if current > m.currents[-1] * (1 + 1e-12):
        found, most = f"{current:.6g} A", f"up to {m.currents[-1]:.6g} A"
        raise InvalidValue(refusal("a map says nothing beyond its last current", "current", found, most))
    return current


def _angles(m: FluxMap, drive: RectangularCurrent, samples: int) -> list[Array]:
    """Angles of one stroke, in pieces within which no phase switches, each with both its ends."""
    switching = np.mod([drive.turn_on, drive.turn_off], m.stroke)
    edges = np.unique(np.round(np.concatenate([[0.0, m.stroke], switching]), 12))
    counts = np.maximum(3, np.rint(samples * np.diff(edges) / m.stroke).astype(int) + 1)
    return [
        np.linspace(a, b, n) for a, b, n in zip(edges[:-1], edges[1:], counts, strict=True) if b - a > 1e-9
    ]


def _summed(m: FluxMap, drive: RectangularCurrent, current: float, angles: Array) -> Array:
    middle = (angles[0] + angles[-1]) / 2
    own = np.arange(m.phases) * -m.stroke
    conducts = np.mod(middle + own - drive.turn_on, m.pitch) < drive.dwell
    torque = m.at(angles + own[conducts, None], current)[1]
    summed: Array = torque.sum(axis=0)
    return summed


def _harmonics(angle: Array, torque: Array, stroke: float) -> Array:
    """Fourier amplitudes by the trapezoidal rule, which a doubled angle passes over without harm."""
    orders = np.arange(1, _HARMONICS + 1)
    wave = torque * np.exp(-2j * np.pi / stroke * orders[:, None] * angle)
    area = ((wave[:, 1:] + wave[:, :-1]) / 2 * np.diff(angle)).sum(axis=1)
    amplitudes: Array = 2 / stroke * np.abs(area)
    return amplitudes

"""The rectangular current: what the shaft feels when currents rise and fall in no time, or along ramps.

Every conducting phase carries the same constant current. Between the angles at which phases are switched and those at
which the map's pieces meet, the co-energy is then a cubic in the angle and the torque a parabola: three values a piece
say all about it, so that its extremes are exact, both one-sided values at every switching angle count, and the work of
a rotor pitch is had from values of the co-energy, without a quadrature. On ramps the torque bends more: they are cut
into short pieces, whose torque is taken for parabolas too, and the work is their quadrature. A whole rotor pitch is
followed, since its strokes are unlike where phases that share iron meet with unlike polarity.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
import scipy
from numpy.typing import NDArray

from polefem.drive.machine_map import of_machine
from polefem.errors import InvalidValue, refusal
from polefem.maps import CoupledMap
from polefem.params.checks import positive
from polefem.params.rectangular import RectangularCurrent

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

_HARMONICS = 24
_RAMP_PIECES = 8
_SAME_ANGLE = 1e-9  # of a rotor pitch


@dataclass(frozen=True, eq=False, repr=False)
class RectangularTorque:
    """Torque of the machine over one rotor pitch, under a rectangular current.

    drive, current: what was asked, A. coupling: of the map, "joint" where all phases share one field, "summed" where
    each phase is taken alone.
    angles: ndarray, shape (n,), rad, over a rotor pitch, 0 aligned with the first phase; where the pieces of the
    torque meet, the angle stands twice, with the torque before and after. torque: ndarray, shape (n,), N m. mean,
    highest, lowest: of it, N m; the lowest is the starting torque from the worst rest angle. ripple: RIPPLE_FORMULA.
    stroke_ripples: ndarray, shape (n_phases,): highest less lowest torque of each stroke, from one turn-on to the
    next, over |mean|. rms_current: of one phase, A. ripple_error: how far the ripple may be off by the map's own
    estimate, where it has one.
    """

    drive: RectangularCurrent
    current: float
    coupling: str
    angles: Array
    torque: Array
    mean: float
    highest: float
    lowest: float
    ripple: float
    stroke_ripples: Array
    rms_current: float
    ripple_error: float | None = None

    def __post_init__(self) -> None:
        for array in (self.angles, self.torque, self.stroke_ripples):
            array.flags.writeable = False

    @cached_property
    def harmonics(self) -> Array:
        """Amplitudes at 1, 2, ... times the electrical frequency, N m, shape (24 n_phases,), of which every n_phases-th
        is a harmonic of the stroke; the others are 0 where strokes are alike."""
        found = _harmonics(self.stroke_ripples.size, self.angles.reshape(-1, 3), self.torque.reshape(-1, 3))
        found.flags.writeable = False
        return found

    @property
    def weakest(self) -> float:
        """The weakest torque in the direction of the mean, N m: where a motor pulls, a generator brakes least."""
        return self.lowest if self.mean >= 0.0 else self.highest

    @property
    def strongest(self) -> float:
        """The strongest torque in the direction of the mean, N m."""
        return self.highest if self.mean >= 0.0 else self.lowest

    def __repr__(self) -> str:
        on, off = math.degrees(self.drive.turn_on), math.degrees(self.drive.turn_off)
        return (
            f"RectangularTorque({self.current:.4g} A from {on:.4g} to {off:.4g} deg, phases {self.coupling}: mean "
            f"{self.mean:.4g} N m, lowest {self.lowest:.4g} N m, ripple {self.ripple:.3g} = {RIPPLE_FORMULA})"
        )


class _Pieces(NamedTuple):
    """Where the torque is a parabola: start, middle and end, rad, shape (n, 3), and phase currents there, A, shape
    (n, 3, n_phases)."""

    angles: Array
    currents: Array


def rectangular_torque(m: CoupledMap, drive: RectangularCurrent, current: float) -> RectangularTorque:
    """The torque of all phases over one rotor pitch at a current, A.

    Raises InvalidValue for a current beyond the map's, or a dwell longer than a rotor pitch.

    >>> from polefem.maps import linear_map, summed
    >>> from polefem.units import deg
    >>> m = summed(linear_map(60e-3, 6e-3, full=0.0, apart=30 * deg, current=10.0))
    >>> round(rectangular_torque(m, RectangularCurrent(-29 * deg, -4 * deg), 10.0).mean, 3)
    4.297
    """
    pieces = _pieces(m, drive, _checked(m, drive, current))
    angles, torque = pieces.angles, m.torque(*pieces)
    mean = (_area(angles, torque) if drive.ramp else _work(m, pieces)) / m.pitch
    highs, lows = _extremes(torque)
    highest, lowest = float(highs.max()), float(lows.min())
    size = abs(mean) or math.nan
    stroke = (np.mod(angles[:, 1] - drive.turn_on, m.pitch) / m.stroke).astype(int)
    own = [np.ptp([*highs[stroke == phase], *lows[stroke == phase]]) for phase in range(m.phases)]
    ripple = (highest - lowest) / size if mean else math.inf
    return RectangularTorque(
        drive=drive,
        current=current,
        coupling=m.coupling,
        angles=angles.ravel(),
        torque=torque.ravel(),
        mean=mean,
        highest=highest,
        lowest=lowest,
        ripple=ripple,
        stroke_ripples=np.array(own) / size if mean else np.full(m.phases, math.inf),
        rms_current=current * math.sqrt(drive.heating_dwell / m.pitch),
        ripple_error=ripple_error(m, current, ripple, mean),
    )


def mean_torque(m: CoupledMap, drive: RectangularCurrent, current: float) -> float:
    """Mean torque, N m: the work over a rotor pitch, of the co-energy between switching angles where currents step."""
    pieces = _pieces(m, drive, _checked(m, drive, current), knots=drive.ramp > 0.0)
    return (_area(pieces.angles, m.torque(*pieces)) if drive.ramp else _work(m, pieces)) / m.pitch


def torque_error(m: CoupledMap, current: float) -> float | None:
    """How far any torque at a current (A) may be off by the map's own estimate, N m; None where it has none.

    The map's estimate is that of its worst point. In parts of the peak torque of its current it is about the same
    at all currents.
    """
    if m.torque_error is None:
        return None
    peak = np.abs(m.single.at(m.angles, current)[1]).max()
    return m.torque_error * float(peak / np.abs(m.single.torque).max())


def ripple_error(m: CoupledMap, current: float, ripple: float, mean: float) -> float | None:
    """How far a ripple at a current (A), of a mean torque (N m), may be off by the map's own estimate.

    Highest and lowest torque off in opposite ways, and the mean too, each by `COVER_RIPPLE` of the torque error.
    """
    error = torque_error(m, current)
    return None if error is None or not mean else COVER_RIPPLE * (2 + ripple) * error / abs(mean)


def copper_loss(m: CoupledMap, drive: RectangularCurrent, current: float, resistance: float) -> float:
    """Copper loss of all phases, W, for the resistance of one phase, ohm."""
    return of_machine(m).phases * resistance * current**2 * drive.heating_dwell / m.pitch


def current_for_copper_loss(
    m: CoupledMap, drive: RectangularCurrent, resistance: float, loss: float
) -> float:
    """The current, A, at which the copper loss of all phases is `loss`, W; `resistance` of one phase, ohm.

    Raises InvalidValue where that current is beyond the map's.
    """
    positive("a phase must have a resistance", "resistance", resistance, "ohm")
    positive("a copper loss must be positive", "loss", loss, "W")
    return _checked(m, drive, math.sqrt(loss / copper_loss(m, drive, 1.0, resistance)))


def current_for_mean_torque(m: CoupledMap, drive: RectangularCurrent, torque: float) -> float:
    """The current, A, at which the mean torque is `torque`, N m (below 0: generating).

    Raises InvalidValue where the drive gives no such torque at any current of the map.
    """
    last = float(of_machine(m).currents[-1])
    reach = mean_torque(m, drive, last)
    if not 0.0 < torque / reach <= 1.0 if reach else True:
        rule = "the mean torque must be within what the map's last current gives"
        found, most = f"{torque:.6g} N m", f"between 0 and {reach:.6g} N m, that of {last:.6g} A"
        raise InvalidValue(refusal(rule, "torque", found, most))
    return float(
        scipy.optimize.brentq(lambda i: mean_torque(m, drive, i) - torque, 0.0, last, xtol=1e-9 * last)
    )


def _checked(m: CoupledMap, drive: RectangularCurrent, current: float) -> float:
    of_machine(m)
    if drive.flow > m.pitch * (1 + _SAME_ANGLE):
        found, most = f"{math.degrees(drive.flow):.6g} deg", f"up to {math.degrees(m.pitch):.6g} deg"
        what = "dwell and ramp" if drive.ramp else "dwell"
        raise InvalidValue(refusal("a phase conducts for no more than a rotor pitch", what, found, most))
    current = positive("a rectangular current must flow", "current", current, "A", zero=True)
    if current > m.currents[-1] * (1 + _SAME_ANGLE):
        found, most = f"{current:.6g} A", f"up to {m.currents[-1]:.6g} A"
        raise InvalidValue(refusal("a map says nothing beyond its last current", "current", found, most))
    return min(current, float(m.currents[-1]))


def _pieces(m: CoupledMap, drive: RectangularCurrent, current: float, knots: bool = True) -> _Pieces:
    """The pieces of a rotor pitch between its switching angles and, with `knots`, those where the map's pieces meet."""
    lag = np.arange(m.phases) * m.stroke
    rising = np.linspace(0.0, drive.ramp, _RAMP_PIECES + 1) if drive.ramp else np.zeros(1)
    edges = [
        np.array([0.0]),
        *((at + rising[:, None] + lag).ravel() for at in (drive.turn_on, drive.turn_off)),
    ]
    if knots:
        edges += [(m.single.potential.angles[:, None] + lag).ravel(), *(one.angles for one in m.interactions)]
    close = _SAME_ANGLE * m.pitch
    starts = np.unique(np.mod(np.concatenate(edges), m.pitch))
    starts = starts[
        np.diff(starts, append=m.pitch) > close
    ]  # of two that are one, the later; none at the end
    starts[0] = 0.0
    ends = np.append(starts[1:], m.pitch)
    angles = np.stack([starts, (starts + ends) / 2, ends], axis=-1)
    where = angles if drive.ramp else angles[:, [1, 1, 1]]  # at both of its ends a step is on neither side
    since = np.mod(where[..., None] - lag - drive.turn_on, m.pitch)
    return _Pieces(angles, current * drive.share(since))


def _work(m: CoupledMap, pieces: _Pieces) -> float:
    """Work on the shaft over a rotor pitch, J: what the co-energy gains in each piece, at the piece's currents."""
    coenergy = m.coenergy(pieces.angles[:, ::2], pieces.currents[:, ::2])
    return float((coenergy[:, 1] - coenergy[:, 0]).sum())


def _area(angles: Array, torque: Array) -> float:
    """Work over a rotor pitch, J, of torque at the starts, middles and ends of pieces, shape (n, 3): Simpson's rule."""
    return float((angles[:, 2] - angles[:, 0]) @ (torque @ np.array([1.0, 4.0, 1.0]))) / 6


def _parabola(torque: Array) -> tuple[Array, Array, Array]:
    """Powers 0 to 2 of the place in a piece, each of shape (n,), from values (n, 3) at its start, middle and end."""
    first, middle, last = torque.T
    return first, 4 * middle - 3 * first - last, 2 * (first + last) - 4 * middle


def _extremes(torque: Array) -> tuple[Array, Array]:
    """Highest and lowest values, shape (n,), of parabolas with values (n, 3) at the start, the middle and the end."""
    first, slope, bend = _parabola(torque)
    top = np.clip(-slope / np.where(bend == 0.0, np.inf, 2 * bend), 0.0, 1.0)
    values = np.stack([first, torque[:, 2], first + top * (slope + top * bend)])
    return values.max(axis=0), values.min(axis=0)


def _harmonics(phases: int, angles: Array, torque: Array) -> Array:
    """Fourier amplitudes over a rotor pitch of parabolas with values at the start, the middle and the end of pieces,
    each of shape (n, 3), by parts: exact."""
    pitch = angles[-1, 2] - angles[0, 0]
    order = 2 * np.pi / pitch * np.arange(1, _HARMONICS * phases + 1)[:, None]
    first, slope, bend = _parabola(torque)
    width = angles[:, 2] - angles[:, 0]

    def primitive(angle: Array, value: Array, rise: Array) -> Array:
        curve = 2 * bend / width**2
        inner = 1j * value / order + rise / width / order**2 - 1j * curve / order**3
        return np.asarray(np.exp(-1j * order * angle) * inner)

    ends = primitive(angles[:, 2], torque[:, 2], slope + 2 * bend) - primitive(angles[:, 0], first, slope)
    amplitudes: Array = 2 / pitch * np.abs(ends.sum(axis=1))
    return amplitudes

"""Angle from what a controller can measure: flux linkage or incremental inductance, and current.

Half a rotor pitch, unaligned to aligned, is all that a phase can tell apart: with symmetric poles the other
half looks the same, and which half it is must come from another phase or from the direction of turning.
Within the half, iron that saturates can give the same incremental inductance at two angles; near aligned and
unaligned the values hardly change with angle. Both are marked.

A phase also measures its neighbours: what flows in them shifts its flux linkage and its inductance. A table is of given
currents beside the phase, and says by how much one that was made without them misreads the angle.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from polefem.drive.machine_map import of_machine
from polefem.errors import InvalidValue, refusal
from polefem.maps import CoupledMap
from polefem.params.checks import increasing, whole

__all__ = ["AngleReading", "PositionTable", "Quantity", "angle_reading", "position_table"]

Array = NDArray[np.float64]

Quantity = Literal["flux_linkage", "incremental_inductance"]
"""What is measured: Wb or H."""


@dataclass(frozen=True, eq=False, repr=False)
class PositionTable:
    """What a phase measures at each current and angle.

    quantity: what is measured. currents: ndarray, shape (k,), A. angles: ndarray, shape (n,), rad, from
    unaligned up to aligned, 0. values: ndarray, shape (k, n), Wb or H. slopes: ndarray, shape (k, n), their
    change with angle. ambiguous: ndarray of bool, shape (k, n): the same value stands at another angle of the
    half pitch too. phase: that is measured. beside: currents of the others, A, shape (phases,), 0 for the phase itself.
    coupling: of the map, "joint" or "summed".
    """

    quantity: Quantity
    currents: Array
    angles: Array
    values: Array
    slopes: Array
    ambiguous: NDArray[np.bool_]
    phase: int
    beside: Array
    coupling: str

    def __post_init__(self) -> None:
        for name in ("currents", "angles", "values", "slopes", "ambiguous", "beside"):
            getattr(self, name).flags.writeable = False

    def find(self, current: float, value: float) -> tuple[float, ...]:
        """All angles, rad, of the half pitch at which a current (A) goes with a value; none where no angle
        has it.

        Raises InvalidValue for a current outside the table's.
        """
        if not self.currents[0] <= current <= self.currents[-1]:
            found, most = f"{current:.6g} A", f"{self.currents[0]:.6g} to {self.currents[-1]:.6g} A"
            raise InvalidValue(
                refusal("a position is read within the table's currents", "current", found, most)
            )
        row = np.array([np.interp(current, self.currents, column) for column in self.values.T]) - value
        crossing = np.flatnonzero(row[:-1] * row[1:] < 0.0)
        share = row[crossing] / (row[crossing] - row[crossing + 1])
        angles = self.angles[crossing] + share * (self.angles[crossing + 1] - self.angles[crossing])
        return tuple(np.sort(np.append(angles, self.angles[row == 0.0])).tolist())

    def misreading(self, measured: PositionTable) -> Array:
        """By how much this table misreads the angle, rad, where `measured` is what the phase does.

        Of the shape of that table, nan where no angle has the value. Of several angles the nearest counts.
        """
        wrong = np.full(measured.values.shape, np.nan)
        for k, current in enumerate(measured.currents):
            for n, angle in enumerate(measured.angles):
                off = np.array(self.find(float(current), float(measured.values[k, n]))) - angle
                if off.size:
                    wrong[k, n] = off[np.abs(off).argmin()]
        return wrong

    def uncertainty(self, error: float) -> Array:
        """Error of the angle, rad, shape (k, n), that a relative error of the value makes; infinite where
        blind."""
        with np.errstate(divide="ignore"):
            return np.abs(error * self.values / self.slopes)

    def reach(self, error: float) -> Array:
        """How far from its angle the rotor may be, rad, shape (k, n), where a value is off by up to a relative error.

        The furthest angle of the half pitch that has a value within it, so that it stays finite where the value hardly
        changes, and knows of a value that stands twice.
        """
        return np.stack([_reach(self.angles, row, error) for row in self.values])

    def __repr__(self) -> str:
        share = float(self.ambiguous.mean())
        return (
            f"PositionTable({self.coupling}, {self.quantity}: {self.currents.size} currents x "
            f"{self.angles.size} angles, {share:.1%} ambiguous)"
        )


def position_table(
    m: CoupledMap,
    currents: ArrayLike,
    *,
    quantity: Quantity = "flux_linkage",
    phase: int = 0,
    beside: ArrayLike = 0.0,
    samples: int = 91,
) -> PositionTable:
    """The table of a map for a list of currents (A, increasing, above 0); `samples` angles over half a pitch.

    phase: that is measured; its own angles count. beside: what flows in the other phases, A, one number or shape
    (phases,), of which the phase's own is not used.

    Raises InvalidValue for currents that do not increase or lie beyond the map, or another quantity or phase.
    """
    rule = "the currents of a table must increase"
    amps = increasing(rule, "currents", currents, "A")
    if amps[0] <= 0.0:
        raise InvalidValue(
            refusal("no current tells no angle", "currents[0]", f"{amps[0]:.6g} A", "above 0 A")
        )
    whole("a table has angles", "samples", samples, 3)
    if phase not in range(of_machine(m).phases):
        raise InvalidValue(refusal("a machine has so many phases", "phase", phase, f"0 to {m.phases - 1}"))
    angles = np.linspace(-m.pitch / 2, 0.0, samples)
    others: Array = np.array(np.broadcast_to(np.asarray(beside, dtype=float), (m.phases,)))
    others[phase] = 0.0
    flowing = others + amps[:, None, None] * (np.arange(m.phases) == phase)
    turned = angles + phase * m.stroke
    match quantity:
        case "flux_linkage":
            values = m.at(turned, flowing).flux_linkages[..., phase]
        case "incremental_inductance":
            values = m.inductances(turned, flowing)[..., phase, phase]
        case _:
            options = "flux_linkage, incremental_inductance"
            raise InvalidValue(
                refusal("a position is read from one of two", "quantity", repr(quantity), options)
            )
    slopes = np.gradient(values, angles, axis=1)
    seen = _seen_twice(values)
    return PositionTable(quantity, amps, angles, values, slopes, seen, phase, others, m.coupling)


@dataclass(frozen=True, eq=False)
class AngleReading:
    """How far off the angle is that idle phases tell.

    angles: ndarray, shape (n,), rad, of the rotor over a pitch, from aligned of the first phase. of_phase: ndarray,
    shape (phases, n), rad, how far off each phase alone may be where its poles approach, nan where they part: which
    half it is in must come from elsewhere. best: ndarray, shape (n,), rad, of the phase that reads best, half a
    pitch where none is read.
    """

    angles: Array
    of_phase: Array
    best: Array

    def __post_init__(self) -> None:
        for values in (self.angles, self.of_phase, self.best):
            values.flags.writeable = False


def angle_reading(m: CoupledMap, current: float, error: float, samples: int = 361) -> AngleReading:
    """How well a map's angle is read off the flux linkage of idle phases at a small current (A), one after the other,
    where that may be off by a relative error.

    samples: angles over half a pitch. Raises InvalidValue for an error that is not above 0 and below 1, and as
    `position_table` does.
    """
    if not 0.0 < error < 1.0:
        rule = "a measured value is off by a share of it"
        raise InvalidValue(refusal(rule, "error", f"{error:.4g}", "above 0 and below 1"))
    angles = np.arange(2 * (samples - 1)) * m.pitch / (2 * (samples - 1))
    of_phase = np.full((m.phases, angles.size), np.nan)
    for phase, row in enumerate(of_phase):
        table = position_table(m, [current], phase=phase, samples=samples)
        own = np.mod(angles - phase * m.stroke + m.pitch / 2, m.pitch) - m.pitch / 2
        near = own <= 1e-9
        row[near] = np.interp(own[near], table.angles, table.reach(error)[0])
    return AngleReading(angles, of_phase, np.nan_to_num(of_phase, nan=m.pitch / 2).min(axis=0))


def _reach(angles: Array, values: Array, error: float) -> Array:
    low, high = values - error * np.abs(values), values + error * np.abs(values)
    within = (values >= low[:, None]) & (values <= high[:, None])
    ends = np.argmax(within, axis=1), values.size - 1 - np.argmax(within[:, ::-1], axis=1)
    away = []
    for end, step in zip(ends, (-1, 1), strict=True):
        beyond = np.clip(end + step, 0, values.size - 1)
        bound = np.clip(values[beyond], low, high)
        rise = values[beyond] - values[end]
        share = np.divide(bound - values[end], rise, out=np.zeros(values.size), where=rise != 0.0)
        away.append(np.abs(angles[end] + share * (angles[beyond] - angles[end]) - angles))
    furthest: Array = np.maximum(*away)
    return furthest


def _seen_twice(values: Array) -> NDArray[np.bool_]:
    """Where a value of a row stands a second time, between any two neighbours that do not touch its own
    place."""
    n = values.shape[1]
    below = values[:, None, :] < values[:, :, None]
    crossing = below[:, :, 1:] != below[:, :, :-1]
    near = np.abs(np.arange(n)[:, None] - np.arange(n - 1)[None, :] - 0.5) < 1.0
    twice: NDArray[np.bool_] = (crossing & ~near).any(axis=2)
    return twice

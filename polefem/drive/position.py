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

from polefem.errors import InvalidValue, refusal
from polefem.maps import CoupledMap
from polefem.params.checks import increasing, whole

__all__ = ["PositionTable", "Quantity", "position_table"]

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
    if phase not in range(m.phases):
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


def _seen_twice(values: Array) -> NDArray[np.bool_]:
    """Where a value of a row stands a second time, between any two neighbours that do not touch its own
    place."""
    n = values.shape[1]
    below = values[:, None, :] < values[:, :, None]
    crossing = below[:, :, 1:] != below[:, :, :-1]
    near = np.abs(np.arange(n)[:, None] - np.arange(n - 1)[None, :] - 0.5) < 1.0
    twice: NDArray[np.bool_] = (crossing & ~near).any(axis=2)
    return twice

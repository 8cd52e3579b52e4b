"""The pressure in the gap as waves: so many round the circle, so often in an electrical cycle."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from polefem.files import write_text
from polefem.forces.pressure import GapPressure

__all__ = ["PressureWaves", "pressure_waves", "write_waves"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class PressureWaves:
    """Pull and shear in the gap as sums of waves A cos(order phi - harmonic N_r theta + phase), Pa.

    orders: ndarray, shape (n_orders,): waves round the turn; above 0 they run with the rotor (counter-clockwise as the
    angle grows), below 0 against it, 0 swells all round at once. harmonics: ndarray, shape (n_harmonics,): of the
    electrical frequency, one cycle of which is a rotor pitch; harmonic 0 stands still. pull, shear: ndarrays, complex,
    shape (n_orders, n_harmonics), Pa: A exp(i phase). A wave that stands still is shown once, at its order above 0.
    rotor_poles: cycles in a turn.
    """

    orders: NDArray[np.int64]
    harmonics: NDArray[np.int64]
    pull: NDArray[np.complex128]
    shear: NDArray[np.complex128]
    rotor_poles: int

    def __post_init__(self) -> None:
        for array in (self.orders, self.harmonics, self.pull, self.shear):
            array.flags.writeable = False

    def frequency(self, speed: float) -> Floats:
        """Of each harmonic, Hz, shape (n_harmonics,), at a speed of the rotor, rad/s."""
        return np.asarray(self.harmonics * (self.rotor_poles * abs(speed) / (2 * math.pi)), dtype=np.float64)

    def amplitude(self, order: int, harmonic: int) -> float:
        """Of the pull of one wave, Pa; 0 beyond what is held."""
        row, column = np.flatnonzero(self.orders == order), np.flatnonzero(self.harmonics == harmonic)
        return float(np.abs(self.pull[row[0], column[0]])) if row.size and column.size else 0.0

    def strongest(self, count: int) -> list[tuple[int, int, float]]:
        """Order, harmonic and amplitude (Pa) of the strongest waves of the pull that move, the strongest first."""
        size = np.abs(self.pull) * (self.harmonics > 0)
        rows, columns = np.unravel_index(np.argsort(size, axis=None)[::-1][:count], size.shape)
        return [
            (int(self.orders[i]), int(self.harmonics[j]), float(size[i, j]))
            for i, j in zip(rows, columns, strict=True)
        ]


def pressure_waves(pressure: GapPressure, most: int = 24) -> PressureWaves:
    """The waves of a pressure, up to `most` round the turn either way and up to half as many harmonics as it has
    angles. Both are exact sums over even places and angles; what is left out is beyond them.

    A fast change, such as a current that is switched at once, has harmonics beyond any number of angles: those that are
    held take up what the others would show between the angles.
    """
    count = len(pressure.angles)
    harmonics = np.arange((count + 1) // 2)
    orders = np.arange(-most, most + 1)
    # A exp(i (order phi - harmonic N_r theta)): its share is the mean of the pressure times the conjugate wave.
    along = np.exp(-1j * orders[:, None] * pressure.places) / pressure.places.size
    over = np.exp(1j * harmonics[:, None] * pressure.rotor_poles * pressure.angles) / count
    still = harmonics == 0
    twice = np.where(still & (orders[:, None] == 0), 1.0, 2.0)
    shown = ~still | (orders[:, None] >= 0)
    pull, shear = (twice * shown * (along @ kind.T @ over.T) for kind in (pressure.pull, pressure.shear))
    return PressureWaves(orders, harmonics, pull, shear, pressure.rotor_poles)


def write_waves(waves: PressureWaves, path: str | Path) -> None:
    """Write every wave as a line of CSV: order, harmonic, then amplitude (Pa) and phase (rad) of pull and of shear."""
    lines = io.StringIO()
    table = csv.writer(lines, lineterminator="\n")
    table.writerow(("order", "harmonic", "pull (Pa)", "pull phase (rad)", "shear (Pa)", "shear phase (rad)"))
    for row, order in enumerate(waves.orders.tolist()):
        for column, harmonic in enumerate(waves.harmonics.tolist()):
            if harmonic or order >= 0:
                pull, shear = complex(waves.pull[row, column]), complex(waves.shear[row, column])
                parts = (f(z) for z in (pull, shear) for f in (abs, _phase))
                table.writerow((order, harmonic, *(repr(float(part)) for part in parts)))
    write_text(path, lines.getvalue())


def _phase(z: complex) -> float:
    return math.atan2(z.imag, z.real)

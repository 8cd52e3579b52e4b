"""Very many switchings at one speed at once: the ground that an optimiser starts from.

Each candidate is a phase by itself that conducts from turn-on to turn-off at up to a level of current, and starts its
cycle from nothing. All march through the same angles together, on tables of current and torque over angle and flux
linkage, by the trapezoidal rule: thousands in the time that `steady_state` takes for a dozen, which is why this second
simulator of the bridge is here. Good to a part in a hundred or so where phases share no field; what is chosen here is
computed anew on the map of the whole machine.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polefem.maps import FluxMap
from polefem.params.drive_spec import Bridge

__all__ = ["Scan", "Scanned"]

Array = NDArray[np.float64]

_STEPS = 240
_COLUMNS = 96


@dataclass(frozen=True, eq=False)
class Scanned:
    """What each candidate does; all arrays of shape (n_candidates,).

    mean_torque, highest, lowest: of the summed torque, N m. mean_square: of a phase's current, A^2. lawful:
    whether the current ends before the next turn-on.
    """

    mean_torque: Array
    highest: Array
    lowest: Array
    mean_square: Array
    lawful: NDArray[np.bool_]

    @property
    def ripple(self) -> Array:
        """By RIPPLE_FORMULA; infinite where there is no torque."""
        mean = np.abs(self.mean_torque)
        ripple = np.full(mean.shape, np.inf)
        np.divide(self.highest - self.lowest, mean, out=ripple, where=mean > 0.0)
        return ripple


class Scan:
    """Tables of one map for one direction of turning (1 or -1)."""

    def __init__(
        self, m: FluxMap, direction: float = 1.0, steps: int = _STEPS, columns: int = _COLUMNS
    ) -> None:
        self.steps = steps + -steps % m.phases
        self.phases, self.pitch, self.last = m.phases, m.pitch, float(m.currents[-1])
        angles = direction * np.arange(self.steps) * m.pitch / self.steps
        currents = np.linspace(0.0, self.last, columns + 1)
        self.flux = self._twice(m.at(angles[:, None], currents)[0])
        share = np.linspace(0.0, 1.0, columns + 1) * self.flux[: self.steps, -1:]
        current = m.invert(angles[:, None], share)
        self.current = self._twice(current)
        self.torque = self._twice(direction * m.at(angles[:, None], current)[1])
        self.scale = columns / self.flux[:, -1]

    def _twice(self, table: Array) -> Array:
        return np.concatenate([table, table])  # a cycle may begin at any row

    def run(
        self, bridge: Bridge, resistance: float, speed: float, on: Array, off: Array, level: Array
    ) -> Scanned:
        """Follow the candidates at a speed above 0, rad/s; on, off, level: shape (n,), rad and A.

        The source sags by the phase's own current alone.
        """
        step = self.pitch / self.steps
        time = step / speed
        ohms = (resistance + bridge.source_resistance) * time
        rise, fall = (
            time * (bridge.supply - 2 * bridge.switch_drop),
            time * (bridge.supply + 2 * bridge.diode_drop),
        )
        first = np.floor(on / step).astype(int)
        rows, start = first % self.steps, first * step
        place = np.minimum(level / self.last, 1.0) * (self.flux.shape[1] - 1)
        left = np.minimum(place.astype(int), self.flux.shape[1] - 2)
        share = place - left
        flux, current = np.zeros(on.size), np.zeros(on.size)
        torque, mean_square = np.zeros((self.steps, on.size)), np.zeros(on.size)
        end = off.max() - start.min()
        for n in range(self.steps):
            before = np.clip((on - start) / step, 0.0, 1.0) if n == 0 else 0.0
            inside = np.clip((off - start) / step - n, 0.0, 1.0) - before
            row = rows + n + 1
            held = (1 - share) * self.flux[row, left] + share * self.flux[row, left + 1]
            bare = flux - ohms * current
            lead = np.minimum(bare + rise * inside, np.maximum(held, bare - fall * inside))
            lead = np.where(inside > 0.0, lead, bare)
            free = lead != held
            flux = np.maximum(lead - fall * (1.0 - before - inside), 0.0)
            k, part = self._column(row, flux)
            low, slope = self.current[row, k], self.current[row, k + 1] - self.current[row, k]
            found = low + part * slope
            ease = (
                0.5 * ohms * (free & (flux > 0.0))
            )  # once the diodes block, nothing brings the current back
            back = ease * (found - current) / (1.0 + ease * slope * self.scale[row])
            flux = np.maximum(flux - back, 0.0)
            k, part = self._column(row, flux)
            current = (1 - part) * self.current[row, k] + part * self.current[row, k + 1]
            torque[n] = (1 - part) * self.torque[row, k] + part * self.torque[row, k + 1]
            mean_square += current**2
            if n * step > end and not flux.any():
                break
        summed = torque.reshape(self.phases, -1, on.size).sum(axis=0)
        return Scanned(
            summed.mean(axis=0), summed.max(axis=0), summed.min(axis=0), mean_square / self.steps, flux == 0.0
        )

    def _column(self, row: NDArray[np.intp], flux: Array) -> tuple[NDArray[np.intp], Array]:
        place = flux * self.scale[row]
        k = np.minimum(place.astype(np.intp), self.current.shape[1] - 2)
        return k, np.minimum(place - k, 1.0)

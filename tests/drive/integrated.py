"""The bridge on a coupled map by a general integrator: scipy's, with tight tolerances and the map's own functions.

Written down from the circuit alone, with the currents as unknowns: each conducting phase obeys d(flux linkage)/dt =
v - R i, a resting one has no current. Where a current ends, where one reaches an edge of its band and where a phase is
switched, the integration stops and goes on with the other set of equations. Nothing of `polefem.drive` is in it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from polefem.maps import CoupledMap
from polefem.params.drive_spec import Chopping, DriveSpec

__all__ = ["Integrated", "integrated"]

Floats = NDArray[np.float64]
Event = Callable[..., float]

TURN = 1e-6
"""Half of the angle over which flux linkages are differenced, rad."""


@dataclass(frozen=True, eq=False)
class Integrated:
    """One rotor pitch from turn-on of the first phase: angles (n,), rad; currents, flux linkages (n, phases); torque
    (n,); mean torque by the trapezoidal rule on them, N m; mean squares of the currents, A^2."""

    angles: Floats
    currents: Floats
    flux_linkages: Floats
    torque: Floats

    @property
    def mean_torque(self) -> float:
        return float(np.trapezoid(self.torque, self.angles) / np.ptp(self.angles))

    @property
    def mean_squares(self) -> Floats:
        return np.trapezoid(self.currents**2, self.angles, axis=0) / np.ptp(self.angles)


class _Circuit:
    """The slopes of the currents: inductances . di/dangle = volts / speed - R i / speed - d(flux linkages)/dangle."""

    def __init__(self, m: CoupledMap, drive: DriveSpec, speed: float) -> None:
        self.m, self.drive, self.speed, self.last = m, drive, speed, float(m.currents[-1])

    def slopes(self, angle: float, current: Floats, conducting: NDArray[np.bool_], volts: Floats) -> Floats:
        i = np.clip(np.where(conducting, current, 0.0), 0.0, self.last)
        around = self.m.at(np.array([angle - TURN, angle + TURN]), i).flux_linkages
        turning = (around[1] - around[0]) / (2 * TURN)
        inductances = self.m.inductances(angle, i)
        right = (volts - self.drive.resistance * i) / self.speed - turning
        found = np.zeros(i.size)
        found[conducting] = np.linalg.solve(inductances[np.ix_(conducting, conducting)], right[conducting])
        return found

    def own(self, angle: float) -> Floats:
        """Angles of all phases from turn-on, within a pitch; for a rotor that turns forwards."""
        return np.mod(angle - np.arange(self.m.phases) * self.m.stroke - self.drive.turn_on, self.m.pitch)


def integrated(
    m: CoupledMap,
    drive: DriveSpec,
    speed: float,
    start: Floats,
    rising: NDArray[np.bool_],
    samples: int = 1440,
) -> Integrated:
    """A rotor pitch at a speed above 0, rad/s, from currents at turn-on of the first phase (A), of which a band's
    comparators let some rise; `samples`, and the switchings."""
    bridge, control = drive.bridge, drive.control
    circuit = _Circuit(m, drive, speed)
    up, down = bridge.supply - 2 * bridge.switch_drop, -bridge.supply - 2 * bridge.diode_drop
    band = control if isinstance(control, Chopping) else None
    rest = down if band and band.hard else -bridge.switch_drop - bridge.diode_drop
    angle, current = drive.turn_on, np.array(start)
    rising, conducting = rising.copy(), current > 0.0
    rows: list[Floats] = []
    for stop in _stops(m, drive):
        own = circuit.own(0.5 * (angle + stop))
        on = own < drive.dwell
        rising[np.abs(own - (stop - angle) / 2) < 1e-9] = True
        conducting |= on
        while stop - angle > 1e-12:
            volts = np.where(on, np.where(rising, up, rest) if band else up, down)
            events = _events(band, on, rising, conducting)
            places = np.linspace(angle, stop, max(3, int(samples * (stop - angle) / m.pitch) + 1))
            done = solve_ivp(
                circuit.slopes, (angle, stop), current, "RK45", places, events=[e for _, e in events] or None,
                args=(conducting, volts), rtol=1e-7, atol=1e-7, max_step=m.pitch / 60,
            )  # fmt: skip
            assert done.success, done.message
            rows += [np.append(at, state) for at, state in zip(done.t, done.y.T, strict=True)]
            angle, current = stop, done.y[:, -1].copy()
            for (p, _), times, states in zip(events, done.t_events or [], done.y_events or [], strict=True):
                if times.size:
                    angle, current = float(times[-1]), states[-1].copy()
                    if band and on[p]:
                        rising[p] = not rising[p]
                    else:
                        conducting[p], current[p] = False, 0.0
            rows.append(np.append(angle, current))
    table = np.array(rows)
    currents = np.clip(table[:, 1:], 0.0, circuit.last)
    found = m.at(table[:, 0], currents)
    return Integrated(table[:, 0], currents, found.flux_linkages, found.torque)


def _stops(m: CoupledMap, drive: DriveSpec) -> Floats:
    """Angles at which a phase is switched on or off, and the end."""
    first, end = drive.turn_on, drive.turn_on + m.pitch
    shifts = m.stroke * np.arange(-m.phases, 2 * m.phases)
    edges = np.concatenate([drive.turn_on + shifts, drive.turn_off + shifts])
    return np.unique(np.round(np.append(edges[(edges > first + 1e-9) & (edges < end - 1e-9)], end), 12))


def _events(
    band: Chopping | None, on: NDArray[np.bool_], rising: NDArray[np.bool_], conducting: NDArray[np.bool_]
) -> list[tuple[int, Event]]:
    """Ends of currents and edges of bands, with the phase of each."""
    events = []
    for p in np.flatnonzero(conducting):
        if on[p] and band is None:
            continue
        level = (band.upper if rising[p] else band.lower) if on[p] and band else 0.0

        def event(_at: float, state: Floats, *_: object, p: int = p, level: float = level) -> float:
            return float(state[p] - level)

        event.terminal, event.direction = True, 1.0 if on[p] and rising[p] else -1.0  # type: ignore[attr-defined]
        events.append((int(p), event))
    return events

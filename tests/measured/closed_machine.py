"""A phase in closed form that knows every cause: what a correction must find again, with no field solved.

psi = U i + F(theta) S h(i / k), with S in step with the stacking factor and the saturation, k with the gap, and a knee
that lowers h at small currents only. Torque is the slope of its co-energy, by hand but for one integral over u.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from polefem.maps import FluxMap
from polefem.measured.prediction import Prediction, Slopes
from polefem.measured.readings import KINDS, Readings, joined
from polefem.units import deg, mm

UNALIGNED, LINKED, KNEE, WIDTH, POLES = 5e-3, 0.25, 4.0, 6.0, 4
END = 0.8e-3
DRAWN = {
    "angle_offset": 0.0,
    "air_gap": 0.5 * mm,
    "stacking_factor": 0.96,
    "ends": 1.0,
    "knee": 0.0,
    "saturation": 1.0,
}
STEPS = {"air_gap": 0.01 * mm, "stacking_factor": 0.002, "knee": 0.05, "saturation": 0.002}
TURNS = 120
_U = np.linspace(0.0, 6.0, 1501)


def form(u: np.ndarray, knee: float) -> tuple[np.ndarray, np.ndarray]:
    """h and its integral from 0."""
    h = np.tanh(_U) * (1.0 - 0.25 * knee * np.exp(-2.0 * _U**2))
    area = np.concatenate([[0.0], np.cumsum((h[1:] + h[:-1]) / 2) * (_U[1] - _U[0])])
    return np.interp(u, _U, h), np.interp(u, _U, area)


def closed(angle: np.ndarray, current: np.ndarray, values: Mapping[str, float]) -> tuple[np.ndarray, ...]:
    """Flux linkage, torque, co-energy of the flat section; angle of the machine, not of the mark."""
    now = {**DRAWN, **values}
    angle, current = np.broadcast_arrays(np.asarray(angle, float), np.asarray(current, float))
    overlap = np.exp(WIDTH * (np.cos(POLES * angle) - 1) / 2)
    turning = -WIDTH * POLES / 2 * np.sin(POLES * angle) * overlap
    k = KNEE * (0.2 + 0.8 * now["air_gap"] / DRAWN["air_gap"])
    linked = LINKED * now["stacking_factor"] / DRAWN["stacking_factor"] * now["saturation"]
    h, area = form(current / k, now["knee"])
    return (
        UNALIGNED * current + linked * overlap * h,
        linked * turning * k * area,
        UNALIGNED * current**2 / 2 + linked * overlap * k * area,
    )


def sampled(values: Mapping[str, float], ends: float = 0.0) -> FluxMap:
    angles, currents = np.linspace(0, np.pi / 4, 19), np.linspace(0.3, 12.0, 14)
    psi, torque, coenergy = closed(angles, currents[:, None], values)
    i = currents[:, None]
    return FluxMap(
        angles,
        currents,
        psi + ends * END * i,
        torque,
        coenergy + ends * END * i**2 / 2,
        3,
        POLES,
        mirror=True,
    )


def prediction(values: Mapping[str, float] | None = None) -> Prediction:
    """About some values of the causes."""
    now = {**DRAWN, **(values or {})}
    slopes = {
        name: Slopes(step, sampled({**now, name: now[name] + step}, 1.0)) for name, step in STEPS.items()
    }
    return Prediction(now, sampled(now), sampled(now, 1.0), slopes, TURNS)


def truth(readings: Readings, values: Mapping[str, float], turns: int = TURNS) -> np.ndarray:
    """What would be read without noise, straight from the closed form."""
    now, ratio = {**DRAWN, **values}, turns / TURNS
    i = ratio * readings.currents
    psi, torque, _ = closed(readings.angles + now["angle_offset"], i, now)
    psi = ratio * (psi + now["ends"] * END * i)
    return np.select(
        [readings.of("inductance"), readings.of("flux linkage"), readings.of("torque")],
        [psi / readings.currents, psi, torque],
    )


def points(only: tuple[str, ...] = KINDS, share: float = 0.01) -> Readings:
    """Where a bench measures, with deviations of a share of the largest of each kind."""
    angles = np.arange(-40, 41, 10) * deg
    grid = {"inductance": [0.3], "flux linkage": [1.0, 3.0, 6.0, 10.0], "torque": [4.0, 8.0]}
    sizes = {"inductance": 60e-3, "flux linkage": 0.3, "torque": 4.0}
    parts = []
    for kind, currents in grid.items():
        if kind in only:
            theta, i = (grid.ravel() for grid in np.meshgrid(angles, currents))
            own = np.full(theta.size, share * sizes[kind])
            parts.append(
                Readings(
                    (kind,) * theta.size, theta, i, own, own, tuple(f"{kind} {k}" for k in range(theta.size))
                )
            )
    return joined(*parts)


def measured(readings: Readings, values: Mapping[str, float], seed: int, turns: int = TURNS) -> Readings:
    random = np.random.default_rng(seed)
    exact = truth(readings, values, turns)
    return readings.with_values(exact + readings.deviations * random.standard_normal(len(readings)))

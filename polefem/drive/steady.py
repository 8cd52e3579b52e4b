"""The bridge at constant speed, in its periodic steady state."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from polefem.drive.cycle import Cycle, steady_cycle, summed_torque
from polefem.drive.drive_run import DriveRun, EnergyBalance
from polefem.errors import InvalidValue, refusal
from polefem.maps import FluxMap
from polefem.params.checks import positive, within
from polefem.params.drive_spec import DriveSpec

__all__ = ["steady_state"]

Array = NDArray[np.float64]

_STEPS = 720


def steady_state(
    m: FluxMap, drive: DriveSpec, speed: float, *, iron_loss: float = 0.0, steps: int = _STEPS
) -> DriveRun:
    """The steady state at a speed, rad/s; its sign is the direction of turning.

    iron_loss: of the machine at this point, W, where known: it is taken off the shaft. steps: of equal angle
    over a rotor pitch, besides those at which the bridge switches.

    Raises InvalidValue for a speed of nought, a dwell over a rotor pitch, a current that leaves the map, or a
    flux linkage that grows from cycle to cycle until it does.

    >>> from polefem.maps import linear_map
    >>> from polefem.params.drive_spec import Bridge
    >>> from polefem.units import deg
    >>> m = linear_map(60e-3, 6e-3, full=0.0, apart=30 * deg, current=20.0)
    >>> steady_state(m, DriveSpec(Bridge(48.0), 0.5, -30 * deg, -12 * deg), 40.0).energy.error < 1e-3
    True
    """
    limit = float("inf")
    speed = within("a speed is finite", "speed", speed, -limit, limit, "rad/s")
    if speed == 0.0:
        raise InvalidValue(
            refusal("a steady state turns", "speed", "0 rad/s", "any other; for rest see run_up")
        )
    positive("an iron loss cannot drive", "iron_loss", iron_loss, "W", zero=True)
    cycle = steady_cycle(m, drive, speed, steps)
    direction = np.sign(speed)
    torque = cycle.torque(m, speed)
    volts, energy = _energy(m, drive, cycle, direction)
    stroke_angles, summed = summed_torque(m, cycle.angles, torque, steps)
    return DriveRun(
        drive=drive,
        speed=speed,
        phases=m.phases,
        pitch=m.pitch,
        angles=cycle.angles,
        current=cycle.current,
        flux_linkage=cycle.flux_linkage,
        torque=torque,
        voltage=volts,
        stroke_angles=stroke_angles,
        summed_torque=summed,
        energy=energy,
        iron_loss=iron_loss,
        periodicity_error=cycle.periodicity_error,
    )


def _energy(m: FluxMap, drive: DriveSpec, cycle: Cycle, direction: float) -> tuple[Array, EnergyBalance]:
    """Mean voltage of each step, and the energies, each by the rule that the steps were made with."""
    bridge, i, time = drive.bridge, cycle.current, cycle.times
    sign, square, drop = cycle.states.T
    mean = (i[1:] + i[:-1]) / 2
    mean_square = (i[1:] ** 2 + i[1:] * i[:-1] + i[:-1] ** 2) / 3
    sag = bridge.source_resistance * (square * mean + sign * cycle.others)
    volts: Array = sign * bridge.supply - drop - sag
    given = volts * mean * time
    ends = m.at(direction * cycle.angles[[0, -1]], i[[0, -1]])
    field = cycle.flux_linkage[[0, -1]] * i[[0, -1]] - ends[2]
    energy = EnergyBalance(
        source=float((sign * bridge.supply * mean * time).sum()),
        source_loss=float((sag * mean * time).sum()),
        device_loss=float((drop * mean * time).sum()),
        copper=float((drive.resistance * mean_square * time).sum()),
        mechanical=_work(m, direction * cycle.angles, i),
        stored=float(field[1] - field[0]),
        lent=max(float(given[given > 0].sum()), float(-given[given < 0].sum())),
    )
    return volts, energy


def _work(m: FluxMap, angles: Array, current: Array) -> float:
    """Work of one phase on the shaft, J: in each step the change of co-energy at its first current and at its
    last.

    That is torque over angle, also across an angle at which the torque jumps.
    """
    coenergy = m.at(angles, current)[2]
    turned, begun = m.at(angles[1:], current[:-1])[2], m.at(angles[:-1], current[1:])[2]
    return float((turned - coenergy[:-1] + coenergy[1:] - begun).sum()) / 2

"""The bridge at constant speed, in its periodic steady state."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from polefem.drive.cycle import balance, steady_cycle
from polefem.drive.drive_run import DriveRun
from polefem.drive.machine_map import of_machine
from polefem.errors import InvalidValue, refusal
from polefem.maps import CoupledMap
from polefem.params.checks import positive, within
from polefem.params.drive_spec import DriveSpec

__all__ = ["steady_state"]

Array = NDArray[np.float64]

_STEPS = 720


def steady_state(
    m: CoupledMap, drive: DriveSpec, speed: float, *, iron_loss: float = 0.0, steps: int = _STEPS
) -> DriveRun:
    """The steady state of all phases at a speed, rad/s; its sign is the direction of turning.

    iron_loss: of the machine at this point, W, where known: it is taken off the shaft. steps: of equal angle
    over a rotor pitch, besides those at which a bridge switches.

    Raises InvalidValue for a speed of nought, a dwell over a rotor pitch, a current that leaves the map, or a
    flux linkage that grows from pitch to pitch until it does.

    >>> from polefem.maps import linear_map, summed
    >>> from polefem.params.drive_spec import Bridge
    >>> from polefem.units import deg
    >>> m = summed(linear_map(60e-3, 6e-3, full=0.0, apart=30 * deg, current=20.0))
    >>> steady_state(m, DriveSpec(Bridge(48.0), 0.5, -30 * deg, -12 * deg), 40.0).energy.error < 1e-3
    True
    """
    speed = within("a speed is finite", "speed", speed, -math.inf, math.inf, "rad/s")
    if speed == 0.0:
        rule, other = "a steady state turns", "any other; for rest see run_free_shaft"
        raise InvalidValue(refusal(rule, "speed", "0 rpm", other))
    positive("an iron loss cannot drive", "iron_loss", iron_loss, "W", zero=True)
    cycle = steady_cycle(of_machine(m), drive, speed, steps)
    current, flux, time = cycle.current, cycle.flux_linkage, cycle.steps.time[:, None]
    ends = math.copysign(1.0, speed) * cycle.angles[[0, -1]], np.minimum(current[[0, -1]], m.currents[-1])
    field = (flux[[0, -1]] * current[[0, -1]]).sum(axis=1) - m.coenergy(*ends)
    volts: Array = np.diff(flux, axis=0) / time + drive.resistance * (current[1:] + current[:-1]) / 2
    return DriveRun(
        drive=drive,
        speed=speed,
        phases=m.phases,
        pitch=m.pitch,
        coupling=m.coupling,
        angles=cycle.angles,
        current=current,
        flux_linkage=flux,
        torque=cycle.torque,
        voltage=volts,
        energy=balance(drive, current[0], cycle.steps, float(field[1] - field[0])),
        iron_loss=iron_loss,
        periodicity_error=cycle.periodicity_error,
    )

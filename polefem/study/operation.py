"""A design at work: the rectangular current with the switching and at the size that its study gives it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from polefem.drive import (
    RectangularTorque,
    copper_loss,
    rectangular_currents,
    rectangular_torque,
    suited_switching,
)
from polefem.errors import InvalidValue, refusal
from polefem.estimates import with_end_effects
from polefem.maps import CoupledMap, summed
from polefem.params import Machine, RectangularCurrent, SuitedSwitching
from polefem.study.basis import Basis

if TYPE_CHECKING:  # a map at work needs no mesher
    from polefem.field import BuiltMachine

__all__ = ["Operation", "at_work", "operate", "phase_interaction"]

_PLACES = 720  # angles of a rotor pitch at which the sum of single phases is held against the machine


@dataclass(frozen=True, eq=False)
class Operation:
    """Torque of all phases, and what it costs in copper: `copper_loss` of all phases, W."""

    machine_map: CoupledMap
    torque: RectangularTorque
    copper_loss: float


def at_work(
    machine_map: CoupledMap, machine: Machine | BuiltMachine, end_effects: bool | float
) -> CoupledMap:
    """The map that figures of torque are of: with estimates of end effects in it, so many times, where they are asked
    for."""
    if not end_effects:
        return machine_map
    return replace(
        machine_map, single=with_end_effects(machine_map.single, machine, factor=float(end_effects))
    )


def operate(
    machine_map: CoupledMap,
    basis: Basis,
    drive: RectangularCurrent | SuitedSwitching,
    resistance: float,
    generating: bool,
) -> Operation:
    """The machine of this map on a basis, with a given switching or the one that suits it; `resistance` of one phase,
    ohm. generating: whether it is to brake its rotor.

    Raises InvalidValue where its torque has the wrong sign, no switching suits, or the map does not reach what the
    basis asks for.
    """

    def torque_of(switching: RectangularCurrent) -> RectangularTorque:
        current = basis.rectangular_current(machine_map, switching, resistance)
        return rectangular_torque(machine_map, switching, current)

    if isinstance(drive, SuitedSwitching):
        drive = suited_switching(
            machine_map,
            drive,
            lambda dwell: basis.possible_currents(machine_map, dwell, resistance),
            torque_of,
            basis.mean_torque,
        )
    torque = torque_of(drive)
    if torque.mean == 0.0 or (torque.mean < 0.0) != generating:
        rule = "a generator must brake its rotor" if generating else "a motor must turn forwards"
        allowed = f"{'below' if generating else 'above'} 0 N m"
        found = f"{torque.mean:.4g} N m with {drive}"
        raise InvalidValue(refusal(rule, "mean torque", found, allowed))
    return Operation(machine_map, torque, copper_loss(machine_map, drive, torque.current, resistance))


def phase_interaction(machine_map: CoupledMap, torque: RectangularTorque) -> float:
    """How far the sum of phases that do not know of each other is from the machine's torque, at the angle of a rotor
    pitch where it is furthest, over the mean torque."""
    drive = torque.drive
    angles = (np.arange(_PLACES) + 0.5) * machine_map.pitch / _PLACES
    currents = rectangular_currents(drive, torque.current, machine_map.phases, machine_map.pitch, angles)
    together = machine_map.torque(angles, currents)
    apart = summed(machine_map.single).torque(angles, currents)
    return float(np.abs(together - apart).max()) / abs(torque.mean)

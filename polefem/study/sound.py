"""What designs make of the pull in their gaps, at the operating points of their plan."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from polefem.field import BuiltMachine
from polefem.forces import pitch_angles
from polefem.maps import CoupledMap
from polefem.ring import Hearing, OuterRing, RingWaves, heard
from polefem.study.at_the_shaft import ReadingOperatingPoint
from polefem.study.operating_points import OperatingPoint
from polefem.study.record import OperatingPointFigures, PointFigures
from polefem.study.solver import Pressures, SidePulls

__all__ = ["with_sound"]

#: Angles of a rotor pitch at which a rotor off its axis is looked at: each is a field of the whole turn.
ASIDE = 6


def with_sound(
    found: Mapping[str, PointFigures],
    points: Sequence[OperatingPoint],
    whole: BuiltMachine,
    machine_map: CoupledMap,
    hearing: Hearing,
    pressures: Pressures,
    side_pulls: SidePulls | None = None,
) -> tuple[dict[str, PointFigures], dict[str, RingWaves]]:
    """The figures of operating points, by name, with those of the pull; and the waves that can meet the ring.

    Raises what the fields and the modes of the ring raise.
    """
    outer, resistance = OuterRing.of(whole, hearing), whole.winding.resistance
    angles = pitch_angles(whole.machine, hearing.angles)
    few = np.arange(ASIDE) * hearing.angles // ASIDE
    figures, waves = dict(found), {}
    for point in points:
        if point.name in found:
            currents = point.currents(machine_map, resistance, angles)
            known = found[point.name]
            if currents is None or isinstance(point, ReadingOperatingPoint):
                continue  # nothing turns at a steady speed
            if not isinstance(known, OperatingPointFigures):
                continue
            made = heard(pressures(whole, angles, currents), outer, point.speed, hearing)
            aside = None
            if hearing.offset is not None and side_pulls is not None and not whole.machine.flat:
                aside = side_pulls(whole, hearing.offset, angles[few], currents[few]).most
            figures[point.name] = replace(
                known,
                pull_swing=made.pull_swing,
                wave_swing=made.wave_swing,
                surface_velocity=made.surface_velocity,
                side_pull=aside,
            )
            if made.waves is not None:
                waves[point.name] = made.waves
    return figures, waves

"""What designs make of the pull in their gaps, at the operating points of their plan."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from polefem.field import BuiltMachine
from polefem.forces import pitch_angles
from polefem.maps import CoupledMap
from polefem.ring import Hearing, OuterRing, RingWaves, heard
from polefem.study.at_the_shaft import ReadingOperatingPoint
from polefem.study.operating_points import OperatingPoint
from polefem.study.record import OperatingPointFigures, PointFigures
from polefem.study.solver import Pressures, SidePulls

__all__ = ["Sounded", "side_pull", "with_sound"]

Floats = NDArray[np.float64]

#: Angles of a rotor pitch at which a rotor off its axis is looked at: each is a field of the whole turn.
ASIDE = 6
#: What makes the difference of two angles from a coarser mesh cover nine of ten random machines (a test holds it).
COVER_ASIDE = 1.5


@dataclass(frozen=True)
class Sounded:
    """Figures of operating points, by name, with those of the pull. waves: that can meet the ring, by operating point.
    errors: how far figures of the pull may be off by the mesh, by the figure's name with that of its point."""

    figures: dict[str, PointFigures]
    waves: dict[str, RingWaves]
    errors: dict[str, float]


def with_sound(
    found: Mapping[str, PointFigures],
    points: Sequence[OperatingPoint],
    whole: BuiltMachine,
    machine_map: CoupledMap,
    hearing: Hearing,
    pressures: Pressures,
    side_pulls: SidePulls | None = None,
) -> Sounded:
    """The figures of operating points with those of the pull, from the fields of a machine and of its coarser mesh.

    Raises what the fields and the modes of the ring raise.
    """
    outer, resistance = OuterRing.of(whole, hearing), whole.winding.resistance
    angles, rough = pitch_angles(whole.machine, hearing.angles), whole.rough
    few = np.arange(ASIDE) * hearing.angles // ASIDE
    sounded = Sounded(dict(found), {}, {})
    for point in points:
        if point.name in found:
            currents = point.currents(machine_map, resistance, angles)
            known = found[point.name]
            if currents is None or isinstance(point, ReadingOperatingPoint):
                continue  # nothing turns at a steady speed
            if not isinstance(known, OperatingPointFigures):
                continue
            fine, coarse = pressures((whole, rough), angles, currents)
            made = heard(fine, outer, point.speed, hearing, coarse)
            aside, errors = None, dict(made.errors)
            if hearing.offset is not None and side_pulls is not None and not whole.machine.flat:
                where = hearing.offset, angles[few], currents[few]
                aside, errors["side_pull"] = side_pull(side_pulls, whole, rough, *where)
            sounded.errors.update({f"{point.name}.{name}": error for name, error in errors.items()})
            sounded.figures[point.name] = replace(
                known,
                pull_swing=made.pull_swing,
                wave_swing=made.wave_swing,
                surface_velocity=made.surface_velocity,
                side_pull=aside,
            )
            if made.waves is not None:
                sounded.waves[point.name] = made.waves
    return sounded


def side_pull(
    side_pulls: SidePulls,
    whole: BuiltMachine,
    rough: BuiltMachine,
    offset: float,
    angles: Floats,
    currents: Floats,
) -> tuple[float, float]:
    """The largest force to one side at some angles, N, and how far it may be off by the mesh: as far as it is from that
    of a coarser one where it is largest, and where it is least."""
    force = side_pulls(whole, offset, angles, currents).force
    ends = np.unique([np.abs(force).argmax(), np.abs(force).argmin()])
    again = side_pulls(rough, offset, angles[ends], currents[ends]).force
    return float(np.abs(force).max()), COVER_ASIDE * float(np.abs(force[ends] - again).max())

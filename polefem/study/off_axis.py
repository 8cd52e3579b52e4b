"""What a rotor off its axis does to the torque of a design: its map, changed by what fields of the whole turn say.

The map has the same gap all round. Both fields, with the rotor off the axis of its stator and on it, are of one mesh,
which is moved, so that their difference is the offset's and not the mesh's; it is small beside the torque, and seen at
a few angles.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from polefem.drive import rectangular_currents
from polefem.errors import InvalidValue, refusal
from polefem.field import BuiltMachine
from polefem.forces import pitch_angles
from polefem.maps import CoupledMap
from polefem.study.design import Plan
from polefem.study.record import Figures, OperatingPointFigures
from polefem.study.solver import SidePulls

__all__ = ["ANGLES", "off_axis"]

Floats = NDArray[np.float64]
Kind = TypeVar("Kind", Figures, OperatingPointFigures)

ANGLES = 24
"""Fields over a rotor pitch, of the rotor off its axis and on it."""
#: Figures in proportion to the mean torque.
_BY_MEAN = ("torque_per_loss", "torque_per_mass", "torque_per_volume", "shear_stress")


def off_axis(
    figures: Figures, plan: Plan, machine_map: CoupledMap, whole: BuiltMachine, side_pulls: SidePulls | None
) -> Figures:
    """The figures with the rotor as far off its axis as the plan says: those of torque, here and at operating points
    that drive, each under the currents that it has with the rotor on its axis.

    Raises InvalidValue for a solver that has no such fields, and as they do: for an axial machine, for too far.
    """
    if side_pulls is None:
        rule, allowed = "a rotor off its axis is solved as a field", "a solver of fields of the whole turn"
        raise InvalidValue(refusal(rule, "solver.side_pulls", "none", allowed))
    angles, pulls = pitch_angles(whole.machine, ANGLES), side_pulls

    def moved(known: Kind, currents: Floats) -> Kind:
        aside, centred = (pulls(whole, offset, angles, currents) for offset in (plan.rotor_offset, 0.0))
        return _changed(known, machine_map.torque(angles, currents), aside.torque - centred.torque)

    points = dict(figures.operating_points)
    for point in plan.operating_points:
        known = points.get(point.name)
        if not isinstance(known, OperatingPointFigures):
            continue
        currents = point.currents(machine_map, figures.phase_resistance, angles)
        if currents is not None:
            points[point.name] = moved(known, currents)
    phases, pitch = machine_map.phases, machine_map.pitch
    ideal = rectangular_currents(figures.switching, figures.current, phases, pitch, angles)
    own = moved(figures, ideal)
    share = own.mean_torque / figures.mean_torque
    of_mean = {name: getattr(figures, name) * share for name in _BY_MEAN}
    return replace(own, operating_points=points, **of_mean)


def _changed(known: Kind, torque: Floats, change: Floats) -> Kind:
    """Figures of a torque (N m, shape (n_angles,)) that a change is added to."""
    way = math.copysign(1.0, known.mean_torque)  # lowest is the weakest in the direction of the mean
    before, after = way * torque, way * (torque + change)
    mean = known.mean_torque + float(change.mean())
    low, high = float(after.min() - before.min()), float(after.max() - before.max())
    return replace(
        known,
        mean_torque=mean,
        lowest_torque=known.lowest_torque + way * low,
        highest_torque=known.highest_torque + way * high,
        ripple=(known.ripple * abs(known.mean_torque) + high - low) / abs(mean),
    )

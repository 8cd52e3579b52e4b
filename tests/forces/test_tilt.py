"""A tilted disc: its moment against how co-energy rises as it tilts farther, its pull where it stands straight."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from polefem.errors import InvalidValue
from polefem.field import built
from polefem.forces import disc_attraction, disc_tilt
from polefem.forces.tilt import tilted_system
from polefem.solve import FactorCache, minimise
from tests.field.built_machines import MACHINES, ROUGH

AXIAL = MACHINES["6/4, axial"][0]
ANGLE, WAY = -0.3, 0.4
TILT = 0.3 * AXIAL.air_gap / AXIAL.outer_radius


def test_the_moment_is_how_coenergy_rises_with_the_tilt() -> None:
    whole, currents = built(AXIAL, ROUGH), np.array([10.0, 4.0, 0.0])

    def coenergy(tilt: float) -> float:
        total = 0.0
        for section in whole.sections:
            _, system = tilted_system(whole, section, tilt, WAY)
            load = currents @ system.model.loads
            found = minimise(system.at(ANGLE), load, np.zeros(system.size), FactorCache(tolerance=1e-9))
            total += system.model.scale * (found.work - found.energy)
        return total

    step = 0.1 * TILT
    rises = (coenergy(TILT + step) - coenergy(TILT - step)) / (2 * step)

    def right(moment: float) -> bool:
        return abs(moment / rises - 1) < 3e-2

    found = disc_tilt(whole, TILT, [ANGLE], currents, direction=WAY)
    assert right(found.along[0])
    assert not right(-found.along[0]) and not right(1.07 * found.along[0])
    assert not right(found.moment[0].imag)
    assert found.along[0] > 0.0


def test_a_straight_disc_is_pulled_as_ever_and_not_tilted() -> None:
    straight = disc_tilt(built(AXIAL, ROUGH), 0.0, [ANGLE], [10.0, 0.0, 0.0])
    alone = disc_attraction(built(AXIAL, ROUGH), [ANGLE], [10.0]).force[0, 0]

    def same(force: float) -> bool:
        return abs(force / alone - 1) < 2e-2

    assert same(straight.attraction[0]) and not same(1.05 * straight.attraction[0])
    assert abs(straight.moment[0]) < 1e-4 * alone * AXIAL.mean_radius


def test_what_cannot_be_tilted_is_refused() -> None:
    with pytest.raises(InvalidValue, match="a disc is tilted before one other"):
        disc_tilt(MACHINES["6/4, half a turn"][0], 0.0, [0.0], [1.0, 0.0, 0.0])
    double = replace(AXIAL, build="two rotors", stator_yoke_thickness=2 * AXIAL.stator_yoke_thickness)
    with pytest.raises(InvalidValue, match="machine is two rotors, allowed is an AxialMachine with one gap"):
        disc_tilt(double, 0.0, [0.0], [1.0, 0.0, 0.0])
    with pytest.raises(InvalidValue, match="discs must turn free"):
        disc_tilt(AXIAL, math.radians(1.0), [0.0], [1.0, 0.0, 0.0], ROUGH)
    with pytest.raises(InvalidValue, match="each phase has one current"):
        disc_tilt(AXIAL, 0.0, [0.0], [1.0, 0.0], ROUGH)

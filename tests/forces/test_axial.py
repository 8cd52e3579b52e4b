"""The attraction of discs against how their co-energy falls with the gap."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.constants import mu_0

from polefem.errors import InvalidValue
from polefem.field import BuiltMachine, built
from polefem.forces import disc_attraction
from polefem.gap import Gap
from polefem.materials import Steel
from polefem.params import MeshSpec
from polefem.slopes import sloped_map
from polefem.solve import FactorCache, System, minimise
from tests.field.built_machines import MACHINES, ROUGH, with_steel

AXIAL = MACHINES["6/4, axial"][0]
ANGLE = -0.25


def coenergy(whole: BuiltMachine, wider: float, current: float) -> float:
    """Of the first phase alone, J, the plane between both meshes drawn apart by a length, m."""
    total = 0.0
    for outline, system in zip(whole.sections, whole.systems, strict=True):
        model = replace(system.model, log_ratio=system.model.log_ratio + wider / outline.radius)
        gap = Gap(model.rotor_trace, model.stator_trace, model.log_ratio, model.sectors, model.antiperiodic)
        apart = System(model, gap)
        load = current * model.loads[0]
        found = minimise(apart.at(ANGLE), load, np.zeros(apart.size), FactorCache(tolerance=1e-9))
        assert found.converged
        total += model.scale * (found.work - found.energy)
    return total


@pytest.mark.parametrize("current", [2.0, 25.0])
def test_the_attraction_is_how_coenergy_falls_with_the_gap(current: float) -> None:
    """25 A saturate the poles; the derivative is that of the discrete co-energy, of the gap between the meshes."""
    whole, step = built(AXIAL, ROUGH), 1e-6
    falls = (coenergy(whole, -step, current) - coenergy(whole, step, current)) / (2 * step)

    def right(force: float) -> bool:
        return abs(force / falls - 1) < 1e-4

    force = disc_attraction(whole, [ANGLE], [current]).force[0, 0]
    assert right(force)
    assert not right(-force) and not right(1.001 * force)
    assert not right(disc_attraction(whole, [ANGLE + 0.01], [current]).force[0, 0])


def test_the_attraction_is_the_slope_of_coenergy_in_the_air_gap() -> None:
    """The slope of the same field as the meshes follow the machine's own air gap: what differs is the mesh's error."""
    whole = built(AXIAL, MeshSpec.named("coarse"))
    slopes, _ = sloped_map(whole, [ANGLE], [10.0], ["air_gap"])
    force = disc_attraction(whole, [ANGLE], [10.0]).force[0, 0]

    def right(found: float) -> bool:
        return abs(found / -slopes.coenergy[0, 0, 0] - 1) < 5e-3

    assert right(force)
    assert not right(1.02 * force) and not right(-force)


def test_an_aligned_gap_between_ideal_irons() -> None:
    """B^2 / (2 mu0) over the faces of two poles (textbook), and no more than a gap's width of fringe on each flank."""
    machine = with_steel(AXIAL, Steel.linear(1e5))
    force = disc_attraction(machine, [0.0], [5.0], "coarse").force[0, 0]
    stress = (mu_0 * 100 * 5.0 / machine.air_gap) ** 2 / (2 * mu_0)
    length = machine.outer_radius - machine.inner_radius
    face = 2 * math.radians(30) * machine.mean_radius * length

    def right(found: float) -> bool:
        return stress * face < found < stress * (face + 2 * 2 * machine.air_gap * length)

    assert right(force) and not right(force / 2) and not right(2 * force)


def test_each_of_two_gaps_attracts_as_one() -> None:
    single = disc_attraction(AXIAL, [ANGLE], [2.0], ROUGH)
    yoke = 2 * AXIAL.stator_yoke_thickness
    double = replace(AXIAL, build="two rotors", stator_yoke_thickness=yoke, through_flux=False)
    both = disc_attraction(double, [ANGLE], [2.0], ROUGH)
    assert (single.gaps, both.gaps) == (1, 2)
    assert both.most == pytest.approx(single.most, rel=1e-3)
    assert both.most != pytest.approx(2 * single.most, rel=0.3)


def test_only_discs_attract_along_the_shaft() -> None:
    with pytest.raises(InvalidValue, match="discs attract each other along the shaft"):
        disc_attraction(MACHINES["6/4, half a turn"][0], [0.0], [1.0], ROUGH)

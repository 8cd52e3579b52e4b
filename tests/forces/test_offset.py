"""A rotor off its axis: against a wire in a bore, the smooth machine of textbooks, co-energy, and its own other way."""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass, replace
from functools import cache
from typing import Literal

import numpy as np
import pytest
from scipy.constants import mu_0

from polefem.errors import InvalidValue, MeshFailed
from polefem.field import built
from polefem.forces import OffsetPull, offset_pull, offset_pulls, pull_stiffness
from polefem.forces.moved import moved_mesh, with_wide_strip
from polefem.forces.offset import _system, rotor_force
from polefem.gap import Gap
from polefem.materials import Steel
from polefem.mesher import mesh_sides
from polefem.model import build_model
from polefem.outline import Label, Member, Outline, Region
from polefem.solve import FactorCache, System, minimise
from polefem.units import mm
from tests.field.built_machines import MACHINES, ROUGH
from tests.gallery import AIR_LAYER, SHELL, Layer, Layers, density_load, even, ring_sector, side, solved, wave

ANGLE = -0.3
GAP = 0.4 * mm
#: Places round sections whose sides say nothing of their gap.
ROUND = np.arange(2000) / 2000 * 2 * math.pi


def off_axis(
    outline: Outline, shift: complex, moving: Member, size: float, mu: tuple[float, float]
) -> System:
    """A section of the gallery with its rotor moved, or its stator the other way."""
    meshes = list(mesh_sides(outline, even(size), 1))
    at = 0 if moving == "rotor" else 1
    way = shift if moving == "rotor" else -shift
    meshes[at] = moved_mesh(meshes[at], np.full(len(meshes[at].points), way))
    ratio = math.log(outline.stator.gap / outline.rotor.gap)
    steels = (Steel.linear(mu[0]), Steel.linear(mu[1]))
    model = build_model((meshes[0], meshes[1]), steels, (), 1, outline.length, ratio, 1.0, False)
    return System(model, Gap(model.rotor_trace, model.stator_trace, ratio, 1, False))


# A wire in a bore that no flux enters ---------------------------------------------------------------

WIRE, BORE, DENSITY = 10e-3, 20e-3, 1e6


def wire_in_bore(moving: Member) -> Outline:
    start, end = -math.pi / 4, math.pi / 4
    rotor = [
        Region(SHELL, ring_sector(0.0, 4e-3, start, end)),
        Region(AIR_LAYER, ring_sector(4e-3, WIRE, start, end)),
    ]
    stator = [Region(SHELL, ring_sector(BORE - 0.5e-3, BORE, start, end))]
    return with_wide_strip(
        Outline(
            side("rotor", rotor, poles=4, gap=WIRE + 2.5e-3, far=0.0, far_fixed=False),
            side("stator", stator, poles=4, gap=BORE - 3e-3, far=BORE),
            0.1,
        ),
        moving,
    )


@pytest.mark.parametrize("moving", ["rotor", "stator"])
def test_a_wire_in_a_bore_is_pushed_off_by_its_image(moving: Member) -> None:
    """Both cylinders eccentric: outside itself an even current is a line in its own centre, and A = 0 on the bore is
    that of a line of opposite current at b^2 / d: F = mu0 I^2 d / (2 pi (b^2 - d^2)) back to the middle, exactly, at
    any offset (the method of images, any textbook; from memory)."""
    current = DENSITY * math.pi * (WIRE**2 - (4e-3) ** 2)
    outline = wire_in_bore(moving)

    def right(force: complex, shift: complex) -> bool:
        d = abs(shift)
        push = -mu_0 * current**2 * d / (2 * math.pi * (BORE**2 - d**2)) * 0.1 * shift / d
        return abs(force / push - 1) < 1e-4

    for share in (0.1, 0.4):
        shift = share * (BORE - WIRE) * cmath.exp(0.7j)
        system = off_axis(outline, shift, moving, 1.5e-3, (1.0, 1.0))
        load = density_load(system, "rotor", AIR_LAYER, wave(DENSITY, 0))
        force = rotor_force(outline, system, 0.3, solved(system, 0.3, load).unknowns, ROUND)
        seen = shift * cmath.exp(0.3j) if moving == "rotor" else shift
        assert right(force, seen)
        assert not right(-force, seen) and not right(1.001 * force, seen)
        assert not right(force, 1.02 * seen) and not right(force, seen * cmath.exp(0.05j))


# The smooth machine ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Smooth:
    """A smooth rotor in a smooth bore under a wave of current in the bore's skin, both of ideal iron."""

    radius: float = 30e-3
    gap: float = 0.6e-3
    skin: float = 1e-3
    order: int = 2
    current: float = 2e5  # A/m

    def outline(self) -> Outline:
        start, end = -math.pi / 8, math.pi / 8
        bore = self.radius + self.gap
        rotor = [Region(Label("iron"), ring_sector(10e-3, self.radius, start, end))]
        stator = [
            Region(Label("iron"), ring_sector(bore + self.skin, bore + 10e-3, start, end)),
            Region(SHELL, ring_sector(bore, bore + self.skin, start, end)),
        ]
        return with_wide_strip(
            Outline(
                side("rotor", rotor, poles=8, gap=self.radius + self.gap / 4, far=10e-3),
                side("stator", stator, poles=8, gap=bore - self.gap / 4, far=bore + 10e-3),
                0.1,
            ),
            "stator",
        )

    def pull(self, offset: float, size: float = 1.5e-3) -> float:
        """Of the field, N along the offset."""
        outline = self.outline()
        system = off_axis(outline, offset, "stator", size, (1e5, 1e5))
        density = self.current / self.skin
        load = density_load(system, "stator", SHELL, wave(density, self.order))
        return rotor_force(outline, system, 0.0, solved(system, 0.0, load).unknowns, ROUND).real

    def centred(self) -> float:
        """Peak flux density midway across the gap of the centred rotor, T: the closed solution of concentric layers."""
        bore, middle = self.radius + self.gap, self.radius + self.gap / 2
        layers = (
            Layer(10e-3, self.radius, 1e5),
            Layer(self.radius, bore),
            Layer(bore, bore + self.skin, 1e5, self.current / self.skin),
            Layer(bore + self.skin, bore + 10e-3, 1e5),
        )
        return abs(Layers(layers, self.order).a(middle)) * self.order / middle

    def textbook(self, offset: float) -> float:
        """pi R L B^2 e / (2 mu0 g), B the peak of the centred field: it goes with the inverse of the gap, and the pull
        with its square (any textbook of machines, of two pole pairs and more; from memory)."""
        middle = self.radius + self.gap / 2
        return math.pi * middle * 0.1 * self.centred() ** 2 / (2 * mu_0) * offset / self.gap


def test_the_small_pull_of_a_smooth_machine() -> None:
    """The formula is that of a thin gap: what it leaves out goes with gap over radius, here 2 %."""
    smooth = Smooth()
    offset = 0.05 * smooth.gap

    def right(force: float) -> bool:
        return abs(force / smooth.textbook(offset) - 1) < 0.03

    force = smooth.pull(offset)
    assert right(force)
    assert not right(1.06 * force) and not right(-force)
    assert not right(replace(smooth, current=1.05 * smooth.current).pull(offset))
    # At a larger offset the pull is more than in proportion.
    assert smooth.pull(0.4 * smooth.gap) > 1.05 * 8 * force


# Machines ---------------------------------------------------------------------------------------------


@cache
def pulled(
    name: str, share: float, kind: Literal["static", "whirling"] = "static", direction: float = 0.0
) -> OffsetPull:
    machine = MACHINES[name][0]
    whole = built(machine, ROUGH)
    return offset_pull(
        whole, share * machine.air_gap, [ANGLE], [10.0, 4.0, 0.0], kind=kind, direction=direction
    )


@pytest.mark.parametrize("name", ["6/4, half a turn", "6/4, outer rotor"])
def test_both_ways_of_being_off_are_one_at_one_angle(name: str) -> None:
    """A whirling rotor at an angle stands where a static one does; torque about the stator's axis is that about its
    own and the force's lever."""
    static = pulled(name, 0.3, "static", 0.5)
    whirling = pulled(name, 0.3, "whirling", 0.5 - ANGLE)

    def same(force: complex, torque: float) -> bool:
        lever = static.offset * (cmath.exp(-0.5j) * static.force[0]).imag
        near = abs(force / static.force[0] - 1) < 2e-2
        return near and abs(torque - static.torque[0] - lever) < 1e-2 * abs(static.torque[0])

    assert same(whirling.force[0], whirling.torque[0])
    assert not same(whirling.force[0].conjugate(), whirling.torque[0])
    assert not same(whirling.force[0] * 1.05, whirling.torque[0])
    other = pulled(name, 0.3, "whirling", 0.5 + ANGLE)
    assert not same(other.force[0], other.torque[0])
    assert whirling.mean == pytest.approx(static.mean, rel=2e-2)


@pytest.mark.parametrize("name", ["6/4, half a turn", "6/4, outer rotor"])
def test_the_pull_is_how_coenergy_rises_with_the_offset(name: str) -> None:
    machine = MACHINES[name][0]
    whole, currents = built(machine, ROUGH), np.array([10.0, 4.0, 0.0])
    way, step = cmath.exp(0.5j), 0.02 * machine.air_gap

    def coenergy(offset: float) -> float:
        _, system = _system(whole, offset * way, "stator")
        load = currents @ system.model.loads
        found = minimise(system.at(ANGLE), load, np.zeros(system.size), FactorCache(tolerance=1e-9))
        return system.model.scale * (found.work - found.energy)

    middle = 0.3 * machine.air_gap
    rises = (coenergy(middle + step) - coenergy(middle - step)) / (2 * step)

    def right(force: float) -> bool:
        return abs(force / rises - 1) < 2e-2

    found = pulled(name, 0.3, "static", 0.5)
    assert right(found.mean)
    assert not right(-found.mean) and not right(1.05 * found.mean)
    assert not right(pulled(name, 0.3, "static", 0.5 + math.pi / 2).mean)


def test_places_are_close_enough_for_all_that_the_field_holds() -> None:
    """A sum of even steps round a circle is exact once it holds the shortest wave (trapezoidal rule)."""
    outline, system = _system(built(MACHINES["6/4, half a turn"][0], ROUGH), 0.4 * GAP + 0j, "stator")
    load = np.array([10.0, 4.0, 0.0]) @ system.model.loads
    unknowns = minimise(system.at(ANGLE), load, np.zeros(system.size), FactorCache()).unknowns
    fine, few = (np.arange(count) / count * 2 * math.pi for count in (40_000, 900))
    force = rotor_force(outline, system, ANGLE, unknowns, fine)

    def exact(found: complex) -> bool:
        return abs(found / force - 1) < 1e-6

    assert exact(rotor_force(outline, system, ANGLE, unknowns))
    assert not exact(rotor_force(outline, system, ANGLE, unknowns, few))


def test_a_centred_rotor_is_pulled_nowhere_and_turns_as_ever() -> None:
    machine = MACHINES["6/4, half a turn"][0]
    centred = pulled("6/4, half a turn", 0.0)
    aside = pulled("6/4, half a turn", 0.4)
    assert centred.most < 1e-3 * aside.most
    assert aside.mean > 0.0
    assert abs(aside.mean_torque / centred.mean_torque - 1) < 0.1
    stiffness = pull_stiffness(built(machine, ROUGH), [ANGLE], [10.0, 4.0, 0.0])
    ways = [pulled("6/4, half a turn", 0.1, "static", way).mean for way in (0.0, math.pi / 2)]
    assert stiffness == pytest.approx(np.mean(ways) / (0.1 * machine.air_gap), rel=1e-6)
    # With one phase on most of the current, only along its poles is there much of a pull.
    assert abs(ways[1]) < 0.2 * ways[0]


def test_offsets_in_a_row() -> None:
    machine = MACHINES["6/4, half a turn"][0]
    found = offset_pulls(built(machine, ROUGH), [0.0, 0.04 * mm], [ANGLE], [10.0, 4.0, 0.0])
    assert [one.offset for one in found] == [0.0, 0.04 * mm]
    assert found[1].mean == pytest.approx(pulled("6/4, half a turn", 0.1).mean, rel=1e-9)


def test_what_no_rotor_can_do_is_refused() -> None:
    whole = built(MACHINES["6/4, half a turn"][0], ROUGH)
    with pytest.raises(InvalidValue, match="a rotor must turn free"):
        offset_pull(whole, 0.5 * GAP, [0.0], [1.0, 0.0, 0.0])
    with pytest.raises(InvalidValue, match="a rotor is off its axis in a round gap"):
        offset_pull(MACHINES["6/4, axial"][0], 0.0, [0.0], [1.0, 0.0, 0.0])
    with pytest.raises(InvalidValue, match="in one of two ways"):
        offset_pull(whole, 0.0, [0.0], [1.0, 0.0, 0.0], kind="dynamic")  # type: ignore[arg-type]
    with pytest.raises(InvalidValue, match="each phase has one current"):
        offset_pull(whole, 0.0, [0.0, 0.1], [[1.0, 0.0, 0.0]])
    outline = with_wide_strip(whole.sections[0], "stator")
    stator = mesh_sides(outline, ROUGH, 1)[1]
    with pytest.raises(MeshFailed, match="came out too thin"):
        moved_mesh(stator, np.full(len(stator.points), 0.7 * GAP + 0j))

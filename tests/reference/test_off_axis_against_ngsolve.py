"""A rotor off its axis held against NGSolve: its force to one side, and its torque, at two offsets of two machines.

NGSolve draws the rotor (or the stator, where that is inside) where it is, and meshes the whole turn with third-order
elements; its force is by virtual work, with a velocity that is rigid on the rotor. Nothing of how polefem moves a mesh,
or reads a force, is in it.
"""

from __future__ import annotations

import cmath
from collections.abc import Callable
from functools import cache

import pytest

pytest.importorskip("ngsolve", reason="the reference library is an optional dependency")

from four_machines import FOUR
from ngsolve_field import Level, force_by_virtual_work, magnetostatic, torque_by_virtual_work
from outline_section import section_outline, with_wide_band
from test_against_ngsolve import CASE, LIBRARY

from polefem.forces import offset_pull
from polefem.outline import sections
from tests.record.check import Check

Record = Callable[..., None]
ROUND = ("radial, rotor inside", "radial, rotor outside")
#: Of the gap; and its direction, rad, along no pole.
SHARES, WAY = (0.2, 0.4), 0.5


def states(name: str) -> tuple[float, list[float]]:
    """Angle of the rotor, rad, and phase currents, A: two phases carry current."""
    machine = FOUR[name]
    return -0.3 * machine.rotor_pitch, [10.0, 4.0, *([0.0] * (machine.phases.count - 2))]


@cache
def found(name: str, share: float, more: float = 1.0) -> tuple[complex, float]:
    """Force (N) and torque about the rotor's own axis (N m) by polefem, under so many times the currents."""
    angle, currents = states(name)
    machine, flowing = FOUR[name], [more * current for current in currents]
    pull = offset_pull(machine, share * machine.air_gap, [angle], flowing, direction=WAY)
    return complex(pull.force[0]), float(pull.torque[0])


@cache
def reference(name: str, share: float, level: int = 0) -> tuple[complex, float]:
    """The same by NGSolve."""
    machine = FOUR[name]
    angle, currents = states(name)
    (drawn,) = sections(machine)
    outline = with_wide_band(drawn)
    offset = share * machine.air_gap * cmath.exp(1j * WAY)
    steels = {"rotor iron": machine.rotor_steel or machine.steel, "stator iron": machine.steel}
    section = section_outline(outline, angle, steels, Level.numbered(level), offset)
    turns = machine.winding.turns_per_pole / machine.winding.parallel_paths
    phases = machine.phases
    each = [
        polarity * turns * currents[phase]
        for phase, polarity in zip(phases.of_pole, phases.polarity, strict=True)
    ]
    field = magnetostatic(section, each)
    inside = outline.rotor.gap < outline.stator.gap
    return force_by_virtual_work(section, field), torque_by_virtual_work(
        section, field, offset if inside else 0.0
    )


@pytest.mark.slow
@pytest.mark.parametrize("share", SHARES)
@pytest.mark.parametrize("name", ROUND)
def test_the_pull_of_a_rotor_off_its_axis_agrees(name: str, share: float, record: Record) -> None:
    force, torque = found(name, share)
    known, known_torque = reference(name, share)
    what = f"{name}, its rotor {share:.1g} of the gap off its axis"
    # The broken twins: a rotor that is a fiftieth of the gap less far off, and a hundredth more current.
    near, _ = found(name, share - 0.02)
    _, strong = found(name, share, 1.01)
    distance = 100 * abs(force - known) / abs(known)
    check = Check(CASE, f"{what}, force to one side", 0.0, "%", LIBRARY, "computed", 1.0, relative=False)
    record(check, distance, broken=100 * abs(near - known) / abs(known))
    check = Check(CASE, f"{what}, torque", known_torque, "N m", LIBRARY, "computed", 0.003)
    record(check, torque, broken=strong)


@pytest.mark.slow
@pytest.mark.parametrize("name", ROUND)
def test_the_reference_itself_has_settled(name: str) -> None:
    rough, fine = (reference(name, 0.4, level)[0] for level in (-1, 0))
    assert abs(rough - fine) < 5e-3 * abs(fine)
    centred = reference(name, 1e-9)[0]
    assert abs(centred) < 0.02 * abs(fine)

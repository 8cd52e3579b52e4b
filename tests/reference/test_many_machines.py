"""Four machines of every build at eight angles, and fifty drawn at random, held against NGSolve: minutes each."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np
import pytest

pytest.importorskip("ngsolve", reason="the reference library is an optional dependency")

from eight_angles import CURRENTS, eight_angles
from four_machines import FOUR, outer
from netgen.libngpy._meshing import NgException
from one_point import one_point
from outline_section import reference_machine
from random_machines import drawn
from test_against_ngsolve import CASE, LIBRARY

from polefem import flux_map
from polefem.errors import GeometryRefused
from polefem.materials import Steel
from polefem.params import CoilStep, OuterRotorMachine, Pole
from polefem.units import deg, mm
from tests.record.check import Check

Record = Callable[..., None]
LEVEL = 0  # of the reference's mesh
ROUGH = -1  # for many
COUNT = 50


@pytest.mark.slow
@pytest.mark.parametrize("name", FOUR)
def test_a_machine_of_each_build_agrees(name: str, record: Record) -> None:
    found = eight_angles(FOUR[name], LEVEL)
    assert np.abs(found.itself.torque).max() < 0.003
    points = f"{name}, {len(found.angles)} angles, {len(CURRENTS)} currents, worst"
    for key, quantity, within in (
        ("flux_linkage", "flux linkage", 0.15),
        ("torque", "torque, of the peak", 0.3),
    ):
        check = Check(CASE, f"{points} {quantity}", 0.0, "%", LIBRARY, "computed", within, relative=False)
        worst, longer = (100 * float(np.abs(getattr(d, key)).max()) for d in (found.off(), found.off(1.005)))
        record(check, worst, broken=longer)


def apart(count: int) -> Iterator[tuple[float, float]]:
    """Distances of both at one point of as many machines.

    One in twenty at most is passed by: netgen could not mesh it, or it cannot be built at the ends of its poles.
    """
    done = 0
    for seed in range(count + count // 20 + 1):
        draw = drawn(seed)
        try:
            yield one_point(draw.machine, draw.angle, draw.current, ROUGH)
        except (NgException, GeometryRefused):
            continue
        done += 1
        if done == count:
            return
    raise AssertionError(f"{done} machines could be compared, not {count}")


@pytest.mark.slow
def test_machines_drawn_at_random_agree(record: Record) -> None:
    errors = 100 * np.abs(list(apart(COUNT)))
    for at, quantity, within in ((0, "flux linkage", (0.1, 0.3)), (1, "torque, of the peak", (0.15, 0.5))):
        for share, part, most in zip((0.5, 1.0), ("median", "worst"), within, strict=True):
            name = f"{COUNT} machines drawn at random, {part} {quantity}"
            check = Check(CASE, name, 0.0, "%", LIBRARY, "computed", most, relative=False)
            error = float(np.quantile(errors[:, at], share))
            record(check, error, broken=error + 0.5)


ANGLE, CURRENT = -5 * deg, 15.0


def furnished() -> OuterRotorMachine:
    """The machine whose rotor runs outside, with all that a round machine may have beside plain poles and yokes.

    Both yokes are so thin that the axle and the air outside carry flux that counts.
    """
    base = outer()
    steps = (CoilStep(5 * mm, 2.5 * mm), CoilStep(4 * mm, 3 * mm))
    return replace(
        base,
        rotor_outer_radius=89 * mm,
        rotor_yoke_thickness=4 * mm,
        shaft_radius=45 * mm,
        stator_pole=Pole(arc=15 * deg, flank_length=18 * mm),
        winding=replace(base.winding, steps=steps, yoke_clearance=8 * mm),
        shaft_steel=Steel.linear(300.0),
        surrounding_air=25 * mm,
    )


@pytest.mark.slow
def test_scooped_valleys_stepped_coils_an_axle_of_steel_and_air_outside_agree(record: Record) -> None:
    machine = furnished()
    bare = replace(machine, shaft_steel=None, surrounding_air=0.0)
    (theirs,) = reference_machine(machine, ANGLE, [CURRENT], LEVEL)
    ours, without = (flux_map(one, [ANGLE], [CURRENT]) for one in (machine, bare))
    for quantity, unit, within in (("flux_linkage", "Wb", 0.001), ("torque", "N m", 0.004)):
        name = f"scooped valleys, stepped coils, steel axle, air outside: {quantity.replace('_', ' ')} at one point"
        check = Check(CASE, name, getattr(theirs, quantity), unit, LIBRARY, "computed", within)
        record(check, *(float(getattr(one, quantity)[0, 0]) for one in (ours, without)))

"""Air gaps from 0.1 to 3 mm on rotors of 10 to 500 mm: the field keeps its resolution, whatever the ratio.

Each pair meshes, converges far into saturation, and its torque is the change of its co-energy. In iron that takes no
field, the torque on two poles that overlap by many gaps has a closed form (virtual work, any textbook of electric
machines; from memory): each radian more of overlap adds the permeance l mu0 / ln(r2 / r1) of a radial field across the
gap, takes away that of one across the rotor's slot, and moves what bulges at the corners along unchanged. Left out is
that less of the rotor's face looks into the stator's slot, which counts less than the rotor's own.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.constants import mu_0

from polefem.field import built
from polefem.materials import Steel
from polefem.params import RadialMachine
from polefem.solve import Coupled, FactorCache, Solution, System, minimise
from polefem.units import deg, mm
from tests.field.built_machines import sized

Floats = NDArray[np.float64]

#: Rotor radius and air gap, m: the corners of the range, but for the largest rotor with the thinnest gap.
QUICK = [(10 * mm, 0.1 * mm), (10 * mm, 2 * mm), (500 * mm, 0.5 * mm), (500 * mm, 3 * mm)]
SLOW = [
    (radius, gap)
    for radius in (10 * mm, 25 * mm, 60 * mm, 150 * mm, 500 * mm)
    for gap in (0.1 * mm, 0.3 * mm, 1 * mm, 3 * mm)
    if gap <= 0.2 * radius and (radius, gap) not in QUICK
]
PAIRS = [*QUICK, *(pytest.param(*pair, marks=pytest.mark.slow) for pair in SLOW)]
#: Where the corners' fields leave most of the overlap alone.
THIN = [
    *(pair for pair in QUICK if pair[1] <= 0.02 * pair[0]),
    *(pytest.param(*pair, marks=pytest.mark.slow) for pair in SLOW if pair[1] <= 0.02 * pair[0]),
]
#: Poles overlap by a third here; corners pass each other 1 and 31 deg from alignment.
ANGLE = -20 * deg
IDEAL = Steel.linear(1e8)
NODES, WEIGHTS = np.polynomial.legendre.leggauss(4)


@lru_cache(maxsize=2)  # the largest take a gigabyte
def made(radius: float, gap: float, steel: Steel, mesh: str) -> tuple[RadialMachine, System]:
    machine = replace(sized(radius, gap), steel=steel)
    (system,) = built(machine, mesh).systems
    return machine, system


def states(
    system: System, current: float, angles: Floats, tolerance: float
) -> list[tuple[Coupled, Solution]]:
    """The field of the first phase at each angle, rad."""
    found: list[tuple[Coupled, Solution]] = []
    cache = FactorCache(tolerance=tolerance)
    start = np.zeros(system.size)
    for angle in angles.tolist():
        coupled = system.at(angle)
        found.append((coupled, minimise(coupled, current * system.model.loads[0], start, cache)))
        start = found[-1][1].unknowns
        assert found[-1][1].converged, found[-1][1].message
    return found


@pytest.mark.parametrize(("radius", "gap"), PAIRS)
def test_saturated_torque_is_the_change_of_coenergy(radius: float, gap: float) -> None:
    machine, system = made(radius, gap, Steel.named("M330-50A"), "normal")
    # Two tesla across the gap, and 60 kA/m along as much iron as a radius.
    current = (2.0 / mu_0 * gap + 60e3 * radius) / machine.section_turns
    width = 0.5 * gap / radius
    found = states(system, current, ANGLE + width * np.array([0.0, *(NODES + 1) / 2, 1.0]), 1e-6)
    torque = [coupled.torque(one.unknowns) for coupled, one in found]
    coenergy = [one.work - one.energy for _, one in found]
    work = float(WEIGHTS @ torque[1:-1]) * width / 2
    gained = system.model.scale * (coenergy[-1] - coenergy[0])

    def balances(work: float) -> bool:
        return abs(work - gained) <= 1e-5 * abs(gained)

    assert coenergy[0] > 0.55 * found[0][1].work  # half of it in linear iron
    assert balances(work), (work, gained)
    assert not balances(-work) and not balances(1.0001 * work)


def missed(system: System, current: float, width: float, parts: int) -> float:
    """By what part of the co-energy gained over an angle (rad) the torque's work differs, in equal parts of it."""
    ends = ANGLE + np.linspace(0.0, width, parts + 1)
    inner = ends[:-1, None] + np.diff(ends)[:, None] * (NODES + 1) / 2
    found = states(system, current, np.concatenate([ends[:1], inner.ravel(), ends[-1:]]), 1e-6)
    torque = np.array([coupled.torque(one.unknowns) for coupled, one in found[1:-1]])
    work = float(np.sum(torque.reshape(inner.shape) @ WEIGHTS)) * width / parts / 2
    gained = system.model.scale * (
        found[-1][1].work - found[-1][1].energy - found[0][1].work + found[0][1].energy
    )
    return abs(work / gained - 1)


def test_in_a_thin_gap_torque_and_coenergy_agree_where_the_elements_are_resolved() -> None:
    """Torque swings as elements pass, by 5 % here: with iron that takes no field nothing evens it out. Its work is the
    change of co-energy all the same. Four angles to more than an element miss the swing, and so a check by them the
    work."""
    gap, radius = 0.05 * mm, 30 * mm
    machine, system = made(radius, gap, IDEAL, "coarse")
    element = float(np.diff(system.model.rotor_trace.angles[::2]).max())
    current = gap / mu_0 / machine.section_turns
    assert missed(system, current, element, 4) < 1e-4
    # The twin: four angles over two elements and a half.
    assert missed(system, current, 2.5 * element, 1) > 1e-3


def ideal(radius: float, gap: float, angles: Floats, mesh: str = "normal") -> tuple[Floats, float]:
    """Torque at each angle with iron that takes no field, and in closed form, N m, at one tesla across the gap."""
    machine, system = made(radius, gap, IDEAL, mesh)
    force = gap / mu_0
    found = states(system, force / machine.section_turns, angles, 1e-5)
    poles = machine.stator_poles / machine.phases.count
    slot = math.log((radius + gap) / machine.rotor_yoke_radius)
    permeance = mu_0 * machine.stack_length * (1 / math.log1p(gap / radius) - 1 / slot)
    return np.array(
        [coupled.torque(one.unknowns) for coupled, one in found]
    ), poles * force**2 / 2 * permeance


@pytest.mark.parametrize(("radius", "gap"), THIN)
def test_ideal_poles_that_overlap_are_pulled_as_virtual_work_says(radius: float, gap: float) -> None:
    torque, closed = ideal(radius, gap, np.array([ANGLE]))
    within = 0.004 + gap / radius

    def right(torque: float) -> bool:
        return abs(torque / closed - 1) <= within

    assert right(torque[0]), torque[0] / closed - 1
    assert not right(-torque[0]) and not right(torque[0] / 2)
    assert not right(torque[0] * (1 + 2 * within)) and not right(torque[0] * (1 - 2 * within))


@pytest.mark.parametrize("gap", [0.5 * mm, 3 * mm])
def test_the_torque_does_not_show_the_elements_that_a_corner_passes(gap: float) -> None:
    """Over a few elements along the gap it stays what it is; on the coarse mesh it swings by some per cent."""
    angles = ANGLE + np.arange(6) / 6 * 4 * gap / (500 * mm)

    def steady(mesh: str) -> bool:
        torque, closed = ideal(500 * mm, gap, angles, mesh)
        return bool(np.ptp(torque) <= 0.01 * closed)

    assert steady("normal")
    assert not steady("coarse")

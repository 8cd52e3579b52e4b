"""Energy balances of whole machines: what the torque does over an angle is what the co-energy gains, and so on.

None of them needs a reference: they follow from the torque being the derivative of the co-energy with the angle, the
flux linkage that with the current, and from what a machine's symmetry says.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from polefem import flux_map, solve_state
from polefem.field import built
from polefem.gap import Gap
from polefem.mesher import mesh_sides
from polefem.model import Source, build_model
from polefem.outline import Label, outline_of
from polefem.params import Machine
from polefem.solve import FactorCache, System, minimise
from polefem.units import deg
from tests.field.built_machines import CURRENT, MACHINES, ROUGH, half_turn

Floats = NDArray[np.float64]

WITHIN = 1e-4
#: Of the solver, where a torque may be small beside the peak: a tenth of what maps are solved to.
FINE = 1e-6
NODES, WEIGHTS = np.polynomial.legendre.leggauss(4)
#: Where intervals begin, as parts of the rotor pitch: far from, near and within the overlap of poles.
STARTS = (-0.45, -0.36, -0.2, -0.04)
WIDTH = 0.25 * deg


def balances(torque: float, coenergy: float) -> bool:
    """Whether the work of the torque is the change of co-energy."""
    return abs(torque - coenergy) <= WITHIN * abs(coenergy)


@cache
def sections(name: str) -> tuple[System, ...]:
    return built(MACHINES[name][0], ROUGH).systems


def states(
    systems: tuple[System, ...], angles: Floats, currents: Floats, tolerance: float
) -> tuple[Floats, Floats, Floats]:
    """Torques (N m), flux linkages (Wb; of each phase) and co-energies (J) of sections that add up to a machine.

    Angles of shape (n,), rad, and phase currents of shape (n, n_phases), A.
    """
    torque, coenergy, linkages = np.zeros(len(angles)), np.zeros(len(angles)), np.zeros(currents.shape)
    for system in systems:
        model, cache = system.model, FactorCache(tolerance=tolerance)
        start = np.zeros(system.size)
        for k, (angle, phase_currents) in enumerate(zip(angles, currents, strict=True)):
            coupled = system.at(float(angle))
            found = minimise(coupled, phase_currents @ model.loads, start, cache)
            assert found.converged
            start = found.unknowns
            torque[k] += coupled.torque(start)
            linkages[k] += model.scale * (model.loads @ start)
            coenergy[k] += model.scale * (found.work - found.energy)
    return torque, linkages, coenergy


def first_phase(machine: Machine, currents: Floats) -> Floats:
    """Currents of the first phase alone, shape (n, n_phases)."""
    return np.outer(currents, np.eye(machine.phases.count)[0])


@cache
def works(name: str, current: float) -> tuple[tuple[float, float], ...]:
    """Of each interval: integral of the torque by Gauss points, and change of co-energy, J."""
    machine = MACHINES[name][0]
    begins = np.array(STARTS) * machine.rotor_pitch
    inner = begins[:, None] + WIDTH * (NODES + 1) / 2
    angles = np.concatenate([begins[:, None], inner, begins[:, None] + WIDTH], axis=1)
    currents = first_phase(machine, np.full(angles.size, current))
    along = states(sections(name), angles.ravel(), currents, FINE)
    torque, coenergy = (table.reshape(angles.shape) for table in (along[0], along[2]))
    work = torque[:, 1:-1] @ WEIGHTS * WIDTH / 2
    return tuple(zip(work.tolist(), (coenergy[:, -1] - coenergy[:, 0]).tolist(), strict=True))


@pytest.mark.parametrize(
    ("name", "current"), [("6/4, half a turn", 2.0), *((name, CURRENT) for name in MACHINES)]
)
def test_torque_over_an_angle_is_the_change_of_coenergy(name: str, current: float) -> None:
    for work, change in works(name, current):
        assert balances(work, change), (work, change)
    # The twins: the other sign, half the sectors, a part in a thousand too much.
    work, change = works(name, current)[2]
    assert not balances(-work, change) and not balances(work / 2, change)
    assert not balances(work * 1.001, change)


def test_maps_balance_within_a_part_of_their_peak_torque() -> None:
    """The same at the tolerance that maps are solved to, from the public function."""
    machine = half_turn()
    begin = -0.2 * machine.rotor_pitch
    angles = np.array([begin, *(begin + WIDTH * (NODES + 1) / 2), begin + WIDTH])
    found = flux_map(machine, angles, [CURRENT], ROUGH)
    work = float(found.torque[0, 1:-1] @ WEIGHTS) * WIDTH / 2
    assert balances(work, float(found.coenergy[0, -1] - found.coenergy[0, 0]))
    assert not balances(work * 1.001, float(found.coenergy[0, -1] - found.coenergy[0, 0]))


@pytest.mark.slow
@pytest.mark.parametrize("name", ["6/4, half a turn", "12/8, periodic half"])
def test_torque_from_unaligned_to_aligned_is_the_change_of_coenergy(name: str) -> None:
    machine = MACHINES[name][0]
    ends = np.linspace(-machine.rotor_pitch / 2, 0.0, round(machine.rotor_pitch / 2 / WIDTH) + 1)
    inner = ends[:-1, None] + np.diff(ends)[:, None] * (NODES + 1) / 2
    angles = np.unique(np.concatenate([ends[[0, -1]], inner.ravel()]))
    found = flux_map(machine, angles, [CURRENT], ROUGH)
    work = float(np.sum(found.torque[0, 1:-1].reshape(inner.shape) @ WEIGHTS * np.diff(ends) / 2))
    assert balances(work, float(found.coenergy[0, -1] - found.coenergy[0, 0]))


@pytest.mark.parametrize("name", MACHINES)
def test_flux_linkage_over_a_current_is_the_change_of_coenergy(name: str) -> None:
    machine = MACHINES[name][0]
    low, high = 0.6 * CURRENT, 0.62 * CURRENT
    currents = np.array([low, *(low + (high - low) * (NODES + 1) / 2), high])
    for part in STARTS[1:]:
        angles = np.full(currents.size, part * machine.rotor_pitch)
        _, linkages, coenergy = states(sections(name), angles, first_phase(machine, currents), FINE)
        linked, gained = WEIGHTS @ linkages[1:-1, 0] * (high - low) / 2, coenergy[-1] - coenergy[0]
        assert balances(linked, gained)
        assert not balances(2 * linked, gained) and not balances(linked * 1.001, gained)


def stands_still(name: str, systems: tuple[System, ...]) -> None:
    machine = MACHINES[name][0]
    angles = np.array([-0.5, -0.3, 0.0]) * machine.rotor_pitch
    unaligned, approaching, aligned = states(
        systems, angles, first_phase(machine, np.full(3, CURRENT)), FINE
    )[0]

    def still(torque: float) -> bool:
        return abs(torque) <= 1e-4 * abs(approaching)

    assert still(unaligned) and still(aligned)
    assert not still(1e-3 * approaching)


@pytest.mark.parametrize("name", ["6/4, half a turn", "12/8, a quarter", "6/4, axial", "6/4, outer rotor"])
def test_no_torque_aligned_and_unaligned(name: str) -> None:
    """The mesh is its own mirror image, however rough it is."""
    stands_still(name, sections(name))


@pytest.mark.slow
@pytest.mark.parametrize("name", ["12/8, periodic half", "6/4, whole turn"])
def test_no_torque_aligned_and_unaligned_on_a_mesh_without_mirror(name: str) -> None:
    stands_still(name, built(MACHINES[name][0], "normal").systems)


# Symmetries -----------------------------------------------------------------------------------------


def state(systems: tuple[System, ...], angle: float, currents: Floats) -> tuple[float, Floats, float]:
    """Torque (N m), flux linkages (Wb) and co-energy (J), solved finer than maps are."""
    torque, linkages, coenergy = states(systems, np.array([angle]), currents[None], tolerance=1e-8)
    return float(torque[0]), linkages[0], float(coenergy[0])


def alike(one: tuple[float, Floats, float], two: tuple[float, Floats, float], within: float = 1e-6) -> bool:
    """Whether two states agree in torque, linkages and co-energy."""
    size = np.abs(one[1]).max()
    return bool(
        abs(one[0] - two[0]) <= within * abs(one[0])
        and np.abs(one[1] - two[1]).max() <= within * size
        and abs(one[2] - two[2]) <= within * abs(one[2])
    )


def whole(machine: Machine, sectors: int) -> System:
    """The model of a radial machine over more of the turn than its symmetry needs, wound by hand."""
    outline = outline_of(machine)
    phases = machine.phases
    # Where flux is to leave a pole towards a rotor inside, current comes towards the reader on its clockwise side.
    coils = tuple(
        Source(
            Label("coil", pole=pole, side=which), phases.of_pole[pole], sign * phases.polarity[pole] * turns
        )
        for pole in range(machine.stator_poles // sectors)
        for which, sign in (("minus", 1.0), ("plus", -1.0))
        for turns in (machine.winding.turns_per_pole,)
    )
    model = build_model(
        mesh_sides(outline, ROUGH, sectors),
        (machine.steel, machine.steel),
        coils,
        phases.count,
        outline.length,
        abs(math.log(outline.stator.gap / outline.rotor.gap)),
        outline.radius,
        False,
    )
    return System(model, Gap(model.rotor_trace, model.stator_trace, model.log_ratio, sectors, False))


@pytest.mark.parametrize("name", ["12/8, a quarter", "12/8, periodic half", "6/4, outer rotor"])
def test_a_sector_stands_for_the_whole_turn(name: str) -> None:
    """The mesh of the turn is made of copies of the sector's: what is solved is the same, to the solver's tolerance."""
    machine, sectors, antiperiodic = MACHINES[name]
    systems = sections(name)
    assert (systems[0].model.sectors, systems[0].model.antiperiodic) == (sectors, antiperiodic)
    angle, currents = -0.3 * machine.rotor_pitch, np.zeros(machine.phases.count)
    currents[0], currents[1] = CURRENT, 0.4 * CURRENT
    part, turn = state(systems, angle, currents), state((whole(machine, 1),), angle, currents)
    assert alike(part, turn)
    assert not alike(part, (turn[0] * 2, turn[1], turn[2]))
    assert not alike(part, state((whole(machine, 1),), angle, currents * 1.001))


@pytest.mark.parametrize("name", MACHINES)
def test_a_rotor_turned_by_one_pitch_is_the_same(name: str) -> None:
    machine = MACHINES[name][0]
    currents = np.zeros(machine.phases.count)
    currents[0] = CURRENT
    angle = -0.3 * machine.rotor_pitch
    here = state(sections(name), angle, currents)
    assert alike(here, state(sections(name), angle + machine.rotor_pitch, currents))
    assert not alike(here, state(sections(name), angle + 1.001 * machine.rotor_pitch, currents))


@pytest.mark.parametrize("name", MACHINES)
def test_current_of_the_other_sign_pulls_alike(name: str) -> None:
    machine = MACHINES[name][0]
    currents = np.zeros(machine.phases.count)
    currents[0], currents[1] = CURRENT, 0.3 * CURRENT
    angle = -0.3 * machine.rotor_pitch
    torque, linkages, coenergy = state(sections(name), angle, currents)
    turned = state(sections(name), angle, -currents)
    assert alike((torque, -linkages, coenergy), turned)
    assert not alike((torque, linkages, coenergy), turned)
    assert torque > 0  # the rotor pole approaches


@pytest.mark.parametrize("name", ["6/4, half a turn", "12/8, a quarter", "6/4, axial", "6/4, outer rotor"])
def test_each_phase_is_the_first_one_a_stroke_later(name: str) -> None:
    machine = MACHINES[name][0]
    count = machine.phases.count
    stroke = machine.rotor_pitch / count
    angle = -0.3 * machine.rotor_pitch
    first = state(sections(name), angle, CURRENT * np.eye(count)[0])
    for phase in range(1, count):
        torque, linkages, coenergy = state(
            sections(name), angle + phase * stroke, CURRENT * np.eye(count)[phase]
        )
        assert alike((first[0], first[1][:1], first[2]), (torque, linkages[phase : phase + 1], coenergy))
        # What links the others is the same up to sign, in turn.
        assert np.allclose(np.sort(np.abs(linkages)), np.sort(np.abs(first[1])), rtol=1e-5)
    wrong = state(sections(name), angle - stroke, CURRENT * np.eye(count)[1])
    assert not alike((first[0], first[1][:1], first[2]), (wrong[0], wrong[1][1:2], wrong[2]))


def test_the_mirror_image_of_any_set_of_currents() -> None:
    """6/4: the mirror in the axis of pole 0 turns the rotor back and swaps the other phases, whose poles of one
    polarity lie opposite those of the other: (a, b, c) at an angle is (a, -c, -b) at its negative."""
    name = "6/4, half a turn"
    a, b, c = CURRENT, 0.5 * CURRENT, -0.2 * CURRENT
    torque, linkages, coenergy = state(sections(name), 0.2, np.array([a, b, c]))
    image = state(sections(name), -0.2, np.array([a, -c, -b]))
    assert alike((-torque, linkages * [1, -1, -1], coenergy), (image[0], image[1][[0, 2, 1]], image[2]))
    assert not alike((torque, linkages, coenergy), image)
    other = state(sections(name), -0.2, np.array([a, c, b]))
    assert abs(other[0] + torque) > 1e-3 * abs(torque)


def test_a_full_state_says_what_a_map_says() -> None:
    machine = half_turn()
    angle, current = -0.31, CURRENT
    found = flux_map(machine, [angle], [current], ROUGH)
    full = solve_state(machine, angle, [current, 0.0, 0.0], ROUGH)

    def agrees(torque: float, linkage: float) -> bool:
        return math.isclose(torque, float(found.torque[0, 0]), rel_tol=1e-4) and math.isclose(
            linkage, float(found.flux_linkage[0, 0]), rel_tol=1e-5
        )

    assert agrees(full.torque, full.flux_linkages[0])
    assert not agrees(full.torque, full.flux_linkages[1]) and not agrees(-full.torque, full.flux_linkages[0])
    assert math.isclose(full.coenergy, float(found.coenergy[0, 0]), rel_tol=1e-6)

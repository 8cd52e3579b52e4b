"""A coupled map from fields: symmetry held against brute force, superposition in linear iron, states between nodes."""

from __future__ import annotations

import dataclasses
from itertools import combinations

import numpy as np
import pytest
from numpy.typing import NDArray

from polefem import MeshSpec, Pole, RadialMachine, Steel, Winding, coupled_map, flux_map
from polefem.errors import InvalidValue
from polefem.estimates import end_winding_inductance, with_end_winding
from polefem.field import built, field_series
from polefem.maps import CoupledMap, summed
from polefem.materials import MU0
from polefem.params import RectangularCurrent, symmetries, turnings
from polefem.params.phases import Phases, phases_of
from polefem.solve import FactorCache, System, minimise
from polefem.sweep import joint
from polefem.sweep.alike import orbits
from polefem.sweep.idle import _near
from polefem.units import deg, mm

Floats = NDArray[np.float64]

SPEC = MeshSpec().coarser(4.0)
ANGLES, CURRENTS = np.linspace(0.0, 45.0, 7) * deg, np.array([4.0, 8.0, 12.0, 16.0])


def thin_yoke(polarity: tuple[int, ...] | None = None, steel: Steel | None = None) -> RadialMachine:
    """A 6/4 machine whose phases share a yoke that is too thin for two of them."""
    return RadialMachine(
        stator_poles=6,
        rotor_poles=4,
        stator_outer_radius=54 * mm,
        rotor_outer_radius=30 * mm,
        air_gap=0.4 * mm,
        stator_yoke_thickness=7 * mm,
        rotor_yoke_radius=19 * mm,
        shaft_radius=10 * mm,
        stack_length=60 * mm,
        stator_pole=Pole(arc=30 * deg),
        rotor_pole=Pole(arc=32 * deg),
        winding=Winding(
            turns_per_pole=90,
            coil_width=5 * mm,
            face_inset=2 * mm,
            yoke_clearance=2 * mm,
            polarity=polarity,
        ),
        steel=steel or Steel.named("M330-50A measured"),
    )


PATTERNS = [(1, 1, 1, -1, -1, -1), (1, -1, 1, -1, 1, -1), (1, 1, -1, -1, -1, 1)]


def classes(phases: Phases, ways: int | None = None) -> int:
    """How many pairs of phases are solved, by the symmetries of even poles."""
    poles = len(phases.of_pole)
    found = symmetries(phases, turnings(poles, 1, mirror=False))[:ways]
    sites = orbits(list(combinations(range(phases.count), 2)), 12, np.pi / 2, found)
    return len({on for on, _ in sites})


def test_pairs_are_alike_only_where_polarity_lets_them() -> None:
    usual = phases_of(6, 4)
    assert [classes(Phases(3, usual.of_pole, pattern)) for pattern in PATTERNS] == [2, 1, 2]
    assert classes(usual, ways=1) == 3  # doing nothing makes nothing alike


def meets(
    drive: RectangularCurrent, phases: tuple[int, int], angle: float, margin: float, turn: float
) -> bool:
    """Whether two phases ever carry current together, and each does within a margin of an angle: looked at one by one
    from the current's own share. turn: by how much each phase comes after the one before, rad."""

    def carries(phase: int, at: Floats) -> NDArray[np.bool_]:
        return drive.share(np.mod(at - phase * turn - drive.turn_on, 90 * deg)) > 0.0

    whole, near = np.arange(0.05, 90.0, 0.1) * deg, np.linspace(angle - margin, angle + margin, 401)
    together = carries(phases[0], whole) & carries(phases[1], whole)
    return bool(together.any() and all(carries(phase, near).any() for phase in phases))


@pytest.mark.parametrize("phases", [(0, 1), (0, 2), (1, 2)])
@pytest.mark.parametrize("dwell", [25, 34, 51])
def test_phases_meet_where_both_carry_current(phases: tuple[int, int], dwell: float) -> None:
    drive, machine = RectangularCurrent(-38 * deg, (dwell - 38) * deg, ramp=3 * deg), thin_yoke()
    angles = np.arange(-90.3, 90.0, 1.0) * deg

    def found(margin: float) -> list[bool]:
        return [joint._meets(machine, drive, phases, angle, margin) for angle in angles]

    for margin in (0.7 * deg, 4.0 * deg):
        right = [meets(drive, phases, angle, margin, machine.stroke) for angle in angles]
        assert found(margin) == right and any(right) == (dwell > 27)  # its fall of 3 deg past a stroke of 30
        if any(right):
            assert right != [meets(drive, phases, angle, margin, 1.1 * machine.stroke) for angle in angles]


def test_a_turn_by_whole_pitches_is_none() -> None:
    """A rotor that is turned by its pole pitch lies on itself, whichever way, and by half of one it does not."""
    pitch = 90 * deg
    assert all(_near(turns * pitch + 1e-9, pitch) for turns in (-2, -1, 0, 1, 2))
    assert not any(_near(turns * pitch, pitch) for turns in (-1.5, -0.5, 0.5, 1.5, 0.01))


def joint_states(m: RadialMachine, nodes: int) -> tuple[Floats, Floats, Floats, Floats]:
    """Angles and currents of two and three phases at all nodes of a map, and the torque and flux linkages that their
    own fields have: no symmetry used."""
    angles, currents = [], []
    for k in range(nodes):
        for on in (*combinations(range(3), 2), (0, 1, 2)):
            angles.append(k * m.rotor_pitch / nodes)
            row = np.zeros(3)
            row[list(on)] = 16.0
            currents.append(row)
    states = list(field_series(m, angles, np.array(currents), SPEC))
    torque, linkages = (np.array([getattr(s, name) for s in states]) for name in ("torque", "flux_linkages"))
    return np.array(angles), np.array(currents), torque, linkages


def same(found: CoupledMap, states: tuple[Floats, Floats, Floats, Floats]) -> bool:
    """Whether the map has the states' own torque and flux linkages, but for the tolerance of either field."""
    angles, currents, torque, linkages = states
    at = found.at(angles, currents)
    off = np.abs(at.torque - torque).max() / np.abs(torque).max()
    return bool(off < 2e-3 and np.abs(at.flux_linkages - linkages).max() < 2e-3 * np.abs(linkages).max())


@pytest.mark.parametrize("pattern", PATTERNS)
def test_nodes_found_by_symmetry_are_those_of_brute_force(
    pattern: tuple[int, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    m = thin_yoke(pattern)
    states = joint_states(m, 6)
    found = coupled_map(m, ANGLES, CURRENTS, SPEC, joint_currents=[16.0], joint_nodes=6)
    assert same(found, states)
    assert not same(summed(found.single), states)
    if pattern == PATTERNS[0]:  # all pairs taken as alike, whatever their polarity
        blind = symmetries(dataclasses.replace(m.phases, polarity=PATTERNS[1]), turnings(6, 1, mirror=True))
        monkeypatch.setattr(joint, "_ways", lambda *_: blind)
        assert not same(coupled_map(m, ANGLES, CURRENTS, SPEC, joint_currents=[16.0], joint_nodes=6), states)


def linear() -> RadialMachine:
    """The same of iron that does not saturate."""
    return thin_yoke(steel=Steel.from_table([0.0, 1e3, 1e6], [0.0, 1e3 * 900 * MU0, 1e6 * 900 * MU0]))


def exact_state(system: System, angle: float, currents: Floats) -> tuple[Floats, float]:
    """Flux linkages and torque from a field solved to rounding."""
    model, coupled = system.model, system.at(angle)
    found = minimise(
        coupled, currents @ model.loads, np.zeros(system.size), FactorCache(tolerance=1e-11, lean=False)
    )
    return model.scale * (model.loads @ found.unknowns), coupled.torque(found.unknowns)


def test_linear_iron_superposes_flux_linkages_and_torque() -> None:
    """Two phases gain the torque i_a i_b dM/dtheta, with M from one phase alone (any text on circuits that move)."""
    system = built(linear(), SPEC).systems[0]
    angle, step, i, j = -20 * deg, 0.05 * deg, 9.0, 14.0
    one, other = np.array([i, 0.0, 0.0]), np.array([0.0, j, 0.0])
    (first, alone), (second, lone) = (exact_state(system, angle, row) for row in (one, other))
    linkages, torque = exact_state(system, angle, one + other)
    mutual = [exact_state(system, angle + k * step, one)[0][1] / i for k in (-2, -1, 1, 2)]
    slope = (mutual[0] - 8 * mutual[1] + 8 * mutual[2] - mutual[3]) / (12 * step)

    def superposes(found: Floats) -> bool:
        return bool(np.abs(found - first - second).max() < 1e-6 * np.abs(found).max())

    def pulls(gain: float) -> bool:
        return abs(torque - alone - lone - gain) < 1e-6 * max(abs(torque), abs(gain))

    assert superposes(linkages) and not superposes(1.00001 * linkages)
    assert pulls(i * j * slope) and not pulls(1.0001 * i * j * slope)


def gains_mutual(found: CoupledMap, part: float = 1.0) -> bool:
    """Whether the pair's co-energy at the nodes is i_a i_b M, with M the flux linkage of a resting phase of the map."""
    pair = found.interactions[0]
    nodes, i = pair.angles[:-1], pair.currents[-1]
    rows = i * np.eye(3)[list(pair.phases)]
    alone = [found.at(nodes, np.tile(row, (len(nodes), 1))) for row in rows]
    gained = found.at(nodes, np.tile(rows.sum(axis=0), (len(nodes), 1))).coenergy
    gained = gained - alone[0].coenergy - alone[1].coenergy
    mutual = alone[0].flux_linkages[:, pair.phases[1]] / i
    return bool(np.abs(gained - part * mutual * i * i).max() < 1e-5 * np.abs(gained).max())


def test_the_map_of_linear_iron_superposes() -> None:
    found = coupled_map(linear(), ANGLES, CURRENTS, SPEC, joint_currents=[8.0, 16.0], joint_nodes=6)
    assert gains_mutual(found) and not gains_mutual(found, part=1.0001)


def test_end_effects_are_those_of_the_phases_alone() -> None:
    m = linear()
    found = coupled_map(m, ANGLES, CURRENTS, SPEC, joint_currents=[16.0], joint_nodes=6)
    ended = dataclasses.replace(found, single=with_end_winding(found.single, m))
    row, added = np.array([3.0, 7.0, 0.0]), end_winding_inductance(m)
    gained = ended.at(0.2, row).flux_linkages - found.at(0.2, row).flux_linkages
    np.testing.assert_allclose(gained, added * row, rtol=1e-6, atol=1e-12)
    assert ended.at(0.2, row).torque == pytest.approx(found.at(0.2, row).torque, rel=1e-9)


def test_progress_counts_every_point_and_the_error_is_estimated() -> None:
    told: list[tuple[int, int]] = []
    found = coupled_map(
        thin_yoke(), ANGLES, CURRENTS, SPEC, lambda *at: told.append(at), joint_currents=[16.0], joint_nodes=6
    )
    assert told[-1][0] == told[-1][1] == len(told)
    assert found.torque_error is not None and found.flux_linkage_error is not None
    at_most = found.at(np.linspace(0.0, found.pitch, 50), [16.0, 16.0, 0.0])
    # A mesh four times as coarse as is usual is off by something, and by less than a quarter.
    assert 0.01 < found.torque_error / np.abs(at_most.torque).max() < 0.25
    assert 0.01 < found.flux_linkage_error / np.abs(at_most.flux_linkages).max() < 0.25


def test_refused_lists_and_phases() -> None:
    m = thin_yoke()
    with pytest.raises(InvalidValue, match="phases carry no more together than one of them alone"):
        coupled_map(m, ANGLES, CURRENTS, SPEC, joint_currents=[8.0, 17.0])
    with pytest.raises(InvalidValue, match="every phase of a coupled map is phase 0 turned by strokes"):
        coupled_map(thin_yoke((1, 1, 1, 1, -1, -1)), ANGLES, CURRENTS, SPEC)
    with pytest.raises(InvalidValue, match="the angles of a map must increase"):
        flux_map(m, ANGLES[::-1], CURRENTS, SPEC)

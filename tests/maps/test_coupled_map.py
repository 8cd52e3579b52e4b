"""A whole machine as one potential: exact derivatives, no energy from closed paths, its inverse, its refusals."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from polefem.errors import InvalidValue, StoreRefused
from polefem.maps import CoupledMap, CoupledSlice, Interaction, coupled_stack, skewed_machine, summed
from tests.maps.coupled_phases import PITCH, STROKE, closed, coupled
from tests.maps.saturating import exact, sampled

Floats = NDArray[np.float64]


def points(count: int = 300) -> tuple[Floats, Floats]:
    """Random angles and currents, some of them 0."""
    rng = np.random.default_rng(5)
    currents = rng.uniform(0.1, 19.9, (count, 3))
    currents[::3, 1] = 0.0
    currents[1::5, 2] = 0.0
    return rng.uniform(-2.0, 4.0, count), currents


def near(m: CoupledMap) -> bool:
    """Whether a map comes as near to the closed phases as its grids let it."""
    angle, currents = points()
    for found, true, part in zip(
        m.at(angle, currents), closed(angle, currents), (0.003, 4e-4, 3e-4), strict=True
    ):
        if np.abs(found - true).max() > part * np.abs(true).max():
            return False
    return True


def test_it_is_near_the_closed_phases() -> None:
    assert near(coupled())
    assert not near(summed(sampled()))
    swapped = [dataclasses.replace(part, nodes=-part.nodes) for part in coupled().interactions]
    assert not near(dataclasses.replace(coupled(), interactions=swapped))


def derivatives(m: CoupledMap) -> Floats:
    """Largest distance of torque, flux linkages and inductances from differences of co-energy and flux linkages."""
    angle, currents = points()
    currents = np.maximum(currents, 0.1)
    found, inductances = m.at(angle, currents), m.inductances(angle, currents)
    h = 1e-5
    worst = [
        np.abs(
            (m.at(angle + h, currents).coenergy - m.at(angle - h, currents).coenergy) / (2 * h) - found.torque
        )
    ]
    for phase, unit in enumerate(1e-4 * np.eye(3)):
        more, less = m.at(angle, currents + unit), m.at(angle, currents - unit)
        worst.append(np.abs((more.coenergy - less.coenergy) / 2e-4 - found.flux_linkages[:, phase]))
        slopes = (more.flux_linkages - less.flux_linkages) / 2e-4
        worst.append(np.abs(slopes - inductances[:, phase]).max(axis=1))
    return np.array([one.max() for one in worst])


def test_torque_flux_linkages_and_inductances_are_derivatives_of_one_potential() -> None:
    assert derivatives(coupled()).max() < 3e-6
    angle, currents = points()
    found = coupled().inductances(angle, currents)
    assert np.abs(found - found.swapaxes(-1, -2)).max() < 1e-15


def work_round(m: CoupledMap, slip: float = 0.0) -> float:
    """Work of currents and shaft round a closed path over angle and all currents, by Gauss and Legendre's places."""
    t, weight = np.polynomial.legendre.leggauss(4)
    edges = np.linspace(0.0, 2 * np.pi, 2001)
    middle, half = (edges[1:] + edges[:-1]) / 2, np.diff(edges) / 2
    s = (middle[:, None] + half[:, None] * t).ravel()
    w = (half[:, None] * weight).ravel()
    shift = np.arange(3) * 2.0
    angle, turning = 0.6 * np.sin(s), 0.6 * np.cos(s)
    currents, change = 10.0 + 9.0 * np.sin(s[:, None] + shift), 9.0 * np.cos(s[:, None] + shift)
    found = m.at(angle + slip, currents)
    torque = m.at(angle, currents).torque
    return float(w @ (torque * turning + (found.flux_linkages * change).sum(axis=1)))


def test_no_closed_path_makes_energy() -> None:
    assert abs(work_round(coupled())) < 2e-6
    assert abs(work_round(coupled(), slip=0.01)) > 1e-3


def test_the_inverse_gives_the_currents_back() -> None:
    m = coupled()
    angle, currents = points()
    assert np.abs(m.invert(angle, m.at(angle, currents).flux_linkages) - currents).max() < 1e-8


def test_the_inverse_reaches_no_current_and_the_last() -> None:
    m, ends = coupled(), np.array([[0.0, 0.0, 0.0], [20.0, 0.0, 0.0], [0.0, 0.0, 20.0], [20.0, 20.0, 20.0]])
    angle = np.linspace(0.0, PITCH, 50)[:, None]
    found = m.invert(angle, m.at(angle, ends).flux_linkages)
    assert np.abs(found - ends).max() < 1e-8 and found.min() >= 0.0 and found.max() <= 20.0


def test_the_sum_is_the_sum() -> None:
    m = summed(sampled(121, 41))
    angle, currents = points()
    alone = exact(angle[:, None] - np.arange(3) * STROKE, currents)
    found = m.at(angle, currents)
    np.testing.assert_allclose(found.flux_linkages, alone[0], atol=2e-6)
    np.testing.assert_allclose(found.torque, alone[1].sum(axis=1), atol=3e-4)
    assert m.coupling == "summed" and not m.inductances(0.2, [5.0, 5.0, 5.0])[0, 1:].any()


def test_a_phase_that_rests_adds_nothing_whatever_a_table_says() -> None:
    part = coupled(8).interactions[0]
    theta, i, j = np.meshgrid(part.angles[:-1], part.currents, part.currents, indexing="ij")
    tables = i * j * np.cos(4 * theta), -4 * i * j * np.sin(4 * theta), np.stack([j, i]) * np.cos(4 * theta)

    def through(rests: float, flows: float = 0.0) -> Floats:
        turning = -4 * j * np.sin(4 * theta) + flows
        turning[:, :, 0] = (
            rests  # of the first phase's flux linkage over the angle, where the second has no current
        )
        known = {(1, 1, 0): turning}
        return Interaction.through((0, 1), part.angles, part.currents, *tables, known).nodes

    assert (through(0.0) == through(7.0)).all()
    assert (through(0.0) != through(0.0, flows=7.0)).any()


def test_what_a_map_of_a_machine_is() -> None:
    m = coupled()
    assert (m.phases, m.rotor_poles, m.coupling, m.mirror) == (3, 4, "joint", True)
    assert (m.pitch, m.stroke, m.currents[-1]) == (PITCH, STROKE, 20.0)
    assert m.at(np.zeros((2, 1)), np.zeros((5, 3))).flux_linkages.shape == (2, 5, 3)
    assert "3 sets of phases interact" in repr(m)


@pytest.mark.parametrize(
    ("currents", "sentence"),
    [
        ([1.0, -1.0, 0.0], "currents of phases that share a field are of one sign: phase_currents is -1 A"),
        ([1.0, 21.0, 0.0], "a map says nothing beyond its last current: phase_currents is 21 A"),
        (
            [1.0, 2.0],
            r"each phase has its own: phase_currents is of shape \(2,\), allowed is shape \(..., 3\)",
        ),
    ],
)
def test_refused_currents(currents: list[float], sentence: str) -> None:
    with pytest.raises(InvalidValue, match=sentence):
        coupled().at(0.0, currents)


def test_refused_flux_linkages_and_parts() -> None:
    m = coupled()
    for linkages in ([-0.1, 0.0, 0.0], [9.0, 0.0, 0.0]):
        with pytest.raises(
            InvalidValue, match="a map knows the flux linkages of currents from 0 to its last"
        ):
            m.invert(0.0, linkages)
    with pytest.raises(InvalidValue, match="each set of phases interacts once"):
        dataclasses.replace(m, interactions=m.interactions * 2)
    with pytest.raises(InvalidValue, match="an interaction covers one rotor pitch"):
        shorter = dataclasses.replace(m.interactions[0], angles=m.interactions[0].angles / 2)
        dataclasses.replace(m, interactions=(shorter,))
    with pytest.raises(InvalidValue, match="every mixed derivative at every node"):
        dataclasses.replace(m.interactions[0], nodes=np.zeros((2, 2)))


def test_a_saved_map_comes_back_whole(tmp_path: Path) -> None:
    m = dataclasses.replace(coupled(8), torque_error=1e-3, remarks=("made by hand",))
    m.save(tmp_path / "m.npz")
    back = CoupledMap.load(tmp_path / "m.npz")
    angle, currents = points(20)
    for kept, found in zip(m.at(angle, currents), back.at(angle, currents), strict=True):
        np.testing.assert_array_equal(kept, found)
    for name in ("coupling", "torque_error", "flux_linkage_error", "remarks"):
        assert getattr(back, name) == getattr(m, name)
    assert [part.phases for part in back.interactions] == [part.phases for part in m.interactions]
    m.single.save(tmp_path / "single.npz")
    with pytest.raises(StoreRefused, match="a file of a coupled map holds one"):
        CoupledMap.load(tmp_path / "single.npz")


def test_torque_and_coenergy_alone_are_those_of_all() -> None:
    m = coupled()
    angle, currents = points()
    currents = currents.reshape(100, 3, 3)
    found = m.at(angle[:3], currents)
    np.testing.assert_allclose(m.torque(angle[:3], currents), found.torque, rtol=1e-12, atol=1e-13)
    np.testing.assert_allclose(m.coenergy(angle[:3], currents), found.coenergy, rtol=1e-12, atol=1e-14)
    assert np.abs(summed(m.single).torque(angle[:3], currents) - found.torque).max() > 0.1
    with pytest.raises(InvalidValue, match="a map says nothing beyond its last current"):
        m.torque(0.0, [21.0, 0.0, 0.0])


def stacks(found: CoupledMap, m: CoupledMap, ahead: tuple[float, float]) -> bool:
    """Whether a map is that of two halves of a stack, each at its own angle, at the nodes of the halves' sum."""
    nodes, (_, currents) = m.interactions[0].angles[:-1], points(m.interactions[0].angles.size - 1)
    currents = np.rint(currents / 5.0) * 5.0
    halves = [m.at(nodes + shift, currents) for shift in ahead]
    sum_of = found.at(nodes, currents)
    return all(
        np.abs(one - sum(parts) / 2).max() < 2e-3 * np.abs(one).max()
        for one, parts in zip(sum_of, zip(*halves, strict=True), strict=True)
    )


def test_a_stack_is_the_sum_of_its_slices() -> None:
    m = coupled()
    two = coupled_stack([CoupledSlice(m, 0.5, -0.05), CoupledSlice(m, 0.5, 0.05)])
    assert stacks(two, m, (-0.05, 0.05)) and not stacks(two, m, (0.05, 0.05))
    skewed = skewed_machine(m, 0.1, points=2)
    place = 0.05 / np.sqrt(3.0)
    assert stacks(skewed, m, (-place, place)) and not stacks(m, m, (-place, place))
    with pytest.raises(InvalidValue, match="slices of a machine interact at the same angles and currents"):
        coupled_stack([CoupledSlice(m, 0.5), CoupledSlice(coupled(24), 0.5)])

"""Where a coupled map solves, and where it does not: angles where torque bends, levels of current where iron does."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from itertools import combinations, product
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.interpolate import CubicHermiteSpline
from test_joint import ANGLES, CURRENTS, SPEC, exact_state, thin_yoke

from polefem import coupled_map, flux_map
from polefem.field import built
from polefem.maps import CoupledMap, FluxMap, Interaction
from polefem.params import symmetries, turnings
from polefem.solve import Solution, minimise
from polefem.sweep import joint, points
from polefem.sweep.idle import Idle
from polefem.sweep.levels import LEVELS, WIDEST, placed
from polefem.sweep.nodes import doubts, quintic
from polefem.units import deg
from tests.maps import saturating

Floats = NDArray[np.float64]


def bump(x: Floats, width: float) -> tuple[Floats, Floats]:
    """Co-energy and torque of something that passes at angle 2 within a width, over a period of 2 pi."""
    y = np.tanh((np.sin(x - 2.0)) / width)
    return y, (1 - y**2) * np.cos(x - 2.0) / width


def told(width: float) -> bool:
    """Whether doubts of 24 even pieces are in the right places and of the right size: where cubic pieces are off by a
    hundredth of the peak and more, within a factor of four."""
    x = np.linspace(0.0, 2 * np.pi, 25)
    value, slope = bump(x, width)
    found = doubts(x, value[:-1, None], slope[:-1, None])[:, 0]
    fine = np.linspace(0.0, 2 * np.pi, 24 * 40 + 1)
    off = (
        np.abs(CubicHermiteSpline(x, value, slope)(fine, 1) - bump(fine, width)[1])[:-1]
        .reshape(24, 40)
        .max(axis=1)
    )
    large = off > 1e-2 * np.abs(slope).max()
    return bool(large.any() and (found[large] > off[large] / 4).all() and found.max() < 4 * off.max())


def test_doubts_tell_where_cubic_pieces_are_off() -> None:
    assert told(0.2) and told(0.3)


def test_doubts_hang_on_the_slopes() -> None:
    assert doubts(np.linspace(0, 1, 9), np.zeros((8, 1)), np.zeros((8, 1))).max() == 0.0
    x = np.linspace(0.0, 2 * np.pi, 25)
    value, slope = bump(x, 0.3)
    right = doubts(x, value[:-1, None], slope[:-1, None])
    assert not np.allclose(doubts(x, value[:-1, None], 0.9 * slope[:-1, None]), right, rtol=0.5)


def test_quintic_pieces_come_nearer_than_cubic_ones() -> None:
    """In the middle of pieces, where one is told from the other; of torque the slope of the value."""
    x = np.linspace(0.0, 2 * np.pi, 25)
    value, slope = bump(x, 0.8)
    cubic = CubicHermiteSpline(x, value, slope)

    def off(found: Callable[[float], tuple[Floats, Floats]], order: int) -> float:
        middle = (x[:-1] + x[1:]) / 2
        return max(abs(float(found(at)[order][0]) - float(bump(np.array(at), 0.8)[order])) for at in middle)

    def better(at: float) -> tuple[Floats, Floats]:
        return quintic(x, value[:-1, None], slope[:-1, None], at)

    def plain(at: float) -> tuple[Floats, Floats]:
        return cubic(at)[None], cubic(at, 1)[None]

    assert off(better, 0) < off(plain, 0) / 4 and off(better, 1) < off(plain, 1) / 4
    still = quintic(x, value[:-1, None], 0.9 * slope[:-1, None], x[7] + 0.1)
    assert abs(still[1][0] - better(x[7] + 0.1)[1][0]) > 0.05


def test_levels_are_close_where_shared_iron_bends_too() -> None:
    single = flux_map(thin_yoke(), ANGLES, CURRENTS, SPEC)
    levels = placed(single) / CURRENTS[-1]
    assert len(levels) == LEVELS and levels[-1] == 1.0
    gaps = np.diff(np.append(0.0, levels))
    assert gaps[-1] == gaps.max()  # far apart where all iron is full


def off_between(single: FluxMap, levels: Floats) -> float:
    """How far the slope of cubic pieces of co-energy between levels is from the flux linkage at most, Wb, at the
    current and at twice the current: the closed co-energy, straight on past the last current, and scipy's pieces."""
    angles, last = np.linspace(0.0, single.pitch, 24, endpoint=False)[:, None], float(single.currents[-1])
    places, few, worst = np.linspace(0.0, last, 65), np.append(0.0, levels), 0.0
    for times in (1.0, 2.0):

        def at(currents: Floats, times: float = times) -> tuple[Floats, Floats]:
            inside = np.minimum(times * currents, last)
            flux, _, coenergy = saturating.exact(angles, inside)
            rate = (
                saturating.exact(angles, last + 1e-6)[0] - saturating.exact(angles, last - 1e-6)[0]
            ) / 2e-6
            over = times * currents - inside
            return (coenergy + (flux + rate * over / 2) * over) / times, flux + rate * over

        pieces = CubicHermiteSpline(few, *at(few), axis=1)
        worst = max(worst, float(np.abs(pieces(places, 1) - at(places)[1]).max()))
    return worst


def test_levels_are_where_no_others_come_nearer() -> None:
    """Of as many of the map's own currents, no further apart than levels may be: of all of these."""
    single = saturating.sampled(61, 16)
    levels = placed(single)
    assert set(levels) < set(single.currents)
    others = [np.array([*some, 16]) for some in combinations(range(1, 16), LEVELS - 1)]
    others = [one for one in others if np.diff(one, prepend=0).max() <= round(WIDEST * 16)]
    found = [off_between(single, single.currents[one - 1]) for one in others]
    assert len(found) > 40 and off_between(single, levels) <= 1.01 * min(found) < 0.5 * max(found)


@pytest.mark.parametrize("count", [1, 2, 3, 6, 7, 8, 9, 10, 11, 25])
def test_levels_are_the_currents_of_the_map_and_even_parts_between(count: int) -> None:
    single = saturating.sampled(31, count)
    levels = placed(single)
    assert len(levels) == LEVELS and levels[-1] == single.currents[-1] and np.diff(levels).min() > 0.0
    parts = -(-LEVELS // count)
    own = np.interp(
        np.arange(parts * count + 1) / parts, np.arange(count + 1), np.append(0.0, single.currents)
    )
    assert set(levels) <= set(own)


def splined(found: CoupledMap) -> CoupledMap:
    """The broken twin: the same nodes, their mixed derivatives from splines instead of from the fields."""
    parts = []
    for part in found.interactions:
        nodes, k = part.nodes, len(part.phases)
        axes = [tuple(int(at == axis) for at in range(1 + k)) for axis in range(1, 1 + k)]
        linkages = np.stack([nodes[orders] for orders in axes])
        turned = nodes[(1, *[0] * k)]
        parts.append(
            Interaction.through(
                part.phases, part.angles, part.currents, nodes[(0,) * (1 + k)], turned, linkages
            )
        )
    return dataclasses.replace(found, interactions=tuple(parts))


@pytest.mark.parametrize(("j", "within"), [(12.0, 0.01), (16.0, 0.04)], ids=["solved", "a sum"])
def test_mutual_inductance_at_a_node_is_that_of_its_fields(j: float, within: float) -> None:
    """Against differences of fields solved to rounding."""
    machine, i = thin_yoke(), 12.0
    found = coupled_map(
        machine, ANGLES, CURRENTS, SPEC, joint_currents=[6.0, 12.0, 16.0], joint_nodes=6, at_once=2
    )
    system, node = built(machine, SPEC).systems[0], 0.0
    states = [exact_state(system, node, np.array([i, j + step, 0.0])) for step in (-0.05, 0.05)]
    mutual = (states[1][0][0] - states[0][0][0]) / 0.1
    turned = (states[1][1] - states[0][1]) / 0.1

    def right(m: CoupledMap) -> bool:
        at = m.inductances(node, [i, j, 0.0])[0, 1]
        step = 1e-4
        rows = np.array([[i, j - step, 0.0], [i, j, 0.0]])
        change = float(np.diff(m.torque(node, rows))[0]) / step
        return bool(abs(at - mutual) < within * abs(mutual) and abs(change - turned) < within * abs(turned))

    assert right(found)
    assert not right(splined(found))


def off(one: CoupledMap, other: CoupledMap) -> float:
    """How far two maps are apart between their levels at a node, in parts of peak torque and largest flux linkage."""
    rng = np.random.default_rng(3)
    rows = np.append(rng.uniform(2.0, 16.0, (200, 2)), np.zeros((200, 1)), axis=1)
    worst = 0.0
    for angle in (0.0, 15 * deg):
        a, b = one.at(angle, rows), other.at(angle, rows)
        torque = np.abs(a.torque - b.torque).max() / np.abs(one.single.torque).max()
        linked = np.abs(a.flux_linkages - b.flux_linkages).max() / np.abs(one.single.flux_linkage).max()
        worst = max(worst, float(torque), float(linked))
    return worst


def test_what_rests_is_known_all_round_from_half_a_pitch() -> None:
    """One phase alone: its own flux linkage is even in the angle, and the other two change places."""
    machine, currents = thin_yoke(), np.array([1.0, 2.0, 3.0])
    ways = symmetries(machine.phases, turnings(6, 1, mirror=True))
    mirror = next(way for way in ways if way.sense == -1 and way.phase[0] == 0)
    assert mirror.phase == (0, 2, 1)

    def closed(angle: Floats) -> Floats:
        one, other = (0.1 + 0.3 * np.cos(4 * sign * angle + 0.7) for sign in (1, -1))
        return np.stack([2.0 + np.cos(4 * angle), one, mirror.sign[1] * mirror.sign[0] * other])

    half = np.linspace(0.0, machine.rotor_pitch / 2, 17)
    results = SimpleNamespace(
        angles=half, currents=currents, linkages=currents[:, None] * closed(half)[:, None]
    )
    around = np.linspace(-3.0, 3.0, 101)
    found = Idle(results, machine, ways).at(0, around, currents)  # type: ignore[arg-type]
    np.testing.assert_allclose(found, closed(around)[..., None] * currents, atol=2e-3)


def test_angles_are_added_in_the_middle_of_pieces_in_doubt() -> None:
    """Something passes at angles 2 and 2 + pi, in the eighth and the twentieth of 24 pieces; nodes are four apart. It
    does so at one pair of levels, and counts where that is solved on the mesh."""
    angles = np.linspace(0.0, 2 * np.pi, 25)
    nodes = np.zeros((2, 1, 1, 24, 3, 3))
    nodes[0, 0, 0, :, 1, 1], nodes[1, 0, 0, :, 1, 1] = (one[:-1] for one in bump(angles, 0.1))
    part = SimpleNamespace(phases=(0, 1), angles=angles, nodes=nodes)
    found = SimpleNamespace(interactions=(part,), single=SimpleNamespace(torque=nodes[1]))

    def asked(apart: int, firm: tuple[int, int] = (0, 0)) -> list[int]:
        sites = SimpleNamespace(
            firm={2: [firm]}, nodes=24 * apart, solved=lambda on: [apart * at for at in range(24)],
            image=lambda on, at: ((on, at), None),
        )  # fmt: skip
        return sorted(at for _, at in joint._doubtful(found, sites))  # type: ignore[arg-type]

    assert {4 * 7 + 2, 4 * 19 + 2} <= set(asked(4))
    assert all(at % 4 == 2 and min(abs(at - 30), abs(at - 78)) <= 18 for at in asked(4))
    assert asked(1) == []  # there is nothing between neighbours
    assert asked(4, (0, 1)) == []


def test_levels_between_are_close_to_solved_ones(monkeypatch: pytest.MonkeyPatch) -> None:
    """Sums of the fields at a few levels against fields at all of them. The broken twin sums fields at one level."""

    def made() -> CoupledMap:
        return coupled_map(thin_yoke(), ANGLES, CURRENTS, SPEC, joint_nodes=6, at_once=2)

    usual, last = made(), (LEVELS - 1, LEVELS - 1)
    every = list(product(reversed(range(LEVELS)), repeat=2))
    monkeypatch.setattr(joint, "_firm", lambda phases, levels: every)
    solved = made()
    monkeypatch.setattr(joint, "_firm", lambda phases, levels: [last])
    monkeypatch.setattr(points, "MISSING", 1.0)
    poor = made()
    assert off(usual, solved) < 0.005 < off(poor, solved)


def test_a_sum_that_misses_much_is_solved(monkeypatch: pytest.MonkeyPatch) -> None:
    solved: list[int] = []

    def counting(*given: Any) -> Solution:
        solved.append(1)
        return minimise(*given)

    monkeypatch.setattr(points, "minimise", counting)

    def states(missing: float) -> int:
        monkeypatch.setattr(points, "MISSING", missing)
        solved.clear()
        coupled_map(thin_yoke(), ANGLES, CURRENTS, SPEC, joint_nodes=6, at_once=2)
        return len(solved)

    assert 4 * states(1.0) < states(0.0)

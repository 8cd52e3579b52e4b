"""Where a coupled map solves, and where it does not: angles where torque bends, levels of current where iron does."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.interpolate import CubicHermiteSpline
from test_joint import ANGLES, CURRENTS, SPEC, exact_state, thin_yoke

from polefem import coupled_map, flux_map
from polefem.field import built
from polefem.maps import CoupledMap, FluxMap, Interaction, linear_map
from polefem.params import symmetries, turnings
from polefem.sweep import correction, fill, joint
from polefem.sweep.correction import BOTH, FIRST, SECOND, TURNED, TURNED_FIRST, TURNED_SECOND, VALUE
from polefem.sweep.idle import Idle
from polefem.sweep.levels import LEVELS, placed
from polefem.sweep.nodes import doubts, quintic
from polefem.sweep.single import swept
from polefem.sweep.teller import Teller
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


def test_doubts_without_the_slopes_tell_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
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


def test_amid_two_nodes_pieces_tell_what_fields_do(monkeypatch: pytest.MonkeyPatch) -> None:
    """Torque in parts of the peak, flux linkages of the largest. The broken twin takes the pieces for the whole, what
    either phase does alone left out."""
    kept: list[Any] = []
    monkeypatch.setattr(joint, "_with_threes", lambda found, sites, pairs: kept.append(pairs) or found)
    machine, currents = thin_yoke(), CURRENTS[[1, 3]]
    found = coupled_map(machine, ANGLES, currents, SPEC, joint_currents=currents, joint_nodes=12, at_once=2)
    whole, part = built(machine, SPEC), found.interactions[0]
    single, results = swept(whole, None, ANGLES, currents, Teller(None, 0))
    idle = Idle(results, machine, joint._ways(whole))
    middles = ((part.angles[1:] + part.angles[:-1]) / 2)[[1, 6]].tolist()
    states = [exact_state(whole.systems[0], angle, np.array([8.0, 16.0, 0.0])) for angle in middles]

    def off() -> tuple[float, float]:
        torques, links = [], []
        for angle, (linkages, torque) in zip(middles, states, strict=True):
            told = correction.between(single, idle, part, kept[0][part.phases], angle)
            torques.append(abs(told.torque[0, 1] - torque) / np.abs(single.torque).max())
            links.append(np.abs(told.linkages[:, 0, 1] - linkages).max() / np.abs(single.flux_linkage).max())
        return float(max(torques)), float(max(links))

    torque, linked = off()
    assert torque < 0.06 and linked < 0.03
    monkeypatch.setattr(correction.Alone, "both", lambda self, name: np.zeros((1, 3, 3)))
    assert off()[0] > 0.3


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
    """Of all that are whole sixteenths of the last current, no more than five of these apart."""
    single, rng = saturating.sampled(61, 60), np.random.default_rng(1)
    best = off_between(single, placed(single))
    others = [np.sort(rng.choice(np.arange(1, 16), 5, replace=False)) for _ in range(300)]
    others = [np.append(one, 16) for one in others if np.diff(np.concatenate([[0], one, [16]])).max() <= 5]
    found = [off_between(single, single.currents[-1] / 16 * one) for one in others]
    assert len(found) > 40 and best <= 1.01 * min(found) < 0.5 * max(found)


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


def test_mutual_inductance_at_a_node_is_that_of_its_fields() -> None:
    """Against differences of fields solved to rounding."""
    machine, i, j = thin_yoke(), 12.0, 16.0
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
        return bool(abs(at - mutual) < 0.02 * abs(mutual) and abs(change - turned) < 0.02 * abs(turned))

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


def test_bends_at_the_ends_of_pieces_are_those_of_cubics() -> None:
    few, rng = np.array([0.0, 1.0, 3.0, 4.5]), np.random.default_rng(2)
    value, slope = rng.normal(size=(2, 4, 3))
    curve = CubicHermiteSpline(few, value, slope)
    ends = [curve(few[:-1], 2), 3 * curve((few[:-1] + 2 * few[1:]) / 3, 2) / 2 - curve(few[:-1], 2) / 2]
    np.testing.assert_allclose(fill._bent(few, value, slope), ends)


def test_angles_are_added_in_the_middle_of_pieces_in_doubt() -> None:
    """Something passes at angles 2 and 2 + pi, in the eighth and the twentieth of 24 pieces; nodes are four apart. It
    does so at one pair of levels, and those alone are asked."""
    angles = np.linspace(0.0, 2 * np.pi, 25)
    nodes = np.zeros((2, 1, 1, 24, 3, 3))
    nodes[0, 0, 0, :, 1, 1], nodes[1, 0, 0, :, 1, 1] = (one[:-1] for one in bump(angles, 0.1))
    part = SimpleNamespace(phases=(0, 1), angles=angles, nodes=nodes, currents=np.arange(3.0))
    found = SimpleNamespace(interactions=(part,), single=SimpleNamespace(torque=nodes[1]))

    def asked(apart: int) -> list[int]:
        sites = SimpleNamespace(
            coarse={2: [0]}, nodes=24 * apart, solved=lambda on: [apart * at for at in range(24)],
            image=lambda on, at: ((on, at), SimpleNamespace(order=(0, 1))),
        )  # fmt: skip
        levels = joint._doubtful(found, sites)  # type: ignore[arg-type]
        assert all(one.tolist() == [[True, False], [False, False]] for one in levels.values())
        return sorted(at for _, at in levels)

    assert {4 * 7 + 2, 4 * 19 + 2} <= set(asked(4))
    assert all(at % 4 == 2 and min(abs(at - 30), abs(at - 78)) <= 18 for at in asked(4))
    assert asked(1) == []  # there is nothing between neighbours


def test_cubic_pieces_are_put_where_no_field_is() -> None:
    """What is a cubic in either current comes back exactly, with its slopes (Hermite, and splines through cubics)."""
    levels, coarse = np.linspace(1.0, 9.0, 9), [1, 3, 5, 8]
    p, q = np.polynomial.Polynomial([0.0, 2.0, 0.3, -0.02]), np.polynomial.Polynomial([0.0, -1.0, 0.1, 0.01])

    def product(of: Floats, first: int = 0, second: int = 0) -> Floats:
        return np.outer((p.deriv(first) if first else p)(of), (q.deriv(second) if second else q)(of))

    few = np.append(0.0, levels[coarse])
    here = {VALUE: product(few), FIRST: product(few, 1), SECOND: product(few, 0, 1), BOTH: product(few, 1, 1)}
    here |= {TURNED: 3 * here[VALUE], TURNED_FIRST: 3 * here[FIRST], TURNED_SECOND: 3 * here[SECOND]}
    m, none = len(levels), np.zeros((2, 1, len(levels) + 1))
    alone = SimpleNamespace(
        currents=np.append(0.0, levels),
        linkage=none,
        turning=none,
        both=lambda name: np.zeros((1, m + 1, m + 1)),
    )
    values = SimpleNamespace(
        coenergy=np.zeros((m, m)), torque=np.zeros((m, m)), linkages=np.zeros((3, m, m)),
        turning=np.zeros((2, m, m)), bends=np.zeros((2, 2, m, m)),
    )  # fmt: skip
    resting = {2: (5 * here[VALUE], [5 * here[FIRST], 5 * here[SECOND]])}
    filler = fill.Filler(None, None, levels, coarse, False)  # type: ignore[arg-type]
    filler._put((0, 1), alone, few, here, values, np.zeros((m, m), dtype=bool), resting)  # type: ignore[arg-type]
    free = np.ones((m, m), dtype=bool)
    free[np.ix_(coarse, coarse)] = False
    for found, exact in (
        (values.coenergy, product(levels)),
        (values.torque, 3 * product(levels)),
        (values.linkages[0], product(levels, 1)),
        (values.linkages[1], product(levels, 0, 1)),
        (values.linkages[2], 5 * product(levels)),
        (values.turning[0], 3 * product(levels, 1)),
        (values.turning[1], 3 * product(levels, 0, 1)),
        (values.bends[0, 1], product(levels, 1, 1)),
    ):
        np.testing.assert_allclose(found[free], exact[free], atol=1e-9)
        assert (found[~free] == 0.0).all()


def needed(unit: float) -> list[bool]:
    """Which levels of a pair that saturates need a field, with currents counted in a unit of so many amperes."""
    levels, coarse = np.linspace(1.0, 9.0, 9) / unit, [1, 3, 5, 8]
    few = np.append(0.0, levels[coarse])

    def product(first: int, second: int) -> Floats:
        """unit * log(cosh(unit i / 3)) * ..., a derivative of it: flux linkages are the same in any unit."""
        ways = [lambda x: np.log(np.cosh(x)), np.tanh, lambda x: 1 / np.cosh(x) ** 2]
        one, other = (ways[k](unit * few / 3) * (unit / 3) ** k for k in (first, second))
        return np.outer(one, other) / unit

    names = ((VALUE, TURNED, (0, 0)), (FIRST, TURNED_FIRST, (1, 0)), (SECOND, TURNED_SECOND, (0, 1)))
    here = {name: product(*orders) for name, _, orders in names}
    here |= {name: 0.1 * product(*orders) for _, name, orders in names}
    second = np.stack([product(2, 0)[1:, 1:], product(0, 2)[1:, 1:]])
    alone = linear_map(0.1 * unit, 0.01 * unit, full=2 * deg, apart=30 * deg, current=9.0 / unit)
    filler = fill.Filler(alone, None, levels, coarse, False)  # type: ignore[arg-type]
    return list(filler._needed(few, here, second, []).ravel())


def test_which_levels_need_fields_does_not_hang_on_the_unit_of_current() -> None:
    """Flux linkage is in Wb whatever current is counted in; energy and torque go as the unit."""
    found = needed(1.0)
    assert any(found) and not all(found)
    assert needed(1e-3) == found == needed(20.0)


def test_pieces_may_be_off_by_a_share_of_the_machine_s_own_size() -> None:
    small, large = (
        linear_map(k * 60e-3, k * 6e-3, full=2 * deg, apart=30 * deg, current=10.0) for k in (1, 10)
    )
    few, many = (fill.Filler(one, None, np.ones(1), [0], False) for one in (small, large))  # type: ignore[arg-type]
    assert many.torque == pytest.approx(10 * few.torque) and many.flux == pytest.approx(10 * few.flux)
    assert 0.0 < few.torque < 0.01 * np.abs(small.torque).max()


@pytest.mark.slow
def test_levels_that_are_filled_in_are_close_to_solved_ones(monkeypatch: pytest.MonkeyPatch) -> None:
    points: dict[str, int] = {}

    def made(name: str) -> CoupledMap:
        def tell(done: int, of: int) -> None:
            points[name] = of

        return coupled_map(thin_yoke(), ANGLES, CURRENTS, SPEC, tell, joint_nodes=6, at_once=2)

    usual = made("usual")
    monkeypatch.setattr(fill, "FLUX", 1e-9)
    every = made("every")
    monkeypatch.setattr(fill, "FLUX", 1e9)
    monkeypatch.setattr(fill, "TORQUE", 1e9)
    none = made("none")
    assert points["none"] < points["usual"] < points["every"]
    assert off(usual, every) < 0.01 < off(none, every)

"""The potential against a closed co-energy, and what an interpolation of torque by itself would do wrong."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import RegularGridInterpolator

from polefem.errors import InvalidValue
from polefem.maps import linear_map
from polefem.units import deg
from tests.maps.saturating import PITCH, exact, sampled

RNG = np.random.default_rng(7)
ANGLES, CURRENTS = RNG.uniform(-3, 3, 4000), RNG.uniform(-20, 20, 4000)


def test_the_nodes_are_kept() -> None:
    m = sampled()
    flux, torque, coenergy = m.at(m.angles, m.currents[:, None])
    np.testing.assert_allclose(flux, m.flux_linkage, rtol=1e-12)
    np.testing.assert_allclose(coenergy, m.coenergy, rtol=1e-12)
    np.testing.assert_allclose(torque, m.torque, atol=1e-12 * np.abs(m.torque).max())


def errors(n_angles: int, n_currents: int) -> np.ndarray:
    """Largest error of flux linkage, torque and co-energy over the largest value."""
    found = sampled(n_angles, n_currents).at(ANGLES, CURRENTS)
    flux, torque, coenergy = exact(ANGLES, np.abs(CURRENTS))
    closed = (flux * np.sign(CURRENTS), torque, coenergy)
    return np.array([np.abs(a - b).max() / np.abs(b).max() for a, b in zip(found, closed, strict=True)])


def test_errors_fall_as_the_grid_is_refined() -> None:
    coarse, fine = errors(16, 12), errors(31, 24)
    rate = np.log2(coarse / fine)
    assert (rate > 2.5).all() and (rate < 6.5).all(), (
        rate
    )  # a cubic in the angle: 3 for its slope, 4 for itself
    assert (fine < [1e-5, 3e-4, 1e-5]).all(), fine


def circulation(torque, flux) -> float:
    """Work over the closed path current up, turn, current down, turn back, over the work of its first turn.

    A conservative phase gives back what it took: zero, up to the quadrature.
    """
    x, w = np.polynomial.legendre.leggauss(400)
    a, b, low, high = -0.5, -0.1, 4.0, 15.0
    angle, current = (a + b) / 2 + (b - a) / 2 * x, (low + high) / 2 + (high - low) / 2 * x
    over_angle = [(b - a) / 2 * (w * torque(angle, i)).sum() for i in (low, high)]
    over_current = [(high - low) / 2 * (w * flux(at, current)).sum() for at in (a, b)]
    return abs(over_current[0] + over_angle[1] - over_current[1] - over_angle[0]) / over_angle[1]


def test_no_closed_path_makes_energy() -> None:
    m = sampled(16, 6)
    assert circulation(lambda a, i: m.at(a, i)[1], lambda a, i: m.at(a, i)[0]) < 1e-6


def test_torque_interpolated_by_itself_makes_energy() -> None:
    m = sampled(16, 6)

    def table(values):
        look = RegularGridInterpolator((m.currents, m.angles), values)
        return lambda angle, i: look(np.stack(np.broadcast_arrays(i, np.abs(angle)), axis=-1))

    torque, flux = table(-m.torque), table(m.flux_linkage)
    assert circulation(torque, flux) > 1e-3


@given(st.floats(-10, 10), st.floats(-20, 20))
def test_symmetries(angle: float, current: float) -> None:
    m = MAP
    flux, torque, coenergy = m.at(angle, current)
    close = {"rtol": 1e-9, "atol": 1e-12}
    np.testing.assert_allclose(m.at(angle, -current), (-flux, torque, coenergy), **close)
    np.testing.assert_allclose(m.at(-angle, current), (flux, -torque, coenergy), **close)
    np.testing.assert_allclose(m.at(angle + PITCH, current), (flux, torque, coenergy), **close)
    np.testing.assert_allclose(m.invert(angle, flux), current, rtol=1e-9, atol=1e-11)


MAP = sampled(16, 6)


def test_nothing_at_zero_current() -> None:
    assert np.abs(MAP.at(ANGLES, 0.0)).max() < 1e-15


def test_flux_linkage_rises_even_across_a_sharp_knee() -> None:
    m = sharp_knee(np.array([2.0, 4.0, 6.0, 8.0, 14.0, 20.0]))
    fine = np.linspace(0, 20, 4001)
    flux = m.at(np.linspace(-45, 45, 40)[:, None] * deg, fine)[0]
    assert (np.diff(flux, axis=1) > 0).all()
    at_nodes = m.at(m.angles, m.currents[:, None])
    np.testing.assert_allclose(at_nodes[0], m.flux_linkage, rtol=1e-12)
    np.testing.assert_allclose(at_nodes[1], m.torque, atol=1e-12)


def steady(m) -> bool:
    """Whether the torque between the angles of the last current is near that of the angles beside it."""
    between = (m.angles[1:] + m.angles[:-1]) / 2
    found = m.at(between, m.currents[-1])[1]
    beside = (m.torque[-1, 1:] + m.torque[-1, :-1]) / 2
    return bool(np.abs(found - beside).max() < 0.01 * np.abs(m.torque[-1]).max())


def test_torque_between_angles_is_steady_where_currents_are_few() -> None:
    m = saturating_later(np.array([2.0, 8.0, 16.0]))
    assert steady(m)
    # The twin: one angle's co-energy off by what a straight line between its flux linkages would do.
    middle = len(m.angles) // 2
    coenergy = m.coenergy.copy()
    coenergy[:, middle] = np.cumsum(
        np.diff(m.currents, prepend=0.0)
        * (m.flux_linkage[:, middle] + np.append(0.0, m.flux_linkage[:-1, middle]))
        / 2
    )
    assert not steady(dataclasses.replace(m, coenergy=coenergy))


def saturating_later(currents: np.ndarray):
    """The flux linkage bends at a current that falls towards aligned, so that each angle's knee lies elsewhere."""
    angles = np.linspace(0, 45, 16) * deg
    overlap = 1.2 + np.cos(4 * angles)
    i, knee = currents[:, None], 9.0 - 2.0 * np.cos(4 * angles)
    rate, turning = 0.03 * overlap, -4 * np.sin(4 * angles)
    bend, turned = np.tanh(i / knee), -2.0 * turning
    flux = 1e-3 * i + rate * knee * bend
    area = np.log(np.cosh(i / knee))
    coenergy = 5e-4 * i**2 + rate * knee**2 * area
    torque = 0.03 * turning * knee**2 * area + rate * turned * (2 * knee * area - i * bend)
    return dataclasses.replace(
        linear_map(60e-3, 6e-3, full=0.0, apart=30 * deg, current=1.0),
        angles=angles,
        currents=currents,
        flux_linkage=flux,
        torque=torque,
        coenergy=coenergy,
        incremental_inductance=None,
    )


def sharp_knee(currents: np.ndarray):
    """The flux linkage bends at one current: a spline through it would overshoot and fall."""
    angles = np.linspace(0, 45, 31) * deg
    overlap, turning = 1 + np.cos(4 * angles), -4 * np.sin(4 * angles)
    low, over = np.minimum(currents, 6.0)[:, None], np.maximum(currents - 6.0, 0.0)[:, None]
    area = 0.03 * (low**2 / 2 + 6.0 * over)
    i = currents[:, None]
    tables = (1e-3 * i + 0.03 * overlap * low, turning * area, 5e-4 * i**2 + overlap * area)
    return dataclasses.replace(
        linear_map(60e-3, 6e-3, full=0.0, apart=30 * deg, current=1.0),
        angles=angles,
        currents=currents,
        **dict(zip(("flux_linkage", "torque", "coenergy"), tables, strict=True)),
        incremental_inductance=None,
    )


def columns(m, keep: np.ndarray, angles: np.ndarray, mirror: bool):
    names = ("flux_linkage", "torque", "coenergy")
    return dataclasses.replace(m, angles=angles, mirror=mirror, **{n: getattr(m, n)[:, keep] for n in names})


def test_other_spans_of_the_same_machine_agree() -> None:
    angles = np.linspace(-np.pi / 4, np.pi / 4, 61)
    currents = MAP.currents
    flux, torque, coenergy = exact(angles, currents[:, None])
    whole = dataclasses.replace(
        MAP, angles=angles, flux_linkage=flux, torque=torque, coenergy=coenergy, mirror=False
    )
    closed = exact(ANGLES, np.abs(CURRENTS))[1]
    spans = {
        "mirror": dataclasses.replace(whole, mirror=True),
        "open end": columns(whole, np.arange(60), angles[:60], False),
        "moved by a pitch": dataclasses.replace(whole, angles=angles + 3 * PITCH),
        "below aligned": columns(whole, np.arange(31), angles[:31], True),
    }
    for name, m in spans.items():
        np.testing.assert_allclose(m.at(ANGLES, CURRENTS)[1], closed, atol=5e-3, err_msg=name)


@pytest.mark.parametrize(("mirror", "part"), [(True, "half a rotor pitch"), (False, "a whole rotor pitch")])
def test_a_map_with_a_part_missing_is_refused(mirror: bool, part: str) -> None:
    m = columns(MAP, np.arange(15), MAP.angles[:15], mirror)
    with pytest.raises(InvalidValue, match=f"a drive needs a map over {part}.*angles is 0 to 42 deg"):
        m.at(0.0, 1.0)


def test_beyond_the_last_current_is_refused() -> None:
    with pytest.raises(
        InvalidValue, match=r"beyond its last current: current is 21 A, allowed is up to 20 A"
    ):
        MAP.at(0.0, [1.0, -21.0])
    with pytest.raises(InvalidValue, match=r"beyond its last current: flux_linkage is 1 Wb"):
        MAP.invert([0.0, 0.1], [0.1, 1.0])


def test_flux_linkage_that_falls_is_refused() -> None:
    flux = MAP.flux_linkage.copy()
    flux[3, 4] = flux[2, 4]
    with pytest.raises(InvalidValue, match="flux linkage must rise with current"):
        dataclasses.replace(MAP, flux_linkage=flux).at(0.0, 1.0)


def test_straight_inductance_is_exact() -> None:
    m = linear_map(60e-3, 6e-3, full=5 * deg, apart=25 * deg, current=10.0)
    angle = np.array([0.0, 3.0, 6.0, 15.0, 24.0, 26.0, 40.0]) * deg
    sharp = np.interp(angle, np.array([0.0, 5.0, 25.0, 45.0]) * deg, [60e-3, 60e-3, 6e-3, 6e-3])
    rise = np.where((angle > 5 * deg) & (angle < 25 * deg), 54e-3 / (20 * deg), 0.0)
    for i in (0.3, 4.0, 10.0):
        flux, torque, coenergy = m.at(-angle, i)
        np.testing.assert_allclose(flux, sharp * i, rtol=1e-12)
        np.testing.assert_allclose(torque, rise * i**2 / 2, rtol=1e-9, atol=1e-12)
        np.testing.assert_allclose(coenergy, sharp * i**2 / 2, rtol=1e-12)

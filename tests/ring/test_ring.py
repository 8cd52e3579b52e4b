"""The ring against the exact plane ring, the thin ring of the handbooks, and a mass on a spring."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import asdict, replace
from functools import cache

import numpy as np
import pytest

from polefem.errors import InvalidValue
from polefem.field import built
from polefem.forces import GapPressure, pressure_waves
from polefem.mesher import mesh_side
from polefem.outline import Label, Region
from polefem.ring import (
    Crossing,
    Elastic,
    Hearing,
    Ring,
    RingModes,
    RingWaves,
    cycles,
    heard,
    natural_frequencies,
    outer_ring,
    plane_modes,
    relative_level,
    ring_frequencies,
    ring_modes,
    ring_waves,
    surface_velocity,
    thick_ring_frequency,
)
from polefem.ring.listening import between_angles
from polefem.ring.modal import _orders, iron_of_turn
from polefem.units import rpm
from tests.field.built_machines import MACHINES, ROUGH
from tests.forces.test_pressure import made_of
from tests.gallery import even, ring_sector, side
from tests.record.check import Check
from tests.ring.annulus import exact_frequencies

Record = Callable[..., None]
CASE = "rings that ring"
EXACT = "plane stress, exactly: Bessel functions, derived here"
THIN = 0.08


def plain(thickness: float, radius: float = 0.05) -> Ring:
    """A yoke with nothing on it, its thickness in parts of its mean radius."""
    half = thickness * radius / 2
    return Ring("stator", radius - half, radius + half, 0.06, 7650.0, 200e9, 0.29, 0.0, 0.0)


@cache
def meshed(thickness: float, clamped: bool = False) -> RingModes:
    """Modes of a plain ring, drawn and meshed as the iron of a stator."""
    ring = plain(thickness)
    start, end = -math.pi / 6, math.pi / 6
    iron = Region(Label("iron"), ring_sector(ring.inner, ring.outer, start, end))
    drawn = side("stator", [iron], poles=6, gap=ring.inner - 2e-3, far=ring.outer + 2e-3)
    points, triangles = iron_of_turn(mesh_side(drawn, even(5e-3), 2))
    density = np.full(len(triangles), ring.density)
    return plane_modes(points, triangles, density, ring, "clamped" if clamped else "free", 16)


def coefficient(ring: Ring, order: int) -> float:
    """Of sqrt(E I / (rho A R^4)) in the angular frequency of the thin ring."""
    inertia = ring.thickness**2 / 12
    bar = math.sqrt(ring.modulus * inertia / (ring.density * ring.mean_radius**4))
    return 2 * math.pi * thick_ring_frequency(ring, order, thick=False) / bar


def by_energies(order: int, along: float) -> float:
    """The same from the energies of a bent ring, added up round the circle (Rayleigh's way, derived here): it moves
    across itself by w = cos(m phi) and along itself by v = -sin(m phi) / m, so that it does not stretch (v' = -w);
    what bends it is w + w'' over R^2, and all of it moves. along: how much of v is counted."""
    phi = np.arange(720) / 720 * 2 * math.pi
    w, v = np.cos(order * phi), -along * np.sin(order * phi) / order
    bent = w - order**2 * np.cos(order * phi)
    return math.sqrt(float((bent**2).mean() / (w**2 + v**2).mean()))


@pytest.mark.parametrize(("order", "printed"), [(2, 2.683), (3, 7.589), (4, 14.55)])
def test_the_thin_ring_of_the_handbooks(order: int, printed: float, record: Record) -> None:
    """S. Timoshenko, Vibration Problems in Engineering: flexure of a ring in its plane (from memory); and derived."""
    found = coefficient(plain(0.1), order)

    def right(found: float) -> bool:
        return abs(found / printed - 1) < 3e-4

    assert right(found)
    assert not right(coefficient(plain(0.1), order + 1)) and not right(found * 1.001)
    source = "energies of a ring that bends and does not stretch, added up here"
    check = Check(
        CASE, f"thin ring, coefficient of order {order}", by_energies(order, 1.0), "", source, "formula", 1e-9
    )
    record(check, found, broken=by_energies(order, 0.0))


def test_the_exact_ring_is_the_thin_ring_where_it_is_thin() -> None:
    ring = plain(0.02)
    for order in (2, 3):
        exact = exact_frequencies(ring, order)[0]
        assert abs(thick_ring_frequency(ring, order, thick=False) / exact - 1) < 1e-3
    assert abs(exact_frequencies(ring, 0)[0] / thick_ring_frequency(ring, 0) - 1) < 1e-3


@pytest.mark.parametrize(
    ("thickness", "order", "within"), [(0.15, 2, 0.004), (0.3, 2, 0.012), (0.3, 3, 0.03)]
)
def test_the_thick_ring_of_the_handbooks(thickness: float, order: int, within: float, record: Record) -> None:
    ring = plain(thickness)
    exact = exact_frequencies(ring, order)[0]
    what = f"ring of thickness {thickness} of its mean radius, order {order}, by the formula of a thick ring"
    check = Check(CASE, what, exact, "Hz", EXACT, "formula", within)
    record(check, thick_ring_frequency(ring, order), broken=thick_ring_frequency(ring, order, thick=False))
    assert not check.passes(exact_frequencies(ring, order + 1)[0])


def test_the_modes_of_a_thin_ring_are_those_of_its_formula(record: Record) -> None:
    """Elements and formula have nothing in common but the ring; what they differ by is how thick it is."""
    ring, modes = plain(THIN), meshed(THIN)
    for order in (2, 3):
        found = modes.of_order(order)
        assert found is not None
        what = f"ring of thickness {THIN} of its mean radius, order {order}, by finite elements"
        own = thick_ring_frequency(ring, order, thick=False)
        check = Check(CASE, what, own, "Hz", "R. Hoppe's thin ring", "from memory", 0.02)
        stiffer = thick_ring_frequency(replace(ring, modulus=1.1 * ring.modulus), order, thick=False)
        record(check, found, broken=found * stiffer / own)


@pytest.mark.parametrize("thickness", [0.15, 0.4])
def test_the_modes_of_a_plain_ring_are_the_exact_ones(thickness: float, record: Record) -> None:
    modes = meshed(thickness)

    def right(ring: Ring) -> bool:
        exact = {order: exact_frequencies(ring, order)[0] for order in (0, 2, 3, 4)}
        return all(abs(found / exact[order] - 1) < 2e-3 for order, found in modes.by_order(exact).items())

    assert set(modes.by_order((2, 3, 4))) == {2, 3, 4}
    assert right(plain(thickness))
    assert not right(replace(plain(thickness), density=7650 * 1.01))
    assert not right(plain(thickness * 1.01))
    found = modes.of_order(2)
    assert found is not None
    what = f"ring of thickness {thickness} of its mean radius, order 2, by finite elements"
    check = Check(CASE, what, exact_frequencies(plain(thickness), 2)[0], "Hz", EXACT, "formula", 2e-3)
    record(check, found, broken=1.005 * found)
    # Both of a pair, a quarter of a wave apart, ring alike.
    pair = modes.frequencies[modes.orders == 2][:2]
    assert abs(pair[1] / pair[0] - 1) < 1e-6 and modes.shares[0] > 0.95


def test_a_ring_that_is_held_all_round() -> None:
    ring, modes = plain(0.4), meshed(0.4, clamped=True)

    def right(found: float | None, clamped: bool) -> bool:
        return found is not None and abs(found / exact_frequencies(ring, 2, clamped=clamped)[0] - 1) < 1e-3

    assert right(modes.of_order(2), True)
    assert not right(modes.of_order(2), False)
    assert not right(meshed(0.4).of_order(2), True)


def test_what_hangs_on_a_yoke() -> None:
    machine = MACHINES["6/4, half a turn"][0]
    ring = outer_ring(machine)
    assert ring.member == "stator" and (ring.inner, ring.outer) == pytest.approx((49e-3, 60e-3))
    steel = math.pi * (0.06**2 - 0.049**2) * 0.06 * ring.density
    assert ring.yoke_mass == pytest.approx(steel) and 1.5 < ring.mass_ratio < 2.0
    bare = replace(ring, pole_mass=0.0, copper_mass=0.0)
    ratio = ring_frequencies(bare)[2] / ring_frequencies(ring)[2]
    assert ratio == pytest.approx(math.sqrt(ring.mass_ratio))
    assert outer_ring(MACHINES["6/4, outer rotor"][0]).member == "rotor"
    with pytest.raises(InvalidValue, match="a ring is round"):
        outer_ring(MACHINES["6/4, axial"][0])
    with pytest.raises(InvalidValue, match="a ring swells or bends into waves"):
        thick_ring_frequency(ring, 1)
    with pytest.raises(InvalidValue, match="a sheet keeps some of its volume"):
        Elastic(poisson=0.7)


@pytest.mark.parametrize("name", ["6/4, half a turn", "6/4, outer rotor"])
def test_the_modes_of_a_stator_with_poles(name: str) -> None:
    """Poles stiffen the yoke where they stand and weigh it down: the formula is near for the first order, and order 3
    of six poles (2 of four) has two frequencies, as it meets the poles or the slots."""
    whole = built(MACHINES[name][0], ROUGH)
    ring = outer_ring(whole)
    modes = ring_modes(whole, ring)
    split = 3 if ring.member == "stator" else 2
    plain_order = 2 if split == 3 else 3
    own = modes.frequencies[modes.orders == split][:2]
    assert own[1] / own[0] > 1.1
    pair = modes.frequencies[modes.orders == plain_order][:2]
    assert pair[1] / pair[0] < 1.001

    def near(found: float) -> bool:
        return abs(thick_ring_frequency(ring, plain_order) / found - 1) < 0.2

    assert near(pair[0])
    assert not near(ring_modes(whole, replace(ring, density=2 * ring.density)).of_order(plain_order) or 0.0)
    known = natural_frequencies(whole, ring)
    assert known[plain_order] == pytest.approx(pair[0]) and 8 in known


def pressure_of(order: int, harmonic: int, pull: float) -> GapPressure:
    return made_of([(order, harmonic, pull, 0.3)], angles=32)


def test_the_order_of_a_mode_is_that_of_most_of_its_square() -> None:
    """A swelling of 1 beside a wave of 1.6: squares add up, and a wave's mean square is half its own (Parseval)."""
    turn = np.exp(2j * math.pi * np.arange(48) / 48)
    ring = plain(0.2)
    points = np.stack([turn.real, turn.imag], axis=1) * (ring.inner + ring.outer) / 2
    out = 1.0 + 1.6 * (turn**2).real
    (order,), (share,) = _orders(
        points, (out[:, None] * np.stack([turn.real, turn.imag], axis=1))[None], ring
    )
    assert order == 2 and share == pytest.approx(1.28 / 2.28)


@pytest.mark.parametrize("order", [0, 2, -3])
def test_the_surface_of_a_ring_that_one_wave_drives(order: int) -> None:
    """Slowly driven it gives as a spring does, fast as a mass; at its own frequency only the damping holds it."""
    ring, harmonic, damping = plain(0.2), 2, 0.01
    own = thick_ring_frequency(ring, abs(order))
    pressure = pressure_of(order, harmonic, 1e4)
    waves = pressure_waves(pressure, most=6)
    mass = ring.yoke_mass * (1 + (1 / order**2 if order else 0))
    force, w0 = 2 * math.pi * pressure.area * 1e4, 2 * math.pi * own

    def velocity(share: float, **changes: float) -> float:
        speed = share * w0 / (harmonic * 4)
        return surface_velocity(
            waves, pressure, ring, {abs(order): own}, speed, **{"damping": damping, **changes}
        )

    def right(found: float, share: float) -> bool:
        w = share * w0
        expected = {
            0.01: force / (mass * w0**2) * w,
            1.0: force / (2 * damping * mass * w0),
            100.0: force / mass / w,
        }
        return abs(found * math.sqrt(2) / expected[share] - 1) < 1e-3

    for share in (0.01, 1.0, 100.0):
        assert right(velocity(share), share)
        assert not right(velocity(share) / math.sqrt(2), share)
    assert not right(velocity(1.0, damping=0.02), 1.0)
    assert surface_velocity(waves, pressure, ring, {5: own}, 10.0) < 1e-12
    assert relative_level(velocity(1.0), velocity(1.0, damping=0.02)) == pytest.approx(20 * math.log10(2))
    with pytest.raises(InvalidValue, match="a ring that rings comes to rest"):
        velocity(1.0, damping=0.0)


def test_shear_bends_the_ring_as_pull_does_a_quarter_wave_on() -> None:
    """The work of both on a ring that does not stretch: dv/dphi = -w, so the shear of a stator works as its own slope
    round the circle, over m^2, does against the pull."""
    ring, own = plain(0.2), {2: 500.0}
    pull = pressure_of(2, 1, 1e4)
    shear = replace(pull, pull=0 * pull.pull, shear=2 * pull.pull)
    both = replace(pull, shear=2 * np.gradient(pull.pull, pull.places, axis=1) / 2)

    def velocity(pressure: GapPressure, member: str = "stator") -> float:
        held = replace(ring, member=member)
        return surface_velocity(pressure_waves(pressure, most=6), pressure, held, own, 20.0)

    assert velocity(shear) == pytest.approx(velocity(pull))
    # d/dphi of the pull is 2 i P; its shear adds to the pull on the one side of the gap and takes from it on the other.
    assert velocity(both) == pytest.approx(2 * velocity(pull), rel=1e-2)
    assert velocity(both, "rotor") < 0.2 * velocity(pull, "rotor")


@pytest.mark.parametrize("angles", [10, 14])
def test_what_lies_between_the_angles_is_in_the_error(angles: int) -> None:
    """A wave that swings once a pitch by twice its amplitude: a few angles miss its top by less than is said."""
    seen, closely = (made_of([(2, 1, 1e4, 0.9), (4, 2, 3e3, 0.2)], angles=n) for n in (angles, 720))
    hearing = Hearing(angles=angles)

    def covers(errors: dict[str, float], share: float = 1.0) -> bool:
        own, true = (heard(one, None, 20.0, hearing) for one in (seen, closely))
        return all(
            share * errors[name] > abs(getattr(own, name) - getattr(true, name))
            for name in ("pull_swing", "wave_swing")
        )

    errors = between_angles(seen, None, 20.0, hearing)
    assert covers(errors) and not covers(errors, 1e-3)
    assert heard(seen, None, 20.0, hearing, seen).errors == errors


def test_where_waves_meet_the_ring() -> None:
    ring = plain(0.2)
    pressure = made_of([(-2, 3, 1000.0, 0.0), (2, 5, 400.0, 0.0), (4, 2, 3.0, 0.0)], angles=32)
    waves = pressure_waves(pressure, most=6)
    own = {2: 752.0, 4: 100.0}
    met = ring_waves(waves, ring, own, 100.0)
    found = met.crossings(0.0, 20000 * rpm)

    def right(given: tuple[Crossing, ...]) -> bool:
        """On a crossing, the wave's own frequency is the ring's."""
        return all(
            abs(waves.frequency(one.speed)[one.harmonic] / own[abs(one.order)] - 1) < 1e-9 for one in given
        )

    assert [(one.order, one.harmonic) for one in found] == [(-2, 3), (2, 5)]
    assert right(found)
    assert not right(tuple(replace(one, speed=one.speed * 1.01) for one in found))
    assert met.crossings(0.0, 0.9 * found[1].speed) == ()
    assert RingWaves.of(json.loads(json.dumps(asdict(met)))) == met
    text = met.sentence(20000 * rpm)
    assert text.startswith("order 2 meets the yoke at 3760 rpm (harmonic 3") and "; order 2 meets" in text
    assert met.sentence(2000 * rpm).endswith(
        "harmonic 15 of the electrical frequency meets the yoke below 2000 rpm"
    )
    # Seen from the rotor, a wave that runs against it comes by more often, one that keeps up with it not at all.
    assert (cycles(-2, 3, 4, "rotor"), cycles(4, 1, 4, "rotor"), cycles(-2, 3, 4, "stator")) == (14, 0, 12)

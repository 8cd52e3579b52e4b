"""Fields taken from others by turning and mirroring: against the same fields solved."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from polefem.field import BuiltMachine, Image, built, field_series, images, solved_series
from polefem.field.series import SolvedField
from polefem.params import Machine, Pole, RadialMachine, Turning
from polefem.units import deg
from tests.field.built_machines import MACHINES, ROUGH, half_turn

Floats = NDArray[np.float64]


def alternating() -> RadialMachine:
    """The 6/4 machine whose strokes are all alike."""
    return replace(half_turn(), winding=replace(half_turn().winding, polarity=(1, -1, 1, -1, 1, -1)))


def paired_rotor() -> RadialMachine:
    """6/4 whose rotor poles come in pairs."""
    return replace(half_turn(), rotor_pole=(Pole(arc=31 * deg), Pole(arc=32 * deg)))


BUILT: dict[str, Machine] = {name: known[0] for name, known in MACHINES.items() if name != "12/8, a quarter"}
BUILT |= {"6/4, alternating": alternating(), "6/4, paired rotor": paired_rotor()}


def strokes(machine: Machine) -> tuple[Floats, Floats]:
    """Angles and currents of one phase and of two, on either side of aligned, each at three strokes; every
    second some pitches on, with all currents the other way."""
    states = []
    for place, row in ((-7 * deg, (12.0, 0.0, 0.0)), (-4 * deg, (10.0, 6.0, 0.0))):
        for stroke in range(3):
            ahead = stroke * machine.stroke
            states.append((ahead + place, np.roll(row, stroke)))
            states.append(
                (ahead - place + 3 * machine.rotor_pitch, -np.roll([row[0], row[2], row[1]], stroke))
            )
    return np.array([angle for angle, _ in states]), np.array([row for _, row in states])


def right(
    whole: BuiltMachine, angles: Floats, currents: Floats, known: list[Image | None], loosely: float = 1.0
) -> list[bool]:
    """Of each state that is taken from another, whether it is what is solved there."""
    some = [at for at, image in enumerate(known) if image is not None]
    found = np.ones(len(some), dtype=bool)
    for outline, system in zip(whole.sections, whole.systems, strict=True):
        taken = list(solved_series(outline, system, angles, currents, known))
        solved = list(solved_series(outline, system, angles[some], currents[some]))
        for name, close in (("unknowns", 3e-4), ("torque", 3e-6), ("coenergy", 3e-8)):
            one = np.array([getattr(taken[at], name) for at in some]).reshape(len(some), -1)
            other = np.array([getattr(state, name) for state in solved]).reshape(len(some), -1)
            found &= np.abs(one - other).max(axis=1) <= loosely * close * np.abs(other).max()
    return found.tolist()


@pytest.mark.parametrize("name", BUILT)
def test_a_field_turned_or_mirrored_is_the_one_solved_there(name: str) -> None:
    whole = built(BUILT[name], ROUGH)
    angles, currents = strokes(whole.machine)
    known = images(whole, angles, currents)
    taken = [image for image in known if image is not None]
    assert len(taken) >= (8 if whole.mirror else 3)
    assert {image.mirrored for image in taken} == ({False, True} if whole.mirror else {False})
    assert all(right(whole, angles, currents, known))


@pytest.mark.parametrize("broken", ["sign", "mirrored", "turns", "source"])
def test_a_field_taken_wrongly_is_another(broken: str) -> None:
    whole = built(half_turn(), ROUGH)
    angles, currents = strokes(whole.machine)
    known = images(whole, angles, currents)

    def twin(image: Image | None) -> Image | None:
        if image is None:
            return None
        rotor, stator = image.turns
        changed: dict[str, object] = {
            "sign": -image.sign,
            "mirrored": not image.mirrored,
            "turns": (rotor + 1 / 4, stator),
            "source": 0 if image.source else 6,
        }
        return replace(image, **{broken: changed[broken]})  # type: ignore[arg-type]

    # Of a source that is not known yet no twin can be made.
    twins = [twin(image) if broken != "source" or at > 7 else image for at, image in enumerate(known)]
    same = right(whole, angles, currents, twins, 100.0)
    assert not any(same[5:] if broken == "source" else same)


def test_pairs_that_polarity_makes_unlike_are_not_taken_for_each_other() -> None:
    """With the usual polarity two of the three pairs of phases meet with currents of equal sign."""
    usual, other = built(half_turn(), ROUGH), built(alternating(), ROUGH)
    angles = np.arange(3) * usual.machine.stroke - 4 * deg
    rows = np.array([np.roll((10.0, 6.0, 0.0), k) for k in range(3)])
    known, alike = images(usual, angles, rows), images(other, angles, rows)

    def sources(known: list[Image | None]) -> list[int | None]:
        return [None if image is None else image.source for image in known]

    assert sources(known) == [None, None, 1] and all(right(usual, angles, rows, known))
    assert sources(alike) == [None, 0, 0] and all(right(other, angles, rows, alike))
    # The twins: one stroke taken for all where strokes are not alike.
    assert not any(right(usual, angles, rows, alike, 100.0))
    turned = [image and replace(image, sign=-image.sign) for image in alike]
    assert not any(right(usual, angles, rows, turned, 100.0))


def test_states_close_together_are_those_solved_one_by_one() -> None:
    """A few angles have their factors laid out together, one more lies past them, and currents change."""
    whole = built(half_turn(), ROUGH)
    angles = np.array([2.0, 2.5, 3.0, 3.0, 9.0, 3.5]) * deg
    rows = np.array([(12.0, 0, 0), (12, 0, 0), (12, 0, 0), (12, 8, 0), (12, 8, 0), (6, 0, 0)])
    outline, system = whole.sections[0], whole.systems[0]
    series = list(solved_series(outline, system, angles, rows))
    near = [one.unknowns for one in series]
    begun = list(solved_series(outline, system, angles, rows, starts=near[1:] + near[:1]))
    alone = [next(solved_series(outline, system, angles[[k]], rows[[k]])) for k in range(len(angles))]
    trusted = list(solved_series(outline, system, angles, rows, trusted=1e-3))

    def same(found: list[SolvedField], within: float = 1e-5) -> bool:
        torque = np.array([[one.torque, other.torque] for one, other in zip(found, alone, strict=True)])
        return bool(np.abs(np.diff(torque, axis=1)).max() < within * np.abs(torque).max())

    assert same(series) and same(begun) and same(trusted, 1e-3)
    assert not same(series[1:] + series[:1], 1e-3)


def test_states_say_where_they_come_from_and_know_all_phases() -> None:
    whole, alone = built(half_turn(), ROUGH), built(half_turn(), ROUGH)
    angles, currents = strokes(whole.machine)
    few = [0, 3, 6, 11]
    states = list(field_series(whole, angles[few], currents[few]))
    assert "taken from -7 deg" in states[1].message
    for state in states:
        other = next(field_series(alone, [state.angle], state.phase_currents))

        def same(linkages: Floats, other: Floats = other.flux_linkages) -> bool:
            return bool(np.abs(linkages - other).max() < 1e-5 * np.abs(other).max())

        assert same(state.flux_linkages)
        assert not same(-state.flux_linkages) and not same(np.roll(state.flux_linkages, 1))
        assert np.abs(state.field.b - other.field.b).max() < 1e-2 * np.abs(other.field.b).max()
        assert np.abs(state.field.b + other.field.b).max() > np.abs(other.field.b).max()


def test_what_differs_a_little_is_solved() -> None:
    whole = built(half_turn(), ROUGH)
    angles, rows = np.array([0.1, 0.1, 0.1 + 1e-6, 0.1]), np.tile((10.0, 6.0, 0.0), (4, 1))
    rows[3] *= 1 + 1e-4
    known = images(whole, angles, rows)
    assert known[0] is known[2] is known[3] is None and known[1] is not None


def like(whole: BuiltMachine) -> list[bool]:
    """Of pairs of states that differ by less than what is taken for the same, at a thousand places and currents and
    where angles begin anew: whether the second of each is found to be the first."""
    rng = np.random.default_rng(5)
    count, pitch = 1000, whole.machine.rotor_pitch
    first = np.append(rng.uniform(-1.0, 1.0, count), [0.0, pitch, -3 * pitch])
    rows = rng.uniform(1.0, 10.0, (len(first), 3))
    other, alike = (
        first + rng.uniform(-9e-10, 9e-10, len(first)),
        rows * (1 + rng.uniform(-9e-7, 9e-7, (len(first), 1))),
    )
    angles = np.stack([first, other], axis=1).ravel()
    known = images(whole, angles, np.stack([rows, alike], axis=1).reshape(-1, 3))
    assert known[::2] == [None] * len(first)
    return [image is not None and image.source == 2 * at for at, image in enumerate(known[1::2])]


def test_what_is_the_same_but_for_rounding_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = built(half_turn(), ROUGH)
    assert all(like(whole))
    # The twin: cells so narrow that some lie between those that a state is filed in.
    monkeypatch.setattr("polefem.field.series.CELL", 1.0)
    assert not all(like(whole))


@pytest.mark.parametrize(
    "name", ["6/4, half a turn", "6/4, alternating", "12/8, periodic half", "6/4, axial"]
)
def test_every_pair_of_states_that_are_alike_is_found(name: str) -> None:
    """Against all ways of turning and mirroring tried on all pairs of states of a coarse grid."""
    whole = built(BUILT[name], ROUGH)
    machine, phases = whole.machine, whole.machine.phases
    rng = np.random.default_rng(6)
    places = rng.integers(-24, 24, 150)
    rows = rng.integers(-1, 2, (150, 3)) * 5.0
    around = rows[:, phases.of_pole] * np.array(phases.polarity)

    def alike(one: int, other: int, way: Turning) -> bool:
        off = places[other] * machine.rotor_pitch / 24 - way.sense * places[one] * machine.rotor_pitch / 24
        if abs(np.remainder(off - way.shift + 1e-6, machine.rotor_pitch) - 1e-6) > 1e-6:
            return False
        landed = around[other, list(way.landing)]
        return any(np.array_equal(around[one], sign * landed) for sign in (1, -1))

    known = images(whole, places * machine.rotor_pitch / 24, rows)
    solved: list[int] = []
    for k, image in enumerate(known):
        own = [one for one in solved if any(alike(one, k, way) for way in whole.turnings)]
        assert (image.source in own) if image else not own
        if image is None:
            solved.append(k)
    assert 10 < len(solved) < 140

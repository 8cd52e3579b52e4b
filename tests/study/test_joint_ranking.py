"""The torque that ranks is the machine's: mean, ripple and order against all phases solved together, angle by angle.

Brute force asks nothing of a map: at every angle of a fine row over a whole rotor pitch, and just before and after each
switching angle, the field is solved with the current of every phase. It is this package's own field; that joint fields
agree with an independent library is held in tests/reference.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from polefem import Notch, Pole, RadialMachine, Shoe, Steel, Winding
from polefem.drive import RectangularTorque, rectangular_torque
from polefem.errors import PolefemError
from polefem.field import built, field_series
from polefem.maps import CoupledMap, Interaction, summed
from polefem.maps.hermite import turned_nodes
from polefem.params import Machine, RectangularCurrent
from polefem.params.fields import with_fields
from polefem.params.toml import load_machine
from polefem.sweep import coupled_map
from polefem.units import deg, mm

pytestmark = pytest.mark.slow

Floats = NDArray[np.float64]

WHEEL = load_machine(Path(__file__).parents[2] / "geometries" / "pottery_wheel.toml")
SHAPES: dict[str, dict[str, object]] = {
    "parallel": {},
    "wide rotor": {"rotor_pole.arc": 38 * deg},
    "tapered": {"stator_pole.taper": 3 * deg, "rotor_pole.taper": 8 * deg},
    "shoed": {"stator_pole": Pole(arc=34 * deg, shoe=Shoe(overhang=2.5 * mm, tip=2.5 * mm, neck=4 * mm))},
    "notched": {"rotor_pole": Pole(arc=36 * deg, notches=(Notch(at=0.0, width=3 * mm, depth=0.8 * mm),))},
}
ALTERNATING = (1, -1, 1, -1, 1, -1)
#: Angles over a rotor pitch; about the highest and the lowest torque, and there alone, three times as many.
ANGLES, CLOSER = 240, 3
#: Of ripple, and of the mean torque, by which the map may differ from brute force.
RIPPLE, MEAN = 0.002, 0.001


@dataclass(frozen=True, eq=False)
class Case:
    """A machine at a rectangular current."""

    name: str
    machine: Machine
    drive: RectangularCurrent
    current: float


def wheel_cases() -> list[Case]:
    """The five shapes, at about 60 W in the copper, with five degrees of overlap."""
    drive = RectangularCurrent(-36 * deg, -1 * deg)
    return [Case(name, with_fields(WHEEL, changes), drive, 5.0) for name, changes in SHAPES.items()]


def thin_yokes() -> Iterator[Case]:
    """Random machines whose phases share thin saturated yokes, three and four phases."""
    numbers = random.Random(4)
    while True:
        poles = numbers.choice([(6, 4), (8, 6)])
        outer, yoke = numbers.uniform(48, 58) * mm, numbers.uniform(5, 8) * mm
        bore = outer * numbers.uniform(0.5, 0.56)
        pitch = 360 / poles[0]
        arc = numbers.uniform(0.46, 0.52) * pitch
        stroke = 360 / poles[1] / (3 if poles == (6, 4) else 4)
        on = -numbers.uniform(1.15, 1.3) * stroke
        machine = RadialMachine(
            stator_poles=poles[0],
            rotor_poles=poles[1],
            stator_outer_radius=outer,
            rotor_outer_radius=bore,
            air_gap=numbers.uniform(0.3, 0.5) * mm,
            stator_yoke_thickness=yoke,
            rotor_yoke_radius=bore * 0.66,
            shaft_radius=8 * mm,
            stack_length=40 * mm,
            stator_pole=Pole(arc=arc * deg),
            rotor_pole=Pole(arc=(arc + numbers.uniform(1, 3)) * deg),
            winding=Winding(turns_per_pole=80, coil_width=4 * mm, face_inset=2 * mm, yoke_clearance=2 * mm),
            steel=Steel.named("M330-50A measured"),
        )
        drive = RectangularCurrent(on * deg, (on + numbers.uniform(1.15, 1.35) * stroke) * deg)
        yield Case(f"thin yoke {poles[0]}/{poles[1]}", machine, drive, numbers.uniform(12, 18))


def random_cases() -> list[Case]:
    """Five of them that can be built."""
    found: list[Case] = []
    for case in thin_yokes():
        try:
            assert built(case.machine, "normal").sections
        except PolefemError:
            continue
        found.append(replace(case, name=f"{case.name} ({len(found)})"))
        if len(found) == 5:
            return found
    raise AssertionError


CASES = [*wheel_cases(), *random_cases()]


@cache
def map_of(at: int) -> CoupledMap:
    """The coupled map of a case at its one current."""
    case = CASES[at]
    whole = built(case.machine, "normal")
    pitch = case.machine.rotor_pitch
    angles = np.linspace(0.0, pitch / 2, 31)
    currents = np.linspace(0.0, case.current, 4)[1:]
    return coupled_map(whole, angles, currents, joint_currents=[case.current])


@cache
def brute(at: int) -> tuple[float, float, float]:
    """Mean, highest and lowest torque of all phases solved together, over a whole rotor pitch."""
    case = CASES[at]
    machine, drive = case.machine, case.drive
    count, stroke, pitch = machine.phases.count, machine.stroke, machine.rotor_pitch
    even = (np.arange(ANGLES) + 0.5) * pitch / ANGLES
    lag = np.arange(count) * stroke
    switched = np.concatenate([drive.turn_on + lag, drive.turn_off + lag])
    both = np.concatenate([switched - 1e-6, switched + 1e-6])
    whole = built(machine, "normal")

    def torques(angles: Floats) -> Floats:
        own = np.mod(angles[:, None] - lag - drive.turn_on, pitch)
        currents = np.where(own < drive.dwell, case.current, 0.0)
        return np.array([state.torque for state in field_series(whole, angles, currents)])

    angles = np.sort(np.mod(np.concatenate([even, both]), pitch))
    torque = torques(angles)
    closed = np.append(angles, angles[0] + pitch)
    mean = float((np.append(torque, torque[0])[1:] + torque) @ np.diff(closed) / 2 / pitch)
    extremes = []
    for at in (torque.argmax(), torque.argmin()):
        about = angles[at] + np.arange(-2 * CLOSER, 2 * CLOSER + 1) * pitch / ANGLES / CLOSER
        extremes.append(np.append(torques(about), torque[at]))
    return mean, float(extremes[0].max()), float(extremes[1].min())


def ripple_of(at: int) -> float:
    """The ripple of brute force."""
    mean, highest, lowest = brute(at)
    return (highest - lowest) / abs(mean)


def agrees(at: int, found: RectangularTorque) -> bool:
    """Whether mean torque and ripple are those of brute force."""
    mean = brute(at)[0]
    return abs(found.mean / mean - 1) < MEAN and abs(found.ripple - ripple_of(at)) < RIPPLE


def torque(at: int, machine_map: CoupledMap | None = None) -> RectangularTorque:
    """The rectangular torque of a case, on its own map or another."""
    return rectangular_torque(machine_map or map_of(at), CASES[at].drive, CASES[at].current)


@pytest.mark.parametrize("at", [pytest.param(k, id=case.name) for k, case in enumerate(CASES)])
def test_mean_and_ripple_are_those_of_brute_force(at: int) -> None:
    assert agrees(at, torque(at)), (torque(at), brute(at), ripple_of(at))


def in_order(ripples: Sequence[float], others: Sequence[float]) -> bool:
    """Whether two lists of ripples order machines alike, where brute force tells them apart at all."""
    pairs = [(a, b) for a in range(len(ripples)) for b in range(a) if abs(others[a] - others[b]) > 2 * RIPPLE]
    return all((ripples[a] < ripples[b]) == (others[a] < others[b]) for a, b in pairs)


def test_the_order_is_that_of_brute_force() -> None:
    places = range(len(CASES))
    assert in_order([torque(at).ripple for at in places], [ripple_of(at) for at in places])


def unlike(at: int) -> bool:
    """Whether the strokes of a case differ by more than a check may be off."""
    own = torque(at).stroke_ripples
    return float(np.ptp(own)) > 2 * RIPPLE


def test_some_strokes_are_unlike_others() -> None:
    assert sum(map(unlike, range(len(CASES)))) >= 5


# Broken twins -------------------------------------------------------------------------------------------


def test_the_sum_of_single_phases_is_not_the_machine() -> None:
    wrong = [not agrees(at, torque(at, summed(map_of(at).single))) for at in range(len(CASES))]
    assert all(wrong)


def turned_pair(one: Interaction, onto: tuple[int, ...], turn: float) -> Interaction:
    """The same correction for another pair, `turn` rad on: as if all pairs met alike."""
    return replace(one, phases=onto, nodes=turned_nodes(one.angles, one.nodes, -turn))


def alike(machine_map: CoupledMap) -> CoupledMap:
    """A map whose pairs of neighbours all interact as the first does."""
    pairs = {one.phases: one for one in machine_map.interactions if len(one.phases) == 2}
    first, count = pairs[(0, 1)], machine_map.phases
    made = []
    for phases, one in pairs.items():
        older, younger = phases
        if (younger - older) % count == 1:
            made.append(turned_pair(first, phases, older * machine_map.stroke))
        elif (older - younger) % count == 1:  # the last phase and the first
            swapped = np.swapaxes(first.nodes, 1, 2)
            swapped = np.swapaxes(swapped, -1, -2)
            made.append(turned_pair(replace(first, nodes=swapped), phases, younger * machine_map.stroke))
        else:
            made.append(one)
    return replace(machine_map, interactions=tuple(made))


def test_pairs_taken_as_alike_are_noticed_where_polarity_differs() -> None:
    wrong = [not agrees(at, torque(at, alike(map_of(at)))) for at in range(len(CASES))]
    assert sum(wrong) >= 5, wrong


def one_stroke(at: int) -> RectangularTorque:
    """The figures of the stroke that is least rough, taken for all."""
    whole = torque(at)
    return replace(whole, ripple=float(whole.stroke_ripples.min()))


def test_one_stroke_taken_for_all_is_noticed() -> None:
    wrong = [not agrees(at, one_stroke(at)) for at in range(len(CASES)) if unlike(at)]
    assert wrong and all(wrong)


def test_how_coils_are_joined_changes_the_ripple() -> None:
    """The same yoke, its coils joined in two ways: the sum of phases cannot tell them apart, the field does."""
    at = next(k for k, one in enumerate(CASES) if k >= 5 and one.machine.stator_poles == 6)
    case = CASES[at]
    machine = with_fields(case.machine, {"winding.polarity": ALTERNATING})
    angles = np.linspace(0.0, machine.rotor_pitch / 2, 31)
    other = coupled_map(built(machine, "normal"), angles, [case.current], joint_currents=[case.current])
    joined = rectangular_torque(other, case.drive, case.current)
    assert abs(joined.ripple - torque(at).ripple) > 0.05
    assert float(np.ptp(joined.stroke_ripples)) < RIPPLE

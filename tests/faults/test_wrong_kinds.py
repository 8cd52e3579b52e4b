"""A value of the wrong kind in what a study is described by: refused where it is written, in one sentence.

Each class that people fill is given, field by field, values of every other kind: a sibling of what is wanted, a list, a
word, None, numbers that are none. What it takes must be of the field's own kind, as the table WELCOME says from the
annotation; whatever else it meets must be a refusal, and not an error as Python tells it, or one after hours of maps.
"""

from __future__ import annotations

import dataclasses
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import polefem.bench
from polefem import Bridge, Copper, EqualCurrent, RectangularCurrent, Study, SuitedSwitching, Variant, run
from polefem.errors import InvalidValue, PolefemError
from polefem.estimates import Turning
from polefem.maps import Slice, linear_map
from polefem.params import face, pole
from polefem.params.drive_spec import (
    AverageVoltage,
    Chopping,
    DriveSpec,
    Load,
    PhaseTracking,
    SinglePulse,
    Tracking,
)
from polefem.params.winding import CoilStep
from polefem.ring import Elastic, Hearing
from polefem.study import (
    BestOperatingPoint,
    Constraint,
    DriveOperatingPoint,
    EccentricityTolerance,
    EqualCopperLoss,
    EqualMeanTorque,
    FieldTolerance,
    Grid,
    InProcess,
    JointTolerance,
    LatinHypercube,
    LevelOperatingPoint,
    Limit,
    Range,
    ReadingOperatingPoint,
    RectangularOperatingPoint,
    Search,
    Sensitivities,
    SharedTorqueOperatingPoint,
    SobolPoints,
    StartOperatingPoint,
    SteelTolerance,
    SwitchingTable,
    WaveformOperatingPoint,
)
from polefem.units import deg, mm, rpm
from tests.field.built_machines import axial, outer_rotor
from tests.study.fake_solver import FAKE, MACHINE, PLAN

SWITCHED, SUITED = RectangularCurrent(-0.5, 0.0), SuitedSwitching()
BRIDGE, EQUAL = Bridge(24.0), EqualCurrent(10.0)
MAP = linear_map(60e-3, 6e-3, full=2 * deg, apart=30 * deg, current=10.0)
RANGES = {"air_gap": Range(0.3 * mm, 0.5 * mm)}
ANGLES = (100 * rpm, BRIDGE, -0.5, 0.0)
GOOD: list[Any] = [
    *(SWITCHED, SUITED, BRIDGE, SinglePulse(), Chopping(10.0, 1.0), AverageVoltage(0.5), Load()),
    *(Tracking([0.0], [1.0]), PhaseTracking([0.0], [[1.0]]), DriveSpec(BRIDGE, 1.0, -0.5, 0.0)),
    *(PLAN.mesh, Copper(), Turning(100.0, 0.05), Slice(MAP, 0.5), Elastic(), Hearing()),
    *(MACHINE, outer_rotor(), axial(), MACHINE.winding, MACHINE.rotor_pole, CoilStep(1 * mm, 2 * mm)),
    *(pole.Shoe(2 * mm, 2 * mm, 3 * mm), pole.Notch(0.0, 1 * mm, 1 * mm), pole.Hole(3 * mm, 1 * mm)),
    *(pole.Barrier(3 * mm, 4 * mm, 1 * mm), face.SlopedFace(0.2 * mm), face.RoundFace(30 * mm)),
    face.FreeFace((-1.0, 0.0, 1.0), (0.1 * mm, 0.0, 0.1 * mm)),
    *(Variant("a"), Range(1.0, 2.0), Grid({"air_gap": [0.4 * mm]}), LatinHypercube(RANGES, 4)),
    *(SobolPoints(RANGES, 4), PLAN, Constraint("a rule", lambda values: True), Limit("ripple", 0.0, 1.0)),
    *(Study("s", MACHINE, PLAN, [Variant("a")]), Search("s", MACHINE, PLAN, RANGES), Sensitivities(RANGES)),
    *(FieldTolerance("air_gap", 1e-5), EccentricityTolerance(1e-5), SteelTolerance(MACHINE.steel)),
    JointTolerance("j", (("air_gap", 1e-5),)),
    *(EqualCopperLoss(10.0), EQUAL, EqualMeanTorque(1.0, 10.0)),
    *(DriveOperatingPoint("p", *ANGLES), LevelOperatingPoint("p", *ANGLES, EQUAL)),
    *(WaveformOperatingPoint("p", Tracking([0.0], [1.0]), EQUAL, 100.0),),
    *(RectangularOperatingPoint("p", SWITCHED, EQUAL, 100.0), BestOperatingPoint("p", 100.0, BRIDGE, EQUAL)),
    *(SharedTorqueOperatingPoint("p", 100.0, BRIDGE, 1.0), ReadingOperatingPoint("p", 1.0, 0.1)),
    StartOperatingPoint("p", *ANGLES, 10.0, Load(), 1e-3, 1.0),
    SwitchingTable(BRIDGE, (10.0,), (1.0,)),
]
GIVEN: dict[str, Any] = {
    "None": None,
    "x": "x",
    "5": 5,
    "True": True,
    "nan": float("nan"),
    "inf": float("inf"),
    "[]": [],
    "[1]": [1],
    "()": (),
    "('x',)": ("x",),
    "{}": {},
    "{x: 1}": {"x": 1},
    "{1: 1}": {1: 1},
    "digits": 10**5000,
    "-digits": -(10**5000),
    "zeros": np.zeros(2),
    "object": object(),
    "suited": SUITED,
    "switched": SWITCHED,
    "equal": EQUAL,
    "class": RectangularCurrent,
    "function": id,
}
EMPTY = {"[]", "()"}
WELCOME: Mapping[str, set[str]] = {
    "float": {"5"},
    "int": {"5"},
    "Sides": {"5"},
    "bool": {"True"},
    "bool | float": {"5", "True"},
    "float | None": {"None", "5"},
    "int | None": {"None", "5"},
    "str": {"x"},
    "tuple[float, ...]": {"[1]"},
    "tuple[tuple[float, ...], ...]": {"[1]", "5", "True"},
    "tuple[int, ...] | None": {"None", "[1]", *EMPTY},
    "tuple[str, ...]": {"('x',)", *EMPTY},
    "Mapping[str, Any]": {"{}", "{x: 1}"},
    "Callable[[Mapping[str, Any]], bool]": {"class", "function"},
    "Mapping[str, Sequence[Any]]": {"{}"},
    "Mapping[str, Sequence[str]]": {"{}"},
    "Mapping[str, Callable[[Mapping[str, Any]], Any]]": {"{}"},
    "RectangularCurrent": {"switched"},
    "Basis": {"equal"},
    "RectangularCurrent | SuitedSwitching": {"switched", "suited"},
}


def welcome(kind: str) -> set[str]:
    """Which of the values given are of a kind, as its annotation is written."""
    if kind in WELCOME:
        return WELCOME[kind]
    return {"None"} if kind.endswith("| None") else EMPTY if kind.startswith("tuple[") else set()


def wrong(good: Any) -> Iterator[str]:
    """Where a class takes a value of the wrong kind, or ends in an error as Python tells it."""
    for field in fields(good):
        own = {one.name: getattr(good, one.name) for one in fields(good) if one.init}
        for name, value in GIVEN.items() if field.init else ():
            at = f"{type(good).__name__}.{field.name} given {name}"
            try:
                type(good)(**{**own, field.name: value})
            except PolefemError as refused:
                if not str(refused).isprintable() or len(str(refused)) > 2000:
                    yield f"{at}: no sentence, {refused}"
            except Exception as error:
                yield f"{at}: {type(error).__name__}: {error}"
            else:
                if name not in welcome(str(field.type)):
                    yield f"{at} is taken for {field.type}"


@pytest.mark.parametrize("good", GOOD, ids=lambda good: type(good).__name__)
def test_a_value_of_the_wrong_kind_is_refused_where_it_is_written(good: Any) -> None:
    assert list(wrong(good)) == []


def test_every_class_that_people_fill_is_tried() -> None:
    assert polefem.bench
    package = [module for name, module in sys.modules.items() if name.startswith("polefem.")]
    classes = {one for module in package for one in vars(module).values() if dataclasses.is_dataclass(one)}
    filled = {one for one in classes if isinstance(one, type) and hasattr(one.__init__, "__wrapped__")}
    assert filled == {type(good) for good in GOOD}


@dataclass(frozen=True)
class Unguarded:
    """The broken twin: takes anything, and stumbles over what it cannot compare."""

    ramp: float = 1.0
    drive: RectangularCurrent = SWITCHED

    def __post_init__(self) -> None:
        if self.ramp <= 0.0:
            raise InvalidValue("a ramp is a size: ramp is 0, allowed is more")


def test_a_class_without_a_guard_is_found() -> None:
    found = list(wrong(Unguarded()))
    assert "Unguarded.drive given suited is taken for RectangularCurrent" in found
    assert any(one.startswith("Unguarded.ramp given None: TypeError") for one in found)


def test_the_sentence_names_the_class_the_field_and_what_is_allowed() -> None:
    """Matched whole: the value is told by its kind, and of a basis those are named that there are."""
    sentence = (
        r"^every design has the same switching at this point; what suits each is the drive of a Plan: point\.drive is "
        r"SuitedSwitching\(\.\.\.\), allowed is RectangularCurrent\(turn_on, turn_off\)$"
    )
    with pytest.raises(InvalidValue, match=sentence):
        RectangularOperatingPoint("p", SUITED, EQUAL, 100.0)  # type: ignore[arg-type]
    sentence = (
        r"^each value is of its own kind: BestOperatingPoint\.basis is 5, allowed is EqualCopperLoss or EqualCurrent "
        r"or EqualMeanTorque$"
    )
    with pytest.raises(InvalidValue, match=sentence):
        BestOperatingPoint("p", 100.0, BRIDGE, 5)  # type: ignore[arg-type]
    with pytest.raises(InvalidValue, match=r"Plan\.operating_points is \['x'\], allowed is a tuple of Drive"):
        replace(PLAN, operating_points=["x"])  # type: ignore[arg-type]


def test_a_list_is_kept_as_a_tuple_and_numbers_of_numpy_as_numbers() -> None:
    """So that values stay frozen, have a hash and can be written as JSON."""
    point = DriveOperatingPoint("p", *ANGLES)
    plan = replace(PLAN, operating_points=[point], map_current=np.float32(5.0), angle_points=np.int64(31))  # type: ignore[arg-type]
    assert plan == replace(PLAN, operating_points=(point,), map_current=5.0, angle_points=31)
    assert hash(plan) and type(plan.map_current) is float and type(plan.angle_points) is int


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ({"objectives": ()}, "designs are ranked by a figure: objectives is empty"),
        ({"limits": (Limit("p.ripple", most=1.0),)}, "limit is 'p.ripple'"),
        (
            {"sensitivities": Sensitivities({"ark": Range(0.0, 1.0)})},
            "field is 'ark', allowed is stator_poles",
        ),
        ({"sensitivities": Sensitivities({"steel": Range(0.0, 1.0)})}, "a number: steel is Steel"),
        ({"tolerances": (FieldTolerance("air_gip", 1e-5),)}, "field is 'air_gip' .did you mean 'air_gap'"),
        ({"tolerances": (FieldTolerance("steel", 1e-5),)}, "a dimension must be a number: steel is Steel"),
        ({"plan": replace(PLAN, coupling="summed", slopes=("air_gip",))}, "field is 'air_gip'"),
    ],
)
def test_names_in_a_study_are_looked_up_before_anything_is_computed(
    more: dict[str, Any], sentence: str, tmp_path: Path
) -> None:
    never = replace(FAKE, flux_map=None, coupled_map=None)  # whoever asks for a map is told in Python's words
    with pytest.raises(InvalidValue, match=sentence):
        study = Study(**{"name": "s", "base": MACHINE, "plan": PLAN, "variants": [Variant("a")], **more})
        run(study, pages=False, executor=InProcess(), solver=never, folder=tmp_path, progress=False)


def test_a_tolerance_of_a_part_that_one_design_alone_has_is_no_mistake() -> None:
    shod = Variant("shod", {"rotor_pole.shoe": pole.Shoe(1 * mm, 2 * mm, 3 * mm)})
    study = Study("s", MACHINE, PLAN, [Variant("a"), shod])
    polefem.study.check_tolerances((FieldTolerance("rotor_pole.shoe.tip", 1e-5),), study.designs())
    with pytest.raises(InvalidValue, match=r"field is 'rotor_pole\.shoe\.tip'"):
        polefem.study.check_tolerances((FieldTolerance("rotor_pole.shoe.tip", 1e-5),), study.designs()[:1])


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (lambda: Search("s", MACHINE, PLAN, {}), "points need a range to lie in: ranges is empty"),
        (lambda: Search("s", MACHINE, PLAN, RANGES, seed=-1), "a seed is counted from 0: seed is -1"),
        (lambda: LatinHypercube(RANGES, 4, seed=-1), "a seed is counted from 0: seed is -1"),
        (lambda: SobolPoints(RANGES, 4, seed=-1), "a seed is counted from 0: seed is -1"),
        (lambda: Search("s", MACHINE, PLAN, RANGES, objective="p.ripple"), "objective is 'p.ripple'"),
        (lambda: Search("s", MACHINE, PLAN, {"steel": Range(0.0, 1.0)}), "a number: steel is Steel"),
        (lambda: Sensitivities(RANGES, figures=()), "figures is empty"),
        (lambda: Sensitivities(RANGES, points=0), "points is 0"),
        (lambda: Limit("ripple", 2.0, 1.0), "a limit leaves something: ripple is at most 1, allowed is 2"),
        (lambda: BestOperatingPoint("p", 9.0, BRIDGE, EQUAL, current_limit=-1.0), "current_limit is -1 A"),
        (
            lambda: SharedTorqueOperatingPoint("p", 9.0, BRIDGE, 1.0, current_limit=0.0),
            "current_limit is 0 A",
        ),
        (lambda: SwitchingTable(BRIDGE, (1.0,), (1.0,), current_limit=0.0), "current_limit is 0 A"),
    ],
)
def test_values_that_no_study_has_are_refused_where_they_are_written(call: Any, sentence: str) -> None:
    with pytest.raises(InvalidValue, match=sentence):
        call()

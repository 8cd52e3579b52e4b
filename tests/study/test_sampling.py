"""What a study varies: every combination once, every range met evenly, links and constraints kept."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from fake_solver import FAKE, MACHINE, PLAN

from polefem import Pole
from polefem.errors import InvalidValue, UnknownName
from polefem.study import (
    Constraint,
    Grid,
    LatinHypercube,
    Limit,
    Range,
    SobolPoints,
    Status,
    Study,
    Variant,
    attempt,
    broken_limits,
)
from polefem.units import deg, mm

RANGES = {"rotor_pole.arc": Range(30 * deg, 40 * deg), "air_gap": Range(0.3 * mm, 0.6 * mm)}


def values(variants: Any, name: str) -> np.ndarray:
    return np.array([variant.changes[name] for variant in variants])


def test_a_grid_is_every_combination() -> None:
    grid = list(Grid({"air_gap": [0.3 * mm, 0.5 * mm], "rotor_pole.arc": [32 * deg, 34 * deg, 36 * deg]}))
    assert len({variant.name for variant in grid}) == 6
    assert grid[0].name == "air_gap 0.3 mm, rotor_pole.arc 32 deg"
    assert {tuple(v.changes.values()) for v in grid} == {
        (g * mm, a * deg) for g in (0.3, 0.5) for a in (32, 34, 36)
    }


@pytest.mark.parametrize("kind", [LatinHypercube, SobolPoints])
def test_points_fill_their_ranges_and_depend_on_their_seed_alone(kind: Any) -> None:
    points = list(kind(RANGES, 64, seed=3))
    for name, span in RANGES.items():
        x = (values(points, name) - span.low) / (span.high - span.low)
        assert (np.bincount((x * 64).astype(int), minlength=64) == 1).all(), (
            "each 64th of the range is met once"
        )
    assert points == list(kind(RANGES, 64, seed=3))
    assert points != list(kind(RANGES, 64, seed=4))


def test_random_points_would_not_fill_them() -> None:
    x = np.random.default_rng(0).random(64)
    assert not (np.bincount((x * 64).astype(int), minlength=64) == 1).all()


def test_more_points_of_sobol_s_sequence_leave_the_former() -> None:
    few, many = list(SobolPoints(RANGES, 16)), list(SobolPoints(RANGES, 32))
    assert [v.changes for v in few] == [v.changes for v in many[:16]]


def test_linked_fields_follow() -> None:
    study = Study(
        "linked",
        MACHINE,
        PLAN,
        Grid({"rotor_pole.arc": [32 * deg, 36 * deg]}),
        linked={
            "stator_pole.arc": lambda v: v["rotor_pole.arc"] - 2 * deg,
            "drive.turn_on": lambda v: -v["stator_pole.arc"] - v["air_gap"],
        },
    )
    one, two = study.designs()
    assert one.machine.stator_pole == Pole(arc=30 * deg)
    assert two.plan.drive.turn_on == pytest.approx(-34 * deg - 0.4 * mm)


def test_a_link_sees_into_a_part_that_is_changed_whole() -> None:
    whole = Variant("whole", {"rotor_pole": Pole(arc=35 * deg)})
    study = Study("s", MACHINE, PLAN, [whole], linked={"stator_pole.arc": lambda v: v["rotor_pole.arc"]})
    (design,) = study.designs()
    assert design.machine.stator_pole == Pole(arc=35 * deg)


def test_a_broken_constraint_refuses_the_design_and_no_other() -> None:
    wide = Constraint("the rotor pole is the wider", lambda v: v["rotor_pole.arc"] > v["stator_pole.arc"])
    study = Study("s", MACHINE, PLAN, Grid({"rotor_pole.arc": [29 * deg, 33 * deg]}), constraints=(wide,))
    outcomes = [attempt(design, FAKE) for design in study.designs()]
    assert [outcome.status for outcome in outcomes] == [Status.REFUSED, Status.SOLVED]
    assert outcomes[0].reason == "a constraint of the study is not kept: the rotor pole is the wider"
    free = Study("s", MACHINE, PLAN, Grid({"rotor_pole.arc": [29 * deg, 33 * deg]}))
    keys = [[design.key for design in s.designs()] for s in (study, free)]
    assert keys[0][0] != keys[1][0] and keys[0][1] == keys[1][1]


def test_a_link_to_nothing_is_a_wrong_name() -> None:
    study = Study("s", MACHINE, PLAN, [Variant("a")], linked={"air_gap": lambda v: v["air_gaps"]})
    with pytest.raises(UnknownName, match=r"field is 'air_gaps' .did you mean 'air_gap'"):
        study.designs()[0].machine  # noqa: B018


def test_limits_say_what_they_found() -> None:
    outcome = attempt(Study("s", MACHINE, PLAN, [Variant("a")]).designs()[0], FAKE)
    assert outcome.figures is not None
    kept, broken = Limit("mean_torque", least=1.0), Limit("mean_torque", most=1.0)
    assert kept.excess(outcome.figures) == 0.0
    assert broken.excess(outcome.figures) == pytest.approx(outcome.figures.mean_torque - 1.0)
    (said,) = broken_limits(outcome.figures, (kept, broken))
    assert said.startswith("mean torque is ") and said.endswith("allowed is at most 1 N m")


def test_what_is_a_hair_beyond_its_limit_does_not_read_like_it() -> None:
    outcome = attempt(Study("s", MACHINE, PLAN, [Variant("a")]).designs()[0], FAKE)
    assert outcome.figures is not None
    figures = replace(outcome.figures, copper_mass=1.5000026)
    (said,) = broken_limits(figures, (Limit("copper_mass", most=1.5),))
    assert said == "copper mass is 1.5000026 kg, allowed is at most 1.5 kg"


@pytest.mark.parametrize(
    ("make", "sentence"),
    [
        (lambda: Range(1.0, 1.0), "a range rises"),
        (lambda: Range(0.0, float("inf")), "a range rises"),
        (lambda: Grid({"air_gap": []}), "a grid has values of each field"),
        (lambda: LatinHypercube({}, 4), "points need a range"),
        (lambda: SobolPoints(RANGES, 0), "points are counted"),
        (lambda: Limit("beauty", least=1.0), "designs are ranked by a figure: limit is 'beauty'"),
        (lambda: Limit("ripple"), "a limit limits something"),
        (
            lambda: Study("s", MACHINE, PLAN, [Variant("a")], objectives=("beauty",)),
            "designs are ranked by a figure",
        ),
    ],
)
def test_what_makes_no_sense_is_refused(make: Any, sentence: str) -> None:
    with pytest.raises(InvalidValue, match=sentence):
        make()

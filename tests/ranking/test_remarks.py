"""What is said before the figures: shapes without a place, and figures beyond the usual."""

from __future__ import annotations

from dataclasses import replace

import pytest

from polefem import Bridge, DriveOperatingPoint, Limit, Plan, Turning
from polefem.ranking import rank, remarks, table_text
from polefem.study import Design, Figures, Outcome, Record, Status
from polefem.units import deg, rpm
from tests.study.fake_solver import MACHINE, PLAN

#: One stroke of a third of the rotor pitch: the root mean square is that of the current over sqrt(3).
USUAL = dict.fromkeys(Figures.names(), 1.0) | {
    "turn_on": -30 * deg,
    "turn_off": 0.0,
    "ramp": 0.0,
    "current_density": 8e6,
}
SPEED = 2 * 400 * rpm * 60 / 8  # a rotor of four poles: 400 Hz


def said(plan: Plan = PLAN, **figures: float) -> tuple[str, ...]:
    """What is remarked of a usual shape and one with these figures."""
    shapes = {"usual": USUAL, "other": {**USUAL, **figures}}
    records = [
        Record(name, name, {}, Outcome(Status.SOLVED, figures=Figures(**one))) for name, one in shapes.items()
    ]
    return remarks(rank(records, ""), {name: Design(name, MACHINE, {}, plan) for name in shapes})


def test_nothing_is_said_of_what_is_usual() -> None:
    at = replace(PLAN, turning=Turning(0.99 * SPEED, 5 * deg))
    assert said() == () == said(at, most_rise=59.0, current_density=6e6 * 3**0.5 * 0.999)


@pytest.mark.parametrize(
    ("figures", "sentence"),
    [
        (
            {"current_density": 12.6e6},
            "1 of 2 shapes carries a current density beyond the usual, up to 7.27 A/mm² in other",
        ),
        ({"current_density": 6e6 * 3**0.5 * 1.001}, "1 of 2 shapes carries a current density"),
        (
            {"most_rise": 76.0},
            "1 of 2 shapes gets warmer outside than usual, up to 76 K in other: above 60 K",
        ),
    ],
)
def test_what_is_beyond_the_usual_is_said(figures: dict[str, float], sentence: str) -> None:
    (found,) = said(**figures)
    assert found.startswith(sentence)


def test_how_often_a_phase_is_fed_follows_from_turning_and_drives() -> None:
    driven = DriveOperatingPoint("fast", 1.01 * SPEED, Bridge(24.0), -0.5, 0.0)
    for plan in (
        replace(PLAN, operating_points=(driven,)),
        replace(PLAN, turning=Turning(1.01 * SPEED, 5 * deg)),
    ):
        (found,) = said(plan)
        assert found.startswith("Each phase is fed up to 404 times a second: above 400 Hz")


def test_shapes_without_a_place_are_named_first() -> None:
    figures = Figures(**{**USUAL, "ripple": 0.1})
    rough = Figures(**{**USUAL, "ripple": 0.9, "most_rise": 76.0})
    records = [Record("good", "good", {}, Outcome(Status.SOLVED, figures=replace(figures, most_rise=90.0)))]
    records += [Record("rough", "rough", {}, Outcome(Status.SOLVED, figures=rough))]
    records += [Record(f"r{k}", f"r{k}", {}, Outcome(Status.REFUSED, "why")) for k in range(6)]
    ranking = rank(records, "", limits=[Limit("ripple", most=0.5)])
    first, second, third = remarks(ranking, {"good": Design("good", MACHINE, {}, PLAN)})
    assert first == "1 of 8 shapes is outside the limits: rough."
    assert second == "6 of 8 shapes could not be built: r0, r1, r2, r3 and 2 more."
    assert third.startswith("1 of 1 shape gets warmer outside than usual, up to 90 K in good")
    lines = table_text(ranking, remarks=(first, second)).splitlines()
    assert lines[1:4] == [f"! {first}", f"! {second}", ""]

"""Units left out are asked about at the field that was typed; a machine that is meant to be unusual passes."""

from __future__ import annotations

import pickle
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest

from polefem import (
    Copper,
    Notch,
    Plan,
    Pole,
    RadialMachine,
    RectangularCurrent,
    Study,
    Variant,
    Winding,
    with_fields,
)
from polefem.errors import InvalidValue, UnknownName, UnusualValue
from polefem.params.content import content_key
from polefem.params.toml import machine_from_text, machine_text
from polefem.units import deg, mm
from tests.field.built_machines import axial, half_turn, outer_rotor

MACHINES = {"radial": half_turn(), "outer rotor": outer_rotor(), "axial": axial()}
RADII = {"radial": "rotor_outer_radius", "outer rotor": "stator_outer_radius", "axial": "outer_radius"}


def asked(machine: Any, changes: dict[str, Any]) -> str:
    """What is asked of a machine with changed fields; empty where it is taken as it is."""
    try:
        with_fields(machine, changes)
    except InvalidValue as error:
        return str(error)
    return ""


@pytest.mark.parametrize(
    ("name", "typed", "meant"),
    [
        ("air_gap", 0.4, "0.4 * mm"),
        ("air_gap", 0.4 * mm * mm, "0.4 * mm"),
        ("stack_length", 60, "60 * mm"),
        ("stator_outer_radius", 60.0, "60 * mm"),
        ("stator_yoke_thickness", 11, "11 * mm"),
        ("winding.coil_width", 6, "6 * mm"),
        ("winding.liner", 0.3, "0.3 * mm"),
        ("winding.wire_diameter", 0.7, "0.7 * mm"),
        ("stator_pole.tip_fillet", 1.0, "1 * mm"),
        ("stator_pole.tip_fillet", (0.0, 1.0), "1 * mm"),
        ("stator_pole.arc", 30 * deg * deg, "30 * deg"),
        ("rotor_pole.notches", (Notch(at=5, width=1 * mm, depth=1 * mm),), "5 * deg"),
    ],
)
def test_a_unit_left_out_is_asked_about_where_it_was(name: str, typed: Any, meant: str) -> None:
    said = asked(half_turn(), {name: typed})
    assert f": {name}" in said and f"did you mean {meant}?" in said and "(unusual=True lets it stand)" in said
    assert "stator_bore_radius" not in said


@pytest.mark.parametrize("kind", MACHINES)
def test_every_kind_is_asked_about_its_gap_and_its_radius(kind: str) -> None:
    machine, radius = MACHINES[kind], RADII[kind]
    assert "air_gap is 500 mm, allowed is 0.01 to " in asked(machine, {"air_gap": 0.5})
    assert f"{radius} is 40000 mm, allowed is 1.5 to 1000 mm: did you mean 40 * mm?" in asked(
        machine, {radius: 40}
    )
    assert asked(machine, {}) == ""


def test_limits_are_those_stated() -> None:
    machine = half_turn()
    assert asked(machine, {"air_gap": machine.rotor_outer_radius / 10, "stator_outer_radius": 65 * mm}) == ""
    assert "air_gap" in asked(machine, {"air_gap": machine.rotor_outer_radius / 9.9})
    assert asked(machine, {"air_gap": 0.01 * mm}) == ""
    assert "air_gap" in asked(machine, {"air_gap": 0.0099 * mm})


def test_angles_without_their_unit_are_asked_about() -> None:
    for call in (lambda: Pole(arc=20), lambda: RectangularCurrent(-20, 0.0), lambda: Pole(arc=0.5, taper=20)):
        with pytest.raises(InvalidValue, match=r"did you mean -?20 \* deg\?"):
            call()
    with pytest.raises(InvalidValue, match=r"below 180 deg$"):  # as degrees it would be as wrong
        Pole(arc=400)


def test_who_means_it_is_let_by_and_it_decides_nothing_else() -> None:
    machine = half_turn()
    large = with_fields(machine, {"unusual": True, "stack_length": 3.0})
    assert large.stack_length == 3.0
    assert machine == replace(machine, unusual=True)
    assert content_key(machine) == content_key(replace(machine, unusual=True))
    with pytest.raises(UnusualValue, match="stack_length"):
        replace(large, unusual=False)
    assert machine_from_text(machine_text(large)).unusual


@pytest.mark.parametrize(
    ("key", "typed", "said"),
    [
        (
            "air_gap_mm = 0.4",
            "air_gap_mm = 0.0004",
            "air_gap_mm is 0.0004, allowed is 0.01 to 3 mm: did you mean 0.4?",
        ),
        (
            "air_gap_mm = 0.4",
            "air_gap_mm = 400",
            "air_gap_mm is 400, allowed is 0.01 to 3 mm: did you mean 0.4?",
        ),
        (
            "rotor_outer_radius_mm = 30",
            "rotor_outer_radius_mm = 0.03",
            "rotor_outer_radius_mm is 0.03, allowed is 1.5 to 1000 mm: did you mean 30?",
        ),
    ],
)
def test_a_file_is_asked_in_its_own_keys_and_units(key: str, typed: str, said: str) -> None:
    text = machine_text(half_turn())
    assert key in text
    with pytest.raises(InvalidValue, match="unusual = true lets it stand") as caught:
        machine_from_text(text.replace(key, typed))
    assert said in str(caught.value)


def test_the_error_travels_between_processes() -> None:
    with pytest.raises(UnusualValue) as caught:
        with_fields(half_turn(), {"air_gap": 0.4})
    again = pickle.loads(pickle.dumps(caught.value))
    assert str(again) == str(caught.value) and "air_gap_mm is 400" in again.in_file


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (
            lambda: Pole(ark=0.5),
            "Pole is described by its own keywords: keyword is 'ark' .did you mean 'arc'",
        ),
        (lambda: Plan(bassis=1), "keyword is 'bassis' .did you mean 'basis'"),
        (lambda: Copper(fill=0.4), "keyword is 'fill', allowed is fill_factor, temperature"),
        (
            lambda: Winding(turns_per_pole=3),
            "Winding is described in full: coil_width, face_inset, yoke_clearance is missing",
        ),
        (lambda: RadialMachine(stator_poles=6, airgap=1), "keyword is 'airgap' .did you mean 'air_gap'"),
        (lambda: Study(nam="a"), "keyword is 'nam' .did you mean 'name'"),
        (lambda: Pole(0.5, arc=0.4), "Pole takes each value once"),
        (lambda: replace(Pole(0.5), ark=0.4), "keyword is 'ark'"),
    ],
)
def test_a_misspelt_keyword_is_met_with_the_near_one(call: Any, sentence: str) -> None:
    with pytest.raises(InvalidValue, match=sentence):
        call()


def test_a_dotted_name_is_met_with_the_near_one() -> None:
    with pytest.raises(UnknownName, match=r"field is 'rotor_pole.ark' .did you mean 'rotor_pole.arc'"):
        with_fields(half_turn(), {"rotor_pole.ark": 0.5})


def test_a_fault_inside_is_not_taken_for_a_misspelt_keyword() -> None:
    def broken() -> Iterator[Variant]:
        yield Variant("a")
        raise TypeError("__init__() of something else")

    with pytest.raises(TypeError, match="of something else"):
        Study("a", half_turn(), Plan(RectangularCurrent(-0.5, 0.0)), broken())

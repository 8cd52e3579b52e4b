"""Machines as TOML: what goes in comes out, and what does not belong is refused with what would."""

from pathlib import Path

import numpy as np
import pytest

from polefem.errors import GeometryRefused, InvalidValue
from polefem.params.toml import load_machine, machine_from_text, machine_text
from polefem.units import deg, mm

TEXT = """
kind = "radial"
stator_poles = 6
rotor_poles = 4
stator_outer_radius_mm = 60
rotor_outer_radius_mm = 30
air_gap_mm = 0.4
stator_yoke_thickness_mm = 11
rotor_yoke_radius_mm = 19
shaft_radius_mm = 10
stack_length_mm = 60
[stator_pole]
arc_deg = 30
[[stator_pole.notch]]
at_deg = 5
width_mm = 1.5
depth_mm = 0.5
[rotor_pole]
arc_deg = 32
[rotor_pole.shoe]
overhang_mm = 1
tip_mm = 1
neck_mm = 2
[winding]
turns_per_pole = 100
coil_width_mm = 6
face_inset_mm = 2
yoke_clearance_mm = 3
[steel]
h_A_per_m = [0, 100, 1000, 10000]
b_T = [0, 1.0, 1.5, 1.8]
"""


def test_units_are_taken_off_the_keys() -> None:
    machine = machine_from_text(TEXT)
    assert machine.air_gap == pytest.approx(0.4 * mm, rel=1e-15)
    assert machine.stator_pole.arc == pytest.approx(30 * deg, rel=1e-15)
    assert machine.stator_pole.notches[0].at == pytest.approx(5 * deg, rel=1e-15)
    assert machine.rotor_pole.shoe is not None
    assert machine.rotor_pole.shoe.neck == pytest.approx(2 * mm, rel=1e-15)
    assert machine.winding.turns_per_pole == 100
    assert machine.steel.h(1.5) == pytest.approx(1000)


def test_written_text_reads_back_as_the_same_text() -> None:
    text = machine_text(machine_from_text(TEXT))
    again = machine_from_text(text)
    assert again.stator_pole.arc == pytest.approx(30 * deg, rel=1e-11)
    assert np.allclose(again.steel.law.b[:4], [0, 1.0, 1.5, 1.8])
    assert again.rotor_pole == machine_from_text(TEXT).rotor_pole


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ("air_gap_mm", "air_gap_cm", r"known keys: key is air_gap_cm, allowed is stator_poles, .*air_gap_mm"),
        ("air_gap_mm", "air_gap", "known keys: key is air_gap, allowed is"),
        ("[winding]", "[windings]", "known keys: key is windings, allowed is .*winding"),
        (
            "depth_mm",
            "depth_deg",
            "key is stator_pole.notch.0.depth_deg, allowed is at_deg, width_mm, depth_mm, form",
        ),
        ("arc_deg = 32", "", "a machine must be whole: rotor_pole.arc_deg is missing"),
        ('kind = "radial"', "", "says what it describes: kind is missing, allowed is radial"),
        ('"radial"', '"flat"', "says what it describes: kind is 'flat', allowed is radial"),
        ("air_gap_mm = 0.4", "air_gap_mm = '0.4'", "must be a number: air_gap_mm is '0.4'"),
        ("air_gap_mm = 0.4", "air_gap_mm = 0", "the air gap must be open"),
        ("air_gap_mm = 0.4", "air_gap_mm = 0.4\nair_gap_mm = 0.5", "must be TOML"),
        ("[[stator_pole.notch]]", "[stator_pole.notch]", "parts that repeat are tables in a list"),
        ("turns_per_pole = 100", "turns_per_pole = 0", "a coil must have turns"),
        ("b_T", "b_mT", "a steel is known by its law: steel is h_A_per_m, b_mT"),
        (
            "[rotor_pole.shoe]\noverhang_mm = 1\ntip_mm = 1\nneck_mm = 2",
            "shoe = 2",
            "is a table: rotor_pole.shoe is 2",
        ),
    ],
)
def test_what_does_not_belong_is_refused(old: str, new: str, sentence: str) -> None:
    assert old in TEXT
    with pytest.raises(InvalidValue, match=sentence):
        machine_from_text(TEXT.replace(old, new, 1))


def test_contradictions_are_refused() -> None:
    with pytest.raises(GeometryRefused, match="the shaft must lie inside the rotor yoke"):
        machine_from_text(TEXT.replace("shaft_radius_mm = 10", "shaft_radius_mm = 25"))


def test_the_file_is_named_where_it_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "wheel.toml"
    file.write_text(TEXT.replace("air_gap_mm = 0.4", "air_gap_mm = -1"))
    with pytest.raises(InvalidValue, match=r"^wheel\.toml: the air gap must be open"):
        load_machine(file)
    with pytest.raises(InvalidValue, match="a machine file must be readable text"):
        load_machine(tmp_path / "absent.toml")

"""Machines as TOML: what goes in comes out, and what does not belong is refused with what would."""

import re
from contextlib import suppress
from pathlib import Path

import pytest

from polefem.errors import GeometryRefused, InvalidValue
from polefem.materials import Steel
from polefem.params import (
    Barrier,
    FreeFace,
    Hole,
    Machine,
    Notch,
    OuterRotorMachine,
    Pole,
    Shoe,
    SlopedFace,
    Winding,
)
from polefem.params.fields import field_names, field_value
from polefem.params.toml import load_machine, machine_from_text, machine_text
from polefem.units import deg, mm

GEOMETRIES = Path(__file__).parents[2] / "geometries"

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


EVERYTHING = OuterRotorMachine(
    stator_poles=12,
    rotor_poles=8,
    rotor_outer_radius=90 * mm,
    stator_outer_radius=70 * mm,
    air_gap=0.5 * mm,
    rotor_yoke_thickness=10 * mm,
    stator_yoke_radius=40 * mm,
    shaft_radius=20 * mm,
    stack_length=50 * mm,
    stator_pole=(
        Pole(arc=14 * deg, taper=(1 * deg, 2 * deg), shoe=Shoe((1 * mm, 0.0), 1 * mm, 2 * mm)),
        Pole(arc=15 * deg, face=SlopedFace(rise=0.2 * mm), holes=(Hole(5 * mm, 2 * mm),)),
    ),
    rotor_pole=Pole(
        arc=16 * deg,
        face=FreeFace((-1.0, 0.0, 1.0), (2e-4, 0.0, 2e-4)),
        notches=(Notch(1 * deg, 2 * mm, 1 * mm, "v"),),
        barriers=(Barrier(4 * mm, 2 * mm, 1 * mm, tilt=10 * deg),),
        tip_chamfer=0.5 * mm,
        root_fillet=1 * mm,
    ),
    winding=Winding(40, 5 * mm, 2 * mm, 2 * mm, parallel_paths=2, wire_diameter=0.8 * mm, strands=2),
    steel=Steel.named("M330-50A"),
    rotor_steel=Steel.linear(500.0),
)


@pytest.mark.parametrize("machine", [machine_from_text(TEXT), EVERYTHING])
def test_written_text_reads_back(machine: Machine) -> None:
    text = machine_text(machine)
    again = machine_from_text(text)
    assert machine_text(again) == text
    for name in field_names(machine):
        old, new = field_value(machine, name), field_value(again, name)
        if isinstance(old, int | float | str):
            assert new == (pytest.approx(old, rel=1e-11) if isinstance(old, float) else old), name
    assert again.steel.content() == machine.steel.content()


def test_a_steel_of_the_library_is_called_by_name() -> None:
    text = machine_text(EVERYTHING)
    assert 'name = "M330-50A"\n' in text and "b_T" not in text and "mu_r = 500" in text
    with pytest.raises(InvalidValue, match="M330-50B"):
        machine_from_text(text.replace("M330-50A", "M330-50B"))


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        (
            "air_gap_mm",
            "air_gap_cm",
            r"known keys: key is 'air_gap_cm' \(did you mean 'air_gap_mm'\?\), allowed is stator_poles, ",
        ),
        (
            "air_gap_mm",
            "air_gap",
            "known keys: key is 'air_gap' .did you mean 'air_gap_mm'.*, allowed is",
        ),
        (
            "[winding]",
            "[windings]",
            "known keys: key is 'windings' .did you mean 'winding'.*, allowed is",
        ),
        (
            "depth_mm",
            "depth_deg",
            "notch.0.depth_deg' .did you mean .*depth_mm'.*, allowed is at_deg, width_mm, depth_mm, form",
        ),
        ("arc_deg = 32", "", "a machine must be whole: rotor_pole.arc_deg is missing"),
        ('kind = "radial"', "", "says what it describes: kind is missing, allowed is 'radial'"),
        ('"radial"', '"flat"', "says what it describes: kind is 'flat', allowed is 'radial'"),
        ("air_gap_mm = 0.4", "air_gap_mm = '0.4'", "must be a number: air_gap_mm is '0.4'"),
        ("air_gap_mm = 0.4", "air_gap_mm = 0", "the air gap must be open"),
        ("air_gap_mm = 0.4", "air_gap_mm = 0.4\nair_gap_mm = 0.5", "must be TOML"),
        ("[[stator_pole.notch]]", "[stator_pole.notch]", "parts that repeat are tables in a list"),
        ('kind = "radial"', "kind = [1]", r"says what it describes: kind is \[1\]"),
        ("[0, 100, 1000, 10000]", "[0, 100, 'x', 10000]", r"a number: steel.h_A_per_m\[2\] is 'x'"),
        (
            "h_A_per_m = [0, 100, 1000, 10000]\nb_T = [0, 1.0, 1.5, 1.8]",
            "name = 5",
            "a steel has a name: .* is 5",
        ),
        (
            "h_A_per_m = [0, 100, 1000, 10000]\nb_T = [0, 1.0, 1.5, 1.8]",
            "mu_r = 'x'",
            "must be a number: steel.mu_r",
        ),
        (
            "h_A_per_m = [0, 100, 1000, 10000]\nb_T = [0, 1.0, 1.5, 1.8]",
            "mu_r = true",
            "must be a number: steel.mu_r",
        ),
        ("air_gap_mm = 0.4", f"air_gap_mm = {'9' * 400}", "a dimension must be finite: air_gap_mm is inf"),
        ("stator_poles = 6", f"stator_poles = {'9' * 400}", "stator_poles is above 1e.09"),
        ("air_gap_mm = 0.4", f"air_gap_mm = {'9' * 5000}", "a machine file must be TOML"),
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


@pytest.mark.parametrize(
    ("encoding", "mark"), [("utf-8", b""), ("utf-8-sig", b""), ("utf-16", b""), ("utf-16-be", b"\xfe\xff")]
)
def test_what_common_editors_save_is_read(tmp_path: Path, encoding: str, mark: bytes) -> None:
    file = tmp_path / "wheel.toml"
    file.write_bytes(mark + ("# \u00e9\n" + TEXT).encode(encoding))
    assert machine_text(load_machine(file)) == machine_text(machine_from_text(TEXT))


@pytest.mark.parametrize("data", [b"\x00\x01" * 50, "# \u00e9".encode("latin-1"), TEXT.encode("utf-16-le")])
def test_what_is_no_text_is_refused(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "a.toml").write_bytes(data)
    for path in (tmp_path / "a.toml", tmp_path, "a\0b", "/dev/zero"):
        with pytest.raises(InvalidValue, match="a machine file must be readable text"):
            load_machine(path)


@pytest.mark.parametrize("value", ["[1]", "[1, 2]", "[]", "{}", '"x"', "true"])
@pytest.mark.parametrize("file", sorted(GEOMETRIES.glob("*.toml")), ids=lambda file: file.stem)
def test_another_kind_of_value_ends_in_a_sentence(file: Path, value: str, tmp_path: Path) -> None:
    """Every key of every machine: none may end as Python's own error."""
    text = file.read_text("utf-8")
    for key in dict.fromkeys(re.findall(r"^(\w+_mm) = ", text, flags=re.MULTILINE)):
        place = tmp_path / "machine.toml"
        place.write_text(re.sub(rf"^{key} = [^\n#]*", f"{key} = {value} ", text, count=1, flags=re.MULTILINE))
        with suppress(InvalidValue, GeometryRefused):
            load_machine(place)

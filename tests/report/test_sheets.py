"""Sheets for the workshop: of true size, measured back in the files; legible; and saying what the machine is."""

from __future__ import annotations

import math
import re
import zlib
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from matplotlib.text import Text

from polefem.copper import joining_plan, winding_order
from polefem.errors import GeometryRefused
from polefem.outline import drawn
from polefem.params import AxialMachine, Machine
from polefem.report.dimensions import LinearDimension, millimetres
from polefem.report.measures import disc_dimensions
from polefem.report.sheets import (
    BAR,
    Sheet,
    cutting_sheets,
    cutting_views,
    joining_sheet,
    joining_view,
    pdf_of,
    plate,
    pole_views,
    sheets_of,
    slot_view,
    winding_sheet,
    write_sheets,
)
from polefem.units import mm
from tests.report.test_drawings import AXIAL, MACHINES, RADIAL, chord, unreadable

#: Widths and heights of ISO 216, mm (from memory).
ISO_216 = {"A4": {210.0, 297.0}, "A3": {297.0, 420.0}}
#: Reductions and enlargements of ISO 5455 (from memory).
ISO_5455 = {1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 0.5, 0.2, 0.1, 0.05}


def svg_paths(text: str, group: str) -> list[np.ndarray]:
    """Points of the paths of an SVG, in groups whose names begin so, shape (n, 2), mm on paper: its units by the width
    that it says in mm."""
    root = ElementTree.fromstring(text)
    width, height = (re.fullmatch(r"([\d.]+)mm", root.get(side, "")) for side in ("width", "height"))
    assert width and height, "a size in mm"
    box = [float(number) for number in root.get("viewBox", "").split()]
    units = float(width[1]) / box[2], float(height[1]) / box[3]
    name = "{http://www.w3.org/2000/svg}"
    groups = [found for found in root.iter(f"{name}g") if (found.get("id") or "").startswith(group)]
    return [
        np.array(re.findall(r"(-?[\d.]+) (-?[\d.]+)", path.get("d", "")), dtype=float) * units
        for found in groups
        for path in found.iter(f"{name}path")
    ]


def pdf_paths(data: bytes) -> list[np.ndarray]:
    """Points of the paths on all pages of a PDF, mm on paper: its units are 1/72 in."""
    drawn = []
    for stream in re.findall(rb"stream\r?\n(.*?)\r?\nendstream", data, re.DOTALL):
        try:
            words = zlib.decompress(stream).decode("latin-1")
        except zlib.error:
            continue
        if "/DeviceRGB CS" not in words[:20]:  # the shape of a letter
            continue
        for path in re.findall(r"(?:-?[\d.]+ -?[\d.]+ m\n)(?:(?:-?[\d.]+ )+[lc]\n)+", words):
            points = re.findall(r"(-?[\d.]+) (-?[\d.]+)(?= [mlc\d-])", path)
            drawn.append(np.array(points, dtype=float) * 25.4 / 72)
    return drawn


def widest(paths: list[np.ndarray]) -> float:
    """Largest width of a path, mm."""
    return max(float(np.ptp(path[:, 0])) for path in paths if len(path) > 8)


def of_true_size(sheet: Sheet, text: str, diameter: float) -> bool:
    """Whether an SVG's bar is as long as it says, and its largest part as wide as the scale has it; within 0.01 mm."""
    (bar,) = svg_paths(text, "bar")
    wanted = diameter / mm / sheet.scale
    return math.isclose(float(np.ptp(bar[:, 0])), BAR, abs_tol=0.01) and math.isclose(
        widest(svg_paths(text, "patch_")), wanted, abs_tol=0.01
    )


@pytest.mark.parametrize("size", [1.0, 1.6, 2.5, 4.0])
def test_sheets_are_of_the_size_they_say(size: float) -> None:
    lengths = ("stator_outer_radius", "rotor_outer_radius", "stator_yoke_thickness", "rotor_yoke_radius")
    winding = replace(RADIAL.winding, yoke_clearance=size * 3 * mm)
    machine = replace(RADIAL, winding=winding, **{name: size * getattr(RADIAL, name) for name in lengths})
    sheet = cutting_sheets(machine)[0]
    assert sheet.scale in ISO_5455
    assert {sheet.paper.width, sheet.paper.height} == ISO_216[sheet.paper.name]
    text = sheet.svg().decode()
    diameter = 2 * machine.stator_outer_radius
    assert of_true_size(sheet, text, diameter)
    width = f'width="{sheet.paper.width:g}mm"'
    assert not of_true_size(sheet, text.replace(width, f'width="{0.97 * sheet.paper.width:g}mm"'), diameter)
    assert not of_true_size(sheet, text, 1.001 * diameter)
    assert (sheet.scale == 1.0) == (size < 2.4)  # 288 mm is past A3's 297 less its rims
    said = " ".join(" ".join(sheet.words).split())
    assert f"Scale 1 : {sheet.scale:g} on {sheet.paper.name}" in said
    assert ("true size" in said) and ("not true size" in said) == (sheet.scale != 1.0)


def test_a_pdf_is_of_true_size_on_every_page() -> None:
    sheet, *others = sheets_of(RADIAL)
    data = pdf_of([sheet, *others])
    boxes = re.findall(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", data)
    found = [tuple(float(length) * 25.4 / 72 for length in box) for box in boxes]
    assert np.allclose(found, [(s.paper.width, s.paper.height) for s in (sheet, *others)], atol=0.01)

    def holds(paths: list[np.ndarray]) -> bool:
        return math.isclose(widest(paths), 2 * RADIAL.stator_outer_radius / mm, abs_tol=0.01)

    paths = pdf_paths(pdf_of([sheet]))
    assert holds(paths)
    assert not holds([0.97 * path for path in paths])
    bars = [float(np.ptp(path[:, 0])) for path in paths if len(path) == 2]
    assert any(math.isclose(bar, BAR, abs_tol=0.01) for bar in bars)


def test_a_sheet_is_the_same_whenever_it_is_made(tmp_path: Path) -> None:
    one, other = (write_sheets(sheets_of(RADIAL, name="a"), tmp_path / n, "a") for n in ("1", "2"))
    assert {said: path.name for said, path in one.items()} == {
        "sheets to print (PDF)": "a-sheets.pdf",
        "sheet to cut (SVG)": "a-to-cut.svg",
        "sheet of the poles (SVG)": "a-poles.svg",
        "sheet to wind (SVG)": "a-to-wind.svg",
        "sheet to join (SVG)": "a-to-join.svg",
    }
    assert all(one[said].read_bytes() == other[said].read_bytes() for said in one)


def small_words(sheet: Sheet) -> list[str]:
    """Words whose capitals are less than 16 minutes of arc high at an arm's length of 600 mm (ISO 9241-303, from
    memory). A capital of this type is 0.729 of its size high."""
    least = 600 * math.tan(math.radians(16 / 60))
    return [
        text.get_text()
        for text in sheet.figure.findobj(Text)
        if text.get_text() and text.get_fontsize() * 0.729 * 25.4 / 72 < least
    ]


@pytest.mark.parametrize("machine", MACHINES.values(), ids=MACHINES)
def test_sheets_can_be_read_at_arm_s_length(machine: Machine) -> None:
    for sheet in sheets_of(machine, name="a shape with a name of many words"):
        assert unreadable(sheet.figure) == []
        assert small_words(sheet) == []


def test_words_too_small_are_noticed() -> None:
    sheet = joining_sheet(RADIAL)
    sheet.figure.text(0.5, 0.05, "tiny", fontsize=8)
    assert small_words(sheet) == ["tiny"]


@pytest.mark.parametrize("machine", MACHINES.values(), ids=MACHINES)
def test_a_phone_shows_them_large_enough(machine: Machine) -> None:
    """On 390 px, less the page's own rims, letters stay 9 px high at least."""
    known = drawn(machine)
    views = [
        *cutting_views(known),
        *pole_views(machine),
        slot_view(known, winding_order(known)),
        joining_view(joining_plan(machine), 2),
    ]
    for view in views:
        figure = plate(view)
        shrunk = min(1.0, 364 / (96 * figure.get_size_inches()[0]))
        sizes = [text.get_fontsize() for text in figure.findobj(Text) if text.get_text()]
        assert min(sizes) * 96 / 72 * shrunk >= 9.0
        assert unreadable(figure) == []


def test_drawings_to_cut_have_no_axes() -> None:
    for sheet in cutting_sheets(RADIAL):
        assert not any(axes.axison for axes in sheet.figure.axes)


@pytest.mark.parametrize("flanks", ["radial", "parallel"])
def test_an_axial_pole_is_as_wide_as_its_flanks_make_it(flanks: str) -> None:
    machine = replace(AXIAL, rotor_flanks=flanks)
    found = {
        each.name: each.value
        for each in disc_dimensions(machine, "rotor")
        if isinstance(each, LinearDimension)
    }
    ends = (machine.inner_radius, machine.outer_radius)
    straight = [chord(62.5, 32.0)] * 2
    wanted = straight if flanks == "parallel" else [chord(radius / mm, 32.0) for radius in ends]
    widths = [found[f"width at the {end} end"] / mm for end in ("inner", "outer")]
    assert widths == pytest.approx(wanted)
    assert widths != pytest.approx([chord(radius / mm, 33.0) for radius in ends])


@pytest.mark.parametrize(
    ("machine", "heights"),
    [
        (
            AXIAL,
            ("stator pole height 25", "rotor yoke 9", "stator yoke 10", "air gap 0.6", "59.6 long in all"),
        ),
        (
            replace(AXIAL, build="two rotors", stator_yoke_thickness=0.0),
            ("stator pole height 50", "rotor pole height 15", "99.2 long in all"),
        ),
        (replace(AXIAL, build="two stators"), ("rotor yoke 9", "stator pole height 25", "110.2 long in all")),
    ],
    ids=["one gap", "two rotors", "two stators"],
)
def test_an_axial_machine_is_seen_from_the_side(machine: AxialMachine, heights: tuple[str, ...]) -> None:
    said = " ".join(word for sheet in cutting_sheets(machine) for word in sheet.words)
    assert all(words in " ".join(said.split()) for words in heights)
    assert "axial" in said and "radial" not in said


FULL = replace(AXIAL, winding=replace(AXIAL.winding, coil_width=9 * mm))  # neighbours come near each other


def test_coils_are_said_where_they_reach_farthest_and_come_nearest() -> None:
    """Past both ends of the poles by liner and width; nearest where the circle is shortest."""
    winding, inner = FULL.winding, FULL.inner_radius
    reach = winding.liner + winding.coil_width
    said = " ".join(" ".join(word for sheet in cutting_sheets(FULL) for word in sheet.words).split())
    assert f"coils to Ø {2 * (FULL.outer_radius + reach) / mm:g}" in said
    assert f"coils from Ø {2 * (inner - reach) / mm:g}" in said
    (pole,) = FULL.stator_pattern
    apart = (2 * math.pi / FULL.stator_poles - pole.arc) * inner - 2 * reach
    wound = " ".join(" ".join(winding_sheet(FULL).words).split())
    assert f", {millimetres(round(apart, 5))} at the inner end" in wound


def test_the_letter_of_the_room_between_coils_stands_in_it() -> None:
    """A line to the margin would cross copper."""
    for machine in (RADIAL, FULL):
        known = drawn(machine)
        (room,) = (
            each for each in slot_view(known, winding_order(known)).leaders if each.name == "between coils"
        )
        assert room.inside and abs(room.point.real) < 0.1 * mm


def test_a_core_that_flux_goes_straight_through_has_no_yoke() -> None:
    through = replace(AXIAL, build="two rotors", stator_yoke_thickness=0.0)
    stator, with_yoke = pole_views(through)[1], pole_views(AXIAL)[1]
    assert stator.title == "Stator poles, to the middle" and with_yoke.title == "Stator poles"
    (core,) = (each for each in stator.dimensions if each.name == "face width")
    assert isinstance(core, LinearDimension) and core.value > 0.0


def test_poles_and_phases_are_counted_from_one() -> None:
    sheet, *_ = cutting_sheets(RADIAL)
    words = " ".join(sheet.words)
    assert "Phase 1: poles 1, 4." in words and "Phase 3: poles 2, 5." in words and "Phase 0" not in words
    numbers = {text.get_text() for text in sheet.figure.findobj(Text)}
    assert {"1", "6", "R1", "R4"} <= numbers and not {"0", "R0", "7", "R5"} & numbers


def test_the_winding_is_said(tmp_path: Path) -> None:
    wired = replace(RADIAL, winding=replace(RADIAL.winding, turns_per_pole=60, wire_diameter=0.789 * mm))
    said = " ".join(" ".join(winding_sheet(wired).words).split()).replace("\xa0", " ")
    for words in (
        "wire: 0.710 mm bare, 0.789 mm over enamel",
        "next size down: 0.670 mm",
        "next size up: 0.750 mm",
        "turns: 60 a coil, 6 coils",
    ):
        assert words in said
    assert "names no wire" not in said
    assert "names no wire" in " ".join(winding_sheet(RADIAL).words)
    assert winding_sheet(RADIAL).write(tmp_path / "wind.pdf").read_bytes().startswith(b"%PDF")


def test_what_no_paper_takes_is_refused() -> None:
    lengths = ("stator_outer_radius", "rotor_outer_radius", "stator_yoke_thickness", "rotor_yoke_radius")
    winding = replace(RADIAL.winding, yoke_clearance=0.6)
    huge = replace(
        RADIAL, winding=winding, unusual=True, **{name: 200 * getattr(RADIAL, name) for name in lengths}
    )
    with pytest.raises(
        GeometryRefused, match="a drawing must fit on paper: sheet is To cut, allowed is what fits A3"
    ):
        cutting_sheets(huge)

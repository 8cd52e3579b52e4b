"""Drawings with dimensions: what they say, held against the formulas of the shapes; and whether it can be read."""

from __future__ import annotations

import math
import re
import subprocess
import sys
import warnings
from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path as Curve
from matplotlib.text import Text
from matplotlib.transforms import Bbox

from polefem.errors import GeometryRefused
from polefem.materials import Steel
from polefem.outline import drawn
from polefem.params import (
    AxialMachine,
    Barrier,
    FreeFace,
    Hole,
    Machine,
    Notch,
    OuterRotorMachine,
    Pole,
    RadialMachine,
    RoundFace,
    Shoe,
    SlopedFace,
    Winding,
)
from polefem.report import draw_machine, draw_pole
from polefem.report.dimensions import Dimension, Leader
from polefem.report.measures import disc_dimensions, round_dimensions, strip_dimensions
from polefem.report.notebook import register, svg_of
from polefem.report.pole_measures import pole_dimensions
from polefem.report.poles import usual_seat
from polefem.shapes import pole_edge
from polefem.units import deg, mm

WINDING = Winding(turns_per_pole=100, coil_width=6 * mm, face_inset=2 * mm, yoke_clearance=3 * mm)
RADIAL = RadialMachine(
    stator_poles=6,
    rotor_poles=4,
    stator_outer_radius=60 * mm,
    rotor_outer_radius=30 * mm,
    air_gap=0.4 * mm,
    stator_yoke_thickness=11 * mm,
    rotor_yoke_radius=19 * mm,
    shaft_radius=10 * mm,
    stack_length=60 * mm,
    stator_pole=Pole(arc=30 * deg, root_fillet=1 * mm),
    rotor_pole=Pole(arc=32 * deg, notches=(Notch(3 * deg, 2 * mm, 1 * mm),)),
    winding=WINDING,
    steel=Steel.linear(1000.0),
)
OUTER = OuterRotorMachine(
    stator_poles=12,
    rotor_poles=8,
    rotor_outer_radius=90 * mm,
    stator_outer_radius=70 * mm,
    air_gap=0.5 * mm,
    rotor_yoke_thickness=8 * mm,
    stator_yoke_radius=40 * mm,
    shaft_radius=12 * mm,
    stack_length=40 * mm,
    stator_pole=Pole(arc=15 * deg),
    rotor_pole=Pole(arc=16 * deg),
    winding=replace(WINDING, coil_width=2 * mm, face_inset=4 * mm),
    steel=Steel.linear(1000.0),
)
AXIAL = AxialMachine(
    stator_poles=6,
    rotor_poles=4,
    inner_radius=45 * mm,
    outer_radius=80 * mm,
    air_gap=0.6 * mm,
    stator_pole_height=25 * mm,
    rotor_pole_height=15 * mm,
    stator_yoke_thickness=10 * mm,
    rotor_yoke_thickness=9 * mm,
    stator_pole=Pole(arc=30 * deg),
    rotor_pole=Pole(arc=32 * deg),
    winding=WINDING,
    steel=Steel.linear(1000.0),
)
MACHINES: dict[str, Machine] = {
    "radial": RADIAL,
    "many poles": replace(
        RADIAL,
        stator_poles=12,
        rotor_poles=10,
        stator_pole=Pole(arc=14 * deg),
        rotor_pole=Pole(arc=15 * deg),
        winding=replace(WINDING, coil_width=3 * mm),
        must_start=False,
    ),
    "outer rotor": OUTER,
    "axial": AXIAL,
    "axial, round cores": replace(
        AXIAL,
        stator_flanks="round",
        stator_pole=Pole(arc=26 * deg),
        build="two rotors",
        stator_yoke_thickness=0.0,
        must_start=False,
    ),
}
POLES: dict[str, Pole] = {
    "plain": Pole(arc=30 * deg),
    "shoe": Pole(arc=30 * deg, shoe=Shoe((2 * mm, 1 * mm), 1 * mm, 2 * mm), root_fillet=(1 * mm, 2 * mm)),
    "sloped": Pole(arc=30 * deg, face=SlopedFace((0.0, 0.5 * mm), 2 * deg), tip_chamfer=(1 * mm, 0.0)),
    "round": Pole(arc=30 * deg, face=RoundFace(40 * mm, 3 * deg), taper=4 * deg, tip_fillet=1 * mm),
    "free": Pole(arc=30 * deg, face=FreeFace((-1.0, 0.0, 1.0), (0.3 * mm, 0.0, 0.6 * mm))),
    "openings": Pole(
        arc=30 * deg,
        holes=(Hole(8 * mm, 3 * mm),),
        barriers=(
            Barrier(5 * mm, 4 * mm, 1 * mm, 0.5, -5 * mm),
            Barrier(12 * mm, 4 * mm, 1 * mm, 0.0, 5 * mm),
        ),
        notches=(Notch(-6 * deg, 1 * mm, 1 * mm, "v"), Notch(6 * deg, 2 * mm, 1 * mm, "round")),
    ),
}


def values(dimensions: Iterable[Dimension]) -> dict[str, float]:
    """What each says, mm or degrees: its last number, of sizes in two directions the first."""
    found = {}
    for each in dimensions:
        numbers = re.findall(r"\d+(?:\.\d+)?", each.text.partition(" x ")[0])
        if numbers:
            found[each.name] = float(numbers[-1])
    return found


def says(found: dict[str, float], wanted: dict[str, float]) -> bool:
    """Whether all of these are said, to the hundredth that is printed."""
    return all(
        math.isclose(found.get(name, math.nan), value, abs_tol=5.1e-3) for name, value in wanted.items()
    )


def chord(radius: float, arc: float) -> float:
    return 2 * radius * math.sin(arc / 2 * deg)


def test_a_radial_machine_says_its_dimensions() -> None:
    wanted = {
        "stator outside": 120.0,
        "stator slot bottoms": 98.0,
        "stator faces": 60.8,
        "rotor faces": 60.0,
        "rotor valleys": 38.0,
        "rotor bore": 20.0,
        "air gap": 0.4,
        "stator pole arc": 30.0,
        "rotor pole arc": 32.0,
        "stator pole width": chord(30.4, 30),  # parallel flanks: the chord of the face
        "rotor pole width": chord(30.0, 32),
        "coil side": 6.0,
    }
    found = values(round_dimensions(drawn(RADIAL)))
    assert found.keys() == wanted.keys()
    assert says(found, wanted)
    assert not says(found, {**wanted, "stator outside": 60.0})  # a radius for a diameter
    assert not says(found, {**wanted, "rotor pole width": 2 * 30 * 16 * deg})  # the arc for its chord


def test_dimensions_lie_where_they_measure() -> None:
    found = {each.name: each for each in round_dimensions(drawn(RADIAL))}
    for name in (
        "stator outside",
        "stator slot bottoms",
        "stator faces",
        "rotor faces",
        "rotor valleys",
        "rotor bore",
    ):
        assert 2 * abs(found[name].point) == pytest.approx(found[name].value)
    assert 30 * mm < abs(found["air gap"].point) < 30.4 * mm
    assert (found["stator pole arc"].face, found["rotor pole arc"].face) == pytest.approx(
        (30.4 * mm, 30 * mm)
    )
    for z in found["rotor pole width"].spots:  # the flanks of the pole at the lower end, half-way up
        assert abs(z.real) == pytest.approx(30 * mm * math.sin(16 * deg))
        assert -30 * mm < z.imag < -19 * mm


def test_an_outer_rotor_says_its_dimensions() -> None:
    found = values(round_dimensions(drawn(OUTER)))
    assert says(
        found, {"rotor outside": 180.0, "rotor valleys": 164.0, "rotor faces": 141.0, "stator faces": 140.0}
    )
    assert says(
        found, {"stator slot bottoms": 80.0, "stator bore": 24.0, "stator pole width": chord(70.0, 15)}
    )


def test_an_axial_machine_says_its_dimensions() -> None:
    found = values(strip_dimensions(AXIAL, drawn(AXIAL)))
    assert says(
        found, {"rotor pole height": 15.0, "rotor yoke": 9.0, "stator pole height": 25.0, "stator yoke": 10.0}
    )
    assert says(found, {"air gap": 0.6, "stator pole width": 62.5 * 30 * deg, "coil side": 6.0})
    discs = values(disc_dimensions(AXIAL, "rotor"))
    assert says(
        discs,
        {"outer diameter": 160.0, "inner diameter": 90.0, "mean diameter": 125.0, "rotor pole arc": 32.0},
    )
    cores = values(disc_dimensions(MACHINES["axial, round cores"], "stator"))
    # Along the circle of the mean radius the core reaches over its arc: the chord of half of it is its radius.
    assert says(cores, {"core": 2 * 125.0 * math.sin(26 / 4 * deg)})


def test_a_pole_says_every_number_of_its_words() -> None:
    pole = POLES["shoe"]
    seat = usual_seat(pole)
    found = pole_dimensions(pole, seat, pole_edge(pole, seat), 20 * mm)
    wanted = {"face width": chord(50.0, 30), "height": 20.0, "arc": 30.0}
    wanted["width at the yoke"] = math.hypot(chord(50.0, 30) - 3.0, foot(50.0, 1.0) - foot(50.0, 2.0))
    assert says(values(found), wanted)
    assert not says(values(found), {**wanted, "width at the yoke": chord(50.0, 30)})
    words = " ".join(each.text for each in found if isinstance(each, Leader))
    for said in ("shoe 2 over,\ntip 1, neck 2", "shoe 1 over,\ntip 1, neck 2", "fillet R 1", "fillet R 2"):
        assert said in words


def foot(radius: float, overhang: float) -> float:
    """Height, mm, of a parallel flank's foot on the yoke of `usual_seat`, by Pythagoras."""
    return math.sqrt((0.6 * radius) ** 2 - (chord(radius, 30) / 2 - overhang) ** 2)


def radii(figure: Figure) -> set[float]:
    """Distances of all points of all curves from the origin, mm."""
    found: set[float] = set()
    for patch in figure.axes[0].patches:
        if isinstance(patch, PathPatch):
            path = patch.get_path()
            curved = [k for k, code in enumerate(path.codes) if code == Curve.CURVE4][::3]
            for k in curved:
                a, b, c, d = path.vertices[k - 1 : k + 3]
                t = np.linspace(0, 1, 7)[:, None]
                along = (1 - t) ** 3 * a + 3 * (1 - t) ** 2 * t * b + 3 * (1 - t) * t**2 * c + t**3 * d
                found.update(np.round(np.hypot(*along.T), 3).tolist())
    return found


def test_arcs_are_true() -> None:
    plain = replace(RADIAL, stator_pole=Pole(arc=30 * deg), rotor_pole=Pole(arc=32 * deg))
    assert radii(draw_machine(plain)) == {10.0, 19.0, 30.0, 30.4, 49.0, 60.0}
    # A pole on a piece of its yoke, 0.3 of its height thick.
    assert radii(draw_pole(plain, "rotor")) == {30.0, 19.0, 19.0 - 0.3 * 11.0}


# Whether it can be read -----------------------------------------------------------------------------------------------


def boxes(figure: Figure) -> list[tuple[str, Bbox]]:
    """Where every word of a picture lies, in pixels; of an annotation the words without their line."""
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    renderer = canvas.get_renderer()
    found = []
    for axes in figure.axes:
        labels = [axes.xaxis.label, axes.yaxis.label, axes.title, axes._left_title]
        ticks = [
            tick
            for axis, which in ((axes.xaxis, 0), (axes.yaxis, 1))
            for tick in axis.get_ticklabels()
            if axis.get_view_interval()[0] <= tick.get_position()[which] <= axis.get_view_interval()[1]
        ]
        texts: Sequence[Text] = [*axes.texts, *labels, *ticks]
        found += [(t.get_text(), Text.get_window_extent(t, renderer)) for t in texts if t.get_text()]
    return found


def unreadable(figure: Figure) -> list[str]:
    """Words that lie on other words or outside the picture."""
    found = boxes(figure)
    width, height = figure.get_size_inches() * figure.dpi
    outside = [text for text, b in found if b.x0 < -1 or b.y0 < -1 or b.x1 > width + 1 or b.y1 > height + 1]
    inner = [(text, b.padded(-1.0)) for text, b in found]
    clashes = [f"{one} | {two}" for (one, a), (two, b) in combinations(inner, 2) if Bbox.intersection(a, b)]
    return outside + clashes


@pytest.mark.parametrize("machine", MACHINES.values(), ids=MACHINES)
def test_the_words_on_a_machine_can_be_read(machine: Machine) -> None:
    for dimensions in (False, True):
        assert unreadable(draw_machine(machine, dimensions)) == []


@pytest.mark.parametrize("pole", POLES.values(), ids=POLES)
def test_the_words_on_a_pole_can_be_read(pole: Pole) -> None:
    for side in ("rotor", "stator"):
        assert unreadable(draw_pole(pole, side, dimensions=True)) == []


def test_words_that_cannot_be_read_are_noticed() -> None:
    figure = draw_pole(POLES["plain"], dimensions=True)
    axes = figure.axes[0]
    axes.text(0.0, 50.0, "somewhere")
    axes.text(0.5, 50.0, "almost there")
    axes.text(axes.get_xlim()[1], 45.0, "far out to the right").set_in_layout(False)
    assert {"far out to the right", "somewhere | almost there"} <= set(unreadable(figure))


def test_poles_of_machines_can_be_drawn_without_a_warning() -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for machine in MACHINES.values():
            for side in ("rotor", "stator"):
                figure = draw_pole(machine, side, number=1, dimensions=True)
                assert figure.axes[0].get_title(loc="left") == f"{side.capitalize()} pole 2"


def test_a_pole_that_makes_no_edge_is_refused() -> None:
    with pytest.raises(GeometryRefused, match="rotor_pole"):
        draw_pole(Pole(arc=30 * deg, shoe=Shoe(600 * mm, 1 * mm, 2 * mm)))


# In a notebook --------------------------------------------------------------------------------------------------------


def test_machines_and_poles_are_svg_and_what_cannot_be_built_is_text() -> None:
    for value in (RADIAL, OUTER, AXIAL, POLES["plain"]):
        text = svg_of(value)
        assert text is not None
        assert "<svg" in text
    assert svg_of(replace(RADIAL, rotor_pole=Pole(arc=95 * deg))) is None


def test_a_notebook_s_shell_shows_a_machine() -> None:
    formatters = pytest.importorskip("IPython.core.formatters")
    shown = formatters.DisplayFormatter()
    register(shown.formatters)
    data, _ = shown.format(RADIAL)
    assert data.keys() == {"text/plain", "image/svg+xml"}
    data, _ = shown.format(replace(RADIAL, rotor_pole=Pole(arc=95 * deg)))
    assert data.keys() == {"text/plain"}


def test_the_package_is_imported_without_what_draws_and_cuts() -> None:
    asked = "import sys, polefem; print(*{'matplotlib', 'ezdxf', 'IPython'}.intersection(sys.modules))"
    found = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == ""

"""The pages and pictures that are made anew with every build: the tutorial, the gallery, drawings and curves.

Everything is computed on coarse meshes and few angles, so that it takes seconds; nothing of it is kept in the
repository.
"""

from __future__ import annotations

import ast
import re
import shutil
import subprocess
import sys
from dataclasses import replace
from itertools import takewhile
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pottery_wheel
import pottery_wheel_driven
from cells import page
from matplotlib.figure import Figure

from polefem import Barrier, FreeFace, Hole, Notch, Pole, RoundFace, Shoe, SlopedFace, flux_map, solve_state
from polefem.copper import wound_phase
from polefem.drive import steady_state
from polefem.field.states import whole_field
from polefem.maps import FluxMap, linear_map, summed
from polefem.outline import Label, outline_of
from polefem.outline.parts import extent, whole_parts
from polefem.params import Machine, MeshSpec
from polefem.params.drive_spec import Bridge, DriveSpec, Tracking
from polefem.params.toml import load_machine
from polefem.report.curves import (
    draw_curves,
    flux_linkage_against_current,
    inductance_against_angle,
    torque_against_angle,
    torque_of_designs,
)
from polefem.report.machines import draw_machine
from polefem.report.poles import draw_pole
from polefem.report.power import draw_power, power_over_speed
from polefem.report.runs import draw_run
from polefem.report.sections import draw_flux_density, flux_density
from polefem.shapes import area
from polefem.study import (
    InProcess,
    LevelOperatingPoint,
    RectangularOperatingPoint,
    Status,
    Store,
    SwitchingTable,
    run_designs,
)
from polefem.units import deg, mm, rpm
from tests.gallery import CylinderInField, solved

__all__ = ["make_pages"]

ROOT = Path(__file__).parents[1]
#: Pictures of studies that seconds can make.
SHOWN = {
    "pottery_wheel": "Torque of its shapes over a rotor pitch, all under its fixed angles, with a current that steps",
    "pottery_wheel_driven": "Its bridge at 250 revolutions a minute, followed at 8 A, on the parallel shape",
}
#: Current density in the bare copper of the fields shown, A/m2, and the share of copper in a coil side.
DENSITY, FILL = 6e6, 0.45
POLES = {
    "plain": Pole(arc=30 * deg),
    "tapered": Pole(arc=30 * deg, taper=8 * deg, root_fillet=2 * mm),
    "shoed": Pole(arc=34 * deg, shoe=Shoe(overhang=3 * mm, tip=2 * mm, neck=4 * mm), root_fillet=1 * mm),
    "notched": Pole(
        arc=34 * deg, notches=(Notch(-7 * deg, 3 * mm, 1.5 * mm), Notch(7 * deg, 4 * mm, 2 * mm, "v"))
    ),
    "sloped": Pole(
        arc=34 * deg, face=SlopedFace(rise=(0.0, 1.5 * mm), start=2 * deg), tip_fillet=(1 * mm, 0.0)
    ),
    "round-faced": Pole(arc=34 * deg, face=RoundFace(radius=30 * mm)),
    "free-faced": Pole(
        arc=34 * deg, face=FreeFace((-1.0, -0.5, 0.0, 0.5, 1.0), (0.0, 0.6 * mm, 0.0, 0.6 * mm, 0.0))
    ),
    "with-openings": Pole(
        arc=34 * deg,
        holes=(Hole(depth=6 * mm, diameter=4 * mm, offset=-6 * mm),),
        barriers=(Barrier(depth=9 * mm, length=8 * mm, width=1.5 * mm, tilt=20 * deg, offset=6 * mm),),
    ),
}


def make_pages(folder: Path) -> None:
    """Make them all in a folder of their own."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    machines = {file.stem: load_machine(file) for file in sorted((ROOT / "geometries").glob("*.toml"))}
    for name, pole in POLES.items():
        _save(draw_pole(pole), folder / f"pole-{name}.svg")
    _save(draw_pole(POLES["shoed"], dimensions=True), folder / "pole-words.svg")
    for name, machine in machines.items():
        _save(draw_machine(machine, dimensions=True), folder / f"machine-{name}.svg")
        _save(_half_overlapped(machine), folder / f"field-{name}.png")
    wheel = machines["pottery_wheel"]
    _draw_run(folder, wheel, _draw_map(folder, wheel))
    _draw_generator(folder)
    _draw_cylinder(folder)
    _draw_study(folder)
    (folder / "gallery.md").write_text(_gallery(list(machines)), "utf-8")
    (folder / "tutorial.md").write_text(_tutorial(folder), "utf-8")
    (folder / "help.txt").write_text(_help(), "utf-8")


def _save(figure: Figure, path: Path) -> None:
    undated = {"Date": None} if path.suffix == ".svg" else None
    figure.savefig(path, dpi=110, metadata=undated)


def _half_overlapped(machine: Machine) -> Figure:
    """The flux density with the first phase on, a quarter of a rotor pitch before aligned."""
    outline = outline_of(machine)
    coil = outline.stator.region(Label("coil", pole=0, side="plus"))
    current = DENSITY * FILL * abs(area(coil.ring)) / machine.section_turns
    currents = np.zeros(machine.phases.count)
    currents[0] = current
    angle = -machine.rotor_pitch / 4
    state = solve_state(machine, angle, currents, "coarse")
    title = (
        f"{current:.3g} A in one phase,\n{-angle / deg:.4g} deg before aligned: {abs(state.torque):.3g} N m"
    )
    figure = draw_flux_density(flux_density(state.field, title))
    left, low, right, high = (bound / mm for bound in extent(whole_parts(outline)))
    if outline.rotor.flat:  # of a long row of poles, those about the first
        pitch = outline.radius * machine.rotor_pitch / mm
        low, high = -0.7 * pitch, pitch
    figure.axes[0].set_xlim(left - 1, right + 1)
    figure.axes[0].set_ylim(low - 1, high + 1)
    return figure


def _draw_map(folder: Path, machine: Machine) -> FluxMap:
    found = flux_map(machine, np.linspace(0, 45, 16) * deg, [2.0, 4.0, 8.0, 16.0], "coarse")
    for name, curves in (
        ("torque", torque_against_angle(found)),
        ("inductance", inductance_against_angle(found)),
        ("flux-linkage", flux_linkage_against_current(found)),
    ):
        _save(draw_curves(curves), folder / f"map-{name}.svg")
    return found


def _draw_run(folder: Path, machine: Machine, phase_map: FluxMap) -> None:
    """The bridge of the study that judges under real drives, with the angles that a person would first set."""
    study = pottery_wheel_driven
    (point,) = (p for p in study.plan.operating_points if isinstance(p, LevelOperatingPoint))
    resistance = wound_phase(machine, study.plan.copper).resistance
    drive = DriveSpec(point.bridge, resistance, point.turn_on, point.turn_off, Tracking.level(8.0))
    _save(
        draw_run(steady_state(summed(phase_map), drive, point.speed)),
        folder / "study-pottery_wheel_driven.svg",
    )


def _draw_generator(folder: Path) -> None:
    """Power and efficiency over speed of the machine of straight inductances that the chapter on generators has."""
    m = summed(linear_map(60e-3, 6e-3, full=3 * deg, apart=30 * deg, current=40.0))
    battery = Bridge(48.0, switch_drop=0.1, diode_drop=0.8)
    speeds = tuple(speed * rpm for speed in (100, 200, 400, 600, 800))
    table = SwitchingTable(battery, speeds, (-2.0, -1.0, -0.5)).table(m, 0.4)
    _save(draw_power(power_over_speed(table, "Straight inductances")), folder / "power-over-speed.svg")


def _draw_cylinder(folder: Path) -> None:
    """A permeable elliptic cylinder in a uniform field, as the checks of the field use it."""
    problem = CylinderInField()
    system = problem.system(4 * mm)
    angle = 30 * deg
    found = solved(system, angle, problem.load(system))
    torque = system.at(angle).torque(found.unknowns)
    closed = problem.closed(angle)[2] * problem.length
    title = f"Elliptic cylinder in a uniform field:\n{torque:.5g} N m, in closed form {closed:.5g} N m"
    field = whole_field(system.model, angle, found.unknowns)
    _save(draw_flux_density(flux_density(field, title)), folder / "cylinder.png")


def _draw_study(folder: Path) -> None:
    """The shapes of the pottery wheel's study, coarsely, under the angles that it holds fixed for all, with a current
    that steps: one current is enough for that, ramps would ask for all below it."""
    study = pottery_wheel.study
    (fixed,) = study.plan.operating_points
    assert isinstance(fixed, RectangularOperatingPoint)
    plan = replace(
        study.plan,
        drive=replace(fixed.drive, ramp=0.0),
        operating_points=(),
        hearing=None,
        mesh=MeshSpec.named("coarse"),
        angle_points=16,
        current_points=1,
    )
    study = replace(study, plan=plan)
    designs = study.designs()
    with TemporaryDirectory() as place, Store(Path(place)) as store:
        records = run_designs(study.name, designs, store, InProcess())
    operations = {
        record.name: (record.outcome.machine_map, record.figures.switching, record.figures.current)
        for record in records
        if record.status is Status.SOLVED
    }
    _save(draw_curves(torque_of_designs(operations, plan.terms)), folder / "study-pottery_wheel.svg")


def _gallery(machines: list[str]) -> str:
    parts = [
        "# Gallery",
        "Machines of `geometries/` and studies of `studies/`, drawn on coarse meshes when this manual was made. Fields "
        f"have {DENSITY * 1e-6:g} A/mm² in the copper of one phase, its poles half overlapped.",
        "## Machines",
    ]
    for name in machines:
        parts += [
            f"### {_titled(name)}",
            _purpose((ROOT / "geometries" / f"{name}.toml").read_text("utf-8")),
            f"![{_titled(name)}: drawing with dimensions](machine-{name}.svg)",
            f"![{_titled(name)}: flux density and lines of flux](field-{name}.png)",
            *_listing(f"geometries/{name}.toml", "toml"),
        ]
    parts += ["## Studies"]
    for file in sorted((ROOT / "studies").glob("*.py")):
        if (said := ast.get_docstring(ast.parse(file.read_text("utf-8")))) is not None:
            parts += [f"### {_titled(file.stem)}", said]
            if file.stem in SHOWN:
                parts.append(f"![{SHOWN[file.stem]}](study-{file.stem}.svg)")
            parts += _listing(f"studies/{file.name}", "python")
    parts += [
        "## A model problem",
        "Checks of the field start from problems with closed solutions (`tests/gallery.py`). One of them: a permeable "
        "cylinder of elliptic section in a uniform field, whose torque is known.",
        "![Field of an elliptic cylinder in a uniform field](cylinder.png)",
    ]
    return "\n\n".join(parts) + "\n"


def _titled(name: str) -> str:
    return re.sub(r"(\d+) (\d+)", r"\1/\2", name.replace("_", " ").capitalize())


def _purpose(toml: str) -> str:
    """The comment at the head of a machine file."""
    lines = takewhile(lambda line: line.startswith("#"), toml.splitlines())
    return "\n".join(line.removeprefix("# ") for line in lines)


def _listing(path: str, language: str) -> list[str]:
    """A file, folded away."""
    return [
        f"<details><summary><code>{path}</code></summary>",
        f"```{{literalinclude}} ../../{path}\n:language: {language}\n```",
        "</details>",
    ]


def _tutorial(folder: Path) -> str:
    drawn = 0

    def draw(svg: str) -> str:
        nonlocal drawn
        drawn += 1
        (folder / f"tutorial-{drawn}.svg").write_text(svg, "utf-8")
        return f"tutorial-{drawn}.svg"

    return page(ROOT / "studies" / "tutorial.py", draw)


def _help() -> str:
    """What the command line says of itself."""
    said = [
        subprocess.run(
            [sys.executable, "-m", "polefem", *words, "--help"],
            cwd=ROOT,
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for words in ((), ("run",))
    ]
    return "\n\n".join(said)

"""The pictures of a design and of a study: what each shows, by which it is known, and how it is drawn when wanted."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np

from polefem.field import Field
from polefem.files import file_name
from polefem.maps import CoupledMap
from polefem.outline import outline_of
from polefem.params import Machine, made_of_discs
from polefem.report import plotting
from polefem.report.analysis import draw_pareto, draw_search, draw_sobol_indices, draw_uncertainty
from polefem.report.at_the_shaft import SHOWN, Traces, draw_traces
from polefem.report.curves import (
    draw_curves,
    draw_spectrum,
    flux_linkage_against_current,
    inductance_against_angle,
    spectrum_of_torque,
    torque_against_angle,
    torque_of_designs,
    torque_of_phases,
)
from polefem.report.descent import Descent, draw_descent, draw_first_and_last
from polefem.report.drawing_key import drawing_key
from polefem.report.findings import Findings, Shape
from polefem.report.hearing import draw_speeds
from polefem.report.machines import draw_machine
from polefem.report.picture import Picture, picture_of
from polefem.report.power import draw_power, power_over_speed
from polefem.report.sections import FluxDensity, draw_flux_density, draw_section, flux_density, unrolled
from polefem.report.side_by_side import draw_bars, draw_outlines, figure_bars, outlines_at_gap
from polefem.study import SECTION_PLACES, point_words
from polefem.units import deg, mm

__all__ = [
    "Drawing",
    "density_of",
    "descent_drawings",
    "drawing_of",
    "shape_drawings",
    "shape_pictures",
    "study_drawings",
]

_UNALIGNED = SECTION_PLACES.index("unaligned")
_BARS = 16  # in one picture


@dataclass(frozen=True, eq=False)
class Drawing:
    """A picture that may yet have to be drawn. name: stem of its file. words: what it shows. key: of all that it shows
    and of the code that draws it: a picture of that key need not be drawn again. pixels: whether it is one of them."""

    name: str
    words: str
    key: str
    draw: Callable[[], plotting.Figure]
    pixels: bool = False

    def picture(self) -> Picture:
        """Draw it."""
        return picture_of(self.draw(), self.name, self.words, self.pixels)


def shape_drawings(shape: Shape) -> tuple[Drawing, ...]:
    """The pictures of one shape.

    Its section; torque and inductance against angle; flux linkage against current; the torque of all phases and its
    harmonics; what it does at operating points that have a picture; and, where its fields are known, the flux density
    with the first phase at the current of its figures, at SECTION_PLACES: unaligned on a scale of its own, the others
    on one.
    """
    machine, current = shape.design.machine, shape.figures.current
    drive, whole = shape.figures.switching, shape.at_work
    m = whole.single

    def section() -> plotting.Figure:
        if machine.flat:
            return draw_machine(machine)
        return draw_section(outline_of(machine), "Cross section, aligned")

    numbers = (m.angles, m.currents, m.flux_linkage, m.torque, m.phases, m.rotor_poles, m.mirror, m.name)
    shared = [(part.phases, part.angles, part.currents, part.nodes) for part in whole.interactions]
    driven = (*numbers, shared, whole.coupling, drive, current)
    drawn: tuple[tuple[str, str, tuple[Any, ...], Callable[[], plotting.Figure]], ...] = (
        ("section", "Cross section of", (machine,), section),
        (
            "torque",
            "Torque of one phase against angle, for",
            numbers,
            lambda: draw_curves(torque_against_angle(m)),
        ),
        (
            "inductance",
            "Inductance of one phase against angle, for",
            numbers,
            lambda: draw_curves(inductance_against_angle(m)),
        ),
        (
            "flux-linkage",
            "Flux linkage of one phase against current, for",
            numbers,
            lambda: draw_curves(flux_linkage_against_current(m)),
        ),
        (
            "torque-of-phases",
            "Torque of all phases, together and each alone, for",
            driven,
            lambda: draw_curves(torque_of_phases(whole, drive, current)),
        ),
        (
            "spectrum",
            "Harmonics of the torque of",
            driven,
            lambda: draw_spectrum(spectrum_of_torque(whole, drive, current)),
        ),
    )
    curves = [
        drawing_of(f"{shape.stem}-{kind}", f"{words} {shape.name}", shown, draw)
        for kind, words, shown, draw in drawn
    ]
    return (*curves, *_at_the_shaft(shape, driven), *_speeds(shape), *_densities(shape))


def shape_pictures(shape: Shape, names: Collection[str]) -> tuple[Picture, ...]:
    """Those pictures of a shape that have these names."""
    return tuple(drawing.picture() for drawing in shape_drawings(shape) if drawing.name in names)


def drawing_of(
    name: str, words: str, shown: tuple[Any, ...], draw: Callable[[], plotting.Figure], pixels: bool = False
) -> Drawing:
    """A picture by its name, with what it shows in its key."""
    return Drawing(name, words, drawing_key(name, words, *shown), draw, pixels)


def _at_the_shaft(shape: Shape, driven: tuple[Any, ...]) -> list[Drawing]:
    """The pictures of its operating points. driven: the numbers of its map."""
    machine_map, resistance = shape.at_work, shape.figures.phase_resistance

    def draw(traces: Callable[[Any, CoupledMap, float], Traces], point: Any) -> Callable[[], plotting.Figure]:
        return lambda: draw_traces(traces(point, machine_map, resistance))

    return [
        drawing_of(
            f"{shape.stem}-point-{at}",
            f"{SHOWN[type(point)][0]} of {shape.name} {point_words(point.name)}",
            (*driven, point, resistance),
            draw(SHOWN[type(point)][1], point),
        )
        for at, point in enumerate(shape.design.plan.operating_points, start=1)
        if type(point) in SHOWN and point.name in shape.figures.operating_points
    ]


def _speeds(shape: Shape) -> list[Drawing]:
    """Where the pull in its gap meets the ring, for each operating point that is listened to."""
    return [
        drawing_of(
            f"{shape.stem}-speeds-{file_name(name)}",
            f"Speeds to avoid of {shape.name}, with the currents of {name}",
            (met,),
            partial(draw_speeds, met, f"Speeds to avoid, currents of {name}: an estimate"),
        )
        for name, met in shape.record.outcome.sound.items()
    ]


def _densities(shape: Shape) -> list[Drawing]:
    known, machine = shape.fields, shape.design.machine
    if known is None:
        return []
    made: list[FluxDensity] = []

    def densities() -> list[FluxDensity]:
        if not made:
            for said, angle, field in zip(SECTION_PLACES, known.angles.tolist(), known.fields, strict=True):
                own = ",\ncolours of its own" if said == SECTION_PLACES[_UNALIGNED] else ""
                where = f"{said}, {angle / deg:.3g} deg, {known.current:.3g} A in one phase{own}"
                title = f"Flux density, {where}"
                made.append(density_of(machine, field, title))
        return made

    def draw(at: int) -> Callable[[], plotting.Figure]:
        def drawn() -> plotting.Figure:
            tops = [float(np.quantile(density.size, 0.999)) for density in densities()]
            # The unaligned field is so weak that the others' scale would show none of it.
            return draw_flux_density(densities()[at], tops[at] if at == _UNALIGNED else max(tops))

        return drawn

    held = [(f.points, f.triangles, f.a, f.b, f.region, list(map(str, f.labels))) for f in known.fields]
    shown = (machine, known.current, known.angles, drawing_key(*held))
    return [
        drawing_of(
            f"{shape.stem}-flux-density-{said.replace(' ', '-')}",
            f"Flux density and lines of flux of {shape.name}, {said}",
            shown,
            draw(at),
            pixels=True,
        )
        for at, said in enumerate(SECTION_PLACES)
    ]


def density_of(machine: Machine, field: Field, title: str) -> FluxDensity:
    """The flux density in a machine; of an axial one unrolled, about a pole of the first phase and its neighbours."""
    density = flux_density(field, title)
    if not made_of_discs(machine):
        return density
    own = [pole for pole, phase in enumerate(machine.phases.of_pole) if phase == 0]
    pole = min(own, key=lambda number: abs(number - machine.stator_poles / 2))
    turn = 2 * math.pi * machine.mean_radius / mm
    reach = min(0.45 * turn, 1.6 * turn / min(machine.stator_poles, machine.rotor_poles))
    return unrolled(density, pole * turn / machine.stator_poles, reach)


def study_drawings(findings: Findings) -> tuple[Drawing, ...]:
    """The pictures that show designs side by side: torque, Pareto set, and where there are: power over speed,
    uncertainty, shares and search."""
    terms = findings.study.plan.terms
    drawn = []
    operations = {
        shape.name: (shape.at_work, shape.figures.switching, shape.figures.current)
        for shape in findings.compared
    }
    if operations:
        curves = torque_of_designs(operations, terms)
        words = f"Torque of all phases over a rotor pitch, {terms}"
        drawn.append(drawing_of("torque-of-designs", words, (curves,), lambda: draw_curves(curves)))
        machines = {shape.name: shape.design.machine for shape in findings.compared}
        words = "Outlines of the poles over each other at the gap"
        drawn.append(
            drawing_of("outlines", words, (machines,), lambda: draw_outlines(outlines_at_gap(machines)))
        )
    ranking = findings.ranking
    if len(ranking.ordered) > 1:
        figures = list(dict.fromkeys((ranking.by, "mean_torque")))
        bars = figure_bars(ranking.ordered[:_BARS], figures)
        words = f"{' and '.join(name.partition(' (')[0] for name in bars.figures)} as bars".capitalize()
        drawn.append(drawing_of("bars", words, (bars,), lambda: draw_bars(bars)))
    pareto = findings.pareto
    if len(pareto.labels) > 1:
        words = f"Shapes by {' and '.join(name.partition(' (')[0] for name in pareto.names)}"
        drawn.append(drawing_of("pareto", words, (pareto,), lambda: draw_pareto(pareto)))
    table, winner = findings.switching, findings.winner
    if table is not None and winner is not None and table.speeds.size > 1:
        power = power_over_speed(table, winner.name)
        words = f"Power out and efficiency of {winner.name} over speed"
        drawn.append(drawing_of("power-over-speed", words, (power,), lambda: draw_power(power)))
    uncertainty, indices, path = findings.uncertainty, findings.sobol_indices, findings.path
    if uncertainty is not None:
        words = "Error bars of the first designs"
        drawn.append(drawing_of("uncertainty", words, (uncertainty,), lambda: draw_uncertainty(uncertainty)))
    if indices is not None:
        words = "What each field does to each figure"
        drawn.append(drawing_of("sensitivities", words, (indices,), lambda: draw_sobol_indices(indices)))
    if path is not None and not findings.descents:
        drawn.append(drawing_of("search", "How the search went", (path,), lambda: draw_search([path])))
    return tuple(drawn)


def descent_drawings(descent: Descent, lever: str = "") -> tuple[Drawing, ...]:
    """The path of a search along slopes, and its first and last shape over each other. lever: which it was."""
    spread = descent.spread_words, descent.spread
    shown = (
        descent.figures,
        list(map(str, descent.limits)),
        descent.values,
        descent.kept,
        descent.best,
        spread,
    )
    ends = descent.first[0].machine, descent.last[0].machine
    stem, of = (f"-{file_name(lever)}", f", {lever}") if lever else ("", "")
    return (
        drawing_of(
            f"descent{stem}",
            f"The path of the search, step by step{of}",
            (*shown, descent.begins),
            lambda: draw_descent(descent),
        ),
        drawing_of(
            f"first-and-last{stem}",
            f"First and last shape over each other{of}",
            ends,
            lambda: draw_first_and_last(*ends),
        ),
    )

"""The pictures of a design and of a study, made once and put where they are wanted."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike

from polefem.field import BuiltMachine, Field, FieldState, built
from polefem.params import AxialMachine, Machine
from polefem.report.analysis import draw_pareto, draw_search, draw_sobol_indices, draw_uncertainty
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
from polefem.report.findings import Findings, Shape
from polefem.report.machines import draw_machine
from polefem.report.picture import Picture, picture_of
from polefem.report.poles import draw_pole
from polefem.report.sections import FluxDensity, draw_flux_density, draw_section, flux_density, unrolled
from polefem.units import deg, mm

__all__ = [
    "DENSITIES",
    "Fields",
    "density_of",
    "half_overlap",
    "shape_pictures",
    "study_pictures",
    "winner_pictures",
]

DENSITIES = ("aligned", "half overlap", "unaligned")
"""Where the rotor stands in pictures of the flux density."""
_COMPARED = 8  # curves that eyes tell apart in one picture


class Fields(Protocol):
    """Gives fields of a machine at angles, under currents of its phases: `polefem.field.field_series` or its like."""

    def __call__(
        self, machine: BuiltMachine, angles: ArrayLike, phase_currents: ArrayLike
    ) -> Iterator[FieldState]: ...


def half_overlap(machine: Machine) -> float:
    """The angle (rad, below 0: the rotor pole approaches) at which half of the narrower face stands opposite the other.

    Faces of arcs a and b overlap by (a + b) / 2 - |angle|, and by the smaller of the two at most.
    """
    return -max(machine.stator_pattern[0].arc, machine.rotor_pattern[0].arc) / 2


def shape_pictures(shape: Shape, fields: Fields) -> tuple[Picture, ...]:
    """The pictures of one shape.

    Its section; torque and inductance against angle; flux linkage against current; the torque of all phases and
    its harmonics; the flux density with the first phase at the current of its figures, at DENSITIES, on one scale.
    """
    machine, stem, current = shape.design.machine, shape.stem, shape.figures.current
    drive, m = shape.figures.switching, shape.at_work
    whole = built(machine, shape.design.plan.mesh)
    across = "Cross section, aligned"
    section = draw_machine(whole) if machine.flat else draw_section(whole.outline, across)
    drawn = [
        ("section", section, "Cross section of"),
        ("torque", draw_curves(torque_against_angle(m.single)), "Torque of one phase against angle, for"),
        (
            "inductance",
            draw_curves(inductance_against_angle(m.single)),
            "Inductance of one phase against angle, for",
        ),
        (
            "flux-linkage",
            draw_curves(flux_linkage_against_current(m.single)),
            "Flux linkage of one phase against current, for",
        ),
        (
            "torque-of-phases",
            draw_curves(torque_of_phases(m, drive, current)),
            "Torque of all phases, together and each alone, for",
        ),
        (
            "spectrum",
            draw_spectrum(spectrum_of_torque(m, drive, current)),
            "Harmonics of the torque of",
        ),
    ]
    pictures = [
        picture_of(figure, f"{stem}-{kind}", f"{words} {shape.name}") for kind, figure, words in drawn
    ]
    return (*pictures, *_densities(shape, whole, fields))


def _densities(shape: Shape, whole: BuiltMachine, fields: Fields) -> Iterator[Picture]:
    machine, current = shape.design.machine, shape.figures.current
    currents = np.zeros(machine.phases.count)
    currents[0] = current
    angles = (0.0, half_overlap(machine), machine.rotor_pitch / 2)
    states = list(fields(whole, angles, currents))
    titles = [f"{said}, {angle / deg:.3g} deg" for said, angle in zip(DENSITIES, angles, strict=True)]
    densities = [
        density_of(machine, state.field, f"Flux density, {title}, {current:.3g} A in one phase")
        for title, state in zip(titles, states, strict=True)
    ]
    top = max(float(np.quantile(density.size, 0.999)) for density in densities)
    for said, density in zip(DENSITIES, densities, strict=True):
        name = f"{shape.stem}-flux-density-{said.replace(' ', '-')}"
        words = f"Flux density and lines of flux of {shape.name}, {said}"
        yield picture_of(draw_flux_density(density, top), name, words, pixels=True)


def density_of(machine: Machine, field: Field, title: str) -> FluxDensity:
    """The flux density in a machine; of an axial one unrolled, about a pole of the first phase and its neighbours."""
    density = flux_density(field, title)
    if not isinstance(machine, AxialMachine):
        return density
    own = [pole for pole, phase in enumerate(machine.phases.of_pole) if phase == 0]
    pole = min(own, key=lambda number: abs(number - machine.stator_poles / 2))
    turn = 2 * math.pi * machine.mean_radius / mm
    reach = min(0.45 * turn, 1.6 * turn / min(machine.stator_poles, machine.rotor_poles))
    return unrolled(density, pole * turn / machine.stator_poles, reach)


def winner_pictures(shape: Shape) -> tuple[Picture, ...]:
    """What to cut, with its dimensions: the machine, and a pole of each side."""
    machine, stem = shape.design.machine, shape.stem
    pictures = [
        picture_of(
            draw_machine(machine, dimensions=True), f"{stem}-dimensions", f"Dimensions of {shape.name}, in mm"
        )
    ]
    for side in ("rotor", "stator"):
        figure = draw_pole(machine, "rotor" if side == "rotor" else "stator", dimensions=True)
        where = " at the mean radius" if machine.flat else ""
        words = f"Dimensions of a {side} pole of {shape.name}{where}, in mm"
        pictures.append(picture_of(figure, f"{stem}-{side}-pole", words))
    return tuple(pictures)


def study_pictures(findings: Findings) -> tuple[Picture, ...]:
    """The pictures that show designs side by side: torque, Pareto set, and uncertainty, shares and search where there
    are."""
    operations = {
        shape.name: (shape.at_work, shape.figures.switching, shape.figures.current)
        for shape in findings.shapes[:_COMPARED]
    }
    terms = findings.study.plan.terms
    drawn = []
    if operations:
        figure = draw_curves(torque_of_designs(operations, terms))
        drawn.append((figure, "torque-of-designs", f"Torque of all phases over a rotor pitch, {terms}"))
    if len(findings.pareto.labels) > 1:
        words = f"Designs by {' and '.join(name.partition(' (')[0] for name in findings.pareto.names)}"
        drawn.append((draw_pareto(findings.pareto), "pareto", words))
    if findings.uncertainty is not None:
        drawn.append(
            (draw_uncertainty(findings.uncertainty), "uncertainty", "Error bars of the first designs")
        )
    if findings.sobol_indices is not None:
        drawn.append(
            (
                draw_sobol_indices(findings.sobol_indices),
                "sensitivities",
                "What each field does to each figure",
            )
        )
    if findings.path is not None:
        drawn.append((draw_search([findings.path]), "search", "How the search went"))
    return tuple(picture_of(figure, name, words) for figure, name, words in drawn)

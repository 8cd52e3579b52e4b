"""The pictures of a design and of a study, written to a folder."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike

from polefem.maps import FieldState, FluxMap
from polefem.outline import outline_of
from polefem.params import MeshSpec, RadialMachine, SquareDrive, phases_of
from polefem.report.curves import (
    draw_curves,
    flux_linkage_against_current,
    inductance_against_angle,
    torque_against_angle,
    torque_of_designs,
)
from polefem.report.sections import draw_flux_density, draw_section, flux_density
from polefem.report.style import save

__all__ = ["draw_design", "draw_study", "file_name"]


class _States(Protocol):
    def __call__(
        self, machine: RadialMachine, angle: float, phase_currents: ArrayLike, mesh: MeshSpec
    ) -> FieldState: ...


def draw_design(
    folder: Path,
    name: str,
    machine: RadialMachine,
    phase_map: FluxMap,
    current: float,
    mesh: MeshSpec,
    solve_state: _States,
) -> list[Path]:
    """Write the pictures of one design; returns where they are.

    Torque and inductance against angle, flux linkage against current, the cross section, and the flux density with
    the first phase at `current` (A), aligned and unaligned, on one scale of colours.
    """
    stem = file_name(name)
    written = [
        save(draw_curves(torque_against_angle(phase_map)), folder / f"{stem}-torque.png"),
        save(draw_curves(inductance_against_angle(phase_map)), folder / f"{stem}-inductance.png"),
        save(draw_curves(flux_linkage_against_current(phase_map)), folder / f"{stem}-flux-linkage.png"),
        save(
            draw_section(outline_of(machine), f"Cross section, aligned - {name}"),
            folder / f"{stem}-section.png",
        ),
    ]
    currents = np.zeros(phases_of(machine.stator_poles, machine.rotor_poles).count)
    currents[0] = current
    densities = {}
    for said, angle in (("aligned", 0.0), ("unaligned", machine.rotor_pitch / 2)):
        field = solve_state(machine, angle, currents, mesh).field
        densities[said] = flux_density(field, f"Flux density, {said}, {current:.3g} A in one phase - {name}")
    most = max(float(np.quantile(density.size, 0.999)) for density in densities.values())
    for said, density in densities.items():
        written.append(save(draw_flux_density(density, most), folder / f"{stem}-flux-density-{said}.png"))
    return written


def draw_study(
    folder: Path, operations: Mapping[str, tuple[FluxMap, SquareDrive, float]], basis: str
) -> list[Path]:
    """Write the pictures that show a study's designs side by side; returns where they are."""
    return [save(draw_curves(torque_of_designs(operations, basis)), folder / "torque-of-designs.png")]


def file_name(name: str) -> str:
    """A design's name as part of a file name.

    >>> file_name("tapered, 4 deg")
    'tapered_4_deg'
    """
    return re.sub(r"[^A-Za-z0-9.-]+", "_", name).strip("_.") or "design"

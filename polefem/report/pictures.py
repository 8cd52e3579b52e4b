"""The pictures of a design and of a study, written to a folder."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike

from polefem.maps import FieldState, FluxMap
from polefem.outline import outline_of
from polefem.params import Machine, MeshSpec, SquareDrive
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


class _Fields(Protocol):
    def __call__(
        self, machine: Machine, angles: ArrayLike, phase_currents: ArrayLike, mesh: MeshSpec
    ) -> Iterator[FieldState]: ...


def draw_design(
    folder: Path,
    name: str,
    machine: Machine,
    phase_map: FluxMap,
    current: float,
    mesh: MeshSpec,
    fields: _Fields,
) -> list[Path]:
    """Write the pictures of one design; returns where they are.

    Torque and inductance against angle, flux linkage against current, the cross section, and the flux density with
    the first phase at `current` (A), aligned and unaligned, each on a scale of its own.
    """
    stem = file_name(name)
    phase_map = replace(phase_map, name=name)
    written = [
        save(draw_curves(torque_against_angle(phase_map)), folder / f"{stem}-torque.png"),
        save(draw_curves(inductance_against_angle(phase_map)), folder / f"{stem}-inductance.png"),
        save(draw_curves(flux_linkage_against_current(phase_map)), folder / f"{stem}-flux-linkage.png"),
        save(
            draw_section(outline_of(machine), f"Cross section, aligned - {name}"),
            folder / f"{stem}-section.png",
        ),
    ]
    currents = np.zeros(machine.phases.count)
    currents[0] = current
    states = fields(machine, [0.0, machine.rotor_pitch / 2], currents, mesh)
    for said, state in zip(("aligned", "unaligned"), states, strict=True):
        density = flux_density(state.field, f"Flux density, {said}, {current:.3g} A in one phase - {name}")
        written.append(save(draw_flux_density(density), folder / f"{stem}-flux-density-{said}.png"))
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

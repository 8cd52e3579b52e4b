"""The two sides of a gap, their poles and coils drawn one by one, before they are laid out."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

from polefem.outline.coils import CoilSide, coils_of
from polefem.params import Machine, Row
from polefem.shapes import Edge, Seat, pole_edge

__all__ = ["Build", "builds_of"]


@dataclass(frozen=True)
class Build:
    """Rotor or stator, before it is laid out: the poles and coils that its row of poles tells of, drawn."""

    row: Row

    @property
    def seat(self) -> Seat:
        """Where its poles stand."""
        row = self.row
        return Seat(row.face, row.root, math.pi / row.poles, row.flat, row.radius or 1.0)

    @cached_property
    def edges(self) -> tuple[Edge, ...]:
        """The edge of each pole of the unit; raises GeometryRefused where a pole has none."""
        return tuple(pole_edge(pole, self.seat, f"{self.row.name}_pole") for pole in self.row.pattern)

    @cached_property
    def coils(self) -> tuple[CoilSide, ...]:
        """Minus and plus side of each pole's coil; none on a side without winding. Raises as `coils_of` does."""
        return tuple(
            side
            for at, winding in enumerate(self.row.windings)
            for side in coils_of(at, self.edges[at], self.seat, winding)
        )


def builds_of(machine: Machine, radius: float | None = None) -> tuple[Build, Build]:
    """Rotor and stator of a machine; of an axial one, of the flat section at a radius (m), or at the mean radius."""
    rotor, stator = machine.rows(radius)
    return Build(rotor), Build(stator)

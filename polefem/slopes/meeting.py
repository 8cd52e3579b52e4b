"""Slopes of what phases that conduct together add to each other: of the nodes of each interaction, in many fields.

At each site that is solved the adjoint method gives the slopes of co-energy, torque and flux linkages (`state`); less
those of the phases alone, from the slopes of the map of one phase, they are those of the interaction's own values. Its
mixed derivatives are told by splines, and what a phase links while it rests by the parabola to the first level.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from polefem.maps import CoupledMap, Interaction, MapSlopes
from polefem.slopes.state import Movable
from polefem.solve import Coupled, FactorCache
from polefem.sweep import Site, Sites

__all__ = ["Meeting"]

Floats = NDArray[np.float64]

#: Of a field, SI, for differences of what is linear in it.
STEP = 1e-6


class _Told(NamedTuple):
    """Slopes at one site over the levels of its two phases, (m, m), each of the moves and then of the moves mirrored.

    coenergy, torque: shape (2, n_fields, m, m). linkages: of all phases, shape (2, n_fields, n_phases, m, m); 0 of
    those that rest.
    """

    coenergy: Floats
    torque: Floats
    linkages: Floats


class Meeting:
    """Adds up the sections' slopes at each site that is solved. movables: of each section; of `fields` moves, and where
    the machine is its own mirror image as many mirrored ones."""

    def __init__(self, movables: Sequence[Movable], fields: int, mirror: bool) -> None:
        self._movables, self._fields, self._ways = movables, fields, 2 if mirror else 1
        self._levels: dict[Site, dict[tuple[int, ...], tuple[Floats, Floats, Floats]]] = {}

    def __call__(
        self,
        section: int,
        site: Site,
        at: tuple[int, ...],
        coupled: Coupled,
        unknowns: Floats,
        currents: Floats,
        cache: FactorCache,
    ) -> None:
        own = self._movables[section].slopes(coupled, unknowns, currents, cache, site[0])
        shape = self._ways, self._fields
        found = (
            own.coenergy.reshape(shape),
            own.torque.reshape(shape),
            own.flux_linkages.reshape(-1, *shape).transpose(1, 2, 0),
        )
        before = self._levels.setdefault(site, {}).get(at)
        self._levels[site][at] = found if before is None else _added(before, found)

    def slopes(self, alone: MapSlopes, machine_map: CoupledMap, sites: Sites) -> tuple[Floats, ...]:
        """Of the nodes of each interaction of a map, in the order of its parts, each of shape (n_fields,) + that of the
        nodes. alone: of one phase."""
        told = {site: self._told(levels) for site, levels in self._levels.items()}
        sides = [_sides(alone, field) for field in alone.fields]
        found = []
        for part in machine_map.interactions:
            images = [sites.image(part.phases, node) for node in sites.solved(part.phases)]
            rows = []
            for at in range(self._fields):
                tables = []
                for site, image in images:
                    values, mirrored = told[site], int(image.way.sense < 0)
                    torque, linkages = image.turned(
                        values.torque[mirrored, at], values.linkages[mirrored, at], site[0]
                    )
                    coenergy = values.coenergy[mirrored, at].transpose(image.order)
                    tables.append(np.stack([coenergy, torque, *linkages[list(part.phases)]]))
                rows.append(_nodes(part, np.array(tables).swapaxes(0, 1), sides[at]))
            found.append(np.array(rows))
        return tuple(found)

    def _told(self, levels: dict[tuple[int, ...], tuple[Floats, Floats, Floats]]) -> _Told:
        m = 1 + max(max(at) for at in levels)
        tables = []
        for which in range(3):
            table = np.zeros((m, m, *levels[m - 1, m - 1][which].shape))
            for (first, second), found in levels.items():
                table[first, second] = found[which]
            tables.append(np.moveaxis(table, (0, 1), (-2, -1)))
        return _Told(*tables)


def _added(
    before: tuple[Floats, Floats, Floats], more: tuple[Floats, Floats, Floats]
) -> tuple[Floats, Floats, Floats]:
    coenergy, torque, linkages = (one + other for one, other in zip(before, more, strict=True))
    return coenergy, torque, linkages


def _sides(alone: MapSlopes, field: str) -> tuple[CoupledMap, CoupledMap]:
    """The map of one phase with a field a little up and a little down."""
    up, down = (alone.changed({field: sign * STEP}) for sign in (1.0, -1.0))
    return CoupledMap(up), CoupledMap(down)


def _nodes(part: Interaction, both: Floats, sides: tuple[CoupledMap, CoupledMap]) -> Floats:
    """Slopes of an interaction's nodes in one field. both: of co-energy, torque and the two flux linkages with both
    phases on, shape (4, n, m, m). sides: what one phase does with the field a little up and down."""
    angles, currents, m = part.angles[:-1], part.currents, part.currents.size
    value, torque = np.zeros((len(angles), m, m)), np.zeros((len(angles), m, m))
    linkages = np.zeros((2, len(angles), m, m))
    inner = (slice(None), slice(1, None), slice(1, None))
    value[inner], torque[inner], linkages[0][inner], linkages[1][inner] = both
    for axis, phase in enumerate(part.phases):
        own = (angles - phase * sides[0].stroke)[:, None]
        up, down = (side.single.potential.at(own, currents[1:]) for side in sides)
        spread = (slice(None), slice(None), None) if axis == 0 else (slice(None), None, slice(None))
        value[inner] -= ((up.coenergy - down.coenergy) / (2 * STEP))[spread]
        torque[inner] -= ((up.torque - down.torque) / (2 * STEP))[spread]
        linkages[axis][inner] -= ((up.flux_linkage - down.flux_linkage) / (2 * STEP))[spread]
    for axis in (0, 1):
        first = (slice(None), 1, slice(1, None)) if axis == 0 else (slice(None), slice(1, None), 1)
        rest = (slice(None), 0, slice(1, None)) if axis == 0 else (slice(None), slice(1, None), 0)
        linkages[axis][rest] = 2 * value[first] / currents[1] - linkages[axis][first]
    return Interaction.through(part.phases, part.angles, currents, value, torque, linkages).nodes

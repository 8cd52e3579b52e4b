"""A flux map together with its slopes in many fields: each point's factor serves the adjoint solutions too."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from polefem.errors import GeometryRefused, refusal
from polefem.field import BuiltMachine, built
from polefem.maps import FluxMap, MapSlopes, summed
from polefem.params import Machine, MeshSpec, RectangularCurrent
from polefem.slopes.fields import Following
from polefem.slopes.forces import Forces
from polefem.slopes.meeting import Meeting
from polefem.slopes.state import Movable
from polefem.solve import Coupled, FactorCache, Solution
from polefem.sweep import Teller, checked_lists, distinct_angles, met_map, points_of, swept

__all__ = ["Swept", "map_with_slopes", "sloped_map"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Swept:
    """What a near design starts from: the machine whose meshes follow, and its field at every distinct point.

    fields: of each section, shape (n_distinct_angles, n_currents, size).
    """

    following: Following
    fields: tuple[Floats, ...]

    def near_map(self, machine: Machine, angles: ArrayLike, currents: ArrayLike) -> FluxMap:
        """The flux map of a machine of somewhat other dimensions, on these meshes moved and from these fields, over the
        same angles and currents; errors are not estimated anew.

        Raises what `Following.near` raises, and GeometryRefused where only one of both machines is its own mirror
        image.
        """
        near = self.following.near(machine)
        if near.mirror != self.following.whole.mirror:
            rule, kept = "a near machine keeps its symmetry", "as of the machine it starts from"
            raise GeometryRefused(refusal(rule, "its own mirror image", near.mirror, kept))
        angles, currents = np.asarray(angles, dtype=float), np.asarray(currents, dtype=float)
        tell = Teller(None, 0)
        return swept(near, None, angles, currents, tell, starts=self.fields)[0]


def sloped_map(
    machine: Machine | BuiltMachine,
    angles: ArrayLike,
    currents: ArrayLike,
    fields: Sequence[str],
    mesh: MeshSpec | str | None = None,
    progress: Callable[[int, int], None] | None = None,
    drives: Sequence[RectangularCurrent] = (),
) -> tuple[MapSlopes, Swept]:
    """A machine's flux map with its slopes in fields by their dotted names, and what near designs start from.

    drives: under which phases meet, so that the map knows what they then add to each other; none where they are summed.
    The other arguments as in `flux_map`. Raises what `flux_map` raises, what `Following.moves` raises for a field that
    has no slope, and what `met_map` raises.
    """
    following = Following(built(machine, mesh))
    angles, currents = checked_lists(angles, currents)
    collector = _Collector(following, fields, angles, currents)
    whole = following.whole
    tell = Teller(progress, points_of(whole, angles, currents))
    rough = whole.rough
    found, results = swept(whole, rough, angles, currents, tell, collector, keep=bool(drives))
    where, signs = collector.where, collector.signs
    first, second = collector.slopes[:, :, :, where], collector.mirrored[:, :, :, where]
    ahead = np.where(signs > 0, first, second)
    ahead[1] *= signs
    behind = None
    if collector.mirror:
        behind = np.where(signs > 0, second, first)
        behind[1] *= -signs
    slopes = MapSlopes(summed(found), tuple(fields), ahead[0], ahead[1], ahead[2], behind)
    if drives:
        meeting = Meeting(collector.movables, len(fields), collector.mirror)
        machine_map, sites = met_map(whole, found, results, drives, meeting)
        slopes = replace(slopes, machine_map=machine_map, together=meeting.slopes(slopes, machine_map, sites))
    return slopes, Swept(following, tuple(collector.fields))


def map_with_slopes(
    machine: Machine | BuiltMachine,
    angles: ArrayLike,
    currents: ArrayLike,
    fields: Sequence[str],
    drives: Sequence[RectangularCurrent] = (),
) -> MapSlopes:
    """A machine's flux map with its slopes in fields by their dotted names, as `sloped_map`."""
    return sloped_map(machine, angles, currents, fields, drives=drives)[0]


class _Collector:
    """Adds up the sections' slopes at each distinct point, and keeps the fields."""

    def __init__(self, following: Following, fields: Sequence[str], angles: Floats, currents: Floats) -> None:
        whole = following.whole
        self.mirror = whole.mirror
        distinct, self.where, self.signs = distinct_angles(angles, whole.machine.rotor_pitch, self.mirror)
        self._count, self._currents = len(fields), currents
        moves = following.moves(fields)
        self.movables = []
        for motion, own in zip(following.motions, moves, strict=True):
            images = [replace(move, way=motion.mirrored(move.way)) for move in own] if self.mirror else []
            self.movables.append(Movable(Forces(motion.model), [*own, *images]))
        shape = 3, len(fields), len(currents), len(distinct)
        self.slopes, self.mirrored = np.zeros(shape), np.zeros(shape)
        self.fields = [np.zeros((len(distinct), len(currents), system.size)) for system in whole.systems]

    def __call__(
        self, section: int, k: int, j: int, coupled: Coupled, found: Solution, cache: FactorCache
    ) -> None:
        self.fields[section][j, k] = found.unknowns
        currents = np.zeros(len(coupled.system.model.loads))
        currents[0] = self._currents[k]
        own = self.movables[section].slopes(coupled, found.unknowns, currents, cache, [0])
        rows = np.stack([own.flux_linkages[0], own.torque, own.coenergy])
        self.slopes[:, :, k, j] += rows[:, : self._count]
        if self.mirror:
            # At the opposite angle the mirrored field does what this one does in the mirrored move; torque turns.
            self.mirrored[:, :, k, j] += rows[:, self._count :]

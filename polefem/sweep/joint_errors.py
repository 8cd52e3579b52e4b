"""How wrong a coupled map may be: some states between its nodes are solved, on its own mesh and on a coarser one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from polefem.field import BuiltMachine, transferred
from polefem.maps import CoupledMap
from polefem.solve import FactorCache, minimise

__all__ = ["STATES", "THREES", "Sampled", "with_errors"]

Floats = NDArray[np.float64]

#: States with two phases on, and with three.
STATES, THREES = 8, 2
#: The largest difference times these is taken for the error (a test on random machines holds it).
COVER_FLUX_LINKAGE = 1.5
COVER_TORQUE = 1.7
TOLERANCE = 1e-4
#: How far between two nodes a state lies, in parts of the step: the slope of a cubic piece is furthest off there.
BETWEEN = (0.25, 0.75, 0.25)
ALONG = 0.25
#: Part of the golden section by which the cells of current are gone through.
STEP = 0.618


@dataclass(eq=False)
class Sampled:
    """A state beside a site: its angle a part of a step further on, its currents between two levels, in the cell whose
    turn it is; where there is one level, at that.

    fields: what to start from, of each section, shape (size,): the corners' fields in the shares of the state.
    """

    phases: tuple[int, ...]
    angle: float
    step: float
    levels: Floats
    turn: int
    fields: list[Floats] = field(default_factory=list)

    @property
    def cell(self) -> tuple[int, ...]:
        """The lower level of each phase."""
        cells = max(len(self.levels) - 1, 1)
        return tuple(int(((self.turn + 1) * STEP * (at + 1)) % 1.0 * cells) for at in range(len(self.phases)))

    def keep(self, fields: Floats) -> None:
        """Take what to start from out of a site's fields, shape (n_levels,) * k + (size,)."""
        start = np.zeros(fields.shape[-1])
        most = len(self.levels) - 1
        for corner in product((0, 1), repeat=len(self.phases)):
            shares = [u if far else 1.0 - u for far, u in zip(corner, BETWEEN, strict=False)]
            at = tuple(min(low + far, most) for low, far in zip(self.cell, corner, strict=True))
            start += float(np.prod(shares)) * fields[at]
        self.fields.append(start)

    def currents(self, phases: int) -> Floats:
        """A, shape (n_phases,)."""
        row, padded = np.zeros(phases), np.append(self.levels, self.levels[-1])
        for phase, low, u in zip(self.phases, self.cell, BETWEEN, strict=False):
            row[phase] = (1.0 - u) * padded[low] + u * padded[low + 1]
        return row


def with_errors(
    found: CoupledMap, whole: BuiltMachine, rough: BuiltMachine, sampled: Sequence[Sampled]
) -> CoupledMap:
    """The map with its estimated errors of flux linkages and torque, by mesh and interpolation together.

    whole: the machine that the map was computed from, rough: on a coarser mesh. What three phases at once are off by is
    said in the remarks where it is more.
    """
    pairs = [one for one in sampled if len(one.phases) == 2]
    angles, currents = _states(pairs, found.phases)
    starts = [np.array(fields) for fields in zip(*(one.fields for one in pairs), strict=True)]
    fine = _solved(whole, angles, currents, starts)
    again = [
        transferred(fields, own.model, other.model)
        for fields, own, other in zip(fine[2], whole.systems, rough.systems, strict=True)
    ]
    coarse = _solved(rough, angles, currents, again)
    by_map = found.at(angles, currents)
    linkages, torque = (
        float((np.abs(own - other) + np.abs(near - own)).max())
        for own, other, near in zip(fine[:2], coarse[:2], (by_map.flux_linkages, by_map.torque), strict=True)
    )
    flux_error = max(COVER_FLUX_LINKAGE * linkages, found.single.flux_linkage_error or 0.0)
    torque_error = max(COVER_TORQUE * torque, found.single.torque_error or 0.0)
    threes, remarks = [one for one in sampled if len(one.phases) == 3], found.remarks
    if threes:
        angles, currents = _states(threes, found.phases)
        starts = [np.array(fields) for fields in zip(*(one.fields for one in threes), strict=True)]
        off = float(
            np.abs(found.torque(angles, currents) - _solved(whole, angles, currents, starts)[1]).max()
        )
        if off > torque_error:
            said = f"with three phases on at once the torque is off by up to some {off:.3g} N m"
            remarks = (*remarks, said)
    return replace(found, flux_linkage_error=flux_error, torque_error=torque_error, remarks=remarks)


def _states(sampled: Sequence[Sampled], phases: int) -> tuple[Floats, Floats]:
    """Angles (rad), shape (n,), and currents (A), shape (n, n_phases)."""
    angles = np.array([one.angle + ALONG * one.step for one in sampled])
    return angles, np.array([one.currents(phases) for one in sampled])


def _solved(
    whole: BuiltMachine, angles: Floats, currents: Floats, starts: Sequence[Floats]
) -> tuple[Floats, Floats, list[Floats]]:
    """Flux linkages, shape (n, n_phases), and torque, (n,), of states, and their fields on each section, (n, size).

    starts: fields to start from, of each section, shape (n, size).
    """
    linkages, torque, fields = np.zeros(currents.shape), np.zeros(len(angles)), []
    for system, begun in zip(whole.systems, starts, strict=True):
        model, cache = system.model, FactorCache(tolerance=TOLERANCE)
        here = np.zeros((len(angles), model.size))
        for at, (angle, row) in enumerate(zip(angles.tolist(), currents, strict=True)):
            coupled, cache.factor = system.at(angle), None
            here[at] = minimise(coupled, row @ model.loads, begun[at], cache).unknowns
            linkages[at] += model.scale * (model.loads @ here[at])
            torque[at] += coupled.torque(here[at])
        fields.append(here)
    return linkages, torque, fields

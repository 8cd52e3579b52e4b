"""How wrong a coupled map may be: some states between its nodes are solved, on its own mesh and on a coarser one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from polefem.field import BuiltMachine, transferred
from polefem.maps import CoupledMap
from polefem.solve import FactorCache, minimise
from polefem.sweep.alike import Site
from polefem.sweep.sites import Sites, nearest
from polefem.sweep.starts import Superposed

__all__ = ["with_errors"]

Floats = NDArray[np.float64]

#: States with two phases on, at which meshes are compared, and with three.
STATES, THREES = 8, 2
#: The largest difference times these is taken for the error (a test on random machines holds it).
COVER_FLUX_LINKAGE = 3.0
COVER_TORQUE = 2.2
TOLERANCE = 1e-4
#: How far between two nodes a state lies, in parts of the step: the slope of a cubic piece is furthest off there.
BETWEEN = (0.25, 0.75, 0.25)
ALONG = 0.25
#: Part of the golden section by which the cells of current are gone through.
STEP = 0.618


@dataclass(eq=False)
class Sampled:
    """A state beside a site: its angle (rad) a part of the way to the next node, its currents (A, of all phases)
    between two levels.

    starts: what to start from, of each section, shape (size,).
    """

    phases: tuple[int, ...]
    angle: float
    currents: Floats
    starts: list[Floats]


def _sampled(sites: Sites, superposed: Superposed, sections: int) -> list[Sampled]:
    """States beside sites that are spread evenly over all that were solved, the cells of current gone through."""
    found: list[Sampled] = []
    between = 2 if len(sites.levels[2]) > 2 else 1  # more of them where more lies between levels
    for size, count in ((2, between * STATES), (3, THREES)):
        some = sorted(site for site in sites.values if len(site[0]) == size)
        if some:
            at = np.unique(np.linspace(0, len(some) - 1, count).round().astype(np.int64))
            found += [_beside(sites, superposed, sections, some[k], len(found) + 1) for k in at.tolist()]
    return found


def _beside(sites: Sites, superposed: Superposed, sections: int, site: Site, turn: int) -> Sampled:
    """The state beside a site, whose currents lie in the cell of levels whose turn it is."""
    phases, node = site
    nodes, levels = sites.solved(phases), sites.levels[len(phases)]
    following = next((other for other in nodes if other > node), nodes[0] + sites.nodes)
    angle = sites.angle(node) + ALONG * (sites.angle(following) - sites.angle(node))
    cells, row = max(len(levels) - 1, 1), np.zeros(sites.phases)
    for axis, phase in enumerate(phases):
        low, u = int((turn * STEP * (axis + 1)) % 1.0 * cells), BETWEEN[axis]
        row[phase] = (1.0 - u) * levels[low] + u * levels[min(low + 1, len(levels) - 1)]
    near = nearest(sites.firm[len(phases)], levels, row[list(phases)])
    starts = []
    for section in range(sections):
        added = sites.near(section, site, near)
        assert added is not None  # it was solved
        alone = superposed.at(section, angle, phases, [row[[phase]] for phase in phases]).reshape(-1)
        starts.append(alone + added)
    return Sampled(phases, angle, row, starts)


def with_errors(
    found: CoupledMap, whole: BuiltMachine, rough: BuiltMachine, sites: Sites, superposed: Superposed
) -> CoupledMap:
    """The map with its estimated errors of flux linkages and torque, by mesh and interpolation together.

    whole: the machine that the map was computed from at `sites`, rough: on a coarser mesh. What three phases at once
    are off by is said in the remarks where it is more.
    """
    sampled = _sampled(sites, superposed, len(whole.sections))
    pairs = [one for one in sampled if len(one.phases) == 2]
    angles, currents, starts = _states(pairs)
    fine = _solved(whole, angles, currents, starts)
    by_map, threes = found.at(angles, currents), [one for one in sampled if len(one.phases) == 3]
    # What a third phase links meanwhile is not in a map of two at once.
    told = (
        np.where(bool(threes) | (currents > 0.0), by_map.flux_linkages - fine[0], 0.0),
        by_map.torque - fine[1],
    )
    some = slice(0, len(angles), max(len(angles) // STATES, 1))
    again = [
        transferred(fields[some], own.model, other.model)
        for fields, own, other in zip(fine[2], whole.systems, rough.systems, strict=True)
    ]
    coarse = _solved(rough, angles[some], currents[some], again)
    linkages, torque = (
        float(np.abs(near).max() + np.abs(own[some] - other).max())
        for near, own, other in zip(told, fine[:2], coarse[:2], strict=True)
    )
    flux_error = max(COVER_FLUX_LINKAGE * linkages, found.single.flux_linkage_error or 0.0)
    torque_error = max(COVER_TORQUE * torque, found.single.torque_error or 0.0)
    remarks = found.remarks
    if threes:
        angles, currents, starts = _states(threes)
        off = float(
            np.abs(found.torque(angles, currents) - _solved(whole, angles, currents, starts)[1]).max()
        )
        if off > torque_error:
            said = f"with three phases on at once the torque is off by up to some {off:.3g} N m"
            remarks = (*remarks, said)
    return replace(found, flux_linkage_error=flux_error, torque_error=torque_error, remarks=remarks)


def _states(sampled: Sequence[Sampled]) -> tuple[Floats, Floats, list[Floats]]:
    """Angles (rad), shape (n,), currents (A), shape (n, n_phases), and of each section starts, shape (n, size)."""
    starts = [np.array(fields) for fields in zip(*(one.starts for one in sampled), strict=True)]
    return np.array([one.angle for one in sampled]), np.array([one.currents for one in sampled]), starts


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

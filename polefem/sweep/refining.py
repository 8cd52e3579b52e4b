"""Angles added to the map of one phase where its torque is in doubt.

What better pieces through the points at hand say at an added angle (`nodes`) is nearly what a field says there. So the
largest current is solved first; where that is not as foretold the next but one, and so on, the one between where it is
needed: by how much fields at some currents are off what was foretold tells it for the others, as it grows with the
square of the current as long as iron does not saturate.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline, barycentric_interpolate

from polefem.field import BuiltMachine
from polefem.maps import FluxMap
from polefem.solve import Coupled, FactorCache, System, minimise
from polefem.sweep.nodes import doubts, quintic
from polefem.sweep.single import GLANCE, Results, distinct_angles, map_of
from polefem.sweep.teller import Teller

__all__ = ["refined"]

Floats = NDArray[np.float64]

#: How often the steps of a map's angles may be halved.
ADDED = 2
#: Of the doubt for which an angle is added: how far a field's torque may be off what was foretold for the fields at
#: smaller currents to be left out, and from which on the one at the current between two is asked for.
#: Torques so told are off by 2e-4 of the peak at the most and 0.5e-4 in mean square where each in doubt by 5e-4 is
#: looked after (shapes of `studies/pottery_wheel.py`, coarse to fine meshes), for 0.45 to 0.6 of the fields.
CLOSE, BETWEEN = 0.5, 1.0
#: Errors of fields at added angles, in the energy norm, and where a step begins that is the last: torque stays within
#: 5e-5 of its peak.
TOLERANCE, TRUSTED = 1e-4, 3e-4
#: How much torque a co-energy that is not as foretold counts for, in its parts of the step between angles: where the
#: one is right by chance, since it changes its sign there, the other is not.
STEEP = 8.0


def refined(
    whole: BuiltMachine, flux_map: FluxMap, results: Results, most: float, tell: Teller
) -> tuple[FluxMap, Results]:
    """A map and its results with angles added where its torque is in doubt by more than a part `most` of its peak.

    results: with all their fields, between two of which new ones start.
    """
    pitch = whole.machine.rotor_pitch
    errors = flux_map.flux_linkage_error, flux_map.torque_error
    said = [remark for remark in flux_map.remarks if remark.startswith("error estimate")]
    least = most * float(np.abs(flux_map.torque).max())
    for _ in range(ADDED):
        around = flux_map.potential.angles
        at = flux_map.potential.at(around[:-1, None], results.currents)
        doubt = doubts(around, at.coenergy, at.torque).max(axis=1) > least
        middle = (around[:-1] + around[1:])[doubt] / 2
        turns = np.ceil((flux_map.angles[-1] - flux_map.angles[0]) / pitch) + 1
        many = (middle[:, None] + pitch * np.arange(-turns, turns + 1)).ravel()
        inside = many[(many > flux_map.angles[0]) & (many < flux_map.angles[-1])]
        if not inside.size:
            break
        new, _, _ = distinct_angles(inside, pitch, whole.mirror)
        more = Results(new, results.currents, whole.machine.phases.count, keep=True)
        # What one section does is not told by the sum over all.
        told = _foretold(flux_map, results, new, least) if len(whole.sections) == 1 else None
        tell.more(len(whole.sections) * new.size * results.currents.size)
        for system, fields in zip(whole.systems, results.fields, strict=True):
            _solve_added(system, more, _fields_between(results.angles, fields, new), told, tell)
        results = results.joined(more)
        angles = np.unique(np.round(np.concatenate([flux_map.angles, inside]), 12))
        flux_map = map_of(whole, angles, results, errors, said)
    return flux_map, results


@dataclass(frozen=True, eq=False)
class _Foretold:
    """What fields at added angles are thought to give. currents: A. coenergy, torque: shape (n_currents, n_angles).
    linkages: (n_phases,) before it. steps: rad, shape (n_angles,), between the angles to either side. least: torque of
    doubts that matter, N m."""

    currents: Floats
    coenergy: Floats
    torque: Floats
    linkages: Floats
    steps: Floats
    least: float

    def off(self, found: Results, j: int, k: int, above: int | None) -> float:
        """By how much a field's torque and co-energy are not as foretold, in N m: by themselves, or in the light of
        those at a current above."""
        torque, coenergy = self._apart(found, j)
        if above is not None:
            share = (self.currents[k] / self.currents[above]) ** 2
            torque, coenergy = torque - share * torque[above], coenergy - share * coenergy[above]
        return float(max(abs(torque[k]), STEEP / self.steps[j] * abs(coenergy[k])))

    def complete(self, found: Results, j: int, solved: list[int]) -> None:
        """Set what was not solved at an angle, from what was."""
        squares = self.currents**2
        gaps = np.setdiff1d(np.arange(self.currents.size), solved)
        known = self.currents[solved]

        def between(apart: Floats, scale: Floats) -> Floats:
            told: Floats = np.interp(self.currents, known, apart[solved] / scale[solved]) * scale
            return told[gaps]

        torque, coenergy = self._apart(found, j)
        found.torque[gaps, j] = self.torque[gaps, j] + between(torque, squares)
        found.coenergy[gaps, j] = self.coenergy[gaps, j] + between(coenergy, squares)
        for own, table in zip(found.linkages, self.linkages, strict=True):
            own[gaps, j] = table[gaps, j] + between(own[:, j] - table[:, j], self.currents)

    def _apart(self, found: Results, j: int) -> tuple[Floats, Floats]:
        return found.torque[:, j] - self.torque[:, j], found.coenergy[:, j] - self.coenergy[:, j]


def _foretold(flux_map: FluxMap, results: Results, new: Floats, least: float) -> _Foretold:
    """What better pieces than the map's say at new angles, and splines of the phases that rest."""
    potential, currents, pitch = flux_map.potential, results.currents, flux_map.pitch
    around = potential.angles
    inside = around[0] + np.mod(new - around[0], pitch)
    nodes = around[:-1, None]
    at = potential.at(nodes, currents)
    coenergy, torque = quintic(around, at.coenergy, at.torque, inside)
    own, _ = quintic(around, at.flux_linkage, potential.turning(nodes, currents), inside)
    angles, linkages = results.angles, results.linkages
    if not flux_map.mirror:
        angles = np.append(angles, angles[0] + pitch)
        linkages = np.concatenate([linkages, linkages[..., :1]], axis=-1)
    every = CubicSpline(angles, linkages, axis=-1)(new)
    every[0] = own.T
    steps = np.diff(around)[np.searchsorted(around, inside) - 1]
    return _Foretold(currents, coenergy.T, torque.T, every, steps, least)


def _solve_added(
    system: System, results: Results, starts: Floats, told: _Foretold | None, tell: Teller
) -> None:
    """Solve one section at added angles, as far as what it gives was not foretold, and add it to the results.

    starts: near fields at every point, shape (n_angles, n_currents, size).
    """
    cache, every = FactorCache(tolerance=TOLERANCE, trusted=TRUSTED, glance=GLANCE), []
    for j, angle in enumerate(results.angles.tolist()):
        cache.factor = None
        here = _AddedAngle(results, j, system.at(angle), starts[j], cache)
        if told is None:
            for k in reversed(range(len(results.currents))):
                here.solve(k)
        else:
            here.solve_what_was_not(told)
        every.append(here.fields.astype(np.float32))
        for _ in results.currents:
            tell()
    results.fields.append(np.array(every))


class _AddedAngle:
    """One section at one added angle. near: fields at each current that those here start from."""

    def __init__(self, results: Results, j: int, coupled: Coupled, near: Floats, cache: FactorCache) -> None:
        self.results, self.j, self.coupled, self.cache = results, j, coupled, cache
        self.near, self.fields = near, near.copy()
        self.solved: list[int] = []

    def solve(self, k: int) -> None:
        """Solve at current k."""
        load = self.results.currents[k] * self.coupled.system.model.loads[0]
        found = minimise(self.coupled, load, self._start(k), self.cache)
        self.fields[k] = found.unknowns
        self.solved.append(k)
        self.results.add(k, self.j, self.coupled, found)

    def solve_what_was_not(self, told: _Foretold) -> None:
        """Solve from the largest current down as long as fields are not as foretold, and tell the others."""
        k = len(self.results.currents) - 1
        self.solve(k)
        off = told.off(self.results, self.j, k, None)
        while k and off > CLOSE * told.least:
            lower = max(k - 2, 0)
            self.solve(lower)
            off = told.off(self.results, self.j, lower, k)
            if k - lower > 1 and off > BETWEEN * told.least:
                self.solve(k - 1)
            k = lower
        told.complete(self.results, self.j, sorted(self.solved))
        for k in set(range(len(self.results.currents))) - set(self.solved):
            self.fields[k] = self._start(k)

    def _start(self, k: int) -> Floats:
        """A guess at the unknowns at current k, from those near by and what these became at the nearest solved."""
        nearest = sorted(self.solved, key=lambda other: abs(other - k))[:2]
        start: Floats = self.near[k]
        if nearest:
            shares = np.linalg.lstsq(self.near[nearest].T, self.near[k], rcond=None)[0]
            start = start + shares @ (self.fields[nearest] - self.near[nearest])
        return start


def _fields_between(angles: Floats, fields: NDArray[np.float32], new: Floats) -> Floats:
    """Fields at new angles, shape (n_new, n_currents, size), by cubics through those at the four angles around."""
    few = min(4, len(angles))
    first = (np.searchsorted(angles, new) - few // 2).clip(0, len(angles) - few)
    found = np.empty((len(new), *fields.shape[1:]))
    for at, (angle, low) in enumerate(zip(new.tolist(), first.tolist(), strict=True)):
        around = slice(low, low + few)
        # It draws lots for the order of its products: always the same ones, so that results are too.
        found[at] = barycentric_interpolate(angles[around], fields[around], angle, rng=0)
    return found

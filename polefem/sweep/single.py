"""The map of one phase: each point starts from its neighbours in angle and in current."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

import numpy as np
from numpy.typing import ArrayLike, NDArray

from polefem.field import BuiltMachine, built, transferred
from polefem.maps import FluxMap
from polefem.params import Machine, MeshSpec
from polefem.params.checks import increasing, positive
from polefem.solve import Coupled, FactorCache, Solution, System, minimise
from polefem.sweep.teller import Teller

__all__ = [
    "Results",
    "Watch",
    "checked_lists",
    "distinct_angles",
    "flux_map",
    "map_of",
    "points_of",
    "swept",
]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Told of each solution: which section, current and angle (of the distinct ones), the system there, and its factor.
Watch = Callable[[int, int, int, Coupled, Solution, FactorCache], None]

#: At how many of a map's angles its errors are estimated.
SAMPLE_ANGLES = 8
COVER_FLUX_LINKAGE = 1.2
COVER_TORQUE = 1.7
GLANCE = 4  # products from near fields after which a kept factor that has hardly served is given up
SAME = 1e-11  # rad: angles nearer than this are one, as they are after a pitch is taken off what was rounded


def flux_map(
    machine: Machine | BuiltMachine,
    angles: ArrayLike,
    currents: ArrayLike,
    mesh: MeshSpec | str | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> FluxMap:
    """Flux linkage, torque and co-energy of one phase over angles and currents, from nonlinear field solutions.

    angles: shape (n_angles,), rad, increasing; 0 is aligned. currents: shape (n_currents,), A, increasing, all
    above 0. mesh: as `built` takes it. progress: called with the points done and the points in all.

    Raises InvalidValue for lists that do not increase and currents that do not flow, GeometryRefused for a machine
    that cannot be built, MeshFailed where the mesher gives up. A point that did not converge is marked in
    `converged` and named in `remarks`. The estimated errors of flux linkage and torque come from a few of the points
    solved again on a coarser mesh.
    """
    angles, currents = checked_lists(angles, currents)
    whole = built(machine, mesh)
    tell = Teller(progress, points_of(whole, angles, currents))
    return swept(whole, whole.rough, angles, currents, tell)[0]


def checked_lists(angles: ArrayLike, currents: ArrayLike) -> tuple[Floats, Floats]:
    """Angles and currents of a map, or the refusal of lists that do not increase and currents that do not flow."""
    angles = increasing("the angles of a map must increase", "angles", angles, "rad")
    currents = increasing("the currents of a map must increase", "currents", currents, "A")
    positive("the currents of a map must flow", "currents[0]", float(currents[0]), "A")
    return angles, currents


def points_of(whole: BuiltMachine, angles: Floats, currents: Floats) -> int:
    """How many points a map needs, all sections counted."""
    distinct = distinct_angles(angles, whole.machine.rotor_pitch, whole.mirror)[0]
    return len(whole.sections) * len(distinct) * len(currents)


def swept(
    whole: BuiltMachine,
    rough: BuiltMachine | None,
    angles: Floats,
    currents: Floats,
    tell: Teller,
    watch: Watch | None = None,
    starts: Sequence[Floats] | None = None,
    keep: bool = False,
) -> tuple[FluxMap, Results]:
    """The map of phase 0, and the results at its distinct points, which know the flux linkages of the other phases.

    rough: the machine on the coarser mesh that errors are estimated by; None where they are not. starts: of each
    section, shape (n_distinct_angles, n_currents, size), near fields where some are known.
    keep: whether the results keep all fields, for angles to be added.
    """
    distinct = distinct_angles(angles, whole.machine.rotor_pitch, whole.mirror)[0]
    results = Results(distinct, currents, whole.machine.phases.count, keep)
    fields = [
        _sweep(
            system,
            results,
            tell,
            _sample(results),
            None if starts is None else starts[at],
            None if watch is None else partial(watch, at),
        )
        for at, system in enumerate(whole.systems)
    ]
    remarks: list[str] = []
    errors: tuple[float | None, float | None] = None, None
    if rough is not None:
        again = _solved_again(whole, rough, results, fields)
        errors = _errors(results, again)
        lost = _lost(again.angles, again.currents, again.converged)
        remarks += [f"error estimate: {said}" for said in lost]
    return map_of(whole, angles, results, errors, remarks), results


def map_of(
    whole: BuiltMachine,
    angles: Floats,
    results: Results,
    errors: tuple[float | None, float | None],
    remarks: Sequence[str],
) -> FluxMap:
    """The map at angles whose distinct ones are those of the results."""
    _, where, signs = distinct_angles(angles, whole.machine.rotor_pitch, whole.mirror)
    converged = results.converged[:, where]
    return FluxMap(
        angles,
        results.currents,
        results.flux_linkage[:, where],
        results.torque[:, where] * signs,
        results.coenergy[:, where],
        phases=whole.machine.phases.count,
        rotor_poles=whole.machine.rotor_poles,
        mirror=whole.mirror,
        iterations=results.steps[:, where],
        converged=converged,
        flux_linkage_error=errors[0],
        torque_error=errors[1],
        remarks=(*_lost(angles, results.currents, converged), *remarks),
    )


def distinct_angles(angles: Floats, pitch: float, mirror: bool) -> tuple[Floats, Ints, Floats]:
    """The angles that need a solution: those asked for, less what the rotor pitch and the mirror repeat.

    Returns the distinct angles in [-pitch / 2, pitch / 2] (mirrored: [0, pitch / 2]), which of them each angle asked
    for is, and the sign of its torque.
    """
    folded = (angles + pitch / 2) % pitch - pitch / 2
    folded[np.abs(np.abs(folded) - pitch / 2) < SAME] = -pitch / 2  # same to either side, rounded off or not
    signs = np.ones(len(angles))
    if mirror:
        signs = np.where(folded < 0, -1.0, 1.0)
        folded = np.abs(folded)
    order = np.argsort(folded)
    first = np.append(True, np.diff(folded[order]) > SAME)
    where = np.empty(len(angles), dtype=np.int64)
    where[order] = np.cumsum(first) - 1
    return np.round(folded[order][first], 12), where, signs


class Results:
    """What the sweep adds up at every point: arrays of shape (n_currents, n_angles), linkages (n_phases,) before it.

    keep: whether fields stay too, of each section, shape (n_angles, n_currents, size), to start others from.
    """

    def __init__(self, angles: Floats, currents: Floats, phases: int, keep: bool = False) -> None:
        self.angles, self.currents, self.keep = angles, currents, keep
        self.fields: list[NDArray[np.float32]] = []
        shape = (len(currents), len(angles))
        self.linkages = np.zeros((phases, *shape))
        self.torque, self.coenergy = np.zeros(shape), np.zeros(shape)
        self.steps = np.zeros(shape, dtype=np.int64)
        self.converged = np.ones(shape, dtype=bool)

    def add(self, k: int, j: int, coupled: Coupled, found: Solution) -> None:
        """What a field of one section gives at a current and an angle."""
        model = coupled.system.model
        self.linkages[:, k, j] += model.scale * (model.loads @ found.unknowns)
        self.torque[k, j] += coupled.torque(found.unknowns)
        self.coenergy[k, j] += model.scale * (found.work - found.energy)
        self.steps[k, j] += found.steps
        self.converged[k, j] &= found.converged

    def joined(self, other: Results) -> Results:
        """Both, of the same currents, at the angles of either."""
        angles = np.concatenate([self.angles, other.angles])
        order = np.argsort(angles)
        both = Results(angles[order], self.currents, len(self.linkages), self.keep)
        both.fields = [np.concatenate(pair)[order] for pair in zip(self.fields, other.fields, strict=True)]
        for name in ("linkages", "torque", "coenergy", "steps", "converged"):
            table = np.concatenate([getattr(self, name), getattr(other, name)], axis=-1)
            setattr(both, name, table[..., order])
        return both

    @property
    def flux_linkage(self) -> Floats:
        """Of the phase that carries the current."""
        own: Floats = self.linkages[0]
        return own


def _lost(angles: Floats, currents: Floats, converged: NDArray[np.bool_]) -> list[str]:
    """A sentence for each point that did not converge."""
    return [
        f"no convergence at {np.degrees(angles[j]):.4g} deg and {currents[k]:.4g} A"
        for k, j in zip(*np.nonzero(~converged), strict=True)
    ]


def _sweep(
    system: System,
    results: Results,
    tell: Teller,
    sample: tuple[Ints, Ints] | None = None,
    starts: Floats | None = None,
    seen: Callable[[int, int, Coupled, Solution, FactorCache], None] | None = None,
) -> Floats:
    """Solve one section at every point and add what it gives to the results.

    starts: near fields at every point, shape (n_angles, n_currents, size); without, those at the last angle serve.
    Returns the fields at a sample of angles and currents, shape (n_sample_angles, n_sample_currents, size).

    Currents are taken from the largest down: a factor made for saturated iron serves less saturated iron well (a few
    products of conjugate gradients), and not the other way round (a hundred).
    """
    load, currents = system.model.loads[0], results.currents
    last, cache = None, FactorCache(glance=0 if starts is None else GLANCE)
    kept, every = [], []
    for j, angle in enumerate(results.angles.tolist()):
        coupled, cache.factor = system.at(angle), None
        here = np.zeros((len(currents), system.size))
        for k in reversed(range(len(currents))):
            start = _start(here, last if starts is None else starts[j], currents, k)
            found = minimise(coupled, currents[k] * load, start, cache)
            here[k] = found.unknowns
            if seen is not None:
                seen(k, j, coupled, found, cache)
            results.add(k, j, coupled, found)
            tell()
        last = here
        if results.keep:
            every.append(here.astype(np.float32))
        if sample is not None and j in sample[0]:
            kept.append(here[sample[1]])
    if results.keep:
        results.fields.append(np.array(every))
    return np.array(kept)


def _start(here: Floats, last: Floats | None, currents: Floats, k: int) -> Floats:
    """A guess at the unknowns at current k, from those `here` at larger currents and those at all of a state near by.

    That tells which sum of the fields at the next two larger currents comes closest to this one, and what is left over.
    """
    larger = here[k + 1 : k + 3]
    if last is not None:
        before = last[k + 1 : k + 3]
        shares = np.linalg.lstsq(before.T, last[k], rcond=None)[0]
        start: Floats = last[k] + shares @ (larger - before)
        return start
    if len(larger) < 2:
        return larger[0] if len(larger) else np.zeros_like(here[k])
    share = (currents[k + 1] - currents[k]) / (currents[k + 2] - currents[k + 1])
    secant: Floats = larger[0] - share * (larger[1] - larger[0])
    return secant


# How wrong the map may be --------------------------------------------------------------------------


def _sample(results: Results) -> tuple[Ints, Ints]:
    """At which angles and which currents a map's errors are estimated."""
    angles, currents = len(results.angles), len(results.currents)
    some = np.linspace(0, angles - 1, SAMPLE_ANGLES).round().astype(np.int64)
    return np.unique(some), np.unique([currents // 2, currents - 1])


def _solved_again(
    whole: BuiltMachine, rough: BuiltMachine, results: Results, solved: Sequence[Floats]
) -> Results:
    """The points of the sample, whose fields were `solved`, on the coarser mesh."""
    angles, currents = _sample(results)
    again = Results(results.angles[angles], results.currents[currents], len(results.linkages))
    for system, fine, fields in zip(rough.systems, whole.systems, solved, strict=True):
        points, unknowns = fields.shape[:2], fields.shape[2]
        starts = transferred(fields.reshape(-1, unknowns), fine.model, system.model)
        _sweep(system, again, Teller(None, 0), starts=starts.reshape(*points, system.size))
    return again


def _errors(results: Results, rough: Results) -> tuple[float, float]:
    """Estimated errors of any flux linkage (Wb) and any torque (N m) of the results.

    The largest difference is taken for the error, times what makes it cover nine of ten random machines (a test holds
    it): the torque's error comes and goes as nodes pass nodes, so a few angles do not meet its worst.
    """
    angles, currents = _sample(results)
    at = np.ix_(currents, angles)
    flux_linkage = np.abs(rough.flux_linkage - results.flux_linkage[at]).max()
    torque = np.abs(rough.torque - results.torque[at]).max()
    return COVER_FLUX_LINKAGE * float(flux_linkage), COVER_TORQUE * float(torque)

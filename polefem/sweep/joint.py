"""The sweep that fills a coupled map: one phase alone, then every set of phases that can conduct together.

Only points that no symmetry shows to be another's image are solved (`alike`). At each angle one factorisation is laid
out for all sets; currents go from the largest down; a point starts from the last angle's solution for the same
currents, moved as those at larger currents moved.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from itertools import combinations, product
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from polefem.errors import InvalidValue, refusal
from polefem.field import BuiltMachine, built
from polefem.maps import CoupledMap, Interaction
from polefem.params import Machine, MeshSpec, checks
from polefem.solve import Coupled, FactorCache, System, minimise
from polefem.sweep.alike import Image, Site, alone, orbits
from polefem.sweep.idle import Idle
from polefem.sweep.joint_errors import STATES, THREES, Sampled, with_errors
from polefem.sweep.levels import LEVELS, placed
from polefem.sweep.single import COARSER, Teller, checked_lists, points_of, swept
from polefem.sweep.symmetry import Symmetry, symmetries

__all__ = ["coupled_map"]

Floats = NDArray[np.float64]

#: What a reader of a map of four phases or more must know.
FOUR = "what four phases on at once add to what three of them do is left out"
#: Nodes over a rotor pitch, at least.
NODES = 30
#: Of the fields: a joint torque of a tolerance of 1e-4 is off by 3e-5 of the peak, and costs two thirds of one of 1e-5.
#: Levels are far apart, so a kept factor that does not lead soon is given up sooner.
TOLERANCE = 1e-4
PATIENCE = 12


def coupled_map(
    machine: Machine | BuiltMachine,
    angles: ArrayLike,
    currents: ArrayLike,
    mesh: MeshSpec | str | None = None,
    progress: Callable[[int, int], None] | None = None,
    *,
    joint_currents: ArrayLike | None = None,
    joint_nodes: int = NODES,
) -> CoupledMap:
    """Flux linkages of all phases and torque over angle and phase currents, from nonlinear fields of all phases.

    angles, currents, mesh, progress: as for `flux_map`, for one phase alone. joint_currents: A, increasing, above 0:
    the levels at which phases conduct together; one of them will do where all conduct the same current. Where none are
    given, five to the last current, close where the map of one phase bends. joint_nodes: angles over one rotor pitch at
    which they do, rounded up to whole half strokes.

    Raises what `flux_map` raises, and InvalidValue for a machine whose phases are not one phase turned by strokes.
    """
    angles, currents = checked_lists(angles, currents)
    given = None if joint_currents is None else _checked_levels(currents, joint_currents)
    checks.whole("phases meet at some angles", "joint_nodes", joint_nodes)
    whole = built(machine, mesh)
    rough = built(whole, whole.mesh.coarser(COARSER))
    ways, count = _ways(whole), whole.machine.phases.count
    nodes = joint_nodes + -joint_nodes % (2 * count)
    sets = [on for size in (2, 3) for on in combinations(range(count), size)]
    sites = orbits(sets, nodes, whole.machine.rotor_pitch, ways)
    joint_points = _points(sites, LEVELS if given is None else len(given))
    tell = Teller(progress, points_of(whole, angles, currents) + len(whole.sections) * joint_points)
    single, alone_results = swept(whole, rough, angles, currents, tell)
    joint = _JointResults(sites, whole.machine, nodes, placed(single) if given is None else given)
    for system in whole.systems:
        _sweep_sites(system, joint, tell)
    known = _spread(joint)
    idle = Idle(alone_results, whole.machine, ways)
    resting: dict[tuple[int, ...], Floats] = {
        (phase,): idle.at(phase, joint.angles, joint.levels[2]) for phase in range(count)
    }
    resting |= {on: linkages for on, (_, _, linkages) in known.items()}
    found = CoupledMap(single, remarks=(*_lost(joint), *([FOUR] if count > 3 else [])))
    for size in (2, 3):
        added = [_interaction(found, joint, on, known[on], resting) for on in sets if len(on) == size]
        found = replace(found, interactions=(*found.interactions, *added))
    return with_errors(found, whole, rough, joint.sampled) if count > 1 else found


def _checked_levels(currents: Floats, given: ArrayLike) -> Floats:
    """Levels of current as given, or their refusal."""
    levels: Floats = checks.increasing(
        "the currents of phases together must increase", "joint_currents", given, "A"
    )
    checks.positive("the currents of phases together must flow", "joint_currents[0]", float(levels[0]), "A")
    if levels[-1] > currents[-1] * (1 + 1e-9):
        found, most = f"{levels[-1]:.6g} A", f"up to {currents[-1]:.6g} A"
        rule = "phases carry no more together than one of them alone"
        raise InvalidValue(refusal(rule, "joint_currents", found, most))
    return levels


def _ways(whole: BuiltMachine) -> tuple[Symmetry, ...]:
    """The symmetries that all cross sections have, or the refusal of phases that are not alike."""
    machine, found = whole.machine, []
    for outline in whole.sections:
        rotor, stator = outline.rotor, outline.stator
        units = stator.poles // stator.unit_poles, rotor.poles // rotor.unit_poles
        found.append(symmetries(machine.phases, *units, outline.mirror))
    ways = tuple(way for way in found[0] if all(way in others for others in found))
    pitch = machine.rotor_pitch
    for phase in range(machine.phases.count):
        way = alone(phase, ways)
        off = None if way is None else (way.shift - phase * machine.stroke) / pitch
        if off is None or abs(off - round(off)) > 1e-6:
            rule = "every phase of a coupled map is phase 0 turned by strokes"
            name = "the coils' polarity, or the poles,"
            allowed = "poles and polarities that repeat from phase to phase"
            raise InvalidValue(refusal(rule, name, f"another for phase {phase}", allowed))
    return ways


class _JointResults:
    """What the sweep of sites adds up: for each solved site arrays of shape (m,) * k, linkages (n_phases,) before that.

    angles: of the nodes, rad, shape (n,). levels: for each number of phases that conduct, the currents, A, shape (m,).
    """

    def __init__(self, sites: dict[Site, list[Image]], machine: Machine, nodes: int, levels: Floats) -> None:
        self.sites, self.phases, self.pitch = sites, machine.phases.count, machine.rotor_pitch
        self.angles: Floats = np.linspace(0.0, self.pitch, nodes, endpoint=False, dtype=np.float64)
        self.levels: dict[int, Floats] = {2: levels, 3: levels[thinned(len(levels))]}
        shapes = {site: (len(self.levels[len(site[0])]),) * len(site[0]) for site in sites}
        self.coenergy = {site: np.zeros(shape) for site, shape in shapes.items()}
        self.torque = {site: np.zeros(shape) for site, shape in shapes.items()}
        self.linkages = {site: np.zeros((self.phases, *shape)) for site, shape in shapes.items()}
        self.lost: list[tuple[Site, tuple[int, ...]]] = []
        self.sampled = [
            Sampled(site[0], float(self.angles[site[1]]), self.pitch / nodes, self.levels[len(site[0])], at)
            for at, site in enumerate(_spread_sites(sites))
        ]

    def keep(self, site: Site, fields: Floats) -> None:
        """Hand the fields of a site to whoever estimates errors beside it."""
        for one in self.sampled:
            if (one.phases, one.angle) == (site[0], float(self.angles[site[1]])):
                one.keep(fields)


def _points(sites: Iterable[Site], levels: int) -> int:
    """How many points of one section the sites need."""
    most = {2: levels, 3: len(thinned(levels))}
    return sum(most[len(phases)] ** len(phases) for phases, _ in sites)


def _spread_sites(sites: Iterable[Site]) -> list[Site]:
    """Sites of two phases, and of three, spread evenly over all of them: errors are estimated beside these."""
    found: list[Site] = []
    for size, count in ((2, STATES), (3, THREES)):
        some = [site for site in sites if len(site[0]) == size]
        if some:
            at = np.unique(np.linspace(0, len(some) - 1, count).round().astype(np.int64))
            found += [some[k] for k in at.tolist()]
    return found


def thinned(levels: int) -> list[int]:
    """Which levels of current are kept where three phases conduct: the last, and one in the middle."""
    return sorted({(levels - 1) // 2, levels - 1})


def _sweep_sites(system: System, joint: _JointResults, tell: Teller) -> None:
    """Solve one section at every site and all currents, and add what it gives to the results."""
    last: dict[tuple[int, ...], Floats] = {}
    cache = FactorCache(tolerance=TOLERANCE, patience=PATIENCE)
    at_node: dict[int, list[tuple[int, ...]]] = {}
    for phases, node in joint.sites:
        at_node.setdefault(node, []).append(phases)
    for node in sorted(at_node):
        coupled, cache.factor = system.at(float(joint.angles[node])), None
        for phases in at_node[node]:
            levels = joint.levels[len(phases)]
            here = _sweep_site(coupled, joint, (phases, node), levels, last.get(phases), cache)
            last[phases] = here
            joint.keep((phases, node), here)
            for _ in range(len(levels) ** len(phases)):
                tell()


def _sweep_site(
    coupled: Coupled,
    joint: _JointResults,
    site: Site,
    levels: Floats,
    last: Floats | None,
    cache: FactorCache,
) -> Floats:
    """Solve one section at one site; return its fields, shape (n_levels,) * k + (size,).

    last: such fields of the same phases at the angle before, where there was one.
    """
    model, phases = coupled.system.model, site[0]
    here = np.zeros((len(levels),) * len(phases) + (model.size,))
    for at in product(reversed(range(len(levels))), repeat=len(phases)):
        load = levels[list(at)] @ model.loads[list(phases)]
        found = minimise(coupled, load, _start(here, last, at), cache)
        here[at] = found.unknowns
        joint.coenergy[site][at] += model.scale * (found.work - found.energy)
        joint.torque[site][at] += coupled.torque(found.unknowns)
        np.moveaxis(joint.linkages[site], 0, -1)[at] += model.scale * (model.loads @ found.unknowns)
        if not found.converged:
            joint.lost.append((site, at))
    return here


def _start(here: Floats, last: Floats | None, at: tuple[int, ...]) -> Floats:
    """A guess at the unknowns at some levels of current, from those `here` at larger ones and the `last` angle's.

    The last angle tells which sum of the fields at neighbouring larger currents comes closest to this one, and what is
    left over. (To draw on over the last two angles costs a fifth more steps: iron at the corners saturates by turns.)
    """
    most = here.shape[0] - 1
    steps = [step for step in product((0, 1), repeat=len(at)) if any(step)]
    larger = [tuple(np.add(at, step)) for step in steps if max(np.add(at, step)) <= most]
    if last is None:
        near: Floats = here[larger[0]] if larger else here[at]
        return near
    if not larger:
        same: Floats = last[at]
        return same
    before, now = np.array([last[one] for one in larger]), np.array([here[one] for one in larger])
    shares = np.linalg.lstsq(before @ before.T, before @ last[at], rcond=1e-10)[0]
    start: Floats = last[at] + shares @ (now - before)
    return start


def _spread(joint: _JointResults) -> dict[tuple[int, ...], tuple[Floats, Floats, Floats]]:
    """Co-energy and torque, shape (n,) + (m,) * k, and flux linkages, (n_phases, n) + (m,) * k, of every set at every
    node, from the solved sites."""
    nodes = len(joint.angles)
    found: dict[tuple[int, ...], tuple[Floats, Floats, Floats]] = {}
    for site, images in joint.sites.items():
        shape = joint.torque[site].shape
        for image in images:
            if image.phases not in found:
                found[image.phases] = (
                    np.empty((nodes, *shape)),
                    np.empty((nodes, *shape)),
                    np.empty((joint.phases, nodes, *shape)),
                )
            coenergy, torque, linkages = found[image.phases]
            coenergy[image.node] = joint.coenergy[site].transpose(image.order)
            turned = image.turned(joint.torque[site], joint.linkages[site], site[0])
            torque[image.node], linkages[:, image.node] = turned
    return found


def _interaction(
    lower: CoupledMap,
    joint: _JointResults,
    phases: tuple[int, ...],
    found: tuple[Floats, Floats, Floats],
    resting: dict[tuple[int, ...], Floats],
) -> Interaction:
    """What a set of phases adds to what all smaller sets do, the map `lower`.

    resting: flux linkages of all phases, (n_phases, n) + (m,) * k, with the phases named conducting. Where all of the
    set but one conduct, the flux linkage of that one tells how its correction begins.
    """
    k, nodes = len(phases), len(joint.angles)
    currents: Floats = np.concatenate([[0.0], joint.levels[k]])
    shape = (nodes, *[len(currents)] * k)
    value, gradient = np.zeros(shape), np.zeros((1 + k, *shape))
    inner: tuple[Any, ...] = (slice(None), *[slice(1, None)] * k)
    whole = np.zeros((*shape, joint.phases))
    for axis, phase in enumerate(phases):
        whole[..., phase] = currents.reshape([-1 if at == axis else 1 for at in range(k)])
    below = lower.at(joint.angles.reshape(-1, *[1] * k), whole)
    value[inner] = found[0] - below.coenergy[inner]
    gradient[0][inner] = found[1] - below.torque[inner]
    for axis, phase in enumerate(phases):
        gradient[1 + axis][inner] = found[2][phase] - below.flux_linkages[inner][..., phase]
        others = (*phases[:axis], *phases[axis + 1 :])
        known: Floats = resting[others][phase]
        if k == 3:
            some = thinned(len(joint.levels[2]))
            known = known[np.ix_(range(nodes), some, some)]
        face = tuple(0 if at == 1 + axis else part for at, part in enumerate(inner))
        gradient[1 + axis][face] = known - below.flux_linkages[face][..., phase]
    angles = np.append(joint.angles, joint.pitch)
    found_here = Interaction.through(phases, angles, currents, value, gradient[0], gradient[1:])
    return found_here if k == 2 else _refined(lower, joint, found_here, resting)


def _refined(
    lower: CoupledMap, joint: _JointResults, coarse: Interaction, resting: dict[tuple[int, ...], Floats]
) -> Interaction:
    """What three phases add, from few levels of current to all those of two phases.

    What a resting phase links while the two others conduct is known at all of them, and bends too much for a few.
    """
    currents, k = np.append(0.0, joint.levels[2]), len(coarse.phases)
    angle, inner = joint.angles.reshape(-1, *[1] * k), (slice(None), *[slice(1, None)] * k)
    rows = np.stack(np.meshgrid(*[currents] * k, indexing="ij"), axis=-1)[None]
    rows = np.repeat(rows, len(joint.angles), axis=0)
    found = coarse.at(np.broadcast_to(angle, rows.shape[:-1]), rows)
    every = np.zeros((*rows.shape[:-1], joint.phases))
    every[..., list(coarse.phases)] = rows
    below = lower.at(angle, every)
    linkages = np.moveaxis(found.flux_linkages, -1, 0).copy()
    for axis, phase in enumerate(coarse.phases):
        others = tuple(other for other in coarse.phases if other != phase)
        face = tuple(0 if at == 1 + axis else part for at, part in enumerate(inner))
        linkages[axis][face] = resting[others][phase] - below.flux_linkages[face][..., phase]
    return Interaction.through(coarse.phases, coarse.angles, currents, found.coenergy, found.torque, linkages)


def _lost(joint: _JointResults) -> list[str]:
    """A sentence for each point that did not converge."""
    return [
        f"no convergence at {np.degrees(joint.angles[node]):.4g} deg with "
        + " and ".join(
            f"{joint.levels[len(on)][k]:.4g} A in phase {phase}" for phase, k in zip(on, at, strict=True)
        )
        for (on, node), at in joint.lost
    ]

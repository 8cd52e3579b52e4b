"""The sweep that fills a coupled map: one phase alone, then every set of phases that can conduct together.

Only points that no symmetry shows to be another's image are solved (`alike`). At each angle one factorisation is laid
out for all sets; at a few levels of current, from the largest down, a point starts from the fields of each phase alone
(`starts`) and what was added to them for the same currents at angles near by, moved as that at larger currents moved;
the other levels are sums of these fields (`solve.Span`). Angles are added where the pieces are in doubt (`nodes`).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from polefem.errors import InvalidValue, refusal
from polefem.field import BuiltMachine, built
from polefem.maps import CoupledMap, FluxMap, Interaction
from polefem.params import Machine, MeshSpec, RectangularCurrent, Symmetry, checks, symmetries
from polefem.sweep.alike import Site, alone, orbits
from polefem.sweep.correction import of_pair, of_three, thinned
from polefem.sweep.idle import Idle
from polefem.sweep.joint_errors import with_errors
from polefem.sweep.levels import placed
from polefem.sweep.nodes import doubts
from polefem.sweep.points import SiteWatch, solve_sites
from polefem.sweep.refining import refined
from polefem.sweep.single import Results, checked_lists, points_of, swept
from polefem.sweep.sites import At, Known, Sites
from polefem.sweep.starts import Superposed
from polefem.sweep.teller import Teller

__all__ = ["MET", "coupled_map", "met_map"]

Floats = NDArray[np.float64]

#: What a reader of a map of four phases or more must know.
FOUR = "what four phases on at once add to what three of them do is left out"
#: Of more phases than these what they add together is left out.
MOST = 3
#: Nodes over a stroke that phases meet at to begin with, and how often their steps may be halved.
NODES, HALVINGS = 6, 3
#: Levels of current, of the last, at which phases meet on ramps: with one of half the last alone torque there is off
#: by 4 % of its mean (the wheel of `studies/wheel_strong.py`), with these by what the map of one phase is. On shapes of
#: `studies/pottery_wheel.py` it is off by 0.06 to 0.14 % in mean square, with six levels by 0.06 to 0.10 %.
MET = (0.35, 0.7, 1.0)
#: Torque of cubic pieces, of the peak of one phase, by which better pieces may differ before a node is added, and
#: before an angle is added to the map of one phase, where that is cheaper.
DOUBT, SINGLE_DOUBT = 1e-3, 5e-4


def coupled_map(
    machine: Machine | BuiltMachine,
    angles: ArrayLike,
    currents: ArrayLike,
    mesh: MeshSpec | str | None = None,
    progress: Callable[[int, int], None] | None = None,
    *,
    joint_currents: ArrayLike | None = None,
    joint_nodes: int | None = None,
    at_once: int = MOST,
) -> CoupledMap:
    """Flux linkages of all phases and torque over angle and phase currents, from nonlinear fields of all phases.

    angles, currents, mesh, progress: as for `flux_map`, for one phase alone. joint_currents: A, increasing, above 0:
    the levels at which phases conduct together; one of them will do where all conduct the same current. Where none are
    given, eight to the last current, close where the map of one phase bends. joint_nodes: angles over one rotor pitch
    at which they do, rounded up to whole half strokes. Where they are not given, both these and the angles of the map
    of one phase are added to where torque is in doubt. at_once: how many phases conduct at once at most, of which
    three are solved together: a dwell of two strokes or less lets no more than two.

    Raises what `flux_map` raises, and InvalidValue for a machine whose phases are not one phase turned by strokes.
    """
    angles, currents = checked_lists(angles, currents)
    given = None if joint_currents is None else _checked_levels(currents, joint_currents)
    if joint_nodes is not None:
        checks.whole("phases meet at some angles", "joint_nodes", joint_nodes)
    checks.whole("phases that meet conduct at once", "at_once", at_once, 2)
    whole = built(machine, mesh)
    rough = whole.rough
    ways, count = _ways(whole), whole.machine.phases.count
    tell = Teller(progress, points_of(whole, angles, currents))
    single, alone_results = swept(whole, rough, angles, currents, tell, keep=True)
    if joint_nodes is None:
        single, alone_results = refined(whole, single, alone_results, SINGLE_DOUBT, tell)
    levels = placed(single) if given is None else given
    idle, superposed = Idle(alone_results, whole.machine, ways), Superposed(whole, alone_results, ways)
    halvings = HALVINGS if joint_nodes is None else 0
    sites = _sites(whole, ways, levels, joint_nodes or NODES * count, halvings, at_once)
    todo = [site for site in sites.orbits if site[1] % 2**halvings == 0]
    for more in range(halvings + 1):
        tell.more(len(whole.sections) * sites.points(todo))
        for section in range(len(whole.sections)):
            solve_sites(whole.systems[section], section, sites, todo, superposed, tell)
        found, pairs = _paired(CoupledMap(single), sites, idle)
        todo = _doubtful(found, sites) if more < halvings else []
        if not todo:
            break
    found = _with_threes(found, sites, pairs)
    lost = _lost(sites)
    found = replace(found, remarks=(*lost, *([FOUR] if count > 3 else [])), lost=len(lost))
    return with_errors(found, whole, rough, sites, superposed) if count > 1 else found


def met_map(
    whole: BuiltMachine,
    single: FluxMap,
    results: Results,
    drives: Sequence[RectangularCurrent],
    watch: SiteWatch | None = None,
) -> tuple[CoupledMap, Sites]:
    """The map of all phases from that of one, with what pairs add where they meet under some drives, and nowhere else;
    and the sites it comes from.

    single, results: of one sweep. It takes a fraction of the fields of `coupled_map`: nodes lie half as far apart as
    there to begin with, one beyond either end of where a pair meets, at three levels up to the last current. What the
    map says of phases that meet elsewhere is nothing.

    Raises InvalidValue where more than two phases meet.
    """
    machine, levels = whole.machine, single.currents[-1] * np.array(MET)
    longest = max(drive.flow for drive in drives)
    if longest > 2 * machine.stroke * (1 + 1e-9):
        found, most = f"{np.degrees(longest):.4g} deg", f"up to {np.degrees(2 * machine.stroke):.4g} deg"
        rule = "no more than two phases meet where slopes are asked for"
        raise InvalidValue(refusal(rule, "dwell and ramp", found, most))
    ways = _ways(whole)
    idle, superposed = Idle(results, machine, ways), Superposed(whole, results, ways)
    sites = _sites(whole, ways, levels, NODES * machine.phases.count, 1, 2)
    todo = [
        site
        for site, images in sites.orbits.items()
        if any(
            _meets(machine, drive, image.phases, sites.angle(image.node), sites.angle(1))
            for image in images
            for drive in drives
        )
    ]
    for section in range(len(whole.sections)):
        solve_sites(whole.systems[section], section, sites, todo, superposed, Teller(None, 0), watch)
    met, lost = _paired(CoupledMap(single), sites, idle)[0], _lost(sites)
    errors = single.flux_linkage_error, single.torque_error
    said = replace(
        met, flux_linkage_error=errors[0], torque_error=errors[1], remarks=tuple(lost), lost=len(lost)
    )
    return said, sites


def _meets(
    machine: Machine, drive: RectangularCurrent, phases: tuple[int, ...], angle: float, margin: float
) -> bool:
    """Whether two phases carry current together within a margin (rad) of an angle (rad)."""
    lag = (phases[1] - phases[0]) * machine.stroke % machine.rotor_pitch
    if drive.flow <= min(lag, machine.rotor_pitch - lag) * (1 + 1e-9):
        return False
    since = [(angle + margin - p * machine.stroke - drive.turn_on) % machine.rotor_pitch for p in phases]
    return max(since) < drive.flow + 2 * margin


def _sites(
    whole: BuiltMachine, ways: tuple[Symmetry, ...], levels: Floats, nodes: int, halvings: int, at_once: int
) -> Sites:
    """All sites that there may be, none of them solved yet."""
    machine = whole.machine
    count = machine.phases.count
    ring = (nodes + -nodes % (2 * count)) * 2**halvings
    sets = [on for size in range(2, min(at_once, MOST) + 1) for on in combinations(range(count), size)]
    three = levels[thinned(levels)]
    return Sites(
        orbits(sets, ring, machine.rotor_pitch, ways),
        ring,
        machine.rotor_pitch,
        count,
        {2: levels, 3: three},
        {2: _firm(2, len(levels)), 3: _firm(3, len(three))},
    )


def _firm(phases: int, levels: int) -> list[At]:
    """Of so many levels of so many phases those at which fields are solved on the mesh, the largest first."""
    last = levels - 1
    if not last:
        return [(0,) * phases]
    found = [(last,) * phases]
    if phases == 2 and last > 1:  # two phases also at a level amid
        amid = min(last // 2 + 1, last - 1)
        found += [(last, amid), (amid, last), (amid, amid)] if last > 2 else [(amid, amid)]
    # One phase at the lowest level, then all.
    found += [tuple(0 if phase == low else last for phase in range(phases)) for low in range(phases)]
    return [*found, (0,) * phases]


def _sets(sites: Sites, size: int) -> list[tuple[int, ...]]:
    """All sets of so many phases."""
    return sorted(
        {image.phases for images in sites.orbits.values() for image in images if len(image.phases) == size}
    )


def _paired(single: CoupledMap, sites: Sites, idle: Idle) -> tuple[CoupledMap, dict[tuple[int, ...], Known]]:
    """The map with what every two phases add, as far as sites are solved, and what is known of these."""
    pairs = {on: sites.known(on) for on in _sets(sites, 2) if sites.solved(on)}
    added = [of_pair(single.single, idle, on, known, sites.levels[2]) for on, known in pairs.items()]
    return replace(single, interactions=tuple(added)), pairs


def _with_threes(both: CoupledMap, sites: Sites, pairs: dict[tuple[int, ...], Known]) -> CoupledMap:
    """The map with what every three phases add to what two of them do."""
    added: list[Interaction] = [
        of_three(both, on, sites.known(on), pairs.__getitem__, sites.levels) for on in _sets(sites, 3)
    ]
    return replace(both, interactions=(*both.interactions, *added))


def _doubtful(found: CoupledMap, sites: Sites) -> list[Site]:
    """The sites amid pieces of pairs whose torque is in doubt, images left out.

    It is asked of the levels that are solved on the mesh: sums of fields are off by more than pieces may be.
    """
    most = DOUBT * float(np.abs(found.single.torque).max())
    asked: dict[Site, None] = {}
    for part in found.interactions:
        firm = (slice(None), *np.transpose(sites.firm[2]))
        value, turned = (part.nodes[order, 0, 0][:, 1:, 1:][firm] for order in (0, 1))
        nodes = sites.solved(part.phases)
        for at in np.flatnonzero((doubts(part.angles, value, turned) > most).any(axis=1)).tolist():
            first, last = nodes[at], nodes[at + 1] if at + 1 < len(nodes) else nodes[0] + sites.nodes
            if last - first > 1:
                asked[sites.image(part.phases, (first + last) // 2 % sites.nodes)[0]] = None
    return list(asked)


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
    """The machine's symmetries, or the refusal of phases that are not alike."""
    machine = whole.machine
    ways, pitch = symmetries(machine.phases, whole.turnings), machine.rotor_pitch
    for phase in range(machine.phases.count):
        way = alone(phase, ways)
        off = None if way is None else (way.shift - phase * machine.stroke) / pitch
        if off is None or abs(off - round(off)) > 1e-6:
            rule = "every phase of a coupled map is phase 0 turned by strokes"
            name = "the coils' polarity, or the poles,"
            allowed = "poles and polarities that repeat from phase to phase"
            raise InvalidValue(refusal(rule, name, f"another for phase {phase}", allowed))
    return ways


def _lost(sites: Sites) -> list[str]:
    """A sentence for each point that did not converge."""
    return [
        f"no convergence at {np.degrees(sites.angle(node)):.4g} deg with "
        + " and ".join(
            f"{sites.levels[len(on)][k]:.4g} A in phase {phase}" for phase, k in zip(on, at, strict=True)
        )
        for (on, node), at in sites.lost
    ]

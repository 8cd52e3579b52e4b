"""The states of the joint sweep: at each site all levels of current, the largest first, and what is read off each."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import product

import numpy as np
from numpy.typing import NDArray

from polefem.solve import Coupled, FactorCache, System, minimise
from polefem.sweep.alike import Site
from polefem.sweep.fill import Filler, shares
from polefem.sweep.sites import At, Sites, Todo, Told, Values
from polefem.sweep.starts import Superposed
from polefem.sweep.teller import Teller

__all__ = ["SiteWatch", "solve_sites"]

Floats = NDArray[np.float64]

#: Told of each solution: which section, site and levels, the system there, its unknowns, the currents of all phases (A)
#: and the factor.
SiteWatch = Callable[[int, Site, tuple[int, ...], Coupled, Floats, Floats, FactorCache], None]

#: Of the fields of so many phases, and where a step begins that is the last: what it leaves over tells in no digit of
#: a map. Half of it for two costs a twentieth more, and maps then come no nearer to fields between their nodes; three
#: meet at few levels of current, between which their map is off by far more.
ERRORS = {2: (2e-4, 2e-3), 3: (1e-3, 1e-2)}
#: Levels are far apart, so a kept factor that does not lead soon is given up sooner.
PATIENCE, GLANCE, WORN = 12, 4, 100
#: States of two phases have small loads to answer beside, so that one factor of their own, made once their error is
#: below this, pays for itself.
NEAR = 0.4


def solve_sites(
    system: System,
    section: int,
    sites: Sites,
    todo: Todo,
    filler: Filler,
    superposed: Superposed,
    tell: Teller,
    watch: SiteWatch | None = None,
) -> None:
    """Solve one section at sites, and add what it gives to their values. filler: of levels that need no fields.
    superposed: fields of phases alone, what is added to which changes little from node to node."""
    cache = FactorCache(patience=PATIENCE, worn=WORN, glance=GLANCE)
    for node in sorted({node for _, node in todo}):
        coupled, cache.factor = system.at(sites.angle(node)), None
        for site in [site for site in todo if site[1] == node]:
            here = _Here(coupled, section, sites, site, superposed, cache, tell, watch)
            cache.tolerance, cache.trusted = ERRORS[len(site[0])]
            cache.near = NEAR if here.answered else 0.0
            here.solve(filler, todo[site])


class _Here:
    """One section at one site."""

    def __init__(
        self,
        coupled: Coupled,
        section: int,
        sites: Sites,
        site: Site,
        superposed: Superposed,
        cache: FactorCache,
        tell: Teller,
        watch: SiteWatch | None,
    ) -> None:
        self.watch = watch
        self.coupled, self.sites, self.site, self.cache, self.tell = coupled, sites, site, cache, tell
        self.superposed = superposed
        self.phases, self.section = site[0], section
        k = len(self.phases)
        self.levels, self.coarse = sites.levels[k], sites.coarse[k]
        # How pieces between levels bend is asked for two phases alone.
        self.answered = k == 2 and len(self.levels) > 1
        self.values = Values.nought(sites.phases, len(self.levels), k)
        self.loads: Floats = coupled.system.model.loads

    def solve(self, filler: Filler, told: Told | None) -> None:
        """All levels that are asked: the coarse ones, then the others; what is found goes to the sites.

        told: at a node between others; else every coarse level is asked, and of the others those that cannot be told
        from these."""
        k, size, kept = len(self.phases), self.coupled.system.size, self.sites.values
        few = self.levels[self.coarse]
        grid = list(product(reversed(range(len(few))), repeat=k))
        last, alone = self.sites.grid(self.section, self.site), self._alone([few] * k)
        added, answers = np.zeros((len(few),) * k + (size,)), np.zeros((k, *(len(few),) * k, size))
        for at in grid:
            full = tuple(self.coarse[one] for one in at)
            if told is not None and not told.asked[full]:
                added[at] = 0.0 if last is None else last[at]
                continue
            found, answered = self._point(full, alone[at] + _added(added, last, at), alone[at])
            added[at] = found - alone[at]
            for axis, answer in enumerate(answered):
                answers[(axis, *at)] = answer
        for full in self._others(filler, told):
            own = self._alone([self.levels[[one]] for one in full]).reshape(size)
            near = None if told is None else self.sites.near(self.section, self.site, full)
            start = (
                _filled(few, self.levels[list(full)], alone + added, answers) if near is None else own + near
            )
            self._point(full, start, own)
        kept[self.site] = kept[self.site].plus(self.values) if self.site in kept else self.values

    def _alone(self, currents: list[Floats]) -> Floats:
        """Fields of each phase alone, added up."""
        return self.superposed.at(self.section, self.coupled.angle, self.phases, currents)

    def _others(self, filler: Filler, told: Told | None) -> list[At]:
        """The levels beside the coarse ones that are asked, the largest first."""
        if told is not None:
            asked = [tuple(at) for at in np.argwhere(told.asked)[::-1].tolist()]
            return [at for at in asked if not set(at) <= set(self.coarse)]
        if len(self.phases) != 2 or len(self.coarse) == len(self.levels):
            return []
        more = filler.fill(self.phases, self.coupled.angle, self.values)
        self.tell.more(len(more))
        return more

    def _point(self, at: At, start: Floats, alone: Floats) -> tuple[Floats, Sequence[Floats]]:
        """Solve at some levels and add what is found; return the unknowns, and how they answer the load of either of
        two phases. alone: the fields of each phase alone, added up."""
        coupled, values, phases = self.coupled, self.values, list(self.phases)
        model = coupled.system.model
        rights = list(self.loads[phases]) if self.answered else []
        found = minimise(coupled, self.levels[list(at)] @ self.loads[phases], start, self.cache, rights)
        values.coenergy[at] = model.scale * (found.work - found.energy)
        values.torque[at] = coupled.torque(found.unknowns)
        np.moveaxis(values.linkages, 0, -1)[at] = model.scale * (self.loads @ found.unknowns)
        self.sites.fields.setdefault((self.section, self.site), {})[at] = (found.unknowns - alone).astype(
            np.float32
        )
        if not found.converged:
            self.sites.lost.append((self.site, at))
        self.tell()
        if self.watch is not None:
            currents = np.zeros(len(self.loads))
            currents[phases] = self.levels[list(at)]
            self.watch(self.section, self.site, at, coupled, found.unknowns, currents, self.cache)
        turned = coupled.turned(found.unknowns)
        for axis, answer in enumerate(found.answers):
            np.moveaxis(values.bends[axis], 0, -1)[at] = model.scale * (self.loads @ answer)
            values.turning[(axis, *at)] = -model.scale * float(answer @ turned)
        return found.unknowns, found.answers


def _filled(few: Floats, currents: Floats, here: Floats, answers: Floats) -> Floats:
    """A guess at the unknowns at two currents from those at a few levels and how these answer either load."""
    (first, leaning), (second, bent) = (shares(few, current) for current in currents.tolist())
    start: Floats = np.einsum("i,j,ijx->x", first, second, here)
    start += np.einsum("i,j,ijx->x", leaning, second, answers[0])
    start += np.einsum("i,j,ijx->x", first, bent, answers[1])
    return start


def _added(here: Floats, last: Floats | None, at: At) -> Floats:
    """A guess at what phases together add to the fields of each at some levels of current, from what they add `here` at
    larger ones and added at the `last` angle.

    The last angle tells which sum of what is added at neighbouring larger currents comes closest to this one, and what
    is left over. (To draw on over two angles costs a fifth more steps: iron at the corners saturates by turns.)
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
    shares_ = np.linalg.lstsq(before @ before.T, before @ last[at], rcond=1e-10)[0]
    start: Floats = last[at] + shares_ @ (now - before)
    return start

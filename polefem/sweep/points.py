"""The states of the joint sweep: at each site all levels of current, the largest first, and what is read off each."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from itertools import product

import numpy as np
from numpy.typing import NDArray

from polefem.solve import Coupled, FactorCache, System, minimise
from polefem.sweep.alike import Site
from polefem.sweep.fill import Filler, shares
from polefem.sweep.sites import Sites, Values
from polefem.sweep.teller import Teller

__all__ = ["SiteWatch", "solve_sites"]

Floats = NDArray[np.float64]

#: Told of each solution: which section, site and levels, the system there, its unknowns, the currents of all phases (A)
#: and the factor.
SiteWatch = Callable[[int, Site, tuple[int, ...], Coupled, Floats, Floats, FactorCache], None]

#: Of the fields: a joint torque of a tolerance of 1e-4 is off by 3e-5 of the peak, and costs two thirds of one of 1e-5.
#: Levels are far apart, so a kept factor that does not lead soon is given up sooner.
TOLERANCE = 1e-4
PATIENCE = 12
#: Each state has small loads to answer beside, so that one factor of its own, made once its error is below `NEAR`, pays
#: for itself. What a step that begins below `TRUSTED` leaves over is below the tolerance.
NEAR, TRUSTED, GLANCE, WORN = 0.1, 5e-4, 4, 100


def solve_sites(
    system: System,
    section: int,
    sites: Sites,
    todo: Iterable[Site],
    filler: Filler,
    tell: Teller,
    watch: SiteWatch | None = None,
) -> None:
    """Solve one section at sites, and add what it gives to their values. filler: of levels that need no fields."""
    cache = FactorCache(
        tolerance=TOLERANCE, patience=PATIENCE, worn=WORN, near=NEAR, trusted=TRUSTED, glance=GLANCE
    )
    for node in sorted({node for _, node in todo}):
        coupled, cache.factor = system.at(sites.angle(node)), None
        for site in [site for site in todo if site[1] == node]:
            _Here(coupled, section, sites, site, cache, tell, watch).solve(filler)


class _Here:
    """One section at one site."""

    def __init__(
        self,
        coupled: Coupled,
        section: int,
        sites: Sites,
        site: Site,
        cache: FactorCache,
        tell: Teller,
        watch: SiteWatch | None,
    ) -> None:
        self.watch = watch
        self.coupled, self.sites, self.site, self.cache, self.tell = coupled, sites, site, cache, tell
        self.phases, self.section = site[0], section
        k = len(self.phases)
        self.levels, self.coarse = sites.levels[k], sites.coarse[k]
        self.values = Values.nought(sites.phases, len(self.levels), k)
        self.loads: Floats = coupled.system.model.loads

    def solve(self, filler: Filler) -> None:
        """All levels: the coarse ones, then those that cannot be told from them; what is found goes to the sites."""
        k, size = len(self.phases), self.coupled.system.size
        few = self.levels[self.coarse]
        last = self.sites.near(self.section, self.site)
        here, answers = np.zeros((len(few),) * k + (size,)), np.zeros((k, *(len(few),) * k, size))
        for at in product(reversed(range(len(few))), repeat=k):
            full = tuple(self.coarse[one] for one in at)
            here[at], told = self._point(full, _start(here, last, at))
            for axis, answer in enumerate(told):
                answers[(axis, *at)] = answer
        self.sites.fields[self.section, self.site] = here.astype(np.float32)
        if k == 2 and len(few) < len(self.levels):
            more = filler.fill(self.phases, self.coupled.angle, self.values)
            self.tell.more(len(more))
            for full in more:
                (first, leaning), (second, bent) = (shares(few, float(self.levels[one])) for one in full)
                start = np.einsum("i,j,ijx->x", first, second, here)
                start += np.einsum("i,j,ijx->x", leaning, second, answers[0])
                start += np.einsum("i,j,ijx->x", first, bent, answers[1])
                self._point(full, start)
        kept = self.sites.values
        kept[self.site] = kept[self.site].plus(self.values) if self.site in kept else self.values

    def _point(self, at: tuple[int, ...], start: Floats) -> tuple[Floats, Sequence[Floats]]:
        """Solve at some levels and add what is found; return the unknowns, and how they answer the load of either of
        two phases."""
        coupled, values, phases = self.coupled, self.values, list(self.phases)
        model = coupled.system.model
        rights = list(self.loads[phases]) if len(phases) == 2 and len(self.levels) > 1 else []
        found = minimise(coupled, self.levels[list(at)] @ self.loads[phases], start, self.cache, rights)
        values.coenergy[at] = model.scale * (found.work - found.energy)
        values.torque[at] = coupled.torque(found.unknowns)
        np.moveaxis(values.linkages, 0, -1)[at] = model.scale * (self.loads @ found.unknowns)
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
    shares_ = np.linalg.lstsq(before @ before.T, before @ last[at], rcond=1e-10)[0]
    start: Floats = last[at] + shares_ @ (now - before)
    return start

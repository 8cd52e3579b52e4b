"""The states of the joint sweep: at each site a few levels of current on the mesh, the largest first, and the others as
sums of their fields; and what is read off each."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from itertools import product

import numpy as np
from numpy.typing import NDArray

from polefem.maps.polynomials import CUBIC
from polefem.solve import Coupled, FactorCache, Span, System, minimise
from polefem.sweep.alike import Site
from polefem.sweep.sites import At, Sites, Values, nearest
from polefem.sweep.starts import Superposed
from polefem.sweep.teller import Teller

__all__ = ["SiteWatch", "solve_sites"]

Floats = NDArray[np.float64]

#: Told of each field, all of them then being solved on the mesh: which section, site and levels, the system there, its
#: unknowns, the currents of all phases (A) and the factor.
SiteWatch = Callable[[int, Site, tuple[int, ...], Coupled, Floats, Floats, FactorCache], None]

#: Of the fields of so many phases, and where a step begins that is the last: what it leaves over tells in no digit of
#: a map. Half of it for two costs a twentieth more, and maps then come no nearer to fields between their nodes; three
#: meet at few levels of current, between which their map is off by far more.
ERRORS = {2: (2e-4, 2e-3), 3: (1e-3, 1e-2)}
#: Levels are far apart, so a kept factor that does not lead soon is given up sooner.
PATIENCE, GLANCE, WORN = 12, 4, 100
#: States have small loads to answer beside, so that one factor of their own, made once their error is below this, pays
#: for itself.
NEAR = 0.4
#: What may be missing of a sum of fields, in the energy norm; where more is, the state is solved on the mesh. Of the
#: wheel's sums, saturated twofold, 0.025 is missing at most: with what is found of it, their torque is off by 0.06 % of
#: the peak in mean square, and flux linkages by 0.02 % of the largest.
MISSING = 0.1


def solve_sites(
    system: System,
    section: int,
    sites: Sites,
    todo: Collection[Site],
    superposed: Superposed,
    tell: Teller,
    watch: SiteWatch | None = None,
) -> None:
    """Solve one section at sites, and add what it gives to their values. superposed: fields of phases alone, what is
    added to which changes little from node to node."""
    cache = FactorCache(patience=PATIENCE, worn=WORN, glance=GLANCE)
    for node in sorted({node for _, node in todo}):
        coupled, cache.factor = system.at(sites.angle(node)), None
        for site in [site for site in todo if site[1] == node]:
            here = _Here(coupled, section, sites, site, superposed, cache, tell, watch)
            cache.tolerance, cache.trusted = ERRORS[len(site[0])]
            cache.near = NEAR if here.answered else 0.0
            here.solve()


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
        self.levels = sites.levels[k]
        self.every = list(product(reversed(range(len(self.levels))), repeat=k))
        # Slopes are those of the energy at a field held still, and what a sum misses has an energy of its own.
        self.firm = sites.firm[k] if watch is None else self.every
        # How states answer is asked where others lie between them.
        self.answered = len(self.levels) > 1
        self.values = Values.nought(sites.phases, len(self.levels), k)
        self.loads: Floats = coupled.system.model.loads[list(self.phases)]

    def solve(self) -> None:
        """All levels: those that are solved on the mesh, then the others; what is found goes to the sites."""
        k, size, kept = len(self.phases), self.coupled.system.size, self.sites.values
        alone = self.superposed.at(self.section, self.coupled.angle, self.phases, [self.levels] * k)
        before = {at: self.sites.near(self.section, self.site, at) for at in self.firm}
        added: dict[At, Floats] = {}
        fields: dict[At, tuple[Floats, Sequence[Floats]]] = {}
        for at in self.firm:
            start = alone[at] + _added(added, before, at, size)
            fields[at] = self._point(at, start)
            added[at] = fields[at][0] - alone[at]
        stored = self.sites.fields.setdefault((self.section, self.site), {})
        stored |= {at: field.astype(np.float32) for at, field in added.items()}
        others = [at for at in self.every if at not in fields]
        if others:
            # Rows of the first phase's current that fields lie in come first, so that others lie between.
            others.sort(key=lambda at: -sum(one[0] == at[0] for one in fields))
            self._sums(others, fields)
        kept[self.site] = kept[self.site].plus(self.values) if self.site in kept else self.values

    def _sums(self, others: Sequence[At], fields: dict[At, tuple[Floats, Sequence[Floats]]]) -> None:
        """States at other levels: sums of the fields and of how these answer either load."""
        span = Span(self.coupled, [one for field, answers in fields.values() for one in (field, *answers)])
        known = {
            at: (span.shares(field), np.array([span.shares(answer) for answer in answers]))
            for at, (field, answers) in fields.items()
        }
        # Stiff wherever iron saturates in one of them: a factor of softer iron finds too much missing there.
        states = [self.coupled.state(field) for field, _ in fields.values()]
        factor = self.cache.renew(self.coupled, self.coupled.system.tangent_matrix(*states))
        missed = []
        for at in others:
            start = _between(known, self.levels, at)
            found = span.closest(self.levels[list(at)] @ self.loads, start, self.loads, factor)
            known[at] = found.shares, found.answers
            if found.missing > MISSING:
                missed.append(at)
            else:
                self._read(at, found.unknowns, found.coenergy, found.answers @ span.fields)
        for at in missed:  # last, since the factor serves until another is made
            self._point(at, known[at][0] @ span.fields)

    def _point(self, at: At, start: Floats) -> tuple[Floats, Sequence[Floats]]:
        """Solve at some levels and read off what is found; return the unknowns, and how they answer the load of each
        phase."""
        rights = list(self.loads) if self.answered else []
        found = minimise(self.coupled, self.levels[list(at)] @ self.loads, start, self.cache, rights)
        if not found.converged:
            self.sites.lost.append((self.site, at))
        self._read(at, found.unknowns, found.work - found.energy, found.answers)
        return found.unknowns, found.answers

    def _read(self, at: At, unknowns: Floats, coenergy: float, answers: Sequence[Floats] | Floats) -> None:
        """Put what a state gives among the values. coenergy: per length of the sector, J/m."""
        coupled, values, model = self.coupled, self.values, self.coupled.system.model
        values.coenergy[at] = model.scale * coenergy
        values.torque[at] = coupled.torque(unknowns)
        np.moveaxis(values.linkages, 0, -1)[at] = model.scale * (model.loads @ unknowns)
        turned = coupled.turned(unknowns)
        for axis, answer in enumerate(answers):
            np.moveaxis(values.bends[axis], 0, -1)[at] = model.scale * (model.loads @ answer)
            values.turning[(axis, *at)] = -model.scale * float(answer @ turned)
        self.tell()
        if self.watch is not None:
            currents = np.zeros(len(model.loads))
            currents[list(self.phases)] = self.levels[list(at)]
            self.watch(self.section, self.site, at, coupled, unknowns, currents, self.cache)


def _added(here: dict[At, Floats], before: dict[At, Floats | None], at: At, size: int) -> Floats:
    """A guess at what phases together add to the fields of each at some levels of current, shape (size,), from what
    they add `here` at larger ones and added `before`, at angles near by.

    There it shows which sum of what is added at the nearest larger currents comes closest to this one, and what is left
    over. (To draw on over two angles costs a fifth more steps: iron at the corners saturates by turns.)
    """
    larger = sorted((one for one in here if min(np.subtract(one, at)) >= 0), key=sum)[:2]
    last = before[at]
    if last is None:
        return here[larger[0]] if larger else np.zeros(size)
    told = [(old, here[one]) for one in larger if (old := before[one]) is not None]
    if not told:
        return last
    were, are = np.array([old for old, _ in told]), np.array([new for _, new in told])
    parts = np.linalg.lstsq(were @ were.T, were @ last, rcond=1e-10)[0]
    start: Floats = last + parts @ (are - were)
    return start


def _between(known: dict[At, tuple[Floats, Floats]], levels: Floats, at: At) -> Floats:
    """Shares to start from at some levels: on the cubic between two known ones that differ in one current, those
    closest together, else straight on from the nearest.

    known: shares, shape (k,), and how they answer each current, (n_phases, k).
    """
    pairs = []
    for axis, level in enumerate(at):
        row = [one for one in known if one[:axis] + one[axis + 1 :] == at[:axis] + at[axis + 1 :]]
        below = [one for one in row if one[axis] < level]
        above = [one for one in row if one[axis] > level]
        if below and above:
            pairs.append((axis, max(below), min(above)))
    if not pairs:
        near = nearest(known, levels, levels[list(at)])
        straight: Floats = known[near][0] + (levels[list(at)] - levels[list(near)]) @ known[near][1]
        return straight
    axis, low, high = min(pairs, key=lambda pair: float(levels[pair[2][pair[0]]] - levels[pair[1][pair[0]]]))
    width = levels[high[axis]] - levels[low[axis]]
    u = (levels[at[axis]] - levels[low[axis]]) / width
    ends = [end for one in (low, high) for end in (known[one][0], known[one][1][axis] * width)]
    cubic: Floats = u ** np.arange(4.0) @ CUBIC @ np.array(ends)
    return cubic

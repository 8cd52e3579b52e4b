"""What the joint sweep has solved: sites, their values and fields, and what their images make known of every set."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import product

import numpy as np
from numpy.typing import NDArray

from polefem.sweep.alike import Image, Site

__all__ = ["At", "Known", "Sites", "Todo", "Told", "Values"]

Floats = NDArray[np.float64]
#: Which level of current each phase of a site carries.
At = tuple[int, ...]


NAMES = ("coenergy", "torque", "linkages", "bends", "turning")


@dataclass(eq=False)
class Values:
    """What all sections of a machine do at one site, over the levels of current of its k phases, each (m,) * k.

    coenergy, torque: J, N m. linkages: of all phases, Wb, (n_phases, ...). For two phases also bends: how all flux
    linkages change with the current of either, H, (2, n_phases, ...); turning: how the torque does, Wb/rad, (2, ...).
    """

    coenergy: Floats
    torque: Floats
    linkages: Floats
    bends: Floats
    turning: Floats

    @classmethod
    def nought(cls, phases: int, levels: int, k: int) -> Values:
        """Zeros to be added to."""
        shape = (levels,) * k
        return cls(*(np.zeros((*more, *shape)) for more in ((), (), (phases,), (k, phases), (k,))))

    def plus(self, other: Values) -> Values:
        """Of more sections."""
        return Values(*(getattr(self, name) + getattr(other, name) for name in NAMES))

    def where(self, asked: NDArray[np.bool_], other: Values) -> Values:
        """These at the levels asked, shape (m,) * k, others elsewhere."""
        return Values(*(np.where(asked, getattr(self, name), getattr(other, name)) for name in NAMES))


@dataclass(frozen=True, eq=False)
class Told:
    """What pieces between nodes tell of a site, and the levels, shape (m,) * k, at which they do not tell enough."""

    asked: NDArray[np.bool_]
    values: Values


Todo = Mapping[Site, Told | None]
"""Sites to be solved: at all levels, or at those that pieces do not tell."""


@dataclass(frozen=True, eq=False)
class Known:
    """What is known of one set of phases at its n nodes: as `Values`, the nodes before the levels of current. mutual:
    how the flux linkage of the second of two changes with the current of the first, H.

    nodes: numbers of the ring's nodes, shape (n,). angles: of them and a pitch after the first, rad, shape (n + 1,).
    """

    nodes: NDArray[np.int64]
    angles: Floats
    coenergy: Floats
    torque: Floats
    linkages: Floats
    mutual: Floats
    turning: Floats


@dataclass(eq=False)
class Sites:
    """The sites that were solved, of all that there are.

    orbits: every site that could be solved, with its images. nodes: how many the ring of angles has over the pitch
    (rad). phases: of the machine. levels: currents for each number of phases that conduct, A. coarse: which of these
    are always solved, others where they are needed.
    """

    orbits: dict[Site, list[Image]]
    nodes: int
    pitch: float
    phases: int
    levels: dict[int, Floats]
    coarse: dict[int, list[int]]
    values: dict[Site, Values] = field(default_factory=dict)
    fields: dict[tuple[int, Site], dict[At, NDArray[np.float32]]] = field(default_factory=dict)
    lost: list[tuple[Site, tuple[int, ...]]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._source = {
            (image.phases, image.node): (site, image)
            for site, images in self.orbits.items()
            for image in images
        }

    def angle(self, node: int) -> float:
        """Of a node, rad."""
        return node * self.pitch / self.nodes

    def points(self, todo: Todo) -> int:
        """How many states of one section are sure to be solved."""
        return sum(
            len(self.coarse[len(on)]) ** len(on) if told is None else int(told.asked.sum())
            for (on, _), told in todo.items()
        )

    def complete(self, todo: Todo) -> None:
        """Put what pieces tell of sites where no fields were asked of all sections."""
        for site, told in todo.items():
            if told is not None:
                self.values[site] = self.values[site].where(told.asked, told.values)

    def solved(self, phases: tuple[int, ...]) -> list[int]:
        """The nodes at which a set of phases is known, in rising order."""
        return [node for node in range(self.nodes) if self._source[phases, node][0] in self.values]

    def image(self, phases: tuple[int, ...], node: int) -> tuple[Site, Image]:
        """The site that is solved for a set of phases at a node, and what of it they are."""
        return self._source[phases, node]

    def near(self, section: int, site: Site, at: At) -> Floats | None:
        """What the same phases at the same levels add to the fields of each alone at nodes near by, shape (size,): on
        the nearer side, or the mean where both are as near; None where there is none."""
        phases, node = site
        beside = [
            (min((node - other) % self.nodes, (other - node) % self.nodes), found[at])
            for (within, (own, other)), found in self.fields.items()
            if within == section and own == phases and at in found
        ]
        if not beside:
            return None
        nearest = min(off for off, _ in beside)
        mean: Floats = np.mean([found for off, found in beside if off == nearest], axis=0, dtype=np.float64)
        return mean

    def grid(self, section: int, site: Site) -> Floats | None:
        """As `near` at a site's coarse levels, shape (n_coarse,) * k + (size,); None where there is none of one."""
        k, coarse = len(site[0]), self.coarse[len(site[0])]
        found = [self.near(section, site, at) for at in product(coarse, repeat=k)]
        known = [added for added in found if added is not None]
        return np.array(known).reshape(*(len(coarse),) * k, -1) if len(known) == len(found) else None

    def known(self, phases: tuple[int, ...]) -> Known:
        """What is known of a set of phases, from the sites solved for it."""
        nodes = self.solved(phases)
        columns: list[list[Floats]] = [[] for _ in range(5)]
        for node in nodes:
            site, image = self._source[phases, node]
            own = self.values[site]
            torque, linkages = image.turned(own.torque, own.linkages, site[0])
            order = image.order
            turning = image.way.sense * own.turning[list(order)].transpose(0, *(1 + at for at in order))
            mutual = own.bends[0, site[0][1]].transpose(order)
            found = (own.coenergy.transpose(order), torque, linkages, mutual, turning)
            for column, table in zip(columns, found, strict=True):
                column.append(table)
        coenergy, torque, linkages, mutual, turning = (np.array(column) for column in columns)
        angles = np.array([self.angle(node) for node in [*nodes, nodes[0] + self.nodes]])
        return Known(
            np.array(nodes),
            angles,
            coenergy,
            torque,
            np.moveaxis(linkages, 1, 0),
            mutual,
            np.moveaxis(turning, 1, 0),
        )

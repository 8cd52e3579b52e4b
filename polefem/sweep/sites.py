"""What the joint sweep has solved: sites, their values and fields, and what their images make known of every set."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from polefem.sweep.alike import Image, Site

__all__ = ["At", "Known", "Sites", "Values", "nearest"]

Floats = NDArray[np.float64]
#: Which level of current each phase of a site carries.
At = tuple[int, ...]

NAMES = ("coenergy", "torque", "linkages", "bends", "turning")


@dataclass(eq=False)
class Values:
    """What all sections of a machine do at one site, over the levels of current of its k phases, each (m,) * k.

    coenergy, torque: J, N m. linkages: of all phases, Wb, (n_phases, ...). bends: how all flux linkages change with
    the current of each of the k, H, (k, n_phases, ...); turning: how the torque does, Wb/rad, (k, ...).
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


@dataclass(frozen=True, eq=False)
class Known:
    """What is known of one set of phases at its n nodes: as `Values`, the nodes before the levels of current. mutual:
    how the flux linkage of the second of two changes with the current of the first, H.

    angles: of the nodes and a pitch after the first, rad, shape (n + 1,).
    """

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
    (rad). phases: of the machine. levels: currents for each number of phases that conduct, A. firm: at which of them
    fields are solved on the mesh, the largest first; at others they are sums of these.
    """

    orbits: dict[Site, list[Image]]
    nodes: int
    pitch: float
    phases: int
    levels: dict[int, Floats]
    firm: dict[int, list[At]]
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

    def points(self, todo: Collection[Site]) -> int:
        """How many states of one section are solved at some sites."""
        return sum(len(self.levels[len(on)]) ** len(on) for on, _ in todo)

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
            angles,
            coenergy,
            torque,
            np.moveaxis(linkages, 1, 0),
            mutual,
            np.moveaxis(turning, 1, 0),
        )


def nearest(known: Iterable[At], levels: Floats, currents: Floats) -> At:
    """Whose levels (A) come nearest to the currents of some phases (A), shape (k,), the distances of all added up."""
    return min(known, key=lambda at: float(np.abs(levels[list(at)] - currents).sum()))

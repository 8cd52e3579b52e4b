"""Which points of a machine's joint field are one another's images, so that one of them is solved for all.

A site is a set of phases that conduct and a node of the rotor's angle. Turning or mirroring the machine onto itself
(`Symmetry`) takes sites to sites; where it leaves the relative sign of the currents alone, what is known of one is
known of the other. Nothing is taken as alike that no symmetry shows to be.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polefem.params import Symmetry

__all__ = ["Image", "Site", "alone", "orbits"]

Floats = NDArray[np.float64]

#: Angles closer than this, in parts of a step between nodes, are one.
SAME = 1e-6

Site = tuple[tuple[int, ...], int]
"""A set of phases, in rising order, and the number of a node of the angle."""


@dataclass(frozen=True)
class Image:
    """A site that is the image of a solved one. phases, node: of it. order: which axis of the solved one's currents
    each of its own axes is. way: the symmetry that leads there."""

    phases: tuple[int, ...]
    node: int
    order: tuple[int, ...]
    way: Symmetry

    def turned(self, torque: Floats, linkages: Floats, source: tuple[int, ...]) -> tuple[Floats, Floats]:
        """Torque, shape (m,) * k, and the flux linkages of all phases, (n_phases,) + (m,) * k, of the image, from those
        of the solved site with the phases `source`."""
        moved = np.empty_like(linkages)
        for phase, (onto, sign) in enumerate(zip(self.way.phase, self.way.sign, strict=True)):
            moved[onto] = sign * self.way.sign[source[0]] * linkages[phase].transpose(self.order)
        return self.way.sense * torque.transpose(self.order), moved


def orbits(
    sets: Sequence[tuple[int, ...]], nodes: int, pitch: float, ways: Sequence[Symmetry]
) -> dict[Site, list[Image]]:
    """The sites that must be solved, each with all its images, itself the first.

    sets: of phases, each in rising order. nodes: how many over a rotor pitch (rad), the first at angle 0.
    """
    step = pitch / nodes
    seen: set[Site] = set()
    found: dict[Site, list[Image]] = {}
    for phases in sets:
        useful = [way for way in ways if len({way.sign[phase] for phase in phases}) == 1]
        for node in range(nodes):
            if (phases, node) in seen:
                continue
            images = found[phases, node] = []
            for way in useful:
                place = way.shift / step + way.sense * node
                landing, onto = round(place) % nodes, [way.phase[phase] for phase in phases]
                order = tuple(int(axis) for axis in np.argsort(onto))
                site = (tuple(sorted(onto)), landing)
                if abs(place - round(place)) < SAME and site not in seen:
                    seen.add(site)
                    images.append(Image(site[0], landing, order, way))
    return found


def alone(phase: int, ways: Sequence[Symmetry]) -> Symmetry | None:
    """A way that takes phase 0 to another phase without mirroring; None where there is none."""
    return next((way for way in ways if way.sense == 1 and way.phase[0] == phase), None)

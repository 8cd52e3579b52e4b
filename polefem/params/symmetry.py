"""The ways to turn or mirror a machine onto itself, and what they make of its phases."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from polefem.params.phases import Phases

__all__ = ["Symmetry", "Turning", "symmetries", "turnings"]


@dataclass(frozen=True)
class Turning:
    """A way to turn or mirror a stator onto itself, the rotor standing elsewhere.

    The field at an angle theta is that at shift + sense * theta, turned or mirrored, where what ran round the coil of
    each stator pole then runs round that of pole landing[pole]: co-energy is the same, torque `sense` times as large.

    sense: 1, or -1 where it mirrors about the axis of the first poles. turned: by how many stator poles, after that.
    """

    sense: int
    turned: int
    landing: tuple[int, ...]

    @property
    def shift(self) -> float:
        """The angle that it turns by, rad."""
        return self.turned * 2 * math.pi / len(self.landing)


@dataclass(frozen=True)
class Symmetry(Turning):
    """One that takes whole phases to whole phases, all coils of each with one sign.

    Currents i come to be sign[p] * i[p] in phase phase[p] for every p, and flux linkages go as they do.
    """

    phase: tuple[int, ...]
    sign: tuple[int, ...]


def turnings(poles: int, unit: int, mirror: bool) -> tuple[Turning, ...]:
    """Every way to turn stator poles that repeat unit by unit onto themselves; doing nothing comes first.

    mirror: whether both sides of the gap are mirror images of themselves about the axis of their first pole.

    >>> [way.landing for way in turnings(4, 2, mirror=False)]
    [(0, 1, 2, 3), (2, 3, 0, 1)]
    """
    return tuple(
        Turning(sense, turned, tuple((turned + sense * pole) % poles for pole in range(poles)))
        for sense in ((1, -1) if mirror else (1,))
        for turned in range(0, poles, unit)
    )


def symmetries(phases: Phases, ways: Iterable[Turning]) -> tuple[Symmetry, ...]:
    """Those of the ways by which each phase takes the place of one phase, all its coils with the same sign.

    >>> from polefem.params import phases_of
    >>> [(way.phase, way.sign) for way in symmetries(phases_of(6, 4), turnings(6, 1, mirror=False))[:2]]
    [((0, 1, 2), (1, 1, 1)), ((2, 0, 1), (1, -1, 1))]
    """
    found = []
    for way in ways:
        pairs = list(enumerate(way.landing))
        goes = {(phases.of_pole[pole], phases.of_pole[other]) for pole, other in pairs}
        signs = {
            (phases.of_pole[pole], phases.polarity[pole] * phases.polarity[other]) for pole, other in pairs
        }
        if len(goes) == len(signs) == phases.count:
            onto, signed = (tuple(value for _, value in sorted(every)) for every in (goes, signs))
            found.append(Symmetry(way.sense, way.turned, way.landing, onto, signed))
    return tuple(found)

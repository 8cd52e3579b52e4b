"""The ways to turn or mirror a machine onto itself."""

from __future__ import annotations

import math
from dataclasses import dataclass

from polefem.params import Phases

__all__ = ["Symmetry", "symmetries"]


@dataclass(frozen=True)
class Symmetry:
    """A way to turn or mirror a machine onto itself, its rotor standing elsewhere.

    The field at an angle theta under phase currents i is that at shift + sense * theta with sign[p] * i[p] in phase
    phase[p] for every p, turned or mirrored: co-energy is the same, torque is `sense` times as large, and flux linkages
    go from phase to phase as the currents do.

    shift: rad, from 0 to the angle over which the rotor repeats. sense: 1, or -1 where it mirrors. turned: by how many
    stator poles, after it was mirrored about the axis of the first.
    """

    shift: float
    sense: int
    phase: tuple[int, ...]
    sign: tuple[int, ...]
    turned: int


def symmetries(phases: Phases, stator_units: int, rotor_units: int, mirror: bool) -> tuple[Symmetry, ...]:
    """Every way to turn the stator onto itself so that each phase takes the place of one phase, all its coils with the
    same sign; doing nothing comes first.

    stator_units, rotor_units: over how many equal parts of the turn each side repeats. mirror: whether both sides are
    mirror images of themselves about the axis of their first pole.

    >>> from polefem.params import phases_of
    >>> [(way.phase, way.sign) for way in symmetries(phases_of(6, 4), 6, 4, mirror=False)[:2]]
    [((0, 1, 2), (1, 1, 1)), ((2, 0, 1), (1, -1, 1))]
    """
    poles, repeats = len(phases.of_pole), 2 * math.pi / rotor_units
    found = []
    for sense in (1, -1) if mirror else (1,):
        for turned in range(0, poles, poles // stator_units):
            landing = [(turned + sense * pole) % poles for pole in range(poles)]
            goes = {(phases.of_pole[pole], phases.of_pole[other]) for pole, other in enumerate(landing)}
            signs = {
                (phases.of_pole[pole], phases.polarity[pole] * phases.polarity[other])
                for pole, other in enumerate(landing)
            }
            if len(goes) == len(signs) == phases.count:
                shift = math.fmod(turned * 2 * math.pi / poles, repeats)
                phase, sign = dict(goes), dict(signs)
                own = range(phases.count)
                onto, signed = tuple(phase[p] for p in own), tuple(sign[p] for p in own)
                found.append(Symmetry(shift, sense, onto, signed, turned))
    return tuple(found)

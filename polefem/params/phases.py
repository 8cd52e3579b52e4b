"""Which stator poles belong to which phase, and which way their coils point.

A rotor pole that stands before stator pole k reaches it after turning by the offset of that pole: its angle
modulo the rotor pitch. Poles of one offset see the rotor alike at every angle, so they make one phase. The
offsets are always the multiples of one step, the stroke, with equally many poles at each.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from polefem.errors import GeometryRefused, InvalidValue, refusal
from polefem.params.checks import whole

__all__ = ["Phases", "joined_otherwise", "phases_of", "rejoined"]

#: Phases beyond these need more switches than anyone builds (common practice); six are what 12/10 makes.
MOST_PHASES = 6


@dataclass(frozen=True)
class Phases:
    """The phases of a machine.

    count: how many. of_pole: phase of each stator pole, counter-clockwise from pole 0, which is in phase 0;
    phase p is aligned p strokes after phase 0 in the sense of positive rotation. polarity: 1 where the flux
    of a positive current leaves the pole towards the rotor, -1 where it returns, for each stator pole.
    """

    count: int
    of_pole: tuple[int, ...]
    polarity: tuple[int, ...]

    def poles(self, phase: int) -> tuple[int, ...]:
        """Numbers of the stator poles of one phase."""
        return tuple(pole for pole, own in enumerate(self.of_pole) if own == phase)


def phases_of(stator_poles: int, rotor_poles: int, single_phase: bool = False) -> Phases:
    """Phases and usual polarity of a pole combination.

    Every offset makes a phase, and the poles of a phase alternate in polarity round the machine, the first
    being positive (common practice). single_phase: allow a rig whose poles are all aligned at once, such as
    2/2.

    Raises GeometryRefused for a combination that is no switched reluctance machine: fewer than 2 phases (all
    poles aligned at once: nothing turns it on) or more than 6, or an odd number of poles in a phase (the
    flux of one polarity cannot return through the other).

    >>> phases_of(6, 4)
    Phases(count=3, of_pole=(0, 2, 1, 0, 2, 1), polarity=(1, 1, 1, -1, -1, -1))
    >>> [phases_of(*poles).count for poles in ((8, 6), (12, 8), (6, 8), (6, 10), (10, 8), (12, 10))]
    [4, 3, 3, 3, 5, 6]
    """
    whole("a machine must have stator poles", "stator_poles", stator_poles, 2)
    whole("a machine must have rotor poles", "rotor_poles", rotor_poles, 2)
    each = math.gcd(stator_poles, rotor_poles)
    count = stator_poles // each
    _refuse(stator_poles, rotor_poles, count, each, single_phase)
    of_pole = tuple(pole * (rotor_poles // each) % count for pole in range(stator_poles))
    polarity = tuple(-1 if of_pole[:pole].count(own) % 2 else 1 for pole, own in enumerate(of_pole))
    return Phases(count, of_pole, polarity)


def joined_otherwise(phases: Phases) -> tuple[int, ...]:
    """The polarity of each stator pole with every second phase's coils turned round, counted along the stator.

    It costs no copper and leaves each phase as it is; what changes is the sign with which phases meet in iron that they
    share.

    >>> joined_otherwise(phases_of(6, 4))
    (1, -1, 1, -1, 1, -1)
    >>> joined_otherwise(phases_of(8, 6))
    (1, -1, 1, -1, -1, 1, -1, 1)
    """
    along = list(dict.fromkeys(phases.of_pole))
    turned = {phase: -1 if along.index(phase) % 2 else 1 for phase in along}
    return tuple(turned[phase] * sign for phase, sign in zip(phases.of_pole, phases.polarity, strict=True))


def _refuse(stator_poles: int, rotor_poles: int, count: int, each: int, single_phase: bool) -> None:
    name, found = "stator_poles/rotor_poles", f"{stator_poles}/{rotor_poles}"
    if each % 2:
        raise GeometryRefused(
            refusal(
                "the poles of a phase must pair up, one for flux out and one for flux back",
                name,
                f"{found} ({each} to a phase)",
                "an even number to a phase, as in 6/4, 8/6, 12/8, 6/8 or 6/10",
            )
        )
    if single_phase and count != 1:
        raise GeometryRefused(
            refusal(
                "a single-phase rig must have all its poles aligned at once",
                name,
                f"{found} ({count} phases)",
                "as many rotor poles as stator poles or a multiple, as in 2/2",
            )
        )
    if not single_phase and not 2 <= count <= MOST_PHASES:
        raise GeometryRefused(
            refusal(
                "the stator poles must fall into phases that are switched in turn",
                name,
                f"{found} ({count} phase{'s' * (count > 1)})",
                f"2 to {MOST_PHASES} phases, as in 6/4, 8/6, 10/8 or 12/10 (one with single_phase=True)",
            )
        )


def rejoined(
    usual: Phases, of_pole: tuple[int, ...] | None = None, polarity: tuple[int, ...] | None = None
) -> Phases:
    """The usual phases with poles joined or coils turned in another way.

    of_pole: phase of each stator pole; neighbouring offsets may be joined into one phase (12/10 as three
    phases), if every phase follows the one before it by the same angle. polarity: 1 or -1 for each stator
    pole.

    Raises InvalidValue for lists of the wrong length or content, GeometryRefused for phases that do not
    follow each other evenly.

    >>> rejoined(phases_of(12, 10), of_pole=(0, 2, 2, 1, 1, 0, 0, 2, 2, 1, 1, 0)).count
    3
    """
    poles = len(usual.of_pole)
    of_pole = usual.of_pole if of_pole is None else tuple(of_pole)
    polarity = usual.polarity if polarity is None else tuple(polarity)
    for name, given, allowed in (("phase_of_pole", of_pole, range(poles)), ("polarity", polarity, (-1, 1))):
        if len(given) != poles or not all(value in allowed for value in given):
            rule = "every stator pole has a phase and a polarity"
            most = f"{poles} of {'-1 or 1' if name == 'polarity' else 'the phase numbers from 0 on'}"
            raise InvalidValue(refusal(rule, f"winding.{name}", given, most))
    count = max(of_pole) + 1
    _refuse_uneven(usual, of_pole, count)
    return Phases(count, of_pole, polarity)


def _refuse_uneven(usual: Phases, of_pole: tuple[int, ...], count: int) -> None:
    def offsets(phase: int) -> list[int]:
        return sorted(own for own, joined in zip(usual.of_pole, of_pole, strict=True) if joined == phase)

    step = usual.count // count
    moved = [sorted((own + phase * step) % usual.count for own in offsets(0)) for phase in range(count)]
    if usual.count % count or of_pole[0] != 0 or moved != [offsets(phase) for phase in range(count)]:
        found = f"{of_pole} over poles that align in the order {usual.of_pole}"
        rule = "pole 0 is in phase 0, and each phase follows the one before it by the same angle"
        allowed = f"such as {usual.of_pole}"
        raise GeometryRefused(refusal(rule, "winding.phase_of_pole", found, allowed))

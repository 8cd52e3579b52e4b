"""A rotor that is off the axis of its stator: the pull to one side, and what it does to the torque.

Two ways to be off. Static: the rotor turns about its own axis, which is not the stator's, as in a seat that is bored
aside; the narrow place stands still. Whirling: the rotor is bent or sits on its shaft aside; the narrow place goes
round with it. In both, what is aside stands still on one side of the gap, so that one mesh serves all angles: of the
stator, moved the other way about the rotor's axis, or of the rotor (`polefem.forces.moved`). The field is solved over
the whole turn; no pole is like another any more.

The force is Maxwell's stress, summed round the circle midway across what is left unmeshed of the gap.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from polefem.errors import InvalidValue, refusal
from polefem.field import BuiltMachine, assembled, built, closest, gap_radius, gap_stress, solved_series
from polefem.forces.moved import moved_mesh, with_wide_strip
from polefem.forces.pressure import TRUSTED
from polefem.mesher import mesh_sides
from polefem.outline import Member, Outline
from polefem.params import Machine, MeshSpec
from polefem.params.checks import increasing
from polefem.solve import System

__all__ = [
    "CLOSER",
    "MOST_OFFSET",
    "OffsetPull",
    "offset_pull",
    "offset_pulls",
    "pull_stiffness",
    "rotor_force",
]

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
Offset = Literal["static", "whirling"]

MOST_OFFSET = 0.4
"""No rotor is moved by more than this part of its gap."""
#: Places round the circle, in times of those in the usual ring.
CLOSER = 4
#: Of the gap: an offset at which the pull is still in proportion to it, for its stiffness.
SMALL = 0.1


@dataclass(frozen=True, eq=False)
class OffsetPull:
    """What a rotor off its axis feels.

    offset: m. direction: rad, of the offset; of a whirling rotor where it stands at angle 0. kind: "static" or
    "whirling". angles: ndarray, shape (n_angles,), rad. force: ndarray, complex, shape (n_angles,), N: on the rotor, x
    + i y, in the stator's frame. torque: ndarray, shape (n_angles,), N m: on the rotor, about its own axis where
    static, else about the stator's.
    """

    offset: float
    direction: float
    kind: Offset
    angles: Floats
    force: Complexes
    torque: Floats

    def __post_init__(self) -> None:
        for array in (self.angles, self.force, self.torque):
            array.flags.writeable = False

    @property
    def along(self) -> Floats:
        """The force along the offset at each angle, N, shape (n_angles,): above 0 it pulls the rotor farther off."""
        turned = self.direction + (self.angles if self.kind == "whirling" else 0.0)
        return np.asarray((self.force * np.exp(-1j * turned)).real)

    @property
    def mean(self) -> float:
        """Mean force along the offset, N."""
        return float(self.along.mean())

    @property
    def most(self) -> float:
        """The largest force to any side, N: what bearings and shaft must bear."""
        return float(np.abs(self.force).max())

    @property
    def mean_torque(self) -> float:
        """N m."""
        return float(self.torque.mean())

    @property
    def ripple(self) -> float:
        """(highest - lowest) / |mean| of the torque at these angles."""
        mean = abs(self.mean_torque)
        return float(np.ptp(self.torque)) / mean if mean else math.inf

    def __repr__(self) -> str:
        return (
            f"OffsetPull({self.kind}, {self.offset * 1e3:.4g} mm: {self.mean:.4g} N along the offset on average, up to "
            f"{self.most:.4g} N; torque {self.mean_torque:.4g} N m, ripple {self.ripple:.3g})"
        )


def offset_pull(
    machine: Machine | BuiltMachine,
    offset: float,
    angles: ArrayLike,
    phase_currents: ArrayLike,
    mesh: MeshSpec | str | None = None,
    *,
    kind: Offset = "static",
    direction: float = 0.0,
) -> OffsetPull:
    """The pull on a rotor that is off its axis by `offset` (m) in a direction (rad).

    angles: rad, shape (n_angles,). phase_currents: A, shape (n_phases,) or (n_angles, n_phases).

    Raises InvalidValue for an axial machine, for an offset below 0 or above MOST_OFFSET of the gap and for wrong lists,
    MeshFailed where the gap's mesh does not give way so far, SolveFailed where a point does not converge.
    """
    whole = built(machine, mesh)
    known = whole.machine
    if known.flat:
        rule = "a rotor is off its axis in a round gap"
        raise InvalidValue(refusal(rule, "machine", type(known).__name__, "a machine with a radial gap"))
    most = MOST_OFFSET * known.air_gap
    if not 0.0 <= offset <= most * (1 + 1e-9):
        allowed = f"0 to {most * 1e3:.4g} mm"
        raise InvalidValue(refusal("a rotor must turn free", "offset", f"{offset * 1e3:.4g} mm", allowed))
    if kind not in ("static", "whirling"):
        rule = "a rotor is off its axis in one of two ways"
        raise InvalidValue(refusal(rule, "kind", repr(kind), "'static' or 'whirling'"))
    turned, currents = _lists(angles, phase_currents, known.phases.count)
    outline, system = _system(
        whole, cmath.rect(offset, direction), "rotor" if kind == "whirling" else "stator"
    )
    places = _places(outline)
    force, torque = np.zeros(len(turned), dtype=complex), np.zeros(len(turned))
    for at, found in enumerate(solved_series(outline, system, turned, currents, trusted=TRUSTED)):
        force[at] = rotor_force(outline, system, float(turned[at]), found.unknowns, places)
        torque[at] = found.torque
    return OffsetPull(offset, direction, kind, turned, force, torque)


def offset_pulls(
    machine: Machine | BuiltMachine,
    offsets: Sequence[float],
    angles: ArrayLike,
    phase_currents: ArrayLike,
    mesh: MeshSpec | str | None = None,
    *,
    kind: Offset = "static",
    direction: float = 0.0,
) -> tuple[OffsetPull, ...]:
    """`offset_pull` at several offsets (m, increasing): force, torque and ripple against offset."""
    known = increasing("the offsets must increase", "offsets", offsets, "m").tolist()
    whole = built(machine, mesh)
    return tuple(
        offset_pull(whole, offset, angles, phase_currents, kind=kind, direction=direction) for offset in known
    )


def pull_stiffness(
    machine: Machine | BuiltMachine,
    angles: ArrayLike,
    phase_currents: ArrayLike,
    mesh: MeshSpec | str | None = None,
    *,
    kind: Offset = "static",
) -> float:
    """By how much the mean pull to one side grows with a small offset, N/m: a spring that pushes off the axis, which
    shaft and bearings must outweigh. Raises as `offset_pull`."""
    whole = built(machine, mesh)
    offset = SMALL * whole.machine.air_gap
    # Along and across: where one phase conducts at a time, its poles have a direction of their own.
    ways = (0.0, math.pi / 2) if kind == "static" else (0.0,)
    pulls = [
        offset_pull(whole, offset, angles, phase_currents, kind=kind, direction=way).mean for way in ways
    ]
    return float(np.mean(pulls)) / offset


def rotor_force(
    outline: Outline, system: System, angle: float, unknowns: Floats, places: Floats | None = None
) -> complex:
    """The force on the rotor of a round section, N, x + i y. places: evenly spaced round the whole turn, rad."""
    spots = _places(outline) if places is None else places
    pull, shear = gap_stress(outline, system, angle, unknowns, spots)
    outward = 1.0 if outline.rotor.gap < outline.stator.gap else -1.0
    patch = gap_radius(outline) * outline.length * 2 * math.pi / len(spots)
    return complex(patch * np.sum((outward * pull + 1j * shear) * np.exp(1j * spots)))


def _places(outline: Outline) -> Floats:
    # The ring that is left is a third as wide as the usual one: its field changes over less.
    count = CLOSER * closest(outline, 2 * math.pi)
    return np.arange(count) / count * 2 * math.pi


def _system(whole: BuiltMachine, offset: complex, moving: Member) -> tuple[Outline, System]:
    """The whole turn, its rotor off the stator's axis; where the stator moves, seen from the rotor's axis."""
    outline = with_wide_strip(whole.sections[0], moving)
    rotor, stator = mesh_sides(outline, whole.mesh, 1)
    if moving == "rotor":
        rotor = moved_mesh(rotor, np.full(len(rotor.points), offset))
    else:
        stator = moved_mesh(stator, np.full(len(stator.points), -offset))
    return outline, assembled(whole.machine, outline, (rotor, stator), 1, False)


def _lists(angles: ArrayLike, phase_currents: ArrayLike, phases: int) -> tuple[Floats, Floats]:
    turned, currents = np.atleast_1d(np.array(angles, dtype=float)), np.array(phase_currents, dtype=float)
    if turned.ndim != 1 or not np.isfinite(turned).all():
        raise InvalidValue(refusal("the rotor stands at an angle", "angles", angles, "finite numbers of rad"))
    shapes = (phases,), (len(turned), phases)
    if currents.shape not in shapes or not np.isfinite(currents).all():
        allowed = f"{phases} finite numbers"
        raise InvalidValue(refusal("each phase has one current", "phase_currents", phase_currents, allowed))
    return turned, np.broadcast_to(currents, shapes[1]).copy()

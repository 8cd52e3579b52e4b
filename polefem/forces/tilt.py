"""A disc of an axial machine that stands askew: its gap differs round the circle.

Each cut of the machine is solved over its whole period, the stator's faces shifted along the shaft by as much as the
tilt moves them there: by tilt times radius, as the cosine round the circle. The pull across the gap then adds up to the
attraction, and, weighed by its lever, to the moment that tilts the disc farther.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from polefem.errors import InvalidValue, refusal
from polefem.field import BuiltMachine, assembled, built, closest, gap_radius, gap_stress, solved_series
from polefem.forces.moved import moved_mesh, with_wide_strip
from polefem.forces.offset import CLOSER, MOST_OFFSET
from polefem.forces.pressure import TRUSTED
from polefem.mesher import mesh_sides
from polefem.outline import Outline
from polefem.params import Machine, MeshSpec, made_of_discs
from polefem.solve import System

__all__ = ["DiscTilt", "disc_tilt"]

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]


@dataclass(frozen=True, eq=False)
class DiscTilt:
    """What a tilted disc feels.

    tilt: rad. direction: rad: where round the circle the gap is narrowest. angles: ndarray, shape (n_angles,), rad.
    attraction: ndarray, shape (n_angles,), N. moment: ndarray, complex, shape (n_angles,), N m: the pull weighed by its
    lever, exp(i phi) radius; its part along `direction` tilts the disc farther. torque: ndarray, shape (n_angles,),
    N m.
    """

    tilt: float
    direction: float
    angles: Floats
    attraction: Floats
    moment: Complexes
    torque: Floats

    def __post_init__(self) -> None:
        for array in (self.angles, self.attraction, self.moment, self.torque):
            array.flags.writeable = False

    @property
    def along(self) -> Floats:
        """The moment that tilts the disc farther, N m, shape (n_angles,)."""
        return np.asarray((self.moment * np.exp(-1j * self.direction)).real)

    def __repr__(self) -> str:
        return (
            f"DiscTilt({math.degrees(self.tilt):.3g} deg: {self.along.mean():.4g} N m that tilt it farther, attraction "
            f"{self.attraction.mean():.4g} N, torque {self.torque.mean():.4g} N m on average)"
        )


def disc_tilt(
    machine: Machine | BuiltMachine,
    tilt: float,
    angles: ArrayLike,
    phase_currents: ArrayLike,
    mesh: MeshSpec | str | None = None,
    *,
    direction: float = 0.0,
) -> DiscTilt:
    """Attraction, tilting moment and torque of an axial machine with one gap whose stator disc is tilted by an angle
    (rad), its gap narrowest in a direction (rad).

    angles: rad, shape (n_angles,). phase_currents: A, shape (n_phases,), the same at all.
    Raises InvalidValue for any other machine, and where the gap at the outer radius would change by more than
    MOST_OFFSET of it; MeshFailed and SolveFailed as the field does.
    """
    whole = built(machine, mesh)
    known = whole.machine
    if not made_of_discs(known) or known.middle is not None:
        rule, found = "a disc is tilted before one other", getattr(known, "build", type(known).__name__)
        raise InvalidValue(refusal(rule, "machine", found, "an AxialMachine with one gap"))
    most = MOST_OFFSET * known.air_gap / known.outer_radius
    if not 0.0 <= tilt <= most * (1 + 1e-9):
        allowed = f"0 to {math.degrees(most):.3g} deg"
        raise InvalidValue(refusal("discs must turn free", "tilt", f"{math.degrees(tilt):.3g} deg", allowed))
    turned, currents = np.atleast_1d(np.array(angles, dtype=float)), np.array(phase_currents, dtype=float)
    if currents.shape != (known.phases.count,) or not np.isfinite(currents).all():
        allowed = f"{known.phases.count} finite numbers"
        raise InvalidValue(refusal("each phase has one current", "phase_currents", phase_currents, allowed))
    attraction, torque = np.zeros((2, len(turned)))
    moment = np.zeros(len(turned), dtype=complex)
    for section in whole.sections:
        outline, system = tilted_system(whole, section, tilt, direction)
        for at, (pull, twist) in enumerate(_pulls(outline, system, turned, currents)):
            attraction[at] += pull[0].real
            moment[at] += pull[1]
            torque[at] += twist
    return DiscTilt(tilt, direction, turned, attraction, moment, torque)


def tilted_system(
    whole: BuiltMachine, section: Outline, tilt: float, direction: float
) -> tuple[Outline, System]:
    """The whole period of a cut with its stator's faces shifted towards the rotor by tilt times radius times the cosine
    of the angle from the direction."""
    outline = with_wide_strip(section, "stator")
    rotor, stator = mesh_sides(outline, whole.mesh, 1)
    place = stator.points[:, 1] / outline.radius
    towards = math.copysign(1.0, outline.rotor.gap - outline.stator.gap)
    shift = towards * tilt * outline.radius * np.cos(place - direction)
    return outline, assembled(
        whole.machine, outline, (rotor, moved_mesh(stator, shift.astype(np.complex128))), 1, False
    )


def _pulls(
    outline: Outline, system: System, angles: Floats, currents: Floats
) -> list[tuple[tuple[complex, complex], float]]:
    """Pull across the gap (N) and the same weighed by its lever (N m), and torque (N m), at each angle."""
    count = CLOSER * closest(outline, 2 * math.pi)
    places = np.arange(count) / count * 2 * math.pi
    radius = gap_radius(outline)
    patch = radius * outline.length * 2 * math.pi / count
    rows, found, levers = np.tile(currents, (len(angles), 1)), [], radius * np.exp(1j * places)
    solved = solved_series(outline, system, angles, rows, trusted=TRUSTED)
    for angle, one in zip(angles.tolist(), solved, strict=True):
        pull, _ = gap_stress(outline, system, angle, one.unknowns, places)
        found.append(((complex(patch * pull.sum()), complex(patch * (pull @ levers))), one.torque))
    return found

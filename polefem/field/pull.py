"""The radial pull on each stator pole: what bends the yoke, and rings when a phase is switched off.

From the gap's own solution: on the circle midway across the gap the magnetic stress along the radius is
(B_r^2 - B_t^2) / (2 mu0) and the shear B_r B_t / mu0; a pole is pulled by what acts on its pitch of that circle, taken
along the pole's axis. Source: J. C. Maxwell's stresses (textbook); that radial deformation of the stator by this pull
is the origin of these machines' noise: D. E. Cameron, J. H. Lang, S. D. Umans, IEEE Trans. IA 28(6) (1992) 1250-1255
(from memory).

The rotor is concentric here: the pull of an eccentric rotor, which unbalances the poles, is left out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from polefem.errors import InvalidValue, refusal
from polefem.field.built_machine import BuiltMachine, built
from polefem.field.series import images, solved_series
from polefem.field.stress import closest, gap_radius, gap_stress
from polefem.outline import Outline
from polefem.params import Machine, MeshSpec
from polefem.params.checks import increasing
from polefem.solve import System

__all__ = ["PolePull", "pole_pull"]

Floats = NDArray[np.float64]

#: Points on the gap circle for each stator pole pitch, at the least.
POINTS = 400


@dataclass(frozen=True, eq=False)
class PolePull:
    """Radial pull on the stator poles at one set of phase currents.

    angles: ndarray, shape (n_angles,), rad. phase_currents: ndarray, shape (n_phases,), A. pull: ndarray, shape
    (n_angles, n_poles), N: positive towards the rotor, poles counter-clockwise from pole 0. torque: ndarray, shape
    (n_angles,), N m: from the shear on the same circle; that it is the torque of the energy checks both.
    """

    angles: Floats
    phase_currents: Floats
    pull: Floats
    torque: Floats

    def __post_init__(self) -> None:
        for array in (self.angles, self.phase_currents, self.pull, self.torque):
            array.flags.writeable = False

    def harmonics(self, pole: int = 0) -> Floats:
        """Amplitudes of a pole's pull over the angles, N: the mean, then the harmonics of the span they cover.

        The angles must be evenly spaced over one rotor pitch, the end left out; raises InvalidValue.
        """
        steps = np.diff(self.angles)
        if steps.size < 2 or np.ptp(steps) > 1e-9:
            found = "an uneven list" if steps.size else "one angle"
            raise InvalidValue(refusal("harmonics need even steps", "angles", found, "evenly spaced angles"))
        spectrum = np.abs(np.fft.rfft(self.pull[:, pole])) / len(self.angles)
        spectrum[1:] *= 2
        return spectrum

    def step_at(self, angle: float, pole: int = 0) -> float:
        """By how much the pull falls (N) if the current is cut off at an angle (rad), at once: all of it."""
        return float(np.interp(angle, self.angles, self.pull[:, pole]))


def pole_pull(
    machine: Machine | BuiltMachine,
    angles: ArrayLike,
    phase_currents: ArrayLike,
    mesh: MeshSpec | str | None = None,
) -> PolePull:
    """Radial pull on each stator pole over angles (rad, increasing) at one set of phase currents (A).

    Raises InvalidValue for wrong lists, SolveFailed where a point does not converge, and what `flux_map` raises for
    machines that cannot be built or meshed. Of an axial machine it is the pull along the shaft.
    """
    turned = increasing("the angles must increase", "angles", angles, "rad")
    whole = built(machine, mesh)
    currents = np.array(phase_currents, dtype=float)
    count, poles = whole.machine.phases.count, whole.machine.stator_poles
    if currents.shape != (count,) or not np.isfinite(currents).all():
        allowed = f"{count} finite numbers"
        raise InvalidValue(refusal("each phase has one current", "phase_currents", phase_currents, allowed))
    rows = np.tile(currents, (len(turned), 1))
    known = images(whole, turned, rows)
    pull, torque = np.zeros((len(turned), poles)), np.zeros(len(turned))
    for outline, system in zip(whole.sections, whole.systems, strict=True):
        for at, found in enumerate(solved_series(outline, system, turned, rows, known)):
            forces, moment = _forces(outline, system, float(turned[at]), found.unknowns, poles)
            pull[at] += forces
            torque[at] += moment
    return PolePull(turned, currents, pull, torque)


def _forces(
    outline: Outline, system: System, angle: float, unknowns: Floats, poles: int
) -> tuple[Floats, float]:
    """Pull on each pole (N) and torque (N m) of one section."""
    inside, flat = outline.rotor.gap < outline.stator.gap, outline.rotor.flat
    radius, pitch = gap_radius(outline), 2 * math.pi / poles
    count = max(POINTS, closest(outline, pitch))
    away = (np.arange(count) + 0.5) / count * pitch - pitch / 2
    places = (np.arange(poles)[:, None] * pitch + away).ravel()
    stress = gap_stress(outline, system, angle, unknowns, places)
    pressure, shear = (part.reshape(poles, count) for part in stress)
    patch = radius * pitch / count * outline.length
    # Along a round pole's axis; on a flat section the axes of the whole pitch are one.
    cosine, sine = (np.ones_like(away), np.zeros_like(away)) if flat else (np.cos(away), np.sin(away))
    outward = 1.0 if inside else -1.0
    return patch * (pressure @ cosine - outward * (shear @ sine)), float(radius * patch * shear.sum())

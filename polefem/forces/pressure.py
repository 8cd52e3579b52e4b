"""Radial and tangential pressure in the gap, round the turn and over a rotor pitch, with all phases in one field.

At each angle of the rotor the field is solved under the phase currents of that angle, and the magnetic stress is read
off the gap's own harmonics (`polefem.field.stress`). After a rotor pitch everything comes again where it was, so that
evenly spaced angles of one pitch are all there is to know at a constant speed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from polefem.errors import InvalidValue, refusal
from polefem.field import (
    BuiltMachine,
    Image,
    built,
    closest,
    gap_radius,
    gap_stress,
    images,
    solved_series,
    transferred,
)
from polefem.params import Machine, MeshSpec
from polefem.params.checks import whole as whole_number
from polefem.solve import System

__all__ = ["GapPressure", "gap_pressure", "gap_pressures", "pitch_angles"]

Floats = NDArray[np.float64]

#: Places round the turn, for each stator pole, at the least.
PLACES = 60
#: Error of a field from which on the next step is its last: forces are then off by some 1e-5 of themselves, and
#: pressure at a place by up to 2e-4 of the largest, while the mesh leaves a hundred times as much.
TRUSTED = 1e-3


@dataclass(frozen=True, eq=False)
class GapPressure:
    """Magnetic pressure on the circle midway across the gap, over one rotor pitch.

    angles: ndarray, shape (n_angles,), rad: of the rotor, evenly spaced over a rotor pitch, its end left out.
    currents: ndarray, shape (n_angles, n_phases), A. places: ndarray, shape (n_places,), rad: evenly spaced round the
    turn, as many before each stator pole, the first of them at half a place past the start of pole 0's pitch.
    pull: ndarray, shape (n_angles, n_places), Pa: draws stator and rotor together. shear: likewise, Pa: turns the rotor
    counter-clockwise. Of an axial machine both are means over its cuts. area, lever: m2 and m3 for each radian of the
    circle: force is pull times area, torque is shear times lever. torque: ndarray, shape (n_angles,), N m: the exact
    derivative of the field's energy. poles: of the stator. phase_poles: how many of them conduct at once: the order
    that a phase pulls the stator into. rotor_poles: electrical cycles in a turn. flat: whether pull is along the shaft.
    outside: whether the rotor runs outside.
    """

    angles: Floats
    currents: Floats
    places: Floats
    pull: Floats
    shear: Floats
    area: float
    lever: float
    torque: Floats
    poles: int
    phase_poles: int
    rotor_poles: int
    flat: bool
    outside: bool

    def __post_init__(self) -> None:
        for item in fields(self):
            if isinstance(value := getattr(self, item.name), np.ndarray):
                value.flags.writeable = False

    @property
    def torque_of_shear(self) -> Floats:
        """Torque by the shear on the circle, N m, shape (n_angles,): that it is `torque` checks both."""
        moment: Floats = self.lever * 2 * math.pi * self.shear.mean(axis=1)
        return moment

    @property
    def pole_pull(self) -> Floats:
        """Pull on each stator pole along its axis, N, shape (n_angles, n_poles): positive towards the rotor."""
        per = self.places.size // self.poles
        away = self.places[:per]
        cosine, sine = (np.ones(per), np.zeros(per)) if self.flat else (np.cos(away), np.sin(away))
        outward = -1.0 if self.outside else 1.0
        shape = (len(self.angles), self.poles, per)
        pull = self.pull.reshape(shape) @ cosine - outward * (self.shear.reshape(shape) @ sine)
        forces: Floats = pull * self.area * 2 * math.pi / self.places.size
        return forces

    @property
    def pull_swing(self) -> float:
        """Highest less lowest pull on a stator pole over the pitch, N, of the pole where it is most."""
        return float(np.ptp(self.pole_pull, axis=0).max())

    def order_force(self, order: int) -> NDArray[np.complex128]:
        """The share of an order in the pull, N, complex, shape (n_angles,): the sum of the pull round the turn, each
        place weighed by exp(-i order phi). Two opposite poles pulled by 100 N each have 200 N of order 2."""
        weights = np.exp(-1j * order * self.places) * 2 * math.pi / self.places.size
        return np.asarray(self.area * (self.pull @ weights))

    def order_swing(self, order: int) -> float:
        """By how much the force of an order changes over the pitch at the most, N."""
        force = self.order_force(order)
        return float(np.abs(force[:, None] - force[None, :]).max())

    @property
    def wave_swing(self) -> float:
        """The swing of the order that matters, N: that of a phase's poles, which squeezes the ring."""
        return self.order_swing(self.phase_poles)

    def less(self, other: GapPressure) -> GapPressure:
        """What this pressure has more than another of the same machine under the same currents: an error, where the
        other is of another mesh.

        Raises InvalidValue for other angles or places.
        """
        same = self.pull.shape == other.pull.shape and np.allclose(self.angles, other.angles)
        if not same:
            rule, allowed = (
                "pressures are compared at the same angles and places",
                f"of shape {self.pull.shape}",
            )
            raise InvalidValue(refusal(rule, "other.pull", f"of shape {other.pull.shape}", allowed))
        pull, shear, torque = self.pull - other.pull, self.shear - other.shear, self.torque - other.torque
        return replace(self, pull=pull, shear=shear, torque=torque)

    def every_second(self, start: int) -> GapPressure:
        """The same at every second of its angles, from the first (0) or from the one after (1)."""
        own = slice(start, None, 2)
        names = ("angles", "currents", "pull", "shear", "torque")
        return replace(self, **{name: getattr(self, name)[own] for name in names})

    def __repr__(self) -> str:
        return (
            f"GapPressure({len(self.angles)} angles x {self.places.size} places: a pole's pull swings by "
            f"{self.pull_swing:.4g} N, order {self.phase_poles} by {self.wave_swing:.4g} N, mean torque "
            f"{self.torque.mean():.4g} N m)"
        )


def pitch_angles(machine: Machine, count: int) -> Floats:
    """Angles (rad, shape (count,)) in the middles of equal steps over a rotor pitch: a current that is switched at a
    step's end is seen as on or off, not both."""
    whole_number("a pitch is looked at in steps", "count", count, 2)
    return (np.arange(count) + 0.5) / count * machine.rotor_pitch


def gap_pressure(
    machine: Machine | BuiltMachine,
    angles: ArrayLike,
    phase_currents: ArrayLike,
    mesh: MeshSpec | str | None = None,
) -> GapPressure:
    """Pressure in the gap at angles (rad), evenly spaced over a rotor pitch (`pitch_angles`), under phase currents (A),
    shape (n_angles, n_phases), such as `polefem.drive.run_currents` gives.

    Raises InvalidValue for wrong lists, SolveFailed where a point does not converge, and what `solve_state` raises for
    machines that cannot be built or meshed.
    """
    return gap_pressures([built(machine, mesh)], angles, phase_currents)[0]


def gap_pressures(
    meshed: Sequence[BuiltMachine], angles: ArrayLike, phase_currents: ArrayLike
) -> list[GapPressure]:
    """`gap_pressure` of one machine on some meshes: on each, fields begin with those of the mesh before."""
    machine = meshed[0].machine
    turned, currents = _checked(machine, angles, phase_currents)
    alike, found = images(meshed[0], turned, currents), []
    before: list[tuple[System, Floats]] = []
    for whole in meshed:
        starts = [
            transferred(fields, source.model, system.model)
            for (source, fields), system in zip(before, whole.systems, strict=False)
        ]
        pressure, before = _pressure(whole, turned, currents, alike, starts or [None] * len(whole.systems))
        found.append(pressure)
    return found


def _pressure(
    whole: BuiltMachine,
    angles: Floats,
    currents: Floats,
    alike: Sequence[Image | None],
    starts: Sequence[Floats | None],
) -> tuple[GapPressure, list[tuple[System, Floats]]]:
    """The pressure, and the system of each section with the fields that are no images, shape (n, size).

    starts: of each section fields near these, where such are known.
    """
    known, poles = whole.machine, whole.machine.stator_poles
    per = max(PLACES, *(closest(outline, 2 * math.pi / poles) for outline in whole.sections))
    count = poles * per
    places = (np.arange(count) + 0.5) / count * 2 * math.pi - math.pi / poles
    pull, shear = np.zeros((2, len(angles), count))
    torque, area, lever, solved = np.zeros(len(angles)), 0.0, 0.0, []
    own = np.flatnonzero([image is None for image in alike])
    for outline, system, near in zip(whole.sections, whole.systems, starts, strict=True):
        patch, arm = gap_radius(outline) * outline.length, gap_radius(outline) ** 2 * outline.length
        copies, fields = system.model.sectors, []
        series = solved_series(outline, system, angles[own], currents[own], starts=near, trusted=TRUSTED)
        for at, one in zip(own, series, strict=True):
            # One sector stands for the others.
            stress = gap_stress(outline, system, float(angles[at]), one.unknowns, places[: count // copies])
            pull[at] += patch * np.tile(stress[0], copies)
            shear[at] += arm * np.tile(stress[1], copies)
            torque[at] += one.torque
            fields.append(one.unknowns)
        area, lever = area + patch, lever + arm
        solved.append((system, np.array(fields)))
    for k, image in enumerate(alike):
        if image is not None:
            source = image.source
            pull[k], shear[k], torque[k] = _image(image, pull[source], shear[source], torque[source], per)
    return GapPressure(
        angles=angles,
        currents=currents,
        places=places,
        pull=pull / area,
        shear=shear / lever,
        area=area,
        lever=lever,
        torque=torque,
        poles=poles,
        phase_poles=len(known.phases.poles(0)),
        rotor_poles=known.rotor_poles,
        flat=known.flat,
        outside=whole.sections[0].rotor.gap > whole.sections[0].stator.gap,
    ), solved


def _image(
    image: Image, pull: Floats, shear: Floats, torque: float, per: int
) -> tuple[Floats, Floats, float]:
    """What mirroring and turning make of pull and shear at even places, `per` of them to a pole, and of torque."""
    turn = round(image.turns[1] * len(pull))
    if image.mirrored:  # about the axis of pole 0, before which the first places lie
        pull, shear, torque = np.roll(pull[::-1], per), -np.roll(shear[::-1], per), -torque
    return np.roll(pull, turn), np.roll(shear, turn), torque


def _checked(machine: Machine, angles: ArrayLike, phase_currents: ArrayLike) -> tuple[Floats, Floats]:
    turned, currents = np.array(angles, dtype=float), np.array(phase_currents, dtype=float)
    steps = np.diff(turned) if turned.ndim == 1 else np.empty(0)
    if len(steps) < 1 or not np.allclose(steps, machine.rotor_pitch / turned.size, rtol=1e-6, atol=0.0):
        allowed = f"{math.degrees(machine.rotor_pitch):.4g} deg over their number"
        raise InvalidValue(refusal("angles cover a rotor pitch in even steps", "angles", angles, allowed))
    shape = (turned.size, machine.phases.count)
    if currents.shape != shape or not np.isfinite(currents).all():
        rule, found = "each phase has one current at each angle", f"an array of shape {currents.shape}"
        raise InvalidValue(refusal(rule, "phase_currents", found, f"finite numbers of shape {shape}"))
    return turned, currents

"""Iron loss of a machine at work: the flux density of every triangle over a cycle, and what its steel loses by that.

Fields of all phases together are computed at even steps of the rotor angle over one cycle: the angle after which rotor
and currents look the same again, a rotor pitch where the rotor's poles are alike. The stator's waveforms are those. A
rotor triangle, seen in the rotor's own frame, sees a whole turn before its waveform repeats; after each cycle it has
come to where a copy of it was, so that its waveform is put together from those of all its copies, and no further field
is needed.

Each waveform loses by separation into hysteresis, classical eddy currents and excess (`polefem.materials.iron_loss`),
at the flux density between the insulation: B_iron = (B - (1 - share) mu0 H) / share in a stack of that share of iron.

The ideal rectangular current would make flux change in no time, and its eddy-current loss has no limit. Currents here
rise and fall over a stated angle instead; the classical part goes about as one over it, so that the angle must be what
the supply can do. Left out are what cutting and pressing add (usual factors 1.2 to 2, common practice), the eddy
currents' own effect on the field, chopping, and rotor and stator ends; the axial machine's middle cut stands for all of
it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from polefem.errors import InvalidValue, refusal
from polefem.estimates.masses import steel_density
from polefem.estimates.turning import Turning
from polefem.field import BuiltMachine, Field, FieldState, built, field_series
from polefem.materials import MU0, Steel, loss_separation
from polefem.outline import DrawnMachine, Label, Member, drawn, machine_of
from polefem.params import Machine, MeshSpec, RectangularCurrent
from polefem.params.checks import positive
from polefem.params.quantity import speed_text

__all__ = [
    "IronLoss",
    "PartLoss",
    "Waveforms",
    "cycle_angles",
    "iron_loss",
    "loss_over_cycle",
    "ramped_currents",
    "waveforms",
]

Floats = NDArray[np.float64]
Fields = Callable[[BuiltMachine, Floats, Floats], Iterable[FieldState]]


@dataclass(frozen=True)
class PartLoss:
    """Of the rotor or of the stator: hysteresis, classical, excess: W. highest: flux density at any time, T."""

    hysteresis: float
    classical: float
    excess: float
    highest: float

    @property
    def total(self) -> float:
        """All three, W."""
        return self.hysteresis + self.classical + self.excess


@dataclass(frozen=True)
class IronLoss:
    """Of a machine at a speed, rad/s. rotor, stator: None for solid parts, whose loss is not reckoned."""

    speed: float
    rotor: PartLoss | None
    stator: PartLoss | None

    @property
    def total(self) -> float:
        """Of the parts that are reckoned, W."""
        return sum(part.total for part in (self.rotor, self.stator) if part is not None)

    def at(self, speed: float) -> IronLoss:
        """The same waveforms at another speed (rad/s): hysteresis goes with it, classical with its square, excess with
        its power of 1.5."""
        times = positive("a machine loses in turning", "speed", speed, "rad/s") / self.speed
        rotor, stator = (part and _at_times(part, times) for part in (self.rotor, self.stator))
        return IronLoss(speed, rotor, stator)

    def __str__(self) -> str:
        parts = ", ".join(
            f"{name} {part.total:.3g} W (hysteresis {part.hysteresis:.3g}, classical {part.classical:.3g}, excess "
            f"{part.excess:.3g}; up to {part.highest:.2f} T)"
            for name, part in (("rotor", self.rotor), ("stator", self.stator))
            if part is not None
        )
        return f"iron loss at {speed_text(self.speed)}: {parts or 'not reckoned of solid parts'}"


def _at_times(part: PartLoss, times: float) -> PartLoss:
    return replace(
        part,
        hysteresis=part.hysteresis * times,
        classical=part.classical * times**2,
        excess=part.excess * times**1.5,
    )


def iron_loss(
    machine: Machine | BuiltMachine,
    drive: RectangularCurrent,
    current: float,
    turning: Turning,
    mesh: MeshSpec | str | None = None,
    fields: Fields = field_series,
) -> IronLoss:
    """Iron loss under nearly rectangular currents (A) at a speed; `fields`: what solves the fields. A drive with a ramp
    of its own keeps it.

    mesh: as `built` takes it; where none is said, that of a built machine, or a coarse one.

    Raises InvalidValue for steel whose loss is not known, and what `field_series` and `ramped_currents` raise.
    """
    known = built(machine, mesh or (None if isinstance(machine, BuiltMachine) else "coarse"))
    angles = cycle_angles(known, turning.samples)
    currents = ramped_currents(known, drive, current, drive.ramp or turning.ramp, angles)
    return loss_over_cycle(known, fields(known, angles, currents), turning.speed)


def cycle_angles(machine: Machine | DrawnMachine, samples: int) -> Floats:
    """Even steps over a cycle, rad, `samples` of them in every rotor pitch: shape (n_angles,)."""
    machine = machine_of(machine)
    pitches = len(machine.rotor_pattern)
    steps: Floats = np.arange(samples * pitches, dtype=float) * (machine.rotor_pitch / samples)
    return steps


def ramped_currents(
    machine: Machine | DrawnMachine, drive: RectangularCurrent, current: float, ramp: float, angles: ArrayLike
) -> Floats:
    """The current of every phase at rotor angles (rad), A, shape (n_angles, n_phases).

    It rises straight from turn-on over `ramp` (rad), and falls straight from turn-off over as much.

    Raises InvalidValue where that does not fit into the dwell or the rotor pitch.
    """
    machine = machine_of(machine)
    longest = min(drive.dwell, machine.rotor_pitch - drive.dwell)
    if ramp > longest * (1 + 1e-9):
        rule = "a current rises within the dwell and falls within what is left of the pitch"
        found, most = f"{math.degrees(ramp):.4g} deg", f"up to {math.degrees(longest):.4g} deg"
        raise InvalidValue(refusal(rule, "ramp", found, most))
    phases = np.arange(machine.phases.count)
    own = np.asarray(angles, dtype=float)[:, None] - machine.stroke * phases
    since = (own - drive.turn_on) % machine.rotor_pitch
    return current * replace(drive, ramp=min(ramp, drive.dwell)).share(since)


def loss_over_cycle(machine: Machine | DrawnMachine, states: Iterable[FieldState], speed: float) -> IronLoss:
    """Iron loss from the fields at the angles of `cycle_angles`, whatever the currents were, at a speed (rad/s)."""
    positive("a machine loses in turning", "speed", speed, "rad/s")
    known = drawn(machine)
    machine, length = known.machine, known.outline.length
    parts = []
    for seen, steel, share in zip(
        waveforms(machine, states), machine.core_steels, machine.stacking_factors, strict=True
    ):
        mass = steel_density(steel) * share * length * seen.areas
        parts.append(_part_loss(steel, share, seen.b, seen.turn / speed, mass))
    return IronLoss(speed, *parts)


@dataclass(frozen=True, eq=False)
class Waveforms:
    """What the triangles of one side's iron see until it repeats.

    b: ndarray, shape (n_times, n, 2), T, in the side's own frame. turn: of the rotor meanwhile, rad. areas: ndarray,
    shape (n,), m2, with those of the copies that see the same.
    """

    b: Floats
    turn: float
    areas: Floats


def waveforms(machine: Machine, states: Iterable[FieldState]) -> tuple[Waveforms, Waveforms]:
    """Of rotor and stator, from the fields at the angles of `cycle_angles`; the rotor's of one of its units."""
    field: Field | None = None
    rotor, stator = [], []
    round_section = not machine.flat
    for state in states:
        field = state.field
        rotor.append(_turned(_iron(field, field.b, "rotor"), -state.angle * round_section))
        stator.append(_iron(field, field.b, "stator"))
    if field is None:
        raise InvalidValue(refusal("a cycle has fields", "states", "empty", "one for each angle of a cycle"))
    poles, areas = len(machine.rotor_pattern), _areas(field)
    copies, cycle = machine.rotor_poles // poles, machine.rotor_pitch * poles
    followed = _followed(np.stack(rotor), copies, cycle * round_section)
    own = _iron(field, areas, "rotor").reshape(copies, -1).sum(axis=0)
    whole_turn = Waveforms(followed, cycle * copies, own)
    return whole_turn, Waveforms(np.stack(stator), cycle, _iron(field, areas, "stator"))


def _iron(field: Field, values: Floats, member: Member) -> Floats:
    """What belongs to the triangles of one side's iron, in their order: unit by unit round the turn."""
    wanted = [at for at, label in enumerate(field.labels) if label == Label("iron", member)]
    iron: Floats = values[np.isin(field.region, wanted)]
    return iron


def _areas(field: Field) -> Floats:
    """Of the triangles, m2, their edges taken as straight."""
    corners = field.points[field.triangles[:, :3]]
    first, second = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    areas: Floats = np.abs(first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]) / 2
    return areas


def _turned(b: Floats, turn: float) -> Floats:
    """Vectors, shape (..., 2), turned by an angle (rad)."""
    cosine, sine = math.cos(turn), math.sin(turn)
    turned: Floats = b @ np.array([[cosine, sine], [-sine, cosine]])
    return turned


def _followed(b: Floats, copies: int, step: float) -> Floats:
    """Waveforms over a whole turn of one rotor unit's triangles, shape (copies * n_angles, n, 2), from those of all
    units over one cycle, shape (n_angles, copies * n, 2): after each cycle it is where the next copy, `step` (rad)
    on, was."""
    apart = b.reshape(b.shape[0], copies, -1, 2)
    followed: Floats = np.concatenate([_turned(apart[:, copy], -copy * step) for copy in range(copies)])
    return followed


def _part_loss(steel: Steel, share: float, b: Floats, period: float, mass: Floats) -> PartLoss | None:
    """Loss of triangles with waveforms b, shape (n_times, n, 2), T, and masses, shape (n,), kg."""
    if steel.grade is None:
        rule, allowed = "iron loss needs a grade", "a steel of the library with loss figures"
        raise InvalidValue(refusal(rule, "steel", steel.name, allowed))
    if steel.grade.thickness is None:
        return None
    size = np.linalg.norm(b, axis=2)
    if share < 1.0:
        field_strength = steel.stacked(share).evaluate(size)[0]
        between = (size - (1 - share) * MU0 * field_strength) / share
        b = b * (between / np.where(size > 0.0, size, 1.0))[:, :, None]
        size = between
    law = loss_separation(steel.grade)
    hysteresis, classical, excess = (
        float(part @ mass) for part in law.waveform_parts(b.transpose(0, 2, 1), period)
    )
    return PartLoss(hysteresis, classical, excess, float(size.max()))

"""Manufacturing tolerances and mesh error of a design, as designs that are shifted a little and computed like any
other.

A tolerance is one standard deviation of what a workshop or a supplier delivers. Its effect on a figure is had from the
figure at one deviation to either side, on the mesh of the design itself, moved (`polefem.study.near`); that of an
eccentricity of the rotor, which has no sign, from one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from polefem.drive import ripple_error, torque_error
from polefem.errors import PolefemError, spelled
from polefem.maps import CoupledMap
from polefem.materials import Allowance, Steel
from polefem.params.checks import number, positive
from polefem.params.fields import field_value, shown
from polefem.params.quantity import quantity
from polefem.study.design import Design, field_text, of_plan, quantity_of_field
from polefem.study.near import near, near_records
from polefem.study.record import OperatingPointFigures, Record

__all__ = [
    "EccentricityTolerance",
    "Effect",
    "FieldTolerance",
    "JointTolerance",
    "Run",
    "SteelTolerance",
    "Tolerance",
    "effect_of_sides",
    "effects_of",
    "error_from_map",
]

Run = Callable[[str, Sequence[Design]], list[Record]]
"""Computes designs under a study's name: records in their order."""

MESH = "mesh"
"""The name of the source of error that lies in the mesh and not in the workshop."""


@spelled
@dataclass(frozen=True)
class FieldTolerance:
    """A field is off by `deviation` (one standard deviation, in SI). shared: whether all machines compared are off
    alike, as when one batch serves them all."""

    field: str
    deviation: float
    shared: bool = False

    def __post_init__(self) -> None:
        how = quantity_of_field(self.field)
        size, deviation = how.size if how else 1.0, number(f"tolerance of {self.field}", self.deviation)
        positive(
            "a tolerance has a size", f"tolerance of {self.field}", deviation / size, how.unit if how else ""
        )

    @property
    def name(self) -> str:
        """What is off, and by how much."""
        return f"{self.field} +-{field_text(self.field, self.deviation)}"

    @property
    def fields(self) -> tuple[str, ...]:
        """What is off."""
        return (self.field,)

    def shifts(self, design: Design) -> tuple[Mapping[str, Any], ...]:
        """The changes at one deviation up and one down."""
        value = number(self.field, field_value(design.machine, self.field))
        return tuple({self.field: value + sign * self.deviation} for sign in (1.0, -1.0))


@spelled
@dataclass(frozen=True)
class EccentricityTolerance:
    """The rotor's axis is off the stator's by `deviation` (m), along the poles of the first phase.

    Its effect on a figure of torque is that of fields of the whole turn (`Plan.rotor_offset`), on the map that is
    there. A mean gap, sqrt(gap^2 - eccentricity^2), does not stand for it: on a 6/4 wheel with its rotor a fifth of
    the gap aside the mean torque rises by 0.11 %, of a mean gap by 1 %, since what the gap of one pole of a pair loses
    that of the other gains; the ripple rises by twice as much, since strokes become unlike. On other figures, and on
    machines of discs, it is not known. The pull to one side, which matters more, is a figure of plans that listen
    (`Hearing.offset`).
    """

    deviation: float = field(metadata=quantity("mm"))
    shared: bool = False

    def __post_init__(self) -> None:
        positive("a tolerance has a size", "tolerance of the eccentricity", self.deviation, "m")

    @property
    def name(self) -> str:
        """What is off, and by how much."""
        return f"rotor eccentricity {shown(type(self), 'deviation', self.deviation)}"

    def shifts(self, design: Design) -> tuple[Mapping[str, Any], ...]:
        """The rotor off its axis; the pull of one that is not is asked for no more."""
        return ({"rotor_offset": self.deviation, "hearing": None},)


@spelled
@dataclass(frozen=True)
class SteelTolerance:
    """The steel may as well be `other`: the same grade of another batch or maker, one deviation away."""

    other: Steel
    shared: bool = True

    @property
    def name(self) -> str:
        """What else the steel may be."""
        return f"steel {self.other.name}"

    def shifts(self, design: Design) -> tuple[Mapping[str, Any], ...]:
        """The change of steel."""
        return ({"steel": self.other},)


@spelled
@dataclass(frozen=True)
class JointTolerance:
    """Fields that are off together, as a measurement leaves them: by `steps` (SI, by dotted name, of machine or plan)
    at one deviation.

    built: how much the steel's allowance and its polarisation are off with them (`Steel.as_built`). shared: whether all
    machines compared are off alike, as what was measured on one of them is taken to be.
    """

    name: str
    steps: tuple[tuple[str, float], ...] = ()
    built: tuple[float, float] = (0.0, 0.0)
    shared: bool = True

    @property
    def fields(self) -> tuple[str, ...]:
        """What is off, where that is fields alone; none where the steel is off with them."""
        return () if any(self.built) else tuple(name for name, _ in self.steps)

    def shifts(self, design: Design) -> tuple[Mapping[str, Any], ...]:
        """The changes at one deviation up and one down."""
        return tuple(self._shift(design, sign) for sign in (1.0, -1.0))

    def _shift(self, design: Design, sign: float) -> dict[str, Any]:
        machine = design.machine
        changes: dict[str, Any] = {
            name: field_value(design.plan if of_plan(name) else machine, name) + sign * step
            for name, step in self.steps
        }
        if any(self.built):
            for name in ("steel", "rotor_steel"):
                steel = getattr(machine, name)
                if steel is not None:
                    allowance = steel.allowance or Allowance(0.0)
                    share, polarisation = (sign * step for step in self.built)
                    changes[name] = steel.as_built(
                        allowance.share + share, allowance.polarisation + polarisation
                    )
        return changes


Tolerance = FieldTolerance | EccentricityTolerance | SteelTolerance | JointTolerance


@dataclass(frozen=True)
class Effect:
    """What one source of uncertainty does to a figure of one design.

    linear: change of the figure at one standard deviation. curved: change that does not turn with the sign of the
    deviation (it goes with its square). shared: whether designs are off alike. sides: how many of the shifted designs
    could be computed, of those `asked` for; with none there is no effect, and no one knows.
    """

    source: str
    linear: float = 0.0
    curved: float = 0.0
    shared: bool = False
    sides: int = 1
    asked: int = 1


def effects_of(
    study: str,
    designs: Sequence[Design],
    tolerances: Sequence[Tolerance],
    figure: str,
    run: Run,
    known: Mapping[str, Mapping[str, Effect]] | None = None,
) -> dict[str, tuple[Effect, ...]]:
    """The effects on a figure of each source, by the design's name; what is computed for it is kept like any design.

    The error of the mesh comes last: the bound that the map itself gives, where it gives one; else the change from a
    mesh twice as coarse, which is more than the error for elements of second order. Half of it counts as a deviation.

    known: effects that no design needs to be computed for, by the names of design and tolerance.
    """
    told = {design.name: (known or {}).get(design.name, {}) for design in designs}
    asked: list[Design] = []
    for design in designs:
        unknown = [tolerance for tolerance in tolerances if tolerance.name not in told[design.name]]
        asked += [design, *(shifted for tolerance in unknown for shifted in _shifted(design, tolerance))]
    records = _computed(f"{study}: tolerances", asked, run)
    unbounded = [design for design in designs if error_from_map(records[design.name], figure) is None]
    records.update(_computed(f"{study}: coarser meshes", [_coarser(design) for design in unbounded], run))
    found = {}
    for design in designs:
        own = told[design.name]
        effects = [own.get(one.name) or _effect(design, one, records, figure) for one in tolerances]
        found[design.name] = (*effects, _mesh_effect(design, records, figure))
    return found


def _computed(study: str, designs: Sequence[Design], run: Run) -> dict[str, Record]:
    """Records by the name of their design, each computed once."""
    unique = {design.name: design for design in designs}
    return dict(zip(unique, near_records(study, list(unique.values()), run), strict=True)) if unique else {}


def _shifted(design: Design, tolerance: Tolerance) -> list[Design]:
    try:
        shifts = tolerance.shifts(design)
    except PolefemError:
        return []
    names = [f"{design.name} | {tolerance.name} | {at}" for at in range(len(shifts))]
    return [
        near(design, replace(design, name=name, changes={**design.changes, **shift}))
        for name, shift in zip(names, shifts, strict=True)
    ]


def _coarser(design: Design) -> Design:
    changes = {**design.changes, "mesh": design.plan.mesh.coarser(2.0)}
    return replace(design, name=f"{design.name} | {MESH}", changes=changes)


def _figure(record: Record | None, figure: str) -> float | None:
    return None if record is None or record.figures is None else record.figures.value(figure)


def _effect(design: Design, tolerance: Tolerance, records: Mapping[str, Record], figure: str) -> Effect:
    middle = _figure(records.get(design.name), figure)
    sides = [_figure(records.get(s.name), figure) for s in _shifted(design, tolerance)]
    known = [side for side in sides if side is not None]
    if middle is None or not known:
        return Effect(tolerance.name, shared=tolerance.shared, sides=0)
    if isinstance(tolerance, EccentricityTolerance):
        return Effect(tolerance.name, 0.0, known[0] - middle, tolerance.shared)
    return effect_of_sides(tolerance, middle, known, len(sides))


def effect_of_sides(tolerance: Tolerance, middle: float, known: Sequence[float], asked: int) -> Effect:
    """The effect of a tolerance from a figure (`middle`) and what it is at one deviation up and down, or at one side of
    them, of so many that were asked for."""
    if len(known) == 2:
        up, down = known
        return Effect(tolerance.name, (up - down) / 2, (up + down) / 2 - middle, tolerance.shared, 2, 2)
    return Effect(tolerance.name, known[0] - middle, 0.0, tolerance.shared, 1, asked)


def _mesh_effect(design: Design, records: Mapping[str, Record], figure: str) -> Effect:
    record = records.get(design.name)
    bound = None if record is None else error_from_map(record, figure)
    if bound is None:
        middle, coarse = (_figure(records.get(n), figure) for n in (design.name, f"{design.name} | {MESH}"))
        if middle is None or coarse is None:
            return Effect(MESH, sides=0)
        bound = abs(middle - coarse)
    return Effect(MESH, bound / 2)


def error_from_map(record: Record, figure: str) -> float | None:
    """The error of a figure of torque or power by the map's own estimate of its torque's error, of the pull by that of
    its own fields; None where there is none."""
    figures, machine_map = record.figures, record.outcome.machine_map
    if (kept := record.outcome.errors.get(figure)) is not None:
        return kept
    if figures is None or machine_map is None:
        return None
    point, _, of = figure.rpartition(".")
    if point:
        at_point = figures.operating_points.get(point)
        return _error_at(at_point, machine_map, of) if isinstance(at_point, OperatingPointFigures) else None
    if figure == "ripple":
        return ripple_error(machine_map, figures.current, figures.ripple, figures.mean_torque)
    if figure not in ("mean_torque", "lowest_torque", "highest_torque", "torque_per_loss"):
        return None
    error = torque_error(machine_map, figures.current)
    return error / figures.copper_loss if error is not None and figure == "torque_per_loss" else error


def _error_at(of: OperatingPointFigures, machine_map: CoupledMap, figure: str) -> float | None:
    """The error of a figure at a drive, by the torque's at its peak current.

    Losses are held to be as they are found: what the torque is off by times the speed is off in the power that goes
    through the gap, so in the power of either side, and the efficiency follows from that.
    """
    if figure == "ripple":
        return ripple_error(machine_map, of.peak_current, of.ripple, of.mean_torque)
    error = torque_error(machine_map, of.peak_current)
    if error is None or figure in ("mean_torque", "lowest_torque", "highest_torque"):
        return error
    if of.efficiency is None or not of.mean_torque or figure not in ("power_in", "power_out", "efficiency"):
        return None
    shaft = of.power_out if of.mean_torque > 0.0 else of.power_in
    power = error * shaft / abs(of.mean_torque)
    return (1.0 - of.efficiency) / of.power_in * power if figure == "efficiency" else power

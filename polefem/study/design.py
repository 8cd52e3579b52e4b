"""One design of a study: a base machine, what it changes, and what is asked of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from functools import cached_property
from typing import Any, Literal

from polefem.copper import Copper
from polefem.errors import InvalidValue, PolefemError, refusal, spelled
from polefem.estimates import Turning
from polefem.params import Machine, MeshSpec, RectangularCurrent, SuitedSwitching
from polefem.params.checks import number, positive, whole
from polefem.params.content import content, content_key
from polefem.params.fields import field_value, shown, with_fields
from polefem.params.quantity import Quantity, quantity, quantity_of
from polefem.ring import Hearing
from polefem.study.basis import Basis, EqualCopperLoss
from polefem.study.operating_points import OperatingPoint, RectangularOperatingPoint
from polefem.version import numerics

__all__ = ["Design", "Plan", "field_text", "number_of", "of_plan", "quantity_of_field"]


#: Digits behind the point of a millimetre or a degree that a person reads: a micron is less than can be cut.
_CUT = 3
#: Currents of a map, at least, that is to be read between its currents.
SUITED_CURRENTS = 3


@spelled
@dataclass(frozen=True)
class Plan:
    """What is computed of every design, and on which basis designs are compared.

    drive: when a phase conducts: the same angles for every design, or those that suit each. basis: what is equal.
    copper: how coils are filled and how warm they run. mesh: how fine. angle_points: over half a rotor pitch for
    symmetric poles, else over a whole one. current_points: of the map, up to the operating current or the most that
    the basis allows. coupling: "joint" for the torque of all phases in one field, "summed" for the quick sum of
    phases that do not know of each other. all_currents: whether the map knows phases together at any of their
    currents as closely as bridges need, and not at those of the rectangular current and on its ramps alone; so it does
    in any case where it is driven by a bridge below. end_effects: whether torque and currents are those of the map
    with estimates of end turns and end fringing in it, or how many times these estimates, as a machine on the bench
    was found to have them; inductances are the field's own in any case. turning: at which the iron loss is asked for;
    None for no iron loss. operating_points: other drives that each design is judged under, and what else
    is asked of it (a start, a reading of the angle), on the same map. hearing: how the pull in the gap is listened to
    at each of these that drives; None for not at all. rotor_offset: of the rotor from its axis, m, as in a seat bored
    aside: what that does to the torque is added, from fields of the whole turn. map_current: A, up to which the map
    goes at least: the highest that a bridge will let flow. slopes: fields of the machine in which the map's slopes are
    asked for too; of phases
    that are summed, at given switching angles. They are the machine's own while one phase conducts at a time, as with a
    dwell of one stroke. meshed_as: a near machine whose mesh is moved to each design, so that figures of near
    designs differ by their shapes and not by their meshes; None for a mesh of each design's own.
    """

    drive: RectangularCurrent | SuitedSwitching
    basis: Basis = field(default_factory=lambda: EqualCopperLoss(50.0))
    copper: Copper = field(default_factory=Copper)
    mesh: MeshSpec = field(default_factory=MeshSpec)
    angle_points: int = 31
    current_points: int = 6
    coupling: Literal["joint", "summed"] = "joint"
    all_currents: bool = False
    end_effects: bool | float = field(default=False, metadata=quantity(digits=3))
    turning: Turning | None = None
    operating_points: tuple[OperatingPoint, ...] = ()
    hearing: Hearing | None = None
    rotor_offset: float = field(default=0.0, metadata=quantity("mm"))
    map_current: float = field(default=0.0, metadata=quantity("A"))
    slopes: tuple[str, ...] = ()
    meshed_as: Machine | None = None

    @property
    def terms(self) -> str:
        """What designs are compared on, in words."""
        phases = "" if self.coupling == "joint" else ", phases summed as if each were alone"
        times = "" if self.end_effects is True else f"{self.end_effects:.3g} times the "
        return f"{self.basis}{phases}{f', with {times}estimates of end effects' if self.end_effects else ''}"

    @property
    def generating(self) -> bool:
        """Whether designs are to brake their rotors."""
        return self.drive.generating

    @property
    def at_any_current(self) -> bool:
        """Whether the map must know phases together at any of their currents, as closely as bridges need."""
        return self._bridged or self.basis.mean_torque is not None

    @property
    def _bridged(self) -> bool:
        """Whether currents are those of a bridge, of any value and with tails, or asked for as if they were."""
        bridge = any(point.at_any_current for point in self.operating_points)
        return self.all_currents or bridge or self.map_current > 0.0

    @property
    def ramped(self) -> bool:
        """Whether phases meet on the ramps of a current, so that each carries any part of it for a while."""
        drives = [
            self.drive,
            *(p.drive for p in self.operating_points if isinstance(p, RectangularOperatingPoint)),
        ]
        return any(drive.ramp for drive in drives)

    def dwells(self, stroke: float, pitch: float) -> tuple[float, float]:
        """The shortest and the longest dwell, as hot as steps, that a design may get, rad."""
        asked = [d for part in (self.drive, *self.operating_points) for d in part.dwells(stroke, pitch)]
        return min(asked), max(asked)

    def at_once(self, stroke: float, pitch: float) -> int:
        """How many phases may conduct at once, as far as the map must know it: three under a bridge, whose currents
        have tails, or where a current may flow for more than two strokes."""
        flows = [part.longest_flow(stroke, pitch) for part in (self.drive, *self.operating_points)]
        return 3 if self._bridged or max(flows) > 2 * stroke * (1 + 1e-9) else 2

    @property
    def point_figures(self) -> dict[str, tuple[str, ...]]:
        """The operating points by name, with the names of the figures that each gives."""
        return {point.name: point.gives.names() for point in self.operating_points}

    @property
    def can_have_slopes(self) -> bool:
        """Whether its map may have slopes: switching angles are given, and phases summed, or they meet under given
        angles alone."""
        points = all(isinstance(point, RectangularOperatingPoint) for point in self.operating_points)
        given = points and not self.all_currents and not self.map_current
        return isinstance(self.drive, RectangularCurrent) and (self.coupling == "summed" or given)

    @property
    def meeting(self) -> tuple[RectangularCurrent, ...]:
        """Under what phases meet, where slopes are asked for and phases share a field; else nothing."""
        if not self.slopes or self.coupling != "joint" or not isinstance(self.drive, RectangularCurrent):
            return ()
        points = [
            point.ways for point in self.operating_points if isinstance(point, RectangularOperatingPoint)
        ]
        return tuple(dict.fromkeys([self.drive, *(drive for ways in points for drive in ways)]))

    def check_slopes(self) -> None:
        """Raise InvalidValue where slopes of its map and figures cannot be asked for: switching angles are to be given,
        and phases summed, or to meet under given angles alone."""
        if not self.can_have_slopes:
            rule = "slopes are known at given switching angles, of phases summed or of those that meet under them alone"
            found = f"{self.coupling!r} with {self.drive}"
            allowed = (
                "a RectangularCurrent, and 'summed' with bridges, waveforms, map_current or all_currents"
            )
            raise InvalidValue(refusal(rule, "coupling", found, allowed))

    def __post_init__(self) -> None:
        whole("a map needs angles", "angle_points", self.angle_points, 5)
        whole("a map needs currents", "current_points", self.current_points, 1)
        if isinstance(self.drive, SuitedSwitching) and self.current_points < SUITED_CURRENTS:
            rule = "the current follows from the dwell where the switching suits each design"
            allowed = f"{SUITED_CURRENTS} or more"
            raise InvalidValue(refusal(rule, "current_points", self.current_points, allowed))
        if self.coupling not in ("joint", "summed"):
            rule = "phases share one field or are added up"
            raise InvalidValue(refusal(rule, "coupling", repr(self.coupling), "'joint' or 'summed'"))
        if self.slopes:
            self.check_slopes()
        asked = self.basis.mean_torque
        if asked is not None and (asked < 0.0) != self.generating:
            found = f"{asked:.4g} N m with {self.drive}"
            rule = "a motor is asked for a torque above 0 and a generator, which brakes, for one below"
            other = "motor" if self.generating else "generator"
            allowed = f"{-asked:.4g} N m, or the switching of a {other}"
            raise InvalidValue(refusal(rule, "basis.torque", found, allowed))
        positive("estimates of ends are taken some times", "end_effects", float(self.end_effects), zero=True)
        positive("a rotor is off its axis by a length", "rotor_offset", self.rotor_offset, "m", zero=True)
        positive("a map goes up to a current", "map_current", self.map_current, "A", zero=True)
        if self.hearing is not None and not self.operating_points:
            rule = "a machine is heard at an operating point"
            raise InvalidValue(refusal(rule, "operating_points", "none", "one or more, each with its speed"))
        names = [point.name for point in self.operating_points]
        if len(set(names)) < len(names):
            raise InvalidValue(
                refusal("each operating point has a name of its own", "operating_points", names, "each once")
            )


@dataclass(frozen=True, eq=False)
class Design:
    """A design by name. changes: new values by the dotted name of a field of the machine, or of the plan (those
    that begin with a part of the plan, such as "drive.turn_on").

    forbidden: why it is not to be computed at all, in one sentence; empty where it may be.

    The machine is made only when asked for, so that one that cannot be is refused as a design, not as a study.
    """

    name: str
    base: Machine
    changes: Mapping[str, Any]
    original_plan: Plan
    forbidden: str = ""

    @cached_property
    def machine(self) -> Machine:
        """The machine, changed; raises what its parts refuse, and InvalidValue for an unknown field."""
        return with_fields(self.base, {n: v for n, v in self.changes.items() if not of_plan(n)})

    @cached_property
    def plan(self) -> Plan:
        """The plan, changed; raises as `machine` does."""
        return with_fields(self.original_plan, {n: v for n, v in self.changes.items() if of_plan(n)})

    @property
    def can_have_slopes(self) -> bool:
        """Whether slopes of its map serve in place of more maps; of phases that share a field no more than two meet."""
        plan, machine = self.plan, self.machine
        alone = plan.coupling == "summed" or plan.at_once(machine.stroke, machine.rotor_pitch) == 2
        return plan.can_have_slopes and alone

    def switched(self, drive: RectangularCurrent) -> Design:
        """The design with its switching angles given: what a workshop does to it, its controller does not follow."""
        if not isinstance(self.plan.drive, SuitedSwitching):
            return self
        kept = {name: new for name, new in self.changes.items() if name.partition(".")[0] != "drive"}
        return replace(self, changes={**kept, "drive": drive})

    @cached_property
    def inputs(self) -> Mapping[str, Any]:
        """Everything that decides the figures, with what this program and its libraries make of it; for a machine that
        cannot be made, what it would be made from."""
        try:
            made = {"machine": self.machine, "plan": self.plan, "made with": numerics()}
            return {**made, "forbidden": self.forbidden} if self.forbidden else made
        except PolefemError:
            parts = {"base": self.base, "changes": dict(self.changes), "plan": self.original_plan}
            return {**parts, "made with": numerics()}

    @cached_property
    def key(self) -> str:
        """Stands for all the inputs: equal for equal inputs, whatever the name."""
        return content_key(self.inputs)

    @cached_property
    def map_key(self) -> str:
        """Stands for all the inputs of the map alone: equal for designs that differ in their drives and in nothing that
        the map's angles and currents follow from. Raises as `machine` and `plan` do."""
        plan = self.plan
        shortest, longest = plan.dwells(self.machine.stroke, self.machine.rotor_pitch)
        # An angle that was had by another sum differs in its last digits, and no map does.
        dwells = float(f"{shortest:.12g}"), float(f"{longest:.12g}")
        reach = plan.basis.reach_inputs(plan.copper, dwells)
        mesh = (plan.mesh, plan.meshed_as)
        size = (*mesh, plan.angle_points, plan.current_points, plan.map_current, plan.slopes)
        at_once = plan.at_once(self.machine.stroke, self.machine.rotor_pitch)
        phases = (plan.coupling, plan.at_any_current, plan.ramped, at_once, plan.meeting)
        return content_key(self.machine, size, phases, reach, numerics())

    @cached_property
    def plain_changes(self) -> dict[str, Any]:
        """The changes as numbers, text, lists and dicts."""
        plain = {name: content(value) for name, value in self.changes.items()}
        return plain

    def __repr__(self) -> str:
        return f"Design({self.name!r}, {', '.join(f'{n}={v}' for n, v in self.changes.items()) or 'as the base'})"


def of_plan(name: str) -> bool:
    """Whether a dotted name is of a field of the plan, not of the machine."""
    return name.partition(".")[0] in {f.name for f in fields(Plan)}


def number_of(machine: Machine, plan: Plan, name: str) -> float:
    """The number that a field of the machine or the plan has. Raises InvalidValue for a field that has none, and
    UnknownName for one that there is not."""
    return number(name, field_value(plan if of_plan(name) else machine, name))


def quantity_of_field(name: str) -> Quantity | None:
    """How a field that a study may change is shown, by its dotted name; None where nothing is said of it.

    >>> [quantity_of_field(name).unit for name in ("map_current", "operating_points.0.speed", "air_gap")]
    ['A', 'rpm', 'mm']
    >>> quantity_of_field("operating_points.0.current.currents.3")  # of a form, which is scaled: a bare number
    Quantity(unit='', digits=4, more_is_better=False, label='', turned=False)
    """
    return quantity_of(Plan if of_plan(name) else Machine, name)


def field_text(name: str, value: Any) -> str:
    """The value of a field that a study may change, as a person reads it: lengths and angles to what can be cut.

    >>> field_text("map_current", 20.0), field_text("rotor_pole.notches.0.width", 2e-3), field_text("stator_poles", 6)
    ('20 A', '2 mm', '6')
    >>> field_text("air_gap", 0.50011804e-3), field_text("rotor_pole.face.rises.0", 12e-9)
    ('0.5 mm', '0 mm')
    """
    how = quantity_of_field(name)
    if isinstance(value, float) and how is not None and how.unit in ("mm", "deg"):
        value = round(value / how.size, _CUT) * how.size
    return shown(Plan if of_plan(name) else Machine, name, value)

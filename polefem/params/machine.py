"""Radial machines, rotor inside or outside: every dimension that decides the field, checked."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import ClassVar

from polefem.errors import spelled
from polefem.materials import Steel
from polefem.params.checks import positive
from polefem.params.pole import Pole
from polefem.params.quantity import quantity
from polefem.params.row import Row
from polefem.params.salient import Salient, order
from polefem.params.winding import Winding

__all__ = ["OuterRotorMachine", "RadialMachine"]


class _Round(Salient):
    """What machines about a shaft share."""

    shaft_steel: Steel | None
    surrounding_air: float
    stack_length: float

    @property
    def section_length(self) -> float:
        """Along which its section acts, m."""
        return self.stack_length

    @property
    def cut_radii(self) -> tuple[tuple[float | None, float], ...]:
        """Radius and length (m) of every section that its field is computed in: no radius, and its whole length."""
        return ((None, self.section_length),)

    @property
    def height(self) -> float:
        """Of the steel along the shaft, m."""
        return self.stack_length

    @property
    def magnetic_shaft(self) -> Steel | None:
        """The steel of a shaft that carries flux; None where it carries none."""
        return self.shaft_steel

    def _check_outside(self) -> None:
        rule = "the air round a machine cannot be thinner than nothing"
        positive(rule, "surrounding_air", self.surrounding_air, "m", zero=True)


@spelled
@dataclass(frozen=True)
class RadialMachine(_Round):
    """A radial-flux machine, its rotor inside its stator. All lengths in m, angles in rad.

    stator_poles, rotor_poles: how many. stator_outer_radius: outside of the stator yoke. rotor_outer_radius: to the
    rotor pole faces. air_gap: from rotor face to stator face, so that the stator faces lie on rotor_outer_radius +
    air_gap. stator_yoke_thickness: radial. rotor_yoke_radius: to the valleys between rotor poles. shaft_radius: of
    the hole for the shaft. stack_length: along the shaft. stator_pole, rotor_pole: one for all, or a tuple that
    repeats round the machine. rotor_steel: where it differs from `steel`. stacking_factor: share of iron in the
    length of a stack of sheets, about 0.95 for usual ones; 1 where nothing is said, as in solid iron.
    rotor_stacking_factor: where it differs. shaft_steel: of a solid shaft that fills its hole and carries flux;
    None for a shaft that is not magnetic, or stands off. surrounding_air: how far the field is followed outside the
    yoke, m; 0 where none is taken to leave it. single_phase: a rig whose poles are all aligned at once. must_start:
    refuse pole arcs that leave rest angles from which no phase can start it. unusual: let sizes stand that no machine
    is built in, which are else taken for units left out.

    Raises InvalidValue for a number no machine can have, GeometryRefused where numbers contradict each other.
    """

    stator_poles: int
    rotor_poles: int
    stator_outer_radius: float = field(metadata=quantity("mm"))
    rotor_outer_radius: float = field(metadata=quantity("mm"))
    air_gap: float = field(metadata=quantity("mm"))
    stator_yoke_thickness: float = field(metadata=quantity("mm"))
    rotor_yoke_radius: float = field(metadata=quantity("mm"))
    shaft_radius: float = field(metadata=quantity("mm"))
    stack_length: float = field(metadata=quantity("mm"))
    stator_pole: Pole | tuple[Pole, ...]
    rotor_pole: Pole | tuple[Pole, ...]
    winding: Winding
    steel: Steel
    rotor_steel: Steel | None = None
    stacking_factor: float = field(default=1.0, metadata=quantity())
    rotor_stacking_factor: float | None = field(default=None, metadata=quantity())
    shaft_steel: Steel | None = None
    surrounding_air: float = field(default=0.0, metadata=quantity("mm"))
    single_phase: bool = False
    must_start: bool = True
    unusual: bool = field(default=False, compare=False)

    gap_radius_name: ClassVar[str] = "rotor_outer_radius"

    def __post_init__(self) -> None:
        self._check_lengths(
            air_gap="the air gap must be open",
            stator_yoke_thickness="the stator yoke must have a thickness",
            stack_length="the stack must have a length",
            stator_outer_radius="the stator must have a size",
            rotor_outer_radius="the rotor must have a size",
            rotor_yoke_radius="the rotor yoke must have a radius",
            shaft_radius="the shaft must have a radius",
        )
        self._check_poles()
        self._check_sizes(self.outside_radius)
        self._check_outside()
        shaft, yoke, rotor = self.shaft_radius, self.rotor_yoke_radius, self.rotor_outer_radius
        order("the shaft must lie inside the rotor yoke", "shaft_radius", shaft, yoke)
        order("the rotor yoke must lie inside the rotor poles", "rotor_yoke_radius", yoke, rotor)
        rule = "the stator pole faces must lie inside the stator yoke"
        order(rule, "stator_bore_radius", self.stator_bore_radius, self.slot_radius)

    @property
    def stator_bore_radius(self) -> float:
        """Radius of the stator pole faces, m."""
        return self.rotor_outer_radius + self.air_gap

    @property
    def slot_radius(self) -> float:
        """Radius of the slot bottoms, where the stator yoke begins, m."""
        return self.stator_outer_radius - self.stator_yoke_thickness

    @property
    def outside_radius(self) -> float:
        """Of the steel, m."""
        return self.stator_outer_radius

    @property
    def rotor_pole_height(self) -> float:
        """From face to yoke, m."""
        return self.rotor_outer_radius - self.rotor_yoke_radius

    @property
    def gap_lever(self) -> float:
        """Integral of the radius over the gap, m3: the torque of a shear of 1 Pa, the rotor full to the gap."""
        return 2 * math.pi * self.rotor_outer_radius**2 * self.stack_length

    def rows(self, radius: float | None = None) -> tuple[Row, Row]:
        """Rotor and stator of its section, which is one at any radius; past the air round the stator no flux goes."""
        rotor = Row(
            name="rotor",
            pattern=self.rotor_pattern,
            poles=self.rotor_poles,
            face=self.rotor_outer_radius,
            root=self.rotor_yoke_radius,
            back=self.shaft_radius,
            far=0.0,
            far_fixed=False,
            shaft=self.shaft_steel is not None,
        )
        stator = Row(
            name="stator",
            pattern=self.stator_pattern,
            poles=self.stator_poles,
            face=self.stator_bore_radius,
            root=self.slot_radius,
            back=self.stator_outer_radius,
            far=self.stator_outer_radius + self.surrounding_air,
            far_fixed=True,
            windings=(self.winding,) * len(self.stator_pattern),
        )
        return rotor, stator


@spelled
@dataclass(frozen=True)
class OuterRotorMachine(_Round):
    """A radial-flux machine whose rotor runs round its stator. All lengths in m, angles in rad.

    rotor_outer_radius: outside of the rotor yoke. rotor_yoke_thickness: radial. stator_outer_radius: to the stator
    pole faces; the rotor faces lie on stator_outer_radius + air_gap. stator_yoke_radius: to the slot bottoms.
    shaft_radius: of the hole in the stator for the axle, whose steel `shaft_steel` is. The rest as in
    `RadialMachine`.

    Raises InvalidValue for a number no machine can have, GeometryRefused where numbers contradict each other.
    """

    stator_poles: int
    rotor_poles: int
    rotor_outer_radius: float = field(metadata=quantity("mm"))
    stator_outer_radius: float = field(metadata=quantity("mm"))
    air_gap: float = field(metadata=quantity("mm"))
    rotor_yoke_thickness: float = field(metadata=quantity("mm"))
    stator_yoke_radius: float = field(metadata=quantity("mm"))
    shaft_radius: float = field(metadata=quantity("mm"))
    stack_length: float = field(metadata=quantity("mm"))
    stator_pole: Pole | tuple[Pole, ...]
    rotor_pole: Pole | tuple[Pole, ...]
    winding: Winding
    steel: Steel
    rotor_steel: Steel | None = None
    stacking_factor: float = field(default=1.0, metadata=quantity())
    rotor_stacking_factor: float | None = field(default=None, metadata=quantity())
    shaft_steel: Steel | None = None
    surrounding_air: float = field(default=0.0, metadata=quantity("mm"))
    single_phase: bool = False
    must_start: bool = True
    unusual: bool = field(default=False, compare=False)

    gap_radius_name: ClassVar[str] = "stator_outer_radius"

    def __post_init__(self) -> None:
        self._check_lengths(
            air_gap="the air gap must be open",
            rotor_yoke_thickness="the rotor yoke must have a thickness",
            stack_length="the stack must have a length",
            rotor_outer_radius="the rotor must have a size",
            stator_outer_radius="the stator must have a size",
            stator_yoke_radius="the stator yoke must have a radius",
            shaft_radius="the shaft must have a radius",
        )
        self._check_poles()
        self._check_sizes(self.outside_radius)
        self._check_outside()
        shaft, yoke, stator = self.shaft_radius, self.stator_yoke_radius, self.stator_outer_radius
        order("the axle must lie inside the stator yoke", "shaft_radius", shaft, yoke)
        order("the stator yoke must lie inside the stator poles", "stator_yoke_radius", yoke, stator)
        rule = "the rotor pole faces must lie inside the rotor yoke"
        order(rule, "rotor_bore_radius", self.rotor_bore_radius, self.valley_radius)

    @property
    def rotor_bore_radius(self) -> float:
        """Radius of the rotor pole faces, m."""
        return self.stator_outer_radius + self.air_gap

    @property
    def valley_radius(self) -> float:
        """Radius of the valleys between rotor poles, where the rotor yoke begins, m."""
        return self.rotor_outer_radius - self.rotor_yoke_thickness

    @property
    def outside_radius(self) -> float:
        """Of the steel, m."""
        return self.rotor_outer_radius

    @property
    def rotor_pole_height(self) -> float:
        """From face to yoke, m."""
        return self.valley_radius - self.rotor_bore_radius

    @property
    def gap_lever(self) -> float:
        """Integral of the radius over the gap, m3: the torque of a shear of 1 Pa, the rotor full to the gap."""
        return 2 * math.pi * self.rotor_bore_radius**2 * self.stack_length

    def rows(self, radius: float | None = None) -> tuple[Row, Row]:
        """Rotor and stator of its section, which is one at any radius; past the air round the rotor no flux goes."""
        rotor = Row(
            name="rotor",
            pattern=self.rotor_pattern,
            poles=self.rotor_poles,
            face=self.rotor_bore_radius,
            root=self.valley_radius,
            back=self.rotor_outer_radius,
            far=self.rotor_outer_radius + self.surrounding_air,
            far_fixed=True,
        )
        stator = Row(
            name="stator",
            pattern=self.stator_pattern,
            poles=self.stator_poles,
            face=self.stator_outer_radius,
            root=self.stator_yoke_radius,
            back=self.shaft_radius,
            far=0.0,
            far_fixed=False,
            windings=(self.winding,) * len(self.stator_pattern),
            shaft=self.shaft_steel is not None,
        )
        return rotor, stator

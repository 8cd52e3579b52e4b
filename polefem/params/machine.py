"""A machine: every dimension that decides its field, checked at the door."""

from __future__ import annotations

import math
from dataclasses import dataclass

from polefem.errors import GeometryRefused, InvalidValue, refusal
from polefem.materials import Steel
from polefem.params.checks import positive, whole
from polefem.params.pole import Pole
from polefem.params.winding import Winding

__all__ = ["RadialMachine"]


@dataclass(frozen=True)
class RadialMachine:
    """A radial-flux machine, its rotor inside its stator. All lengths in m, angles in rad.

    stator_poles, rotor_poles: how many. stator_outer_radius: outside of the stator yoke. rotor_outer_radius:
    to the rotor pole faces. air_gap: from rotor face to stator face, so that the stator faces lie on
    rotor_outer_radius + air_gap. stator_yoke_thickness: radial. rotor_yoke_radius: to the valleys between
    rotor poles. shaft_radius: of the hole for a non-magnetic shaft. stack_length: along the shaft.
    rotor_steel: where it differs from `steel`.

    Raises InvalidValue for a number no machine can have, GeometryRefused where numbers contradict each other.
    """

    stator_poles: int
    rotor_poles: int
    stator_outer_radius: float
    rotor_outer_radius: float
    air_gap: float
    stator_yoke_thickness: float
    rotor_yoke_radius: float
    shaft_radius: float
    stack_length: float
    stator_pole: Pole
    rotor_pole: Pole
    winding: Winding
    steel: Steel
    rotor_steel: Steel | None = None

    def __post_init__(self) -> None:
        whole("a stator must have poles in pairs", "stator_poles", self.stator_poles, 2)
        whole("a rotor must have poles in pairs", "rotor_poles", self.rotor_poles, 2)
        if self.stator_poles % 2:
            raise InvalidValue(
                refusal("a stator must have poles in pairs", "stator_poles", self.stator_poles, "even")
            )
        positive("the air gap must be open", "air_gap", self.air_gap, "m")
        positive(
            "the stator yoke must have a thickness", "stator_yoke_thickness", self.stator_yoke_thickness, "m"
        )
        positive("the stack must have a length", "stack_length", self.stack_length, "m")
        positive("the stator must have a size", "stator_outer_radius", self.stator_outer_radius, "m")
        positive("the rotor must have a size", "rotor_outer_radius", self.rotor_outer_radius, "m")
        positive("the rotor yoke must have a radius", "rotor_yoke_radius", self.rotor_yoke_radius, "m")
        positive("the shaft must have a radius", "shaft_radius", self.shaft_radius, "m")
        self._check_radii()

    def _check_radii(self) -> None:
        def order(rule: str, name: str, value: float, limit: float) -> None:
            if value >= limit:
                found, most = f"{value * 1e3:.4g} mm", f"below {limit * 1e3:.4g} mm"
                raise GeometryRefused(refusal(rule, name, found, most))

        order(
            "the shaft must lie inside the rotor yoke",
            "shaft_radius",
            self.shaft_radius,
            self.rotor_yoke_radius,
        )
        order(
            "the rotor yoke must lie inside the rotor poles",
            "rotor_yoke_radius",
            self.rotor_yoke_radius,
            self.rotor_outer_radius,
        )
        order(
            "the stator pole faces must lie inside the stator yoke",
            "stator_bore_radius",
            self.stator_bore_radius,
            self.slot_radius,
        )

    @property
    def stator_bore_radius(self) -> float:
        """Radius of the stator pole faces, m."""
        return self.rotor_outer_radius + self.air_gap

    @property
    def slot_radius(self) -> float:
        """Radius of the slot bottoms, where the stator yoke begins, m."""
        return self.stator_outer_radius - self.stator_yoke_thickness

    @property
    def rotor_pitch(self) -> float:
        """Angle from one rotor pole to the next, rad: torque and flux linkage repeat over it."""
        return 2 * math.pi / self.rotor_poles

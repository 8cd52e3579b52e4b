"""Axial machines: discs that face each other, one gap or two."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import ClassVar, Literal

import numpy as np

from polefem.errors import GeometryRefused, InvalidValue, refusal, spelled
from polefem.materials import Steel
from polefem.params.checks import both, positive, whole
from polefem.params.cuts import cut_pole, cut_winding
from polefem.params.pole import Pole
from polefem.params.quantity import quantity
from polefem.params.row import Row
from polefem.params.salient import Salient, order
from polefem.params.winding import Winding

__all__ = ["AxialMachine"]

BUILDS = ("one gap", "two rotors", "two stators")
FLANKS = ("radial", "parallel", "round")


@spelled
@dataclass(frozen=True)
class AxialMachine(Salient):
    """An axial-flux machine: a disc of stator poles faces a disc of rotor poles. All lengths in m, angles in rad.

    inner_radius, outer_radius: between which the poles lie. air_gap: of one gap. stator_pole_height,
    rotor_pole_height: along the shaft, from face to yoke. stator_yoke_thickness, rotor_yoke_thickness: of the
    backing plates. stator_pole, rotor_pole: as in `RadialMachine`; `arc` holds at the mean radius.
    stator_flanks, rotor_flanks: what the poles look like along the shaft: "radial" flanks (sectors),
    "parallel" flanks, or "round" cores, midway between the radii. steel, rotor_steel,
    stacking_factor, rotor_stacking_factor, single_phase, must_start, unusual: as in `RadialMachine`.

    build: "one gap", or with a disc in the middle between two others that are mirror images: "two rotors"
    round one stator, "two stators" round one rotor. Half of a double-sided machine is computed, up to the
    plane of symmetry. The pole height of the middle disc is that of one side; the thickness of its yoke is
    the whole, half of which lies on each side. through_flux: in a double-sided build, whether flux goes
    straight through the middle disc, which then needs no yoke (thickness 0): the plane is crossed at right
    angles, and A is free there. Where it turns in the middle disc's yoke instead (coils on both faces push
    against each other), the plane is a flux line and A is 0 there, as on the outer backs of the plates. A
    stator core that flux goes straight through carries one coil of turns_per_pole turns, half of it on each
    side; else each face has a coil of its own, both in series.

    cuts: how many cylinders the machine is cut by; each is unrolled into a flat section. They lie at the
    points of Gauss and Legendre, so that a few suffice where the fields vary smoothly with the radius: of a
    6/4 machine, three give the flux linkage of twelve within 0.1 % and the torque within 0.3 % of its peak
    where flanks are radial or parallel. Round cores narrow towards both radii, so that their corners pass one
    after another: three cuts miss by 2 % and 9 %, six by 0.3 % and 2 % (`tests/benchmarks/axial_cuts.py`). What
    this leaves out: flux with a radial component (from cut to cut, and past the inner and outer ends of the
    poles), the end turns, and the bending of the unrolled circle.

    Raises InvalidValue for a number no machine can have, GeometryRefused where numbers contradict each other.
    """

    stator_poles: int
    rotor_poles: int
    inner_radius: float = field(metadata=quantity("mm"))
    outer_radius: float = field(metadata=quantity("mm"))
    air_gap: float = field(metadata=quantity("mm"))
    stator_pole_height: float = field(metadata=quantity("mm"))
    rotor_pole_height: float = field(metadata=quantity("mm"))
    stator_yoke_thickness: float = field(metadata=quantity("mm"))
    rotor_yoke_thickness: float = field(metadata=quantity("mm"))
    stator_pole: Pole | tuple[Pole, ...]
    rotor_pole: Pole | tuple[Pole, ...]
    winding: Winding
    steel: Steel
    rotor_steel: Steel | None = None
    stacking_factor: float = field(default=1.0, metadata=quantity())
    rotor_stacking_factor: float | None = field(default=None, metadata=quantity())
    stator_flanks: Literal["radial", "parallel", "round"] = "radial"
    rotor_flanks: Literal["radial", "parallel", "round"] = "radial"
    build: Literal["one gap", "two rotors", "two stators"] = "one gap"
    through_flux: bool = True
    cuts: int = 3
    single_phase: bool = False
    must_start: bool = True
    unusual: bool = field(default=False, compare=False)

    flat: ClassVar[bool] = True
    gap_radius_name: ClassVar[str] = "outer_radius"

    def __post_init__(self) -> None:
        self._check_lengths(
            air_gap="the air gap must be open",
            inner_radius="the poles must begin outside the shaft",
            outer_radius="the machine must have a size",
            stator_pole_height="stator poles must have a height",
            rotor_pole_height="rotor poles must have a height",
        )
        self._check_poles()
        self._check_sizes(self.outside_radius)
        order("the poles must have a radial length", "inner_radius", self.inner_radius, self.outer_radius)
        whole("an axial machine is cut at least once", "cuts", self.cuts)
        for name, value, allowed in (
            ("build", self.build, BUILDS),
            ("stator_flanks", self.stator_flanks, FLANKS),
            ("rotor_flanks", self.rotor_flanks, FLANKS),
        ):
            if value not in allowed:
                raise InvalidValue(
                    refusal("an axial machine is of a known kind", name, repr(value), ", ".join(allowed))
                )
        for member in ("stator", "rotor"):
            name = f"{member}_yoke_thickness"
            rule = "a yoke must have a thickness, unless flux goes straight through the disc in the middle"
            thick = positive(
                rule, name, getattr(self, name), "m", zero=self.middle == member and self.through_flux
            )
            for root in ("root_fillet", "flank_length"):
                sizes = [
                    size for pole in getattr(self, f"{member}_pattern") for size in both(getattr(pole, root))
                ]
                if not thick and any(sizes):
                    rule = "a pole without a yoke has no root to fill or to scoop out"
                    raise InvalidValue(
                        refusal(rule, f"{member}_pole.{root}", f"{max(sizes) * 1e3:.4g} mm", "0 mm")
                    )

    @property
    def middle(self) -> Literal["rotor", "stator"] | None:
        """Which disc lies in the plane of symmetry of a double-sided build."""
        if self.build == "one gap":
            return None
        return "stator" if self.build == "two rotors" else "rotor"

    @property
    def mean_radius(self) -> float:
        """Radius midway between the ends of the poles, m."""
        return (self.inner_radius + self.outer_radius) / 2

    @property
    def halves(self) -> int:
        """How many times a computed section stands in the machine: 2 in a double-sided build."""
        return 1 if self.middle is None else 2

    @property
    def section_turns(self) -> float:
        """Turns of a pole's coil that lie in one computed section."""
        shared = self.middle == "stator" and self.stator_yoke_thickness == 0
        return self.winding.turns_per_pole / (2 if shared else 1)

    @property
    def section_length(self) -> float:
        """Along which the section at the mean radius stands for all of it: the radial length of the poles, m."""
        return self.outer_radius - self.inner_radius

    @property
    def round_cores(self) -> bool:
        """Whether coils are circles round cores."""
        return self.stator_flanks == "round"

    @property
    def end_radii(self) -> tuple[float, ...]:
        """Where sectors and poles of parallel flanks end: radii (m) at which a section must be sound too."""
        ends = self.inner_radius, self.outer_radius
        return () if "round" in (self.stator_flanks, self.rotor_flanks) else ends

    @property
    def outside_radius(self) -> float:
        """Of the steel, m."""
        return self.outer_radius

    @property
    def height(self) -> float:
        """Of the steel along the shaft, m: both sides of a double-sided build, its middle yoke once."""
        stator, rotor = self.stator_yoke_thickness, self.rotor_yoke_thickness
        side = self.stator_pole_height + self.air_gap + self.rotor_pole_height
        once = {"stator": stator, "rotor": rotor, None: 0.0}[self.middle]
        return self.halves * (side + stator + rotor - once) + once

    @property
    def gap_lever(self) -> float:
        """Integral of the radius over all gaps, m3: the torque of a shear of 1 Pa."""
        return self.halves * 2 / 3 * math.pi * (self.outer_radius**3 - self.inner_radius**3)

    @property
    def disc_radii(self) -> tuple[float, float]:
        """Inner and outer radius of its discs, m."""
        return self.inner_radius, self.outer_radius

    @property
    def cut_radii(self) -> tuple[tuple[float, float], ...]:
        """Radius and radial length (m) of every cut: points and weights of Gauss and Legendre over the poles' length.

        Where poles are round cores the cuts share out the length of the shortest core: past it no flux is reckoned.

        Raises GeometryRefused for a round core larger than the distance between the radii.
        """
        low, high = self.inner_radius, self.outer_radius
        length = high - low
        for name, flanks, pattern in (
            ("stator", self.stator_flanks, self.stator_pattern),
            ("rotor", self.rotor_flanks, self.rotor_pattern),
        ):
            for core in map(self.core_diameter, pattern if flanks == "round" else ()):
                if core > length:
                    most = f"up to outer_radius - inner_radius, {length * 1e3:.4g} mm"
                    found = f"{core * 1e3:.4g} mm across"
                    rule = "a round core must lie between the radii"
                    raise GeometryRefused(refusal(rule, f"{name}_pole.arc", found, most))
                low, high = max(low, self.mean_radius - core / 2), min(high, self.mean_radius + core / 2)
        places, weights = np.polynomial.legendre.leggauss(self.cuts)
        radii = (low + high) / 2 + (high - low) / 2 * places
        return tuple((float(r), float(w * (high - low) / 2)) for r, w in zip(radii, weights, strict=True))

    def core_diameter(self, pole: Pole) -> float:
        """Diameter of the round core whose arc about the shaft, along the mean radius, is the pole's, m."""
        return 4 * self.mean_radius * math.sin(pole.arc / 4)

    def rows(self, radius: float | None = None) -> tuple[Row, Row]:
        """Rotor (below x = 0) and stator of the flat section at a radius (m), the mean one if not said, up to the plane
        of symmetry if any. Raises GeometryRefused where a pole or its coil does not reach that radius."""
        gap, mean = self.air_gap, self.mean_radius
        at = mean if radius is None else radius
        share = {name: 0.5 if self.middle == name else 1.0 for name in ("rotor", "stator")}
        free = {name: self.middle == name and self.through_flux for name in ("rotor", "stator")}
        rotor_root = -self.rotor_pole_height
        rotor_back = rotor_root - share["rotor"] * self.rotor_yoke_thickness
        stator_root = gap + self.stator_pole_height
        stator_back = stator_root + share["stator"] * self.stator_yoke_thickness
        rotor = Row(
            name="rotor",
            pattern=tuple(cut_pole(pole, self.rotor_flanks, mean, at) for pole in self.rotor_pattern),
            poles=self.rotor_poles,
            face=0.0,
            root=rotor_root,
            back=rotor_back,
            far=rotor_back,
            far_fixed=not free["rotor"],
            radius=at,
        )
        flanks, pattern = self.stator_flanks, self.stator_pattern
        stator = Row(
            name="stator",
            pattern=tuple(cut_pole(pole, flanks, mean, at) for pole in pattern),
            poles=self.stator_poles,
            face=gap,
            root=stator_root,
            back=stator_back,
            far=stator_back,
            far_fixed=not free["stator"],
            windings=tuple(cut_winding(self.winding, pole, flanks, mean, at) for pole in pattern),
            radius=at,
        )
        return rotor, stator

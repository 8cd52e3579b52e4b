"""What every machine of two rows of poles has in common, whatever its build."""

from __future__ import annotations

import math
from typing import Any, ClassVar, Literal

from polefem.errors import GeometryRefused, InvalidValue, refusal
from polefem.materials import Steel
from polefem.params.checks import number, positive, whole
from polefem.params.phases import Phases, phases_of, rejoined
from polefem.params.pole import Pole
from polefem.params.usual import check_usual
from polefem.params.winding import Winding

__all__ = ["Salient", "order"]


class Salient:
    """Pole counts, patterns and phases; a mixin for the frozen dataclasses that hold the fields."""

    stator_poles: int
    rotor_poles: int
    stator_pole: Pole | tuple[Pole, ...]
    rotor_pole: Pole | tuple[Pole, ...]
    winding: Winding
    steel: Steel
    rotor_steel: Steel | None
    stacking_factor: float
    rotor_stacking_factor: float | None
    single_phase: bool
    air_gap: float
    unusual: bool

    gap_radius_name: ClassVar[str]
    """The field that says how far from the shaft the gap lies, at most."""

    flat: ClassVar[bool] = False
    """Whether its cross sections are unrolled ones (x across the gap, y along the motion), at one radius each."""

    @property
    def middle(self) -> Literal["rotor", "stator"] | None:
        """Which member lies in a plane of symmetry, so that sections show half of it."""
        return None

    @property
    def round_cores(self) -> bool:
        """Whether coils are circles round cores."""
        return False

    @property
    def end_radii(self) -> tuple[float, ...]:
        """Radii (m) at which a section must be sound too, though no field is computed there."""
        return ()

    @property
    def rotor_pitch(self) -> float:
        """Angle from one rotor pole to the next, rad."""
        return 2 * math.pi / self.rotor_poles

    @property
    def stator_pattern(self) -> tuple[Pole, ...]:
        """The stator poles of the shortest row that repeats round the machine, from the first pole on."""
        return _pattern(self.stator_pole)

    @property
    def rotor_pattern(self) -> tuple[Pole, ...]:
        """The rotor poles of the shortest row that repeats round the machine, from the first pole on."""
        return _pattern(self.rotor_pole)

    @property
    def phases(self) -> Phases:
        """Phase and polarity of every stator pole: the winding's own, or what is usual."""
        usual = phases_of(self.stator_poles, self.rotor_poles, self.single_phase)
        return rejoined(usual, self.winding.phase_of_pole, self.winding.polarity)

    @property
    def disc_radii(self) -> tuple[float, float] | None:
        """Inner and outer radius (m) of discs whose poles grow as wide as plates and sectors do; None for others."""
        return None

    @property
    def magnetic_shaft(self) -> Steel | None:
        """The steel of a shaft that carries flux; None where it carries none."""
        return None

    @property
    def section_turns(self) -> float:
        """Turns of a pole's coil that lie in one computed section."""
        return self.winding.turns_per_pole

    @property
    def halves(self) -> int:
        """How many times a computed section stands in the machine."""
        return 1

    @property
    def core_steels(self) -> tuple[Steel, Steel]:
        """Of rotor and stator, as they are bought."""
        return self.rotor_steel or self.steel, self.steel

    @property
    def stacking_factors(self) -> tuple[float, float]:
        """Share of iron in the length of rotor and stator."""
        rotor = self.stacking_factor if self.rotor_stacking_factor is None else self.rotor_stacking_factor
        return rotor, self.stacking_factor

    @property
    def stacked_steels(self) -> tuple[Steel, Steel]:
        """What a field finds in rotor and stator: iron, and the insulation between its sheets."""
        rotor, stator = (
            steel if share == 1.0 else steel.stacked(share)
            for steel, share in zip(self.core_steels, self.stacking_factors, strict=True)
        )
        return rotor, stator

    @property
    def stroke(self) -> float:
        """Angle from where one phase is aligned to where the next is, rad."""
        return self.rotor_pitch / self.phases.count

    def _check_poles(self) -> None:
        whole("a stator must have poles in pairs", "stator_poles", self.stator_poles, 2)
        whole("a rotor must have poles in pairs", "rotor_poles", self.rotor_poles, 2)
        if self.stator_poles % 2:
            rule = "a stator must have poles in pairs"
            raise InvalidValue(refusal(rule, "stator_poles", self.stator_poles, "even"))
        for name, poles in (("stator_pole", self.stator_poles), ("rotor_pole", self.rotor_poles)):
            _check_pattern(name, getattr(self, name), poles)
        for name in ("stacking_factor", "rotor_stacking_factor"):
            _check_share(name, getattr(self, name))
        _check_winding(self.winding, self.phases)

    def _check_sizes(self, outside: float) -> None:
        """Sizes that no machine is built in must be meant. outside: radius of the steel, m."""
        if not self.unusual:
            check_usual(self, outside)

    def _check_lengths(self, **rules: str) -> None:
        """Each named field must be above zero, or the rule is broken."""
        for name, rule in rules.items():
            positive(rule, name, getattr(self, name), "m")


def order(rule: str, name: str, value: float, limit: float) -> None:
    """Refuse a length that is not below a limit."""
    if value >= limit:
        raise GeometryRefused(refusal(rule, name, f"{value * 1e3:.4g} mm", f"below {limit * 1e3:.4g} mm"))


def _pattern(poles: Pole | tuple[Pole, ...]) -> tuple[Pole, ...]:
    row = poles if isinstance(poles, tuple) else (poles,)
    return next(
        row[:k] for k in range(1, len(row) + 1) if len(row) % k == 0 and row == row[:k] * (len(row) // k)
    )


def _check_pattern(name: str, pattern: Any, poles: int) -> None:
    row = pattern if isinstance(pattern, tuple) else (pattern,)
    if not row or not all(isinstance(pole, Pole) for pole in row):
        raise InvalidValue(
            refusal("a pole is described by a Pole", name, repr(pattern), "a Pole or a tuple of them")
        )
    if poles % len(row):
        found = f"{len(row)} poles in {poles}"
        raise GeometryRefused(
            refusal(
                "a pattern of poles must repeat a whole number of times", name, found, f"a divisor of {poles}"
            )
        )


def _check_share(name: str, share: float | None) -> None:
    if share is not None and not 0.0 < number(name, share) <= 1.0:
        raise InvalidValue(refusal("a stack is part iron", name, f"{share:.6g}", "above 0, up to 1"))


def _check_winding(winding: Winding, phases: Phases) -> None:
    each = len(phases.poles(0))
    if each % winding.parallel_paths:
        found = f"{winding.parallel_paths} for {each} poles"
        raise GeometryRefused(
            refusal(
                "coils must share the paths evenly", "winding.parallel_paths", found, f"a divisor of {each}"
            )
        )

"""A study: a base machine, what varies, what is asked of each design, and on which basis they are compared."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from polefem.errors import InvalidValue, PolefemError, UnknownName, refusal, spelled
from polefem.params import Machine, RectangularCurrent, SuitedSwitching
from polefem.params.checks import made, printable, whole
from polefem.params.fields import field_value
from polefem.study.design import Design, Plan, number_of, of_plan
from polefem.study.objectives import Limit, check_figure
from polefem.study.operating_points import SwitchingTable
from polefem.study.sampling import Variant
from polefem.study.sensitivity import Sensitivities
from polefem.study.tolerances import Tolerance

__all__ = ["Constraint", "Study", "Values"]


class Values(Mapping[str, Any]):
    """Fields of a design by dotted name: what it changes, else what the base machine or the plan has."""

    def __init__(self, base: Machine, plan: Plan, changes: Mapping[str, Any]) -> None:
        self._base, self._plan, self._changes = base, plan, changes

    def __getitem__(self, name: str) -> Any:
        above, below = name, ""
        while above:  # a part that is changed whole says what lies below it
            if above in self._changes:
                return field_value(self._changes[above], below) if below else self._changes[above]
            above, _, last = above.rpartition(".")
            below = f"{last}.{below}" if below else last
        return field_value(self._plan if of_plan(name) else self._base, name)

    def __iter__(self) -> Any:
        return iter(self._changes)

    def __len__(self) -> int:
        return len(self._changes)


@spelled
@dataclass(frozen=True)
class Constraint:
    """What every design must satisfy before anything is computed: a rule in words, and a function of its `Values`
    that is true where the rule is kept."""

    rule: str
    kept: Callable[[Mapping[str, Any]], bool]


@spelled
@dataclass(frozen=True, eq=False)
class Study:
    """What a study file says.

    name: of the study; its results are kept under it. base: the machine that variants change. plan: what is computed of
    each. variants: the designs, each with a name of its own: a list of `Variant`s, a `Grid`, a `LatinHypercube`,
    `SobolPoints`, or several of these in a list with stars. linked: fields that follow from others, by dotted name:
    functions of a design's `Values`. constraints: what a design must keep. objectives: the figures that order the
    designs; the first ranks them, several make a Pareto set. limits: what a figure must keep. tolerances: what a
    workshop does to a design; with any, the first `error_bars` designs get error bars. sensitivities: what to find out
    of what fields do to figures, about the base machine. switching: a table for the controller of the design that wins,
    on request.

    Raises InvalidValue for no variants, two of one name, or a figure that designs do not have.
    """

    name: str
    base: Machine
    plan: Plan
    variants: Iterable[Variant]
    linked: Mapping[str, Callable[[Mapping[str, Any]], Any]] = field(default_factory=dict)
    constraints: tuple[Constraint, ...] = ()
    objectives: tuple[str, ...] = ("ripple",)
    limits: tuple[Limit, ...] = ()
    tolerances: tuple[Tolerance, ...] = ()
    error_bars: int = 4
    sensitivities: Sensitivities | None = None
    switching: SwitchingTable | None = None

    def __post_init__(self) -> None:
        printable("a study has a name", "name", self.name)
        made("a study changes a machine", "base", self.base, Machine, "a machine, as load_machine gives it")
        made("a study is computed as a plan says", "plan", self.plan, Plan, "Plan(...)")
        object.__setattr__(self, "variants", tuple(self.variants))
        for variant in self.variants:
            made("a study compares variants", "variants", variant, Variant, 'Variant("name", {...}) for each')
        names = Counter(variant.name for variant in self.variants)
        if not names:
            raise InvalidValue(
                refusal("a study needs something to compare", "variants", "empty", "one or more")
            )
        (twice, count), *_ = names.most_common(1)
        if count > 1:
            rule = "each variant has a name of its own"
            raise InvalidValue(refusal(rule, "variants", f"{twice!r} {count} times", "each name once"))
        _check_angles(self.plan.drive, self.base.rotor_pitch)
        whole("error bars are of designs", "error_bars", self.error_bars, 0)
        if not self.objectives:
            raise InvalidValue(
                refusal("designs are ranked by a figure", "objectives", "empty", "one or more")
            )
        for objective in self.objectives:
            check_figure("objectives", objective, self.plan.point_figures)
        for limit in self.limits:
            check_figure("limit", limit.figure, self.plan.point_figures)
        for name in self.sensitivities.ranges if self.sensitivities else ():
            number_of(self.base, self.plan, name)

    def designs(self) -> list[Design]:
        """Every design, in order."""
        return [self.design(variant) for variant in self.variants]

    def design(self, variant: Variant) -> Design:
        """The design of one variant, linked fields and all; one that breaks a constraint says so when computed."""
        changes = dict(variant.changes)
        forbidden = ""
        try:
            for name, follows in self.linked.items():
                changes[name] = follows(Values(self.base, self.plan, changes))
            values = Values(self.base, self.plan, changes)
            broken = [constraint.rule for constraint in self.constraints if not constraint.kept(values)]
            forbidden = f"a constraint of the study is not kept: {broken[0]}" if broken else ""
        except UnknownName:  # a mistake in the study, not of this design
            raise
        except PolefemError as error:
            forbidden = str(error)
        return Design(variant.name, self.base, changes, self.plan, forbidden)

    def __repr__(self) -> str:
        return f"Study({self.name!r}: {len(tuple(self.variants))} designs, {self.plan.basis})"


def _check_angles(drive: RectangularCurrent | SuitedSwitching, pitch: float) -> None:
    """Refuse, before anything is computed, angles that do not say whether a motor or a generator is meant."""
    if isinstance(drive, SuitedSwitching):
        return
    middle = math.degrees(drive.turn_on + drive.turn_off) / 2
    half = math.degrees(pitch) / 2
    if not 1e-6 < abs(middle) < half:
        rule = "a motor conducts mostly before 0 (aligned), a generator mostly past it, within half a rotor pitch"
        found = f"{middle:.4g} deg in the middle of {drive}"
        allowed = (
            f"above {-half:.4g} and below 0 deg for a motor, above 0 and below {half:.4g} deg for a generator"
        )
        raise InvalidValue(refusal(rule, "drive", found, allowed))

"""A study: a base machine, what varies, what is asked of each design, and on which basis they are compared."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from polefem.errors import InvalidValue, refusal
from polefem.params import Machine
from polefem.study.design import Design, Plan

__all__ = ["Study", "Variant"]


@dataclass(frozen=True)
class Variant:
    """One design by name: the fields it changes, by dotted name, such as {"rotor_pole.arc": 32 * deg}."""

    name: str
    changes: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Study:
    """What a study file says.

    name: of the study; its results are kept under it. base: the machine that variants change. plan: what is
    computed of each. variants: the designs, each with a name of its own.

    Raises InvalidValue for no variants, or two of one name.
    """

    name: str
    base: Machine
    plan: Plan
    variants: Sequence[Variant]

    def __post_init__(self) -> None:
        names = [variant.name for variant in self.variants]
        if not names:
            raise InvalidValue(
                refusal("a study needs something to compare", "variants", "empty", "one or more")
            )
        twice = [name for name in names if names.count(name) > 1]
        if twice:
            rule = "each variant has a name of its own"
            raise InvalidValue(refusal(rule, "variants", f"{twice[0]!r} twice", "each name once"))

    def designs(self) -> list[Design]:
        """Every design, in order."""
        return [Design(v.name, self.base, v.changes, self.plan) for v in self.variants]

    def __repr__(self) -> str:
        return f"Study({self.name!r}: {len(self.variants)} designs, {self.plan.basis})"

"""How coils are joined: what the ranking is for, and what the other usual pattern would do to the winner."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from polefem.params import joined_otherwise
from polefem.study import Design, Figures, Record, Run, error_from_map, figure_words, quantity_of_figure

__all__ = ["Joining", "joining_of", "joining_text"]

_WIDTH = 110
_COMPARED = ("ripple", "mean_torque")
#: What a plan asks for beside, in fields of its own, and nobody compares here.
_NOT_ASKED: Mapping[str, Any] = {"hearing": None, "turning": None, "rotor_offset": 0.0}


@dataclass(frozen=True)
class Joining:
    """polarity: of the ranking's machine, pole by pole. other: with every second phase's coils turned round. figures,
    otherwise: of the winner with each; None where the machine cannot be judged so. errors: of its figures, where they
    are known."""

    polarity: tuple[int, ...]
    other: tuple[int, ...]
    figures: Figures
    otherwise: Figures | None
    errors: Mapping[str, float | None] = field(default_factory=dict)

    @property
    def sentences(self) -> tuple[str, ...]:
        """What a person should know who joins the coils."""
        said = f"Coils joined {_signs(self.polarity)} round the stator (+: flux towards the rotor)"
        if self.otherwise is None:
            return (f"{said}; joined {_signs(self.other)} it could not be judged.",)
        brakes = self.figures.brakes()
        switches = ("turn_on", "turn_off")
        on, off = (quantity_of_figure(name).text(self.otherwise.value(name)) for name in switches)
        suited = any(self.otherwise.value(name) != self.figures.value(name) for name in switches)
        switched = f", switched from {on} to {off} as suits that" if suited else ""
        pairs = [
            [
                quantity_of_figure(name, brakes).text(f.value(name), self.errors.get(name))
                for f in (self.otherwise, self.figures)
            ]
            for name in _COMPARED
        ]
        torque = figure_words("mean_torque", brakes)
        if all(other == own for other, own in pairs):
            what = f"the winner has the same ripple and {torque}"
        else:
            ripples, torques = (" instead of ".join(pair) for pair in pairs)
            what = f"the winner has a ripple of {ripples} and a {torque} of {torques}"
        return (
            f"{said}: the ranking is for that.",
            f"Joined {_signs(self.other)} with the same copper{switched}, {what}.",
        )


def joining_of(study: str, design: Design, record: Record, run: Run) -> Joining | None:
    """The winner with its coils joined the other usual way; None where phases were summed: a sum cannot tell.

    run: computes the one design that this takes.
    """
    figures = record.figures
    if design.plan.coupling != "joint" or figures is None:
        return None
    phases = design.machine.phases
    other = joined_otherwise(phases)
    kept = {name: new for name, new in design.changes.items() if name.partition(".")[0] not in _NOT_ASKED}
    turned = replace(
        design,
        name=f"{design.name} | coils joined otherwise",
        changes={**kept, "winding.polarity": other},
        original_plan=replace(design.original_plan, **_NOT_ASKED),
    )
    records = run(f"{study}: coils joined otherwise", [turned])
    otherwise = records[0].figures if records else None
    errors = {name: error_from_map(record, name) for name in _COMPARED}
    return Joining(phases.polarity, other, figures, otherwise, errors)


def joining_text(joining: Joining) -> str:
    """The sentences as text for a terminal."""
    lines = [
        line for said in joining.sentences for line in textwrap.wrap(said, _WIDTH, subsequent_indent="    ")
    ]
    return "\n".join(["How coils are joined", "", *lines]) + "\n"


def _signs(polarity: Sequence[int]) -> str:
    return " ".join("+" if sign > 0 else "-" for sign in polarity)

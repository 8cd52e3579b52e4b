"""Figures from formulas: what a run of designs gives where no solver is asked, for searches and sensitivities."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from polefem.params.fields import field_value
from polefem.study import Design, Figures, Outcome, Record, Run, Status
from polefem.study.design import of_plan

Formula = Callable[[Callable[[str], Any]], dict[str, float]]


def value(design: Design, name: str) -> Any:
    """A field of a design by dotted name."""
    return field_value(design.plan if of_plan(name) else design.machine, name)


def run_of(
    formula: Formula, refused: Callable[[Design], bool] = lambda design: False
) -> tuple[Run, list[str]]:
    """A run that gives figures by a formula of a design's fields, and the names it was asked for."""
    asked: list[str] = []

    def run(study: str, designs: Sequence[Design]) -> list[Record]:
        records = []
        for design in designs:
            asked.append(design.name)
            try:
                if refused(design) or design.forbidden:
                    raise ValueError("refused")
                figures = Figures(
                    **{**dict.fromkeys(Figures.names(), 1.0), **formula(lambda n, d=design: value(d, n))}
                )
                outcome = Outcome(Status.SOLVED, figures=figures)
            except ValueError as error:
                outcome = Outcome(Status.REFUSED, str(error))
            records.append(Record(design.name, design.name, dict(design.changes), outcome))
        return records

    return run, asked

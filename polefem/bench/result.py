"""What running a study gave."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from polefem.maps import FluxMap
from polefem.ranking import Ranking
from polefem.report import Findings, Picture, texts
from polefem.study import Record

__all__ = ["Result"]


@dataclass(frozen=True, eq=False)
class Result:
    """What running a study gave: its ranking and findings as values, and where they were written.

    findings: numbers that all else is made of. folder: with everything that was written. files: names of tables there
    by what they hold. pages: the report as HTML and Markdown; none where no pictures were asked for. pictures: on
    them. undrawn: shapes that lack pictures, and why.
    """

    findings: Findings
    folder: Path
    files: Mapping[str, str]
    pages: tuple[Path, ...] = ()
    pictures: tuple[Picture, ...] = ()
    undrawn: Mapping[str, str] = field(default_factory=dict)

    @property
    def ranking(self) -> Ranking:
        """The order of the designs."""
        return self.findings.ranking

    @property
    def records(self) -> tuple[Record, ...]:
        """Every design with its figures, or the reason why it has none."""
        return self.findings.records

    @property
    def maps(self) -> Mapping[str, FluxMap]:
        """The flux maps of the shapes that are shown, by name."""
        return {shape.name: shape.phase_map for shape in self.findings.shapes}

    @property
    def complete(self) -> bool:
        """Whether there is an order, no design failed or was lost, and every shape that is shown has its pictures."""
        return self.findings.complete and not self.undrawn

    def __str__(self) -> str:
        return "\n".join(texts(self.findings))

    def __repr__(self) -> str:
        return f"Result({self.findings.study.name!r} in {self.folder}: {self.ranking!r})"

"""Sheets of a study's shapes, to print: written where they are not there yet as they would be drawn now."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path

from polefem.copper import Copper, joining_plan, winding_order
from polefem.errors import GeometryRefused
from polefem.params import Machine
from polefem.report import KeptFiles, Shape, sheets_of, write_sheets
from polefem.report.drawing_key import drawing_key
from polefem.study import Executor

__all__ = ["shape_sheets"]


def shape_sheets(
    shapes: Iterable[Shape], folder: Path, executor: Executor, kept: KeptFiles
) -> dict[str, Mapping[str, Path]]:
    """What sheets there are of each shape, by its name, and where; none of a shape that no paper takes.

    The executor draws those that are not kept with the key of what they show.
    """
    found: dict[str, Mapping[str, Path]] = {}
    asked = {}
    for shape in shapes:
        machine, copper = shape.design.machine, shape.design.plan.copper
        key = drawing_key(shape.name, machine, winding_order(machine, copper), joining_plan(machine))
        known = kept.known(_sheets(shape), key)
        if known is not None:
            found[shape.name] = known
        else:
            asked[shape] = key, executor.submit(_written, machine, copper, shape.name, folder, shape.stem)
    for shape, (key, future) in asked.items():
        found[shape.name] = future.result()
        kept.keep(_sheets(shape), key, found[shape.name])
    return found


def _sheets(shape: Shape) -> str:
    return f"sheets of {shape.stem}"


def _written(machine: Machine, copper: Copper, name: str, folder: Path, stem: str) -> dict[str, Path]:
    try:
        return write_sheets(sheets_of(machine, copper, name), folder, stem)
    except GeometryRefused:
        return {}

"""Sheets of a study's shapes, to print: written where they are not there yet as they would be drawn now."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from polefem.copper import Copper, joining_plan, winding_order
from polefem.errors import GeometryRefused
from polefem.files import write_text
from polefem.params import Machine
from polefem.report import Shape, sheets_of, write_sheets
from polefem.report.drawing_key import drawing_key
from polefem.study import Executor

__all__ = ["shape_sheets"]


def shape_sheets(shapes: Iterable[Shape], folder: Path, executor: Executor) -> dict[str, Mapping[str, Path]]:
    """What sheets there are of each shape, by its name, and where; none of a shape that no paper takes.

    The executor draws those that are not in `sheets.json`, beside the folder, with the key of what they show, or are
    gone.
    """
    place = folder.with_suffix(".json")
    index, asked = _read(place), {}
    found: dict[str, Mapping[str, Path]] = {}
    for shape in shapes:
        machine, copper = shape.design.machine, shape.design.plan.copper
        key = drawing_key(shape.name, machine, winding_order(machine, copper), joining_plan(machine))
        held = index.get(shape.stem)
        if isinstance(held, dict) and held.get("key") == key:
            files = {said: folder / name for said, name in held["files"].items()}
            if all(path.is_file() for path in files.values()):
                found[shape.name] = files
                continue
        asked[shape] = key, executor.submit(_written, machine, copper, shape.name, folder, shape.stem)
    for shape, (key, future) in asked.items():
        found[shape.name] = future.result()
        names = {said: path.name for said, path in found[shape.name].items()}
        index[shape.stem] = {"key": key, "files": names}
    if asked:
        write_text(place, json.dumps(index, indent=1))
    return found


def _written(machine: Machine, copper: Copper, name: str, folder: Path, stem: str) -> dict[str, Path]:
    try:
        return write_sheets(sheets_of(machine, copper, name), folder, stem)
    except GeometryRefused:
        return {}


def _read(path: Path) -> dict[str, Any]:
    try:
        found = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}

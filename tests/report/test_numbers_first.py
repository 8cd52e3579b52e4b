"""Each picture has a function that gives its numbers: the table of the package names both, and both are there."""

from __future__ import annotations

import importlib
import re

from polefem import report


def unpaired(table: str, names: list[str]) -> list[str]:
    """Functions that draw and have no numbers in a table, and names in it that nothing has."""
    rows = re.findall(r"^\| `(draw_\w+)`(?:, `(draw_\w+)`)? \| (.*) \|$", table, re.MULTILINE)
    drawing = {name for first, second, _ in rows for name in (first, second) if name}
    giving = {name for *_, numbers in rows for name in re.findall(r"`([\w.]+)`", numbers)}
    faults = [f"{name} has no numbers" for name in names if name.startswith("draw_") and name not in drawing]
    return faults + [f"{name} is not there" for name in sorted(drawing | giving) if not is_there(name)]


def is_there(name: str) -> bool:
    """Whether a name of the package, or one with dots, is a function."""
    place, _, last = f"polefem.report.{name}".rpartition(".") if "." not in name else name.rpartition(".")
    return callable(getattr(importlib.import_module(place), last, None))


def test_every_picture_has_its_numbers() -> None:
    assert unpaired(report.__doc__ or "", report.__all__) == []


def test_a_picture_without_numbers_and_numbers_that_are_not_there_are_noticed() -> None:
    assert unpaired("| `draw_curves` | `torque_of_phases` |", ["draw_curves", "draw_it"]) == [
        "draw_it has no numbers"
    ]
    assert unpaired("| `draw_curves` | `polefem.ranking.made_up` |", []) == [
        "polefem.ranking.made_up is not there"
    ]

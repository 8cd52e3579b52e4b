"""The fields that a design is shown with, kept beside its map, so that drawing it needs no solver.

Single precision: eight digits of a flux density are more than a picture shows. Each file stands for one design by its
key, is complete or not there, and holds its own checksum.
"""

from __future__ import annotations

import dataclasses
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from polefem import field as later
from polefem.errors import PolefemError, StoreRefused
from polefem.field import Field
from polefem.maps.files import read, write
from polefem.outline import Label
from polefem.params import Machine
from polefem.params.quantity import quantity
from polefem.study.design import Design
from polefem.study.solver import FIELD, Solver
from polefem.study.store import Store

__all__ = ["SECTION_PLACES", "SectionFields", "half_overlap", "keep_section_fields", "section_fields"]

Array = NDArray[np.float64]
SECTION_PLACES = ("aligned", "half overlap", "unaligned")
"""Where the rotor stands in the fields that a design is shown with."""
_ARRAYS = ("points", "triangles", "a", "b", "region")


@dataclass(frozen=True, eq=False)
class SectionFields:
    """Fields with the first phase alone at `current` (A), at SECTION_PLACES. angles: ndarray, shape (3,), rad."""

    current: float = dataclasses.field(metadata=quantity("A"))
    angles: Array
    fields: tuple[Field, ...]

    def __post_init__(self) -> None:
        self.angles.flags.writeable = False

    def save(self, path: Path) -> None:
        """Write them to a file; it appears complete or not at all."""
        contents: dict[str, Any] = {"current": self.current, "angles": self.angles}
        for at, field in enumerate(self.fields):
            contents[f"materials {at}"] = tuple(label.material for label in field.labels)
            contents[f"members {at}"] = tuple(label.member or "" for label in field.labels)
            for name in _ARRAYS:
                array = getattr(field, name)
                if at and np.array_equal(array, getattr(self.fields[0], name)):
                    continue  # as the mesh's triangles, which turn with it
                contents[f"{name} {at}"] = array.astype(np.float32 if array.dtype.kind == "f" else np.int32)
        write(path, contents)

    @classmethod
    def load(cls, path: Path) -> SectionFields:
        """Read what `save` wrote; raises StoreRefused for a file that is missing or damaged."""
        held = read(path)
        fields = []
        for at in range(len(held["angles"])):
            arrays = (held.get(f"{name} {at}", held[f"{name} 0"]) for name in _ARRAYS)
            points, triangles, a, b, region = (array.astype(_wide(array)) for array in arrays)
            told = zip(held[f"materials {at}"], held[f"members {at}"], strict=True)
            labels = tuple(Label(material, member or None) for material, member in told)
            fields.append(Field(points, triangles, a, b, region, labels))
        return cls(held["current"], held["angles"], tuple(fields))

    def __repr__(self) -> str:
        size = f"{len(self.fields[0].triangles)} triangles" if self.fields else "none"
        return f"SectionFields({self.current:.4g} A in one phase at {len(self.fields)} angles: {size})"


def half_overlap(machine: Machine) -> float:
    """The angle (rad, below 0: the rotor pole approaches) at which half of the narrower face stands opposite the other.

    Faces of arcs a and b overlap by (a + b) / 2 - |angle|, and by the smaller of the two at most.
    """
    return -max(machine.stator_pattern[0].arc, machine.rotor_pattern[0].arc) / 2


def section_fields(design: Design, current: float, solver: Solver = FIELD) -> SectionFields:
    """Solve the fields of a design with the first phase at `current` (A). Raises what the solver raises."""
    machine = design.machine
    currents = np.zeros(machine.phases.count)
    currents[0] = current
    angles = np.array([0.0, half_overlap(machine), machine.rotor_pitch / 2])
    states = solver.fields(later.built(machine, design.plan.mesh), angles, currents)
    return SectionFields(current, angles, tuple(state.field for state in states))


def keep_section_fields(
    asked: Sequence[tuple[Design, float]],
    store: Store,
    executor: Executor,
    at_once: int = 1,
    solver: Solver = FIELD,
    tell: Callable[[Design], None] = lambda design: None,
) -> tuple[dict[str, SectionFields], dict[str, str]]:
    """The fields of designs at a current each, by the design's name, and why some have none; those that are not kept in
    the store are computed and kept. tell: is told each design that is done.

    Raises StoreRefused where they cannot be kept.
    """
    found: dict[str, SectionFields] = {}
    lacking: dict[str, str] = {}
    missing = []
    for design, current in asked:
        known = _kept(store, design, current)
        if known is None:
            missing.append((design, current))
        else:
            found[design.name] = known
            tell(design)
    for design, answer in _computed(missing, executor, at_once, solver):
        if isinstance(answer, SectionFields):
            path = _path(store, design)
            path.parent.mkdir(exist_ok=True)
            answer.save(path)
            found[design.name] = SectionFields.load(path)  # as they will be read, digit for digit
        else:
            foreseen = isinstance(answer, PolefemError)
            lacking[design.name] = str(answer) if foreseen else f"{type(answer).__name__}: {answer}"
        tell(design)
    return found, lacking


def _kept(store: Store, design: Design, current: float) -> SectionFields | None:
    try:
        known = SectionFields.load(_path(store, design))
    except StoreRefused:
        return None
    return known if known.current == current else None


def _computed(
    asked: Sequence[tuple[Design, float]], executor: Executor, at_once: int, solver: Solver
) -> Iterator[tuple[Design, SectionFields | BaseException]]:
    """Fields, or what stood in their way, in order; no more than `at_once` are with the executor at a time."""
    waiting = deque(asked)
    under_way: deque[tuple[Design, Any]] = deque()
    while waiting or under_way:
        while waiting and len(under_way) < max(1, at_once):
            design, current = waiting.popleft()
            under_way.append((design, executor.submit(section_fields, design, current, solver)))
        design, future = under_way.popleft()
        error = future.exception()
        yield design, future.result() if error is None else error


def _path(store: Store, design: Design) -> Path:
    return store.folder / "fields" / f"{design.key}.npz"


def _wide(array: NDArray[Any]) -> type[np.float64] | type[np.int64]:
    return np.float64 if array.dtype.kind == "f" else np.int64

"""Designs a little off another, on its mesh, moved: they differ by their shapes then, and not by their meshes.

Between meshes of their own figures scatter: the ripple of the wheel of `geometries/pottery_wheel.toml` by 0.2 points
over gaps of 0.48 to 0.52 mm (coarse mesh), where the gap itself does one; on one mesh, moved, by a thousandth of that
(`tests/benchmarks/near_designs.py`). A mesh follows its outline for some half a degree of an arc, until triangles at
the gap lean too far; a design further off gets a mesh of its own. Which of them do follows from the two machines alone,
so that neither the number of workers nor the order of designs decides a figure.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from polefem.errors import PolefemError
from polefem.params.content import content_key
from polefem.study.design import Design
from polefem.study.record import Record

__all__ = ["MESHED_AS", "near", "near_records"]

MESHED_AS = "meshed_as"
"""The change by which a design, and so its record, says whose mesh is moved to it."""


def near(middle: Design, design: Design) -> Design:
    """A design a little off another, to be computed on the mesh of that one, moved; as it is where its machine is the
    same, or none."""
    try:
        same = content_key(design.machine) == content_key(middle.machine)
        plan = design.plan
    except PolefemError:
        return design
    if same or plan.meshed_as is not None:
        return design
    return replace(design, changes={**design.changes, MESHED_AS: middle.machine})


def near_records(
    study: str, designs: Sequence[Design], run: Callable[[str, Sequence[Design]], list[Record]]
) -> list[Record]:
    """Records of designs of which some are `near` others: where a moved mesh does not serve, on a mesh of their own,
    which their changes then say."""
    records = run(study, designs)
    lost = [
        at
        for at, (design, record) in enumerate(zip(designs, records, strict=True))
        if MESHED_AS in design.changes and record.figures is None
    ]
    again = [replace(designs[at], changes=_own(designs[at])) for at in lost]
    if again:
        fresh = dict(zip(lost, run(f"{study}, meshed for themselves", again), strict=True))
        records = [fresh.get(at, record) for at, record in enumerate(records)]
    return records


def _own(design: Design) -> dict[str, object]:
    return {name: value for name, value in design.changes.items() if name != MESHED_AS}

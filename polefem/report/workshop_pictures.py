"""The pictures that a builder of the winner works from: what to cut with its dimensions, what to wind, how to join."""

from __future__ import annotations

from functools import partial

from polefem.copper import joining_plan, winding_order
from polefem.outline import drawn
from polefem.report.findings import Findings, Shape
from polefem.report.pictures import Drawing, drawing_of
from polefem.report.runs import draw_powers, draw_run
from polefem.report.sheets import View, cutting_views, joining_view, plate, pole_views, slot_view

__all__ = ["speed_drawings", "winder_drawings", "winner_drawings"]

_ON_A_ROW = 2  # coils, on a phone


def winner_drawings(shape: Shape) -> tuple[Drawing, ...]:
    """What to cut, with its dimensions: the machine, and a pole of each kind."""
    known = drawn(shape.design.machine)
    where = " at the mean radius" if known.machine.flat else ""
    views = [(view, "") for view in cutting_views(known)]
    views += [(view, where) for view in pole_views(known.machine)]
    return tuple(
        _drawn(shape, f"to-cut-{at}", f"{view.title}{place}, {shape.name}, in mm", view)
        for at, (view, place) in enumerate(views, start=1)
    )


def winder_drawings(shape: Shape) -> tuple[Drawing, ...]:
    """What to wind and how to join it: the coil in its slot, and the joints."""
    machine, copper = shape.design.machine, shape.design.plan.copper
    known = drawn(machine)
    order, plan = winding_order(known, copper), joining_plan(machine)
    slot, joints = slot_view(known, order), joining_view(plan, _ON_A_ROW)
    return (
        _drawn(shape, "slot", f"Coils in a slot of {shape.name}, wire by wire, in mm", slot, order),
        _drawn(shape, "joints", f"How the coils of {shape.name} are joined", joints, plan),
    )


def speed_drawings(findings: Findings) -> tuple[Drawing, ...]:
    """What the winner does at each operating point of a bridge: currents, voltage and torque, and where power goes."""
    drawn = []
    for at, (name, run) in enumerate(findings.runs.items(), start=1):
        words = f"Current, voltage and torque: {name}"
        drawn.append(drawing_of(f"speed-{at}-run", words, (run,), partial(draw_run, run)))
        drawn.append(
            drawing_of(f"speed-{at}-powers", f"Where power goes: {name}", (run,), partial(draw_powers, run))
        )
    return tuple(drawn)


def _drawn(shape: Shape, kind: str, words: str, view: View, *shown: object) -> Drawing:
    return drawing_of(f"{shape.stem}-{kind}", words, (shape.design.machine, *shown), lambda: plate(view))

"""Sheets for the workshop, to print: what to cut, at true size where paper takes it; what to wind, how to join it."""

from __future__ import annotations

from polefem.copper import Copper, WindingOrder, joining_plan, winding_order
from polefem.outline import DrawnMachine, drawn
from polefem.params import Machine
from polefem.report.sheets.machine_views import cutting_views, pole_views, whole_words
from polefem.report.sheets.paper import Paper
from polefem.report.sheets.sheet import BAR, Sheet, compose, pdf_of, plate, write_pdf, write_sheets
from polefem.report.sheets.view import View
from polefem.report.sheets.winding_views import joining_view, slot_view
from polefem.report.sheets.winding_words import (
    JOINING_RULE,
    WINDING_CAUTIONS,
    winding_lines,
    winding_sentences,
)

__all__ = [
    "BAR",
    "JOINING_RULE",
    "WINDING_CAUTIONS",
    "Paper",
    "Sheet",
    "View",
    "cutting_sheets",
    "cutting_views",
    "joining_sheet",
    "joining_view",
    "pdf_of",
    "plate",
    "pole_views",
    "sheets_of",
    "slot_view",
    "winding_lines",
    "winding_sentences",
    "winding_sheet",
    "write_pdf",
    "write_sheets",
]


def sheets_of(
    machine: Machine | DrawnMachine, copper: Copper | None = None, name: str = ""
) -> tuple[Sheet, ...]:
    """All sheets of a machine: to cut, to wind, to join. copper: how coils are filled and how warm they run. name: of
    the shape, on every sheet.

    Raises GeometryRefused for a machine that cannot be built.
    """
    known = drawn(machine)
    return (*cutting_sheets(known, name), winding_sheet(known, copper, name), joining_sheet(known, name))


def cutting_sheets(machine: Machine | DrawnMachine, name: str = "") -> tuple[Sheet, ...]:
    """The machine with its dimensions, at true size where A4 or A3 takes it, else at the largest standard scale that
    does; then its poles, enlarged. Views of an axial machine that do not fit one sheet together get one each.

    Raises GeometryRefused for a machine that cannot be built.
    """
    known = drawn(machine)
    views, words, title = cutting_views(known), whole_words(known), _titled(name, "to cut")
    together = compose("to-cut", title, views, words)
    sheets: tuple[Sheet, ...] = (together,)
    if together.scale > 1 and len(views) > 1:
        sheets = tuple(
            compose(f"to-cut-{at}", f"{title}, {at} of {len(views)}", [view], words)
            for at, view in enumerate(views, start=1)
        )
    poles = compose("poles", _titled(name, "poles"), pole_views(known.machine), (), enlarge=True)
    return (*sheets, poles)


def winding_sheet(machine: Machine | DrawnMachine, copper: Copper | None = None, name: str = "") -> Sheet:
    """The coil in its slot, wire by wire, with all that a winder needs to know; copper: as in `sheets_of`.

    Raises GeometryRefused for a machine that cannot be built.
    """
    known = drawn(machine)
    order: WindingOrder = winding_order(known, copper)
    words = [*(f"{what}: {said}." for what, said in winding_lines(order)), *winding_sentences(order)]
    return compose("to-wind", _titled(name, "to wind"), [slot_view(known, order)], words, enlarge=True)


def joining_sheet(machine: Machine | DrawnMachine, name: str = "") -> Sheet:
    """Which end of which coil is joined to which, and what to beware of."""
    plan = joining_plan(drawn(machine).machine)
    words = [JOINING_RULE, *plan.sentences(), *WINDING_CAUTIONS]
    return compose("to-join", _titled(name, "to join"), [joining_view(plan)], words)


def _titled(name: str, what: str) -> str:
    return f"{name}: {what}" if name else what.capitalize()

"""What a coupled map costs beside the map of one phase: time, points, products and factors a point.

    OMP_NUM_THREADS=1 python -m tests.benchmarks.coupled_cost             two polarities (some minutes)
    OMP_NUM_THREADS=1 python -m tests.benchmarks.coupled_cost coarse      the same on a coarse mesh

All times of one run, of the one processor that it uses. A design at one current: what phases add to each other where
all that conduct carry one current, the single-phase map apart. Products and factors are those of the answers to small
loads too, by which the pieces between levels are bent.
"""

from __future__ import annotations

import dataclasses
import sys
import time
from collections.abc import Callable
from contextlib import ExitStack
from functools import partial
from typing import Any
from unittest.mock import patch

import numpy as np
from numpy.typing import NDArray

from polefem import RadialMachine, RectangularCurrent, coupled_map, flux_map
from polefem.drive import rectangular_currents
from polefem.field import field_series, series
from polefem.solve import Solution, Span, Sum, minimise
from polefem.sweep import joint_errors, points, refining, single
from polefem.units import deg
from tests.benchmarks.map_cost import ANGLES, CURRENTS, Work, machine

Floats = NDArray[np.float64]

USUAL, ALTERNATING = (1, 1, 1, -1, -1, -1), (1, -1, 1, -1, 1, -1)


def joined(polarity: tuple[int, ...]) -> RadialMachine:
    """The 6/4 machine of the map's benchmark with its coils joined in some way."""
    return dataclasses.replace(machine(), winding=dataclasses.replace(machine().winding, polarity=polarity))


class Together(Work):
    """Of phases together: also how many states were sums."""

    sums: int = 0


def counted(work: Callable[[], Any]) -> tuple[float, Work, Together]:
    """Seconds of one processor, and what the solver did for one phase alone and for phases together."""
    alone, together = Work(), Together()

    def counting(into: Work) -> Callable[..., Solution]:
        def solve(*given: Any) -> Solution:
            found = minimise(*given)
            into.add(found)
            return found

        return solve

    class Counted(Span):
        def closest(self, *given: Any) -> Sum:
            together.sums += 1
            return super().closest(*given)

    rooms: tuple[tuple[Any, Work], ...] = (
        (single, alone),
        (refining, alone),
        (points, together),
        (joint_errors, together),
        (series, together),
    )
    with ExitStack() as patches:
        for room, into in rooms:
            patches.enter_context(patch.object(room, "minimise", counting(into)))
        patches.enter_context(patch.object(points, "Span", Counted))
        begun = time.process_time()
        work()
        return time.process_time() - begun, alone, together


def line(name: str, seconds: float, work: Work, beside: float) -> None:
    each, sums = max(work.points, 1), work.sums if isinstance(work, Together) else 0
    print(
        f"{name:44s} {seconds:7.1f} s {seconds / beside:6.2f} {work.points:7d} {sums:6d}"
        f" {1e3 * seconds / max(each + sums, 1):9.1f} ms"
        f" {work.steps / each:6.2f} {work.products / each:9.1f} {work.factors / each:8.2f}",
        flush=True,
    )


def main(mesh: str) -> None:
    print(
        f"{'':44s} {'time':>9s} {'ratio':>6s} {'points':>7s} {'sums':>6s} {'a state':>12s}  steps  products  factors"
    )
    small, work, _ = counted(lambda: flux_map(joined(USUAL), ANGLES, CURRENTS[::2], mesh))
    line("map of one phase, 31 x 6", small, work, small)
    whole, work, _ = counted(lambda: flux_map(joined(USUAL), ANGLES, CURRENTS, mesh))
    line("map of one phase, 31 x 11", whole, work, whole)
    for polarity in (USUAL, ALTERNATING):
        signs = " ".join("+" if sign > 0 else "-" for sign in polarity)
        own = joined(polarity)
        one = [CURRENTS[-1]]
        seconds, _, work = counted(
            partial(coupled_map, own, ANGLES, CURRENTS[::2], mesh, joint_currents=one, at_once=2)
        )
        line(f"{signs}: one current, beside 31 x 6", seconds - small, work, small)
        seconds, _, work = counted(partial(coupled_map, own, ANGLES, CURRENTS, mesh))
        line(f"{signs}: whole coupled map, all in, beside 31 x 11", seconds, work, whole)
    turned = np.linspace(0.0, 30.0, 16) * deg
    row = [CURRENTS[-1], CURRENTS[-1], 0.0]
    seconds, _, work = counted(lambda: list(field_series(joined(USUAL), turned, row, mesh)))
    line("field_series, 16 states, half mirrored", seconds, work, whole)
    pitch = joined(USUAL).rotor_pitch
    turned = (np.arange(180) + 0.5) / 180 * pitch
    ramped = RectangularCurrent(-38 * deg, -2 * deg, ramp=4 * deg)
    rows = rectangular_currents(ramped, CURRENTS[-1], 3, pitch, turned)
    seconds, _, work = counted(lambda: list(field_series(joined(USUAL), turned, rows, mesh)))
    line("field_series, 180 states, ramped currents", seconds, work, whole)
    print(
        f"{1e3 * seconds / len(turned):.1f} ms a state that was asked for: strokes that are alike are solved once"
    )


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else "normal")

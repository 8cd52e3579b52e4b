"""Nodes that slide along the gap's circles: against differences, and against the rotor's turning.

To slide all nodes of the rotor's trace alike is to turn the rotor, whose moment the room gives in closed form.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from polefem.gap import Gap, SlidField, Sliding
from polefem.model import Trace
from tests.gap.test_annulus import graded_corners, spread, trace_by_hand

Floats = NDArray[np.float64]

ANGLE = 0.2
#: Sectors, whether antiperiodic, and L: a gap that reaches round its sector, and one of many runs.
GAPS = [(2, True, 0.05), (4, False, 0.02)]


class Case:
    """Two traces with random values on a sector, and the velocities of their corner nodes."""

    def __init__(self, sectors: int, antiperiodic: bool, log_ratio: float) -> None:
        rng = np.random.default_rng(3)
        span = 2 * math.pi / sectors
        counts = (40, 56)
        self.traces = tuple(
            trace_by_hand(graded_corners(n, span, 0.01 * n, 3.0), antiperiodic) for n in counts
        )
        self.gap = Gap(*self.traces, log_ratio, sectors, antiperiodic)
        self.values = tuple(rng.standard_normal(trace.size) for trace in self.traces)
        self.change = tuple(rng.standard_normal(trace.size) for trace in self.traces)
        speeds = [rng.standard_normal(n + 1) for n in counts]
        for own in speeds:
            own[-1] = own[0]  # the sector's ends stay one apart
        self.speeds = speeds
        self.field = Sliding(self.gap).field(ANGLE, *self.values)

    def energy(self, step: float, angle: float, change: float = 0.0) -> float:
        """Of the ring after the nodes slid for a time, with the values changed so many times along `change`."""
        slid = []
        for trace, speed in zip(self.traces, self.speeds, strict=True):
            angles = trace.angles.copy()
            angles[::2] += step * speed
            angles[1::2] = (angles[:-1:2] + angles[2::2]) / 2
            slid.append(Trace(angles, trace.unknowns, trace.signs))
        gap = self.gap.slid(slid[0], slid[1])
        p, q = (v + change * d for v, d in zip(self.values, self.change, strict=True))
        own = p @ gap.rotor_self @ p / 2 + q @ gap.stator_self @ q / 2
        return float(own + p @ gap.coupling(angle)[0] @ q)

    def difference(self, angle: float, change: float = 0.0, step: float = 1e-6) -> float:
        return (self.energy(step, angle, change) - self.energy(-step, angle, change)) / (2 * step)

    def told(self, moments: Floats) -> float:
        return float(moments @ np.concatenate(self.speeds))

    def agree(self, field: SlidField) -> bool:
        """Whether the moments, their change with the values and that with the angle are those of differences."""
        of_values = (self.difference(ANGLE, 1e-2) - self.difference(ANGLE, -1e-2)) / 2e-2
        of_angle = (self.difference(ANGLE + 1e-5) - self.difference(ANGLE - 1e-5)) / 2e-5
        pairs = [
            (self.told(field.own()), self.difference(ANGLE)),
            (self.told(field.along(*self.change)), of_values),
            (self.told(field.turned()), of_angle),
        ]
        return all(abs(told - found) <= 1e-5 * abs(found) for told, found in pairs)


class Wave(Case):
    """One wave round both circles. What slides then is next to no energy beside that of each circle, of which whatever
    is left out grows fast; by a gap so thin that elements reach over it."""

    def __init__(self, log_ratio: float) -> None:
        super().__init__(2, True, log_ratio)
        self.values = tuple(spread(trace, 1, 1.0) for trace in self.traces)

    def near(self) -> bool:
        """Whether the moments are those of a difference to a digit less than its rounding leaves."""
        told = self.told(Sliding(self.gap).field(ANGLE, *self.values).own())
        return abs(self.difference(ANGLE, step=1e-5) - told) <= 1e-8 * abs(told)


@cache
def case(sectors: int, antiperiodic: bool, log_ratio: float) -> Case:
    return Case(sectors, antiperiodic, log_ratio)


@pytest.mark.parametrize("how", GAPS)
def test_moments_of_sliding_nodes_are_differences(how: tuple[int, bool, float]) -> None:
    own = case(*how)
    assert own.agree(own.field)


@pytest.mark.parametrize("log_ratio", [0.007, 0.02])
def test_nothing_is_left_out_that_grows_as_nodes_slide(
    log_ratio: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert Wave(log_ratio).near()
    # The twins: either leaves out more.
    for name, less in (("NEGLIGIBLE", 1e-12), ("WAVES", 80.0)):
        with monkeypatch.context() as rough:
            rough.setattr(f"polefem.gap.annulus.{name}", less)
            assert not Wave(log_ratio).near()


@pytest.mark.parametrize("how", GAPS)
def test_all_nodes_of_a_rotor_slide_as_it_turns(how: tuple[int, bool, float]) -> None:
    own = case(*how)
    turning = own.values[0] @ own.gap.coupling(ANGLE)[1] @ own.values[1]
    moments = own.field.own()
    corners = len(own.speeds[0])
    assert moments[:corners].sum() == pytest.approx(turning, rel=1e-8)
    assert moments[corners:].sum() == pytest.approx(-turning, rel=1e-8)


def test_a_ring_that_is_not_asked_about_its_other_side_is_seen() -> None:
    own = case(*GAPS[0])
    deaf = Sliding(own.gap).field(ANGLE, *own.values)
    rotor, stator = own.values
    alone = [
        Sliding(own.gap).field(ANGLE, rotor, 0 * stator),
        Sliding(own.gap).field(ANGLE, 0 * rotor, stator),
    ]
    deaf.own = lambda: alone[0].own() + alone[1].own()  # type: ignore[method-assign]
    assert own.agree(own.field) and not own.agree(deaf)

"""Coupled maps held against NGSolve, a general-purpose finite-element library: two phases on, coils joined in two ways.

Limits: 0.25 % of the peak torque of one phase and 0.2 % of its largest flux linkage, those of idle phases included.
Held at the largest currents of three machines and between the levels of current at which phases meet; so is the map's
own estimate.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from make_coupled import MACHINES, PATTERNS
from numpy.typing import NDArray
from reference_machines import joined

from polefem import CoupledMap, coupled_map
from polefem.maps import Interaction, summed
from polefem.maps.hermite import turned_nodes
from polefem.units import deg
from tests.record.check import Check

Floats = NDArray[np.float64]
Record = Callable[..., None]

CASE = "NGSolve"
LIBRARY = "NGSolve, third order, a mesh of its own at every angle"


#: Of torque and of flux linkages, %.
LIMITS = (0.25, 0.2)


@cache
def made(name: str, pattern: str) -> CoupledMap:
    make, last = MACHINES[name]
    machine = joined(make(), PATTERNS[pattern])
    angles = np.linspace(0.0, 180.0 / machine.rotor_poles, 31) * deg
    return coupled_map(machine, angles, last / 10 * np.arange(1, 11))


def reference(name: str) -> dict[str, Any]:
    path = Path(__file__).with_name(f"coupled_{name.replace(' ', '_')}.json")
    found: dict[str, Any] = json.loads(path.read_text())
    return found


def distances(m: CoupledMap, table: dict[str, Any], at_levels: bool) -> tuple[float, float]:
    """Worst distance of torque, % of the peak of one phase, and of flux linkages, % of its largest, in the states whose
    currents are the map's last, or in the others."""
    some = slice(1, None, 2) if at_levels else slice(0, None, 2)
    found = m.at(np.array(table["angles_deg"])[some] * deg, np.array(table["currents"])[some])
    torque = np.abs(found.torque - np.array(table["torque"])[some]).max() / np.abs(m.single.torque).max()
    linkages = np.abs(found.flux_linkages - np.array(table["flux_linkages"])[some]).max()
    return 100 * float(torque), 100 * float(linkages / np.abs(m.single.flux_linkage).max())


def pairs_taken_as_equal(m: CoupledMap) -> CoupledMap:
    """The broken twin: neighbouring phases interact as the first two do, whatever sign they meet with."""
    first, found = m.interactions[0], []
    for part in m.interactions:
        p, q = part.phases[:2]
        if len(part.phases) == 2 and q - p in (1, m.phases - 1):
            ahead = -(p if q - p == 1 else q) * m.stroke
            nodes = turned_nodes(first.angles, first.nodes, ahead)
            if q - p != 1:  # the second phase of the pair is the one that comes first
                nodes = nodes.swapaxes(1, 2).swapaxes(4, 5)
            part = Interaction(part.phases, first.angles, first.currents, nodes)
        found.append(part)
    return replace(m, interactions=tuple(found))


QUANTITIES = ("torque, of the peak", "flux linkage, of the largest")


def held(name: str, pattern: str, at_levels: bool, record: Record) -> None:
    """Record how far a map is from the library's states, and how far the sum of single phases is."""
    m, table = made(name, pattern), reference(name)[pattern]
    words = f"{name.replace('_', '/')}, coils {pattern}, two phases on, worst"
    found, broken = distances(m, table, at_levels), distances(summed(m.single), table, at_levels)
    where = "at the largest currents" if at_levels else "between its levels of current"
    for quantity, limit, off, left_out in zip(QUANTITIES, LIMITS, found, broken, strict=True):
        said = f"{words} {quantity}, {where}"
        record(Check(CASE, said, 0.0, "%", LIBRARY, "computed", limit, relative=False), off, left_out)


@pytest.mark.slow
@pytest.mark.parametrize("pattern", PATTERNS)
@pytest.mark.parametrize("name", MACHINES)
def test_two_phases_together_agree(name: str, pattern: str, record: Record) -> None:
    held(name, pattern, True, record)


@pytest.mark.slow
@pytest.mark.parametrize("pattern", PATTERNS)
@pytest.mark.parametrize("name", MACHINES)
def test_two_phases_agree_between_levels(name: str, pattern: str, record: Record) -> None:
    held(name, pattern, False, record)


@pytest.mark.slow
@pytest.mark.parametrize("pattern", PATTERNS)
@pytest.mark.parametrize("name", MACHINES)
def test_states_between_levels_are_within_the_estimate(name: str, pattern: str) -> None:
    m, table = made(name, pattern), reference(name)[pattern]
    assert m.torque_error is not None and m.flux_linkage_error is not None
    torque = 100 * m.torque_error / np.abs(m.single.torque).max()
    linkage = 100 * m.flux_linkage_error / np.abs(m.single.flux_linkage).max()

    def within(off: tuple[float, float]) -> bool:
        return off[0] < torque and off[1] < linkage

    assert within(distances(m, table, at_levels=False))
    assert not within(distances(summed(m.single), table, at_levels=False))


@pytest.mark.slow
@pytest.mark.parametrize("name", ["6_4"])
def test_pairs_are_not_equal_where_polarity_differs(name: str) -> None:
    m, table = made(name, "one sign"), reference(name)["one sign"]
    equal = distances(pairs_taken_as_equal(m), table, at_levels=True)
    assert equal[0] > LIMITS[0] and equal[1] > LIMITS[1]
    alike = made(name, "alternating")
    table = reference(name)["alternating"]  # there the pairs are equal indeed, and the twin is none
    assert distances(pairs_taken_as_equal(alike), table, at_levels=True)[0] < LIMITS[0]


@pytest.mark.parametrize("name", MACHINES)
def test_the_reference_moved_little_when_refined(name: str) -> None:
    for table in (reference(name)[pattern] for pattern in PATTERNS):
        finer, at = table["finer"], table["finer"]["state"]
        moved = np.abs(np.subtract(finer["flux_linkages"], table["flux_linkages"][at])).max()
        assert moved < 5e-4 * np.abs(table["flux_linkages"]).max()
        assert abs(finer["torque"] - table["torque"][at]) < 5e-4 * np.abs(table["torque"]).max()

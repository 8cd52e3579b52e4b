"""Flux that goes straight through the middle disc of a double-sided machine."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from polefem import Steel, flux_map
from polefem.params import AxialMachine
from polefem.units import deg
from tests.outline.test_builds import AXIAL


def inductances(machine: AxialMachine) -> np.ndarray:
    """Aligned, between and unaligned, H."""
    return flux_map(machine, [0.0, 25 * deg, 45 * deg], [1.0], mesh="coarse").inductance[0]


def is_half(through: AxialMachine, one: AxialMachine) -> bool:
    return bool(np.allclose(inductances(through), inductances(one) / 2, rtol=2e-3))


def test_a_plane_that_flux_crosses_is_as_good_as_ideal_iron() -> None:
    """Iron of no reluctance: a stator without yoke, cut by the plane, has the field of one on an ideal yoke. Two halves
    of N / 2 turns each then have half the inductance of N turns."""
    one = replace(AXIAL, steel=Steel.linear(1e6), cuts=1)
    through = replace(one, build="two rotors", stator_yoke_thickness=0.0)
    assert is_half(through, one)
    # With A = 0 in the plane no flux would cross it: two rotors that each push against the other.
    assert not is_half(replace(through, through_flux=False, stator_yoke_thickness=1e-3), one)

"""Fields of one phase turned to where another is: against fields of that phase, solved there."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from test_joint import SPEC, thin_yoke
from test_kinds_of_machine import machine_of

from polefem.field import built
from polefem.params import Machine
from polefem.solve import FactorCache, minimise
from polefem.sweep import joint, starts
from polefem.sweep.single import swept
from polefem.sweep.teller import Teller

Floats = NDArray[np.float64]


def off(machine: Machine) -> float:
    """How far a phase's field, told from that of the first, is from its own at most, of the largest unknown."""
    whole = built(machine, SPEC)
    pitch = machine.rotor_pitch
    angles = np.linspace(-pitch / 2, pitch / 2, 19)
    current = np.array([12.0])
    _, results = swept(whole, None, angles, current, Teller(None, 0), keep=True)
    superposed = starts.Superposed(whole, results, joint._ways(whole))
    system, worst = whole.systems[0], 0.0
    for angle in angles[[2, 11]].tolist():
        for phase in range(1, machine.phases.count):
            load = 12.0 * system.model.loads[phase]
            own = minimise(
                system.at(angle), load, np.zeros(system.size), FactorCache(tolerance=1e-7)
            ).unknowns
            told = superposed.at(0, angle, [phase], [current]).reshape(-1)
            worst = max(worst, float(np.abs(told - own).max() / np.abs(own).max()))
    return worst


@pytest.mark.parametrize("kind", ["usual", "alternating", "12/8", "6/10", "outer rotor", "axial, three cuts"])
def test_a_phase_alone_has_the_field_of_the_first_one_turned(kind: str) -> None:
    patterns = {"usual": (1, 1, 1, -1, -1, -1), "alternating": (1, -1, 1, -1, 1, -1)}
    assert off(thin_yoke(patterns[kind]) if kind in patterns else machine_of(kind)) < 1e-3


def test_a_field_mirrored_with_its_sign_left_is_another(monkeypatch: pytest.MonkeyPatch) -> None:
    right = starts.turned

    def unsigned(model: Any, turns: tuple[float, float], mirrored: bool) -> tuple[Any, Floats]:
        index, sign = right(model, turns, mirrored)
        return index, -sign if mirrored else sign

    monkeypatch.setattr(starts, "turned", unsigned)
    assert off(thin_yoke()) > 0.1


def test_without_fields_nothing_is_told() -> None:
    whole = built(thin_yoke(), SPEC)
    _, results = swept(whole, None, np.array([0.0]), np.array([12.0]), Teller(None, 0))
    found = starts.Superposed(whole, results, joint._ways(whole)).at(0, 0.0, [0, 1], [np.ones(1), np.ones(2)])
    assert found.shape == (1, 2, whole.systems[0].size) and not found.any()

"""The switching that suits a real map under ramps: a limit that leaves room cannot make a shape smoother."""

from __future__ import annotations

from functools import cache
from importlib import import_module
from pathlib import Path

import numpy as np
import pytest

from polefem import load_machine
from polefem.field import built
from polefem.maps import CoupledMap
from polefem.params import SuitedSwitching
from polefem.params.fields import with_fields
from polefem.study import Copper, EqualCopperLoss
from polefem.study.operation import operate
from polefem.sweep import coupled_map
from polefem.units import W, deg

WHEEL = Path(__file__).parents[2] / "geometries" / "pottery_wheel.toml"
BASIS = EqualCopperLoss(60 * W)

pytestmark = pytest.mark.slow


@cache
def mapped() -> tuple[CoupledMap, float]:
    """A wheel whose ripple under ramps has several least places, and the resistance of a phase, ohm."""
    machine = with_fields(load_machine(WHEEL), {"stator_pole.arc": 34 * deg, "rotor_pole.arc": 40 * deg})
    whole = built(machine, "coarse", Copper(fill_factor=0.45, temperature=100.0))
    resistance = whole.winding.resistance
    most = BASIS.reach(26 * deg, machine.rotor_pitch, 3, resistance)
    found = coupled_map(whole, np.linspace(-45, 45, 61) * deg, np.linspace(0.0, most, 7)[1:])
    return found, resistance


def is_the_smoothest() -> bool:
    """Whether no limit of torque leads to less ripple than is found without one."""
    m, resistance = mapped()

    def ripple(least: float) -> float:
        asked = SuitedSwitching(ramp=4 * deg, least_torque=least)
        return operate(m, BASIS, asked, resistance, generating=False).torque.ripple

    return ripple(0.0) <= min(ripple(3.1), ripple(3.3)) + 1e-3


def test_no_limit_leads_to_less_ripple() -> None:
    assert is_the_smoothest()


def test_refining_the_best_of_the_scan_alone_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(import_module("polefem.drive.suited_switching"), "_STARTS", 1)
    assert not is_the_smoothest()

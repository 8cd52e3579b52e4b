"""What the measured torque of the rig asks of its assumed knee, and whether the rotor's flux agrees.

The rig and its sources are those of `test_rotational_rig`. Its steel is known from 4000 A/m up; three points below were
put in. The torque at 7.41 A, as the prediction with the ends' estimates has it, is met by bending that knee alone
(`Steel.as_built`), by the correction that any machine on the bench gets. The flux through the rotor pole, which the
correction never saw, is then held against its own measurement.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np

from polefem import Steel, flux_map
from polefem.estimates import with_end_effects
from polefem.maps import FluxMap
from polefem.measured import Prediction, Readings, Tolerances, drawn_values, fitted
from polefem.measured.prediction import Slopes
from polefem.units import deg
from tests.published import test_rotational_rig as rig
from tests.record.check import Check

Record = Callable[..., None]
STEP = 0.2
ANGLES = np.union1d(np.linspace(0, 90, 13), [18, 20, 22, 24, 26]) * deg
CURRENTS = [0.5, 2.0, 4.0, 5.5, rig.CURRENT, 7.8]
ONLY_KNEE = Tolerances(0.0, 0.0, 0.0, 0.0, 2.0, 0.0)


def bent(share: float) -> Steel:
    return rig.RIG.steel.as_built(share) if share else rig.RIG.steel


@cache
def maps(share: float) -> tuple[FluxMap, FluxMap]:
    """Of the flat section and with the ends' estimates."""
    machine = replace(rig.RIG, steel=bent(share))
    flat = flux_map(machine, ANGLES, CURRENTS, "coarse")
    return flat, with_end_effects(flat, machine)


def knee(ends: bool, torque: float = rig.STEADY["torque"]) -> float:
    """The share that the measured torque asks for, to 1 % of it."""
    flat, full = maps(0.0)
    slope = Slopes(STEP, maps(STEP)[1 if ends else 0])
    own = Prediction(drawn_values(rig.RIG), flat, full if ends else flat, {"knee": slope}, 350)
    one = np.ones(1)
    reading = Readings(
        ("torque",), rig.ANGLE * one, rig.CURRENT * one, torque * one, 0.01 * torque * one, ("rig",)
    )
    return fitted(own, reading, ONLY_KNEE, mesh_error=False).found["knee"]


def test_what_the_measured_torque_asks_of_the_assumed_knee(record: Record) -> None:
    name = "field strength at 1 T that the measured torque asks for, over the assumed one"
    check = Check(rig.CASE, name, 1.0, "", rig.MEASURED, "read", (0.05, 0.6))
    with_ends, without = (bent(knee(ends)).h(1.0) / bent(0.0).h(1.0) for ends in (True, False))
    # Without the ends' flux the same torque asks for a softer steel than was assumed.
    record(check, with_ends, broken=without)


def test_the_rotor_s_flux_agrees_with_the_knee_that_the_torque_asks_for(record: Record) -> None:
    def flux(share: float) -> float:
        found = rig.steady_of(replace(rig.RIG, steel=bent(share)))["rotor pole flux"]
        flat = maps(0.0)[0]
        # The rotor's flux grows by the ends as in `with_ends`: by fringing, not by the end turns.
        grown = (
            rig.with_end_fringing(flat, rig.RIG).at(rig.ANGLE, rig.CURRENT)[0]
            / flat.at(rig.ANGLE, rig.CURRENT)[0]
        )
        return found * float(grown)

    measured = rig.STEADY["rotor pole flux"]
    check = Check(
        rig.CASE,
        "rotor pole flux, with end corrections, at the knee that the measured torque asks for",
        measured,
        "mWb",
        rig.MEASURED,
        "read",
        0.04,
    )
    record(check, flux(knee(True)), broken=flux(knee(True, 1.2 * rig.STEADY["torque"])))

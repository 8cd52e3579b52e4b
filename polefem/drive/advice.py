"""What is wrong with a run, in plain sentences, and by how much to change it."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import scipy

from polefem.drive.drive_run import DriveRun
from polefem.drive.steady import steady_state
from polefem.errors import InvalidValue
from polefem.maps import CoupledMap
from polefem.params.drive_spec import Chopping, PhaseTracking, Tracking
from polefem.params.quantity import speed_text

__all__ = ["advance_needed", "advice"]

_NEAR = 0.98
_CLOSE = 1e-4
_BALANCED = 1e-3


def advice(m: CoupledMap, run: DriveRun) -> tuple[str, ...]:
    """Sentences on a run: a level that is never reached, a current that brakes past aligned or never ends,
    figures that are less sure than they should be.
    """
    sentences = (_unreached(run), _braking(m, run), _unsure(run))
    return tuple(sentence for sentence in sentences if sentence)


def _unreached(run: DriveRun) -> str:
    control = run.drive.control
    level = control.level if isinstance(control, Chopping) else 0.0
    if isinstance(control, Tracking | PhaseTracking):
        level = float(np.max(control.currents))
    if run.peak_current >= _NEAR * level:
        return ""
    return (
        f"the supply never brings the current to {level:.4g} A at {speed_text(abs(run.speed))}: "
        f"it peaks at {run.peak_current:.4g} A; turn on earlier, or raise the supply, or turn slower"
    )


def _braking(m: CoupledMap, run: DriveRun) -> str:
    if run.mean_torque <= 0.0 and run.drive.turn_off > 0.0:
        return ""  # meant to brake
    ends = run.extinction
    if ends <= 0.0:
        return ""
    state = f"flows on to {math.degrees(ends):.4g} deg" if math.isfinite(ends) else "never falls to zero"
    begin = f"the current {state} and brakes past aligned"
    advance = advance_needed(m, run)
    if advance is None:
        return f"{begin}, and no earlier turn-off ends it in time: turn on earlier too, or turn slower"
    return f"{begin}: turn off {math.degrees(advance):.3g} deg earlier"


def _unsure(run: DriveRun) -> str:
    if run.energy.error > _BALANCED:
        return f"the energy of a cycle adds up to {run.energy.error:.1%} only: follow it with more steps"
    if run.periodicity_error > _BALANCED:
        error = f"{run.periodicity_error:.1%} of its peak"
        return f"no two cycles are quite alike: the flux linkage at turn-on differs by {error}"
    return ""


def advance_needed(m: CoupledMap, run: DriveRun) -> float | None:
    """Angle, rad, by which to turn off earlier so that the current has ended at aligned; None where nothing
    helps.

    0 where it has ended already.
    """
    drive = run.drive

    def past(turn_off: float) -> float:
        """How far past aligned the current ends."""
        try:
            end = steady_state(m, dataclasses.replace(drive, turn_off=turn_off), run.speed).extinction
        except InvalidValue:
            return m.pitch
        return end if math.isfinite(end) else m.pitch

    if run.extinction <= 0.0:
        return 0.0
    first = drive.turn_on + 0.01 * m.pitch
    if first >= drive.turn_off or past(first) > 0.0:
        return None
    return drive.turn_off - float(scipy.optimize.brentq(past, first, drive.turn_off, xtol=_CLOSE * m.pitch))

"""A bridge and its control, as the stepper takes them."""

from __future__ import annotations

import numpy as np

from polefem.drive.bridge import DEMAGNETISE, FREEWHEEL, HYSTERESIS, PROFILE, STEADY, Circuit
from polefem.drive.potential import tables
from polefem.errors import InvalidValue, refusal
from polefem.maps import CoupledMap
from polefem.params.drive_spec import (
    AverageVoltage,
    Chopping,
    DriveSpec,
    PhaseTracking,
    SinglePulse,
    Tracking,
)

__all__ = ["circuit"]

_STRIDES = 128  # of the aligned flux linkage at the map's last current, so that a knee is seen at any speed


def circuit(m: CoupledMap, drive: DriveSpec, direction: float) -> Circuit:
    """The bridge and its control on the phases of a map that turns one way (1) or the other (-1)."""
    bridge, control = drive.bridge, drive.control
    on = np.array([1.0, 1.0, 2 * bridge.switch_drop])
    free = np.array([0.0, 0.0, bridge.switch_drop + bridge.diode_drop])
    off = np.array([-1.0, 1.0, 2 * bridge.diode_drop])
    kind, rest, lower, upper = STEADY, DEMAGNETISE, 0.0, 0.0
    profile, wanted = np.zeros(1), np.zeros((m.phases, 1))
    match control:
        case SinglePulse():
            pass
        case AverageVoltage():
            on = control.duty * on + (1 - control.duty) * (off if control.hard else free)
        case Chopping():
            kind, rest = HYSTERESIS, DEMAGNETISE if control.hard else FREEWHEEL
            lower, upper = control.lower, control.upper
        case Tracking():
            kind, profile = PROFILE, np.array(control.angles)
            wanted = np.tile(np.array(control.currents), (m.phases, 1))
        case PhaseTracking():
            kind, profile, wanted = PROFILE, np.array(control.angles), np.array(control.currents)
            if len(wanted) != m.phases:
                rule, allowed = "each phase has a profile", f"{m.phases} of them"
                raise InvalidValue(refusal(rule, "control.currents", f"{len(wanted)} of them", allowed))
    return Circuit(
        supply=bridge.supply,
        source=bridge.source_resistance,
        ohms=drive.resistance,
        states=np.stack([on, free, off]),
        kind=kind,
        rest=rest,
        lower=lower,
        upper=upper,
        profile=profile,
        wanted=wanted,
        stride=tables(m).full / _STRIDES,
        turn_on=drive.turn_on,
        pitch=m.pitch,
        direction=direction,
    )

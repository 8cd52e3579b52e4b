"""From a map to motion: currents, torque as the shaft feels it, switching angles. Sees a `FluxMap` and no mesh."""

from polefem.drive.drive_run import DriveRun, EnergyBook
from polefem.drive.free import FreeRun, run_free
from polefem.drive.square import (
    RIPPLE_FORMULA,
    SquareTorque,
    copper_loss,
    current_for_copper_loss,
    current_for_mean_torque,
    mean_torque,
    square_torque,
)
from polefem.drive.steady import operating_point

__all__ = [
    "RIPPLE_FORMULA",
    "DriveRun",
    "EnergyBook",
    "FreeRun",
    "SquareTorque",
    "copper_loss",
    "current_for_copper_loss",
    "current_for_mean_torque",
    "mean_torque",
    "operating_point",
    "run_free",
    "square_torque",
]

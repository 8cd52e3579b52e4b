"""From a map to motion: currents, torque as the shaft feels it, switching angles. Sees a `FluxMap` and no
mesh."""

from polefem.drive.square import (
    RIPPLE_FORMULA,
    SquareTorque,
    copper_loss,
    current_for_copper_loss,
    current_for_mean_torque,
    mean_torque,
    square_torque,
)

__all__ = [
    "RIPPLE_FORMULA",
    "SquareTorque",
    "copper_loss",
    "current_for_copper_loss",
    "current_for_mean_torque",
    "mean_torque",
    "square_torque",
]

"""From a map to motion: currents, torque as the shaft feels it, switching angles. Sees a `FluxMap` and no
mesh."""

from polefem.drive.advice import advance_needed, advice
from polefem.drive.drive_run import DriveRun, EnergyBook
from polefem.drive.free import FreeRun, run_free
from polefem.drive.levels import (
    at_level,
    best_setting_at_loss,
    run_at_copper_loss,
    run_at_level,
    run_at_mean_torque,
)
from polefem.drive.position import PositionTable, Quantity, position_table
from polefem.drive.search import Aim, Setting
from polefem.drive.settings import AngleTable, angle_table, best_setting, most_torque
from polefem.drive.sharing import Sharing, best_sharing, share_torque
from polefem.drive.square import (
    RIPPLE_FORMULA,
    SquareTorque,
    copper_loss,
    current_for_copper_loss,
    current_for_mean_torque,
    mean_torque,
    ripple_error,
    square_torque,
    torque_error,
)
from polefem.drive.steady import operating_point
from polefem.drive.table_files import (
    write_angle_csv,
    write_angle_header,
    write_position_csv,
    write_position_header,
)
from polefem.drive.waveform import WaveformTorque, waveform_torque

__all__ = [
    "RIPPLE_FORMULA",
    "Aim",
    "AngleTable",
    "DriveRun",
    "EnergyBook",
    "FreeRun",
    "PositionTable",
    "Quantity",
    "Setting",
    "Sharing",
    "SquareTorque",
    "WaveformTorque",
    "advance_needed",
    "advice",
    "angle_table",
    "at_level",
    "best_setting",
    "best_setting_at_loss",
    "best_sharing",
    "copper_loss",
    "current_for_copper_loss",
    "current_for_mean_torque",
    "mean_torque",
    "most_torque",
    "operating_point",
    "position_table",
    "ripple_error",
    "run_at_copper_loss",
    "run_at_level",
    "run_at_mean_torque",
    "run_free",
    "share_torque",
    "square_torque",
    "torque_error",
    "waveform_torque",
    "write_angle_csv",
    "write_angle_header",
    "write_position_csv",
    "write_position_header",
]

"""From a map to motion: currents, torque as the shaft feels it, switching angles. Sees a `CoupledMap` and no
mesh."""

from polefem.drive.advice import advance_needed, advice
from polefem.drive.currents import rectangular_currents, run_currents, waveform_currents
from polefem.drive.drive_run import DriveRun, EnergyBalance
from polefem.drive.free_shaft import FreeShaftRun, rest_torque, run_free_shaft
from polefem.drive.levels import (
    at_level,
    best_setting_at_loss,
    run_at_copper_loss,
    run_at_level,
    run_at_mean_torque,
)
from polefem.drive.position import AngleReading, PositionTable, Quantity, angle_reading, position_table
from polefem.drive.rectangular import (
    RIPPLE_FORMULA,
    RectangularTorque,
    copper_loss,
    current_for_copper_loss,
    current_for_mean_torque,
    mean_torque,
    rectangular_torque,
    ripple_error,
    torque_error,
)
from polefem.drive.settings import AngleTable, angle_table, best_setting, most_torque
from polefem.drive.sharing import TorqueSharing, best_sharing, share_torque
from polefem.drive.steady import steady_state
from polefem.drive.suited_switching import suited_switching
from polefem.drive.switching_search import Objective, Setting
from polefem.drive.table_files import (
    write_angle_csv,
    write_angle_header,
    write_position_csv,
    write_position_header,
)
from polefem.drive.waveform import WaveformTorque, waveform_torque

__all__ = [
    "RIPPLE_FORMULA",
    "AngleReading",
    "AngleTable",
    "DriveRun",
    "EnergyBalance",
    "FreeShaftRun",
    "Objective",
    "PositionTable",
    "Quantity",
    "RectangularTorque",
    "Setting",
    "TorqueSharing",
    "WaveformTorque",
    "advance_needed",
    "advice",
    "angle_reading",
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
    "position_table",
    "rectangular_currents",
    "rectangular_torque",
    "rest_torque",
    "ripple_error",
    "run_at_copper_loss",
    "run_at_level",
    "run_at_mean_torque",
    "run_currents",
    "run_free_shaft",
    "share_torque",
    "steady_state",
    "suited_switching",
    "torque_error",
    "waveform_currents",
    "waveform_torque",
    "write_angle_csv",
    "write_angle_header",
    "write_position_csv",
    "write_position_header",
]

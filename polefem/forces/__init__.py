"""What the field does to what stands round it: pressure in the gap, as waves too."""

from polefem.forces.axial import Attraction, disc_attraction
from polefem.forces.offset import MOST_OFFSET, OffsetPull, offset_pull, offset_pulls, pull_stiffness
from polefem.forces.pressure import GapPressure, gap_pressure, gap_pressures, pitch_angles
from polefem.forces.tilt import DiscTilt, disc_tilt
from polefem.forces.waves import PressureWaves, pressure_waves, write_waves

__all__ = [
    "MOST_OFFSET",
    "Attraction",
    "DiscTilt",
    "GapPressure",
    "OffsetPull",
    "PressureWaves",
    "disc_attraction",
    "disc_tilt",
    "gap_pressure",
    "gap_pressures",
    "offset_pull",
    "offset_pulls",
    "pitch_angles",
    "pressure_waves",
    "pull_stiffness",
    "write_waves",
]

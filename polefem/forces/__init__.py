"""What the field does to what stands round it: pressure in the gap, as waves too."""

from polefem.forces.pressure import GapPressure, gap_pressure, pitch_angles
from polefem.forces.waves import PressureWaves, pressure_waves, write_waves

__all__ = [
    "GapPressure",
    "PressureWaves",
    "gap_pressure",
    "pitch_angles",
    "pressure_waves",
    "write_waves",
]

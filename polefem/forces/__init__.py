"""What the field does to what stands round it: pressure in the gap, as waves too."""

from polefem.forces.axial import Attraction, disc_attraction
from polefem.forces.pressure import GapPressure, gap_pressure, pitch_angles
from polefem.forces.waves import PressureWaves, pressure_waves, write_waves

__all__ = [
    "Attraction",
    "GapPressure",
    "PressureWaves",
    "disc_attraction",
    "gap_pressure",
    "pitch_angles",
    "pressure_waves",
    "write_waves",
]

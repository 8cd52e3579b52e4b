"""What a flat section does not give, by formulas: ends, masses, loss in the iron."""

from polefem.estimates.end_fringing import EndFringing, end_fringing, with_end_fringing
from polefem.estimates.end_winding import end_winding_inductance, with_end_winding
from polefem.estimates.ends import EndEffects, end_effects, with_end_effects
from polefem.estimates.masses import Masses, masses_of, steel_mass
from polefem.estimates.torque_density import USUAL_SHEAR, TorqueDensity, gap_shear_stress, torque_density

__all__ = [
    "USUAL_SHEAR",
    "EndEffects",
    "EndFringing",
    "Masses",
    "TorqueDensity",
    "end_effects",
    "end_fringing",
    "end_winding_inductance",
    "gap_shear_stress",
    "masses_of",
    "steel_mass",
    "torque_density",
    "with_end_effects",
    "with_end_fringing",
    "with_end_winding",
]

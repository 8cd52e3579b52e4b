"""What a flat section does not give, by formulas: ends, masses, loss in the iron."""

from polefem.estimates.end_fringing import EndFringing, end_fringing, with_end_fringing
from polefem.estimates.end_winding import end_winding_inductance, with_end_winding
from polefem.estimates.ends import EndEffects, end_effects, with_end_effects
from polefem.estimates.iron_loss import IronLoss, PartLoss, Turning, iron_loss, loss_over_cycle
from polefem.estimates.masses import Masses, masses_of, steel_mass
from polefem.estimates.solid_parts import solid_cautions, stroke_frequency
from polefem.estimates.torque_density import USUAL_SHEAR, TorqueDensity, gap_shear_stress, torque_density

__all__ = [
    "USUAL_SHEAR",
    "EndEffects",
    "EndFringing",
    "IronLoss",
    "Masses",
    "PartLoss",
    "TorqueDensity",
    "Turning",
    "end_effects",
    "end_fringing",
    "end_winding_inductance",
    "gap_shear_stress",
    "iron_loss",
    "loss_over_cycle",
    "masses_of",
    "solid_cautions",
    "steel_mass",
    "stroke_frequency",
    "torque_density",
    "with_end_effects",
    "with_end_fringing",
    "with_end_winding",
]

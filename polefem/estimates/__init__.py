"""What a flat section does not give, by formulas: ends, masses, loss in the iron.

What asks for fields or windings is loaded when it is asked for itself: it loads a mesher.
"""

from typing import TYPE_CHECKING

from polefem.estimates.end_fringing import EndFringing, end_fringing, with_end_fringing
from polefem.estimates.end_winding import end_winding_inductance, with_end_winding
from polefem.estimates.ends import EndEffects, end_effects, with_end_effects
from polefem.estimates.shear_stress import USUAL_SHEAR, gap_shear_stress
from polefem.estimates.solid_parts import solid_cautions, stroke_frequency
from polefem.estimates.turning import Turning
from polefem.later import front

if TYPE_CHECKING:
    from polefem.estimates.cycle_loss import IronLoss, PartLoss, iron_loss, loss_over_cycle
    from polefem.estimates.density import TorqueDensity, torque_density
    from polefem.estimates.masses import Masses, masses_of, steel_density, steel_mass

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
    "steel_density",
    "steel_mass",
    "stroke_frequency",
    "torque_density",
    "with_end_effects",
    "with_end_fringing",
    "with_end_winding",
]

__getattr__, __dir__ = front(
    __name__,
    __all__,
    {
        ".cycle_loss": "IronLoss PartLoss iron_loss loss_over_cycle",
        ".masses": "Masses masses_of steel_density steel_mass",
        ".density": "TorqueDensity torque_density",
    },
)

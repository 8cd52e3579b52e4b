"""What a flat section does not give, by formulas: ends, masses, loss in the iron."""

from polefem.estimates.masses import Masses, masses_of, steel_mass

__all__ = ["Masses", "masses_of", "steel_mass"]

"""Eddy currents in sheet and in solid parts: the classical loss coefficient, and how deep a field reaches."""

from math import pi, sqrt

from polefem.errors import InvalidValue, refusal
from polefem.materials.law import MU0
from polefem.materials.steel import Steel

__all__ = ["classical_coefficient", "skin_depth", "solid_part_caution"]


def classical_coefficient(thickness: float, resistivity: float, density: float) -> float:
    """Classical eddy-current loss of a sheet over f^2 B^2, in W s2/(T2 kg): pi^2 d^2 / (6 rho_e rho_m).

    For a sine whose skin depth is well above the thickness d in m; resistivity in ohm m, density in kg/m3.

    >>> round(classical_coefficient(0.35e-3, 52e-8, 7650.0) * 1e5, 2)
    5.07
    """
    return pi**2 * thickness**2 / (6.0 * resistivity * density)


def skin_depth(frequency: float, resistivity: float, mu_r: float = 1.0) -> float:
    """Depth in m at which a sine of this frequency in Hz has fallen to 1/e: sqrt(rho / (pi f mu0 mu_r)).

    For a constant permeability and a plane surface; resistivity in ohm m.

    >>> round(1e3 * skin_depth(50.0, 1.0 / 58e6), 1)  # copper at mains frequency, mm
    9.3
    """
    for name, value in (("frequency", frequency), ("resistivity", resistivity), ("mu_r", mu_r)):
        if not value > 0.0:
            raise InvalidValue(refusal("a skin depth needs them all", name, value, "above 0"))
    return sqrt(resistivity / (pi * frequency * MU0 * mu_r))


def solid_part_caution(steel: Steel, thickness: float, frequency: float, peak: float = 1.0) -> str | None:
    """One sentence if a solid part is too thick for a static field to hold at this frequency in Hz, else None.

    A part of some thickness in m, entered from both sides, is taken to follow the field while it is no thicker than
    two skin depths (common practice), at the permeability B/H of the steel at a flux density `peak` in T.

    Raises
    ------
    InvalidValue
        If the steel has no grade, and so no resistivity.
    """
    if steel.grade is None:
        raise InvalidValue(
            refusal("eddy currents need a resistivity", "steel", steel.name, "a steel with a grade")
        )
    depth = skin_depth(frequency, steel.grade.resistivity.value, peak / (MU0 * steel.h(peak)))
    if thickness <= 2.0 * depth:
        return None
    return (
        f"solid {steel.name} of {1e3 * thickness:.3g} mm is thicker than two skin depths of {1e3 * depth:.2g} mm at "
        f"{frequency:.4g} Hz: its eddy currents hold the flux out, and a static flux map promises too much"
    )

"""The metal of the wire, annealed copper after IEC 60028 (from memory; universally quoted)."""

from __future__ import annotations

__all__ = ["COPPER_DENSITY", "copper_resistivity"]

COPPER_DENSITY = 8890.0  #: kg/m3
RESISTIVITY_AT_20 = 1e-6 / 58.0  #: ohm m: 1/58 ohm mm2/m
TEMPERATURE_COEFFICIENT = 0.00393  #: 1/K, of the resistivity at 20 degC


def copper_resistivity(temperature: float) -> float:
    """Of copper at a temperature in degC, ohm m.

    >>> round(copper_resistivity(100.0) * 1e8, 4)
    2.2662
    """
    return RESISTIVITY_AT_20 * (1.0 + TEMPERATURE_COEFFICIENT * (temperature - 20.0))

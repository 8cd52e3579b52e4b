"""Magnetic stress on the circle midway across the gap, from the gap's own solution.

J. C. Maxwell's stresses (any textbook): along the radius (B_r^2 - B_t^2) / (2 mu0), along the circle B_r B_t / mu0. The
field there is a finite sum of harmonics known in closed form, so that what is summed over evenly spaced places, as many
as `closest` asks for, is exact to rounding.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.constants import mu_0

from polefem.errors import InvalidValue, refusal
from polefem.outline import Outline
from polefem.solve import System

__all__ = ["closest", "gap_radius", "gap_stress"]

Floats = NDArray[np.float64]

#: Places on the circle for each air gap along it, at the least: no field there changes over less.
PER_GAP = 5


def gap_radius(outline: Outline) -> float:
    """Of the circle, m; of a flat section, of the cylinder that it was cut by."""
    return outline.radius if outline.rotor.flat else math.sqrt(outline.rotor.gap * outline.stator.gap)


def closest(outline: Outline, span: float) -> int:
    """How many places a span of the circle (rad) needs, so that no field falls between them."""
    return math.ceil(PER_GAP * gap_radius(outline) * span / outline.rotor.air_gap)


def gap_stress(
    outline: Outline, system: System, angle: float, unknowns: Floats, places: Floats
) -> tuple[Floats, Floats]:
    """Stress at places (rad, shape (n,)) of a section whose rotor stands at an angle (rad), each of shape (n,), Pa.

    The first draws rotor and stator together where positive; the second turns the rotor counter-clockwise (flat: along
    its motion) and the stator against it. Raises InvalidValue for places that do not increase in even steps.
    """
    steps = np.diff(places)
    if not (np.all(steps > 0.0) and np.allclose(steps, steps[:1], rtol=1e-6, atol=0.0)):
        rule, allowed = "stress is seen at even places", "places that increase in even steps"
        raise InvalidValue(refusal(rule, "places", places, allowed))
    model, radius = system.model, gap_radius(outline)
    radial, along = system.gap.flux_density(
        unknowns[model.rotor_at], unknowns[model.stator_at], angle, places
    )
    return (radial**2 - along**2) / (2 * mu_0 * radius**2), radial * along / (mu_0 * radius**2)

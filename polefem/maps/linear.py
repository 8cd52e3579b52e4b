"""The ideal machine of the textbooks: iron that never saturates and an inductance made of straight pieces."""

from __future__ import annotations

from math import degrees

import numpy as np

from polefem.errors import InvalidValue, refusal
from polefem.maps.flux_map import FluxMap
from polefem.params.checks import positive, whole

__all__ = ["linear_map"]


def linear_map(
    aligned: float,
    unaligned: float,
    *,
    full: float,
    apart: float,
    current: float,
    phases: int = 3,
    rotor_poles: int = 4,
    corner: float = 1e-4,
) -> FluxMap:
    """The map of a machine whose inductance is straight in pieces, for drives that can be checked by hand.

    aligned, unaligned: inductance, H. full: up to this angle from aligned the poles overlap fully, rad, 0 or
    more. apart: from this angle on they do not overlap, rad. current: the last of the map, A. corner: each
    corner of the inductance is a parabola over this angle to either side, rad: the torque of a sharp one
    would have two values.

    Between `full` and `apart` the torque is i^2 / 2 * (aligned - unaligned) / (apart - full) (the slope of the co-
    energy L i^2 / 2).

    Raises InvalidValue where the pieces do not fit in half a rotor pitch in that order.

    >>> from polefem.units import deg
    >>> m = linear_map(60e-3, 6e-3, full=0.0, apart=30 * deg, current=10.0)
    >>> flux_linkage, torque, coenergy = m.at(-15 * deg, 10.0)
    >>> round(float(flux_linkage), 6), round(float(torque), 4)
    (0.33, 5.1566)
    """
    whole("a map belongs to a machine with rotor poles", "rotor_poles", rotor_poles)
    half = np.pi / rotor_poles
    positive("the inductance must be positive", "unaligned", unaligned, "H")
    positive("a corner must have a width", "corner", corner, "rad")
    if not aligned > unaligned:
        found, least = f"{aligned:.6g} H", f"above the {unaligned:.6g} H unaligned"
        raise InvalidValue(refusal("the aligned inductance is the larger", "aligned", found, least))
    if not (full == 0.0 or full > corner):
        found, allowed = f"{degrees(full):.6g} deg", f"0 or above the corner of {degrees(corner):.6g} deg"
        raise InvalidValue(refusal("the aligned piece holds its corner or is nought", "full", found, allowed))
    if not full + 2 * corner < apart < half - corner:
        found, allowed = (
            f"{degrees(apart):.6g} deg",
            f"above {degrees(full + 2 * corner):.6g} and below {degrees(half - corner):.6g} deg",
        )
        raise InvalidValue(
            refusal("the poles part between alignment and half a pitch", "apart", found, allowed)
        )
    fall = (aligned - unaligned) / (apart - full)
    corners = [corner] if full == 0.0 else [full - corner, full + corner]
    angles = np.array([0.0, *corners, apart - corner, apart + corner, half])
    slope = np.array([0.0] * len(corners) + [-fall, -fall, 0.0, 0.0])
    # The slope is straight between these angles, so that the trapezoidal rule gives the inductance without
    # error.
    back = np.cumsum((np.diff(angles) * (slope[1:] + slope[:-1]) / 2)[::-1])[::-1]
    inductance = unaligned - np.append(back, 0.0)
    currents = np.array([positive("a current must flow", "current", current, "A")])
    square = currents[:, None] ** 2 / 2
    return FluxMap(
        angles=angles,
        currents=currents,
        flux_linkage=currents[:, None] * inductance,
        torque=square * slope,
        coenergy=square * inductance,
        incremental_inductance=inductance[None, :],
        phases=phases,
        rotor_poles=rotor_poles,
        mirror=True,
        name="straight inductance",
    )

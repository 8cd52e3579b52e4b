"""The inductance of the end turns, which a flat section has none of.

Both end turns of a coil, put together, make a ring whose mean radius is half the distance between the coil sides (see
`polefem.copper.turn`). The ring is taken to lie in air: L = N^2 times the mean, over all pairs of places in its
section, of the inductance between two circles of radii a and b at a distance z along their axis,

    M = mu0 sqrt(a b) [(2/k - k) K - (2/k) E],   k^2 = 4 a b / ((a + b)^2 + z^2)

with the complete elliptic integrals of modulus k (J. C. Maxwell, A Treatise on Electricity and Magnetism, 1873, article
701; F. W. Grover, Inductance Calculations, 1946; held against the handbook's example and Nagaoka's coefficient in the
tests). For a section small against the radius that is the handbook's L = mu0 N^2 R [ln(8 R / GMD) - 2] with GMD =
0.2235 (width + height). The section of a tall coil is not small: for one of 10 mm by 60 mm at a radius of 15 mm the
handbook's formula gives a thirteenth of the integral.

Left out: the steel beside the end turns, which raises their inductance, and what the end turns of neighbouring coils do
to each other. The result is taken as good to some 30 % (an assumption).
"""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import scipy
from numpy.typing import NDArray

from polefem.copper import coil_shape, coils_per_pole
from polefem.maps import FluxMap
from polefem.materials import MU0
from polefem.outline import DrawnMachine, drawn
from polefem.params import Machine

__all__ = ["end_winding_inductance", "ring_inductance", "with_end_winding"]

Floats = NDArray[np.float64]

#: Places of Gauss and Legendre across the section for one circle of a pair and for the other, so that none meet.
PLACES = (8, 9)
MOST = 6  # times as many along the axis, where the section is tall


def end_winding_inductance(machine: Machine | DrawnMachine) -> float:
    """Of one phase, H: its coils in series and parallel, each with the ring that its end turns make.

    Raises GeometryRefused for a machine that cannot be built.
    """
    known = drawn(machine)
    machine, coil = known.machine, coil_shape(known)
    parts = (
        machine.winding.turns_per_pole / machine.section_turns
    )  # of a coil that a plane of symmetry cuts: 2
    ring = ring_inductance(coil.across / 2, coil.width, parts * coil.height)
    outside = coil.end_turns / (math.pi * coil.across)
    coils = machine.stator_poles // machine.phases.count * coils_per_pole(machine)
    return coils * (machine.winding.turns_per_pole / machine.winding.parallel_paths) ** 2 * outside * ring


def ring_inductance(radius: float, width: float, height: float) -> float:
    """Of a circular coil in air, H per turn squared.

    radius: mean, m. width, height: of its section, across and along the axis, m; the width below twice the radius.

    >>> round(ring_inductance(50e-3, 10e-3, 10e-3) * 100**2 * 1e3, 2)  # mH; the handbook's thin ring: 1.567
    1.57
    """
    (a, z_a, weight_a), (b, z_b, weight_b) = (_section(radius, width, height, count) for count in PLACES)
    mutual = between_circles(a[:, None], b[None, :], z_a[:, None] - z_b[None, :])
    return float(weight_a @ mutual @ weight_b)


def with_end_winding(flux_map: FluxMap, machine: Machine | DrawnMachine) -> FluxMap:
    """The map with the end turns' inductance L in series: flux linkage + L i, co-energy + L i^2 / 2, the same torque.

    The map says so in its `remarks`.
    """
    added = end_winding_inductance(machine)
    current = flux_map.currents[:, None]
    known = flux_map.incremental_inductance
    return dataclasses.replace(
        flux_map,
        flux_linkage=flux_map.flux_linkage + added * current,
        coenergy=flux_map.coenergy + added / 2 * current**2,
        incremental_inductance=None if known is None else known + added,
        remarks=(
            *flux_map.remarks,
            f"end turns of {added * 1e3:.4g} mH are in it, an estimate and no field solution",
        ),
    )


def _section(radius: float, width: float, height: float, count: int) -> tuple[Floats, Floats, Floats]:
    """Radii, places along the axis (m) and weights of the circles that stand for a section."""
    more = min(MOST, math.ceil(height / width))
    (across, weights_r), (along, weights_z) = map(np.polynomial.legendre.leggauss, (count, more * count))
    r, z = np.meshgrid(radius + width / 2 * across, height / 2 * along)
    return r.ravel(), z.ravel(), np.outer(weights_z, weights_r).ravel() / 4


def between_circles(a: Floats, b: Floats, z: Floats) -> Floats:
    """Inductance between circles about one axis, H; the arguments broadcast."""
    far, near = (a + b) ** 2 + z**2, (a - b) ** 2 + z**2
    k = np.sqrt(4 * a * b / far)
    mutual: Floats = (
        MU0
        * np.sqrt(a * b)
        * ((2 / k - k) * scipy.special.ellipkm1(near / far) - 2 / k * scipy.special.ellipe(k**2))
    )
    return mutual

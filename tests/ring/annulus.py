"""The exact natural frequencies of a plain ring in plane stress: potentials of J. W. Strutt's and H. Lamb's kind.

u = grad(phi) + curl(psi), phi = (A J_m(a r) + B Y_m(a r)) cos(m t), psi likewise with sin(m t); a = w / c_L and w / c_T
for the two waves of a thin plate in its plane, c_L^2 = E / (rho (1 - nu^2)), c_T^2 = E / (2 rho (1 + nu)). Free edges
have no stress along the radius, held ones do not move: a determinant of four rows is zero. (Any textbook of elastic
waves; derived here.)
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import jv, jvp, yv, yvp

from polefem.ring import Ring

__all__ = ["exact_frequencies"]

Floats = NDArray[np.float64]


def exact_frequencies(ring: Ring, order: int, count: int = 1, clamped: bool = False) -> list[float]:
    """The lowest natural frequencies of a plain ring in an order, Hz; clamped: held along its outside."""
    bar = math.sqrt(ring.modulus / ring.density) / ring.mean_radius

    def determinant(w: float) -> float:
        matrix = np.array(
            [
                *rows(ring, order, w, ring.inner, held=False),
                *rows(ring, order, w, ring.outer, held=clamped),
            ]
        )
        return float(np.linalg.det(matrix / np.abs(matrix).max(axis=1, keepdims=True)))

    grid = np.linspace(0.01, 8.0, 1600) * bar
    values = [determinant(w) for w in grid]
    found = [
        brentq(determinant, low, high, rtol=1e-10)
        for low, high, one, other in zip(grid[:-1], grid[1:], values[:-1], values[1:], strict=True)
        if one * other < 0
    ]
    return [w / (2 * math.pi) for w in found[:count]]


def rows(ring: Ring, m: int, w: float, r: float, held: bool) -> list[Floats]:
    """What must be zero at a radius, over the four constants."""
    nu = ring.poisson
    slow = math.sqrt(ring.modulus / (2 * ring.density * (1 + nu)))
    fast = math.sqrt(ring.modulus / (ring.density * (1 - nu**2)))
    f, df, ddf = (np.zeros(4) for _ in range(3))
    g, dg, ddg = (np.zeros(4) for _ in range(3))
    for at, (wave, k) in enumerate(((jv, w / fast), (yv, w / fast))):
        f[at], df[at] = wave(m, k * r), k * (jvp, yvp)[at](m, k * r)
        ddf[at] = -df[at] / r - (k**2 - m**2 / r**2) * f[at]
    for at, (wave, k) in enumerate(((jv, w / slow), (yv, w / slow))):
        g[2 + at], dg[2 + at] = wave(m, k * r), k * (jvp, yvp)[at](m, k * r)
        ddg[2 + at] = -dg[2 + at] / r - (k**2 - m**2 / r**2) * g[2 + at]
    u, v = df + m * g / r, -m * f / r - dg
    if held:
        return [u, v]
    du = ddf + m * (dg / r - g / r**2)
    dv = -m * (df / r - f / r**2) - ddg
    return [r * (du + nu * (u / r + m * v / r)), r * (-m * u / r + dv - v / r)]

"""The harmonics of a trace.

Traces are piecewise quadratic, and the Fourier integrals of quadratics are spherical Bessel functions: exact.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import spherical_jn

from polefem.model import Trace

__all__ = ["SHAPES", "fourier", "pieces"]

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

#: Legendre coefficients (rows: degree 0, 1, 2) of the three quadratic shape functions on [-1, 1].
SHAPES = np.array([[1 / 6, 2 / 3, 1 / 6], [-1 / 2, 0.0, 1 / 2], [1 / 3, -2 / 3, 1 / 3]])


def fourier(trace: Trace, orders: Floats) -> Complexes:
    """Integral of the shape of each unknown of a trace times exp(-i n phi), over one sector.

    orders: ndarray, shape (n_orders,), per rad; they need not be whole. Returns an ndarray, shape (n_orders,
    trace.size). The unknown that the sector's two ends share has its shape round the first of them, in one piece: the
    part at the last one is moved back by a sector, over which the sign of a field that changes it is 1 again.
    """
    elements = pieces(trace, orders)
    integrals = np.zeros((trace.size, len(orders)), dtype=complex)
    for node in range(3):
        terms = sum(SHAPES[degree, node] * elements[degree] for degree in range(3))
        at = slice(node, len(trace.angles) - 2 + node, 2)
        signs = trace.signs[at].copy()
        if node == 2:
            terms[:, -1] *= np.exp(1j * orders * (trace.angles[-1] - trace.angles[0]))
            signs[-1] = 1.0
        np.add.at(integrals, trace.unknowns[at], terms.T * signs[:, None])
    return np.ascontiguousarray(integrals.T)


def pieces(trace: Trace, orders: Floats) -> list[Complexes]:
    """Integral of Legendre's polynomial of degree 0, 1 and 2 on each element of a trace times exp(-i n phi), each of
    shape (n_orders, n_elements)."""
    half, middle = np.diff(trace.angles[::2]) / 2, (trace.angles[2::2] + trace.angles[:-1:2]) / 2
    turn = np.exp(-1j * orders[:, None] * middle) * (half * 2)
    return [(-1j) ** degree * spherical_jn(degree, orders[:, None] * half) * turn for degree in range(3)]

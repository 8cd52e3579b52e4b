"""Hermite pieces over an angle and several currents: tensor products of cubics, from values and first derivatives.

A node needs every mixed derivative with at most one order along each axis. Its value and its gradient are known; what
is mixed is given, or comes from cubic splines of these along the other axes: periodic along the angle, free along the
currents. The order of differentiation does not matter, and where several ways lead to one derivative their mean is
taken.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import product

import numpy as np
import scipy
from numpy.typing import NDArray

from polefem.maps.polynomials import CUBIC

__all__ = ["collapsed", "cubic_powers", "mixed_nodes", "node_patches", "turned_nodes"]

Array = NDArray[np.float64]


def mixed_nodes(
    angles: Array,
    currents: Array,
    value: Array,
    gradient: Array,
    mixed: Mapping[tuple[int, ...], Array] | None = None,
) -> Array:
    """Every derivative of at most one order an axis, shape (2,) * d + (n_angles, n_currents, ...), d axes in all.

    angles: shape (n_angles + 1,), rad: over one period, both ends. currents: shape (n_currents,), the same along each
    axis. value: shape (n_angles, n_currents, ...). gradient: shape (d,) + that of the value. mixed: those mixed
    derivatives that are known, by their orders, each of the value's shape.
    """
    axes, given = value.ndim, mixed or {}
    nodes = np.zeros((2,) * axes + value.shape)
    nodes[(0,) * axes] = value
    for orders in sorted(product((0, 1), repeat=axes), key=sum):
        along = [axis for axis, order in enumerate(orders) if order]
        if len(along) == 1:
            nodes[orders] = gradient[along[0]]
        elif orders in given:
            nodes[orders] = given[orders]
        elif along:
            ways = [_slopes(angles, currents, nodes[_without(orders, axis)], axis) for axis in along]
            nodes[orders] = np.mean(ways, axis=0)
    return nodes


def _without(orders: tuple[int, ...], axis: int) -> tuple[int, ...]:
    return (*orders[:axis], 0, *orders[axis + 1 :])


def _slopes(angles: Array, currents: Array, table: Array, axis: int) -> Array:
    """Slopes along one axis of a table over angle and currents, of its shape."""
    if axis == 0:
        closed = np.concatenate([table, table[:1]])
        turned: Array = scipy.interpolate.CubicSpline(angles, closed, bc_type="periodic")(angles[:-1], 1)
        return turned
    slopes: Array = scipy.interpolate.CubicSpline(currents, table, axis=axis)(currents, 1)
    return slopes


def node_patches(angles: Array, currents: Array, nodes: Array) -> Array:
    """Power coefficients of every cell, shape (n_angles,) + (n_currents - 1,) * k + (4,) * k + (4,): powers of the
    place in each current's cell, then of the place in the angle's, each 0 to 1; k = d - 1 currents."""
    axes = nodes.ndim // 2
    table = np.concatenate([nodes, np.take(nodes, [0], axis=axes)], axis=axes)
    for axis in range(axes):  # flags and nodes of one axis make way for its cells and powers, at the end
        ends = np.moveaxis(table, (0, axes - axis), (-2, -1))
        width = np.diff(currents if axis else angles)
        value, slope = ends[..., 0, :], ends[..., 1, :]
        corners = [value[..., :-1], slope[..., :-1] * width, value[..., 1:], slope[..., 1:] * width]
        table = np.stack(corners, axis=-1) @ CUBIC.T
    cells, powers = range(0, 2 * axes, 2), (*range(3, 2 * axes, 2), 1)
    return np.ascontiguousarray(table.transpose(*cells, *powers))


def turned_nodes(angles: Array, nodes: Array, ahead: float) -> Array:
    """Nodes as `mixed_nodes` gives them of the same pieces at angles further on by `ahead` (rad)."""
    axes = nodes.ndim // 2
    closed = np.concatenate([nodes, np.take(nodes, [0], axis=axes)], axis=axes)
    places = angles[0] + np.mod(angles[:-1] + ahead - angles[0], angles[-1] - angles[0])
    turned = np.empty_like(nodes)
    pieces = scipy.interpolate.CubicHermiteSpline(
        angles, np.moveaxis(closed[0], axes - 1, 0), np.moveaxis(closed[1], axes - 1, 0)
    )
    for order in (0, 1):
        turned[order] = np.moveaxis(pieces(places, order), 0, axes - 1)
    return turned


def collapsed(coefficients: Array, powers: Array) -> Array:
    """Polynomials along the last axis, coefficients of shape (..., 4, 4), at powers of shape (..., 4)."""
    apart = coefficients.ndim - powers.ndim
    shape = powers.shape[:-1] + (1,) * apart + (4,)
    result: Array = (coefficients * powers.reshape(shape)).sum(axis=-1)
    return result


def cubic_powers(u: Array) -> tuple[Array, Array, Array]:
    """Powers 0 to 3 of u, their slopes and their curvatures, each of shape (..., 4)."""
    one, nought = np.ones_like(u), np.zeros_like(u)
    return (
        np.stack([one, u, u * u, u * u * u], axis=-1),
        np.stack([nought, one, 2 * u, 3 * u * u], axis=-1),
        np.stack([nought, nought, 2 * one, 6 * u], axis=-1),
    )

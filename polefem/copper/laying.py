"""Where the wires of a coil side lie, one by one: what `packing` counts, as places.

Rows stand one above another, layer on layer from the flank outwards. The first layer begins at the yoke, where the
coil's start comes out; each next one runs back. Real hands cross wires over; that the wires have room is shown, not how
they will lie.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from polefem.copper.turn import CoilShape
from polefem.copper.wire import Wire

__all__ = ["laid_wires"]


def laid_wires(shape: CoilShape, wire: Wire, wires: int) -> NDArray[np.complex128]:
    """Middles of the wires in one coil side, in the order in which they are wound: as many as have places.

    Returns ndarray, complex, shape (n,), m: real parts away from the flank, from the coil's inner edge; imaginary parts
    along it, from the coil's end at the pole face.

    >>> side = CoilShape(0.06, 0.03, 2.5e-3, 3e-3, 7.5e-6, 0.0)
    >>> [f"{z * 1e3:.1f}" for z in laid_wires(side, Wire(0.9e-3, 1e-3), 5)]
    ['0.5+2.5j', '0.5+1.5j', '0.5+0.5j', '1.5+0.5j', '1.5+1.5j']
    """
    size = wire.overall
    blocks = shape.blocks or ((shape.width, shape.height),)
    columns: dict[int, list[complex]] = {}
    end = shape.height if not shape.blocks else sum(height for _, height in blocks)
    for width, height in reversed(blocks):  # from the yoke to the face
        rows, layers = (math.floor(length / size * (1 + 1e-9)) for length in (height, width))
        for layer in range(layers):
            column = [complex((layer + 0.5) * size, end - (row + 0.5) * size) for row in range(rows)]
            columns.setdefault(layer, []).extend(column)
        end -= height
    places = [z for layer in sorted(columns) for z in columns[layer][:: -1 if layer % 2 else 1]]
    return np.array(places[:wires], dtype=complex)

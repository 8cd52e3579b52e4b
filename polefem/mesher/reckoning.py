"""How many elements a mesh will have, before it is made: sizes are lengths asked for, and nothing bounds them.

An element of a length h takes sqrt(3) / 4 h^2. Where h grows by g over a length, from a at a curve to b, the strip
beside a length l of the curve holds 4 / sqrt(3) l / g (1 / a - 1 / b) of them, and what surrounds a point
4 / sqrt(3) 2 pi / g^2 (ln(b / a) - 1 + a / b). The other coefficients were fitted to the meshes of 427 sides of random
machines, each on the three named meshes: the real count is from 0.55 to 1.75 times what is reckoned, in nine of ten
from 0.77 to 1.14 times.
"""

from __future__ import annotations

import math

from polefem.errors import MeshFailed, refusal
from polefem.mesher.drawing import ends_of
from polefem.mesher.sizes import Sizes, sizes_of
from polefem.outline import Side
from polefem.params import MeshSpec

__all__ = ["elements", "sizes_within"]

#: Equilateral triangles of side 1 in an area of 1.
DENSITY = 4 / math.sqrt(3)
#: Elements to each length of one along the gap's circle, in the strip of air before the faces and beside it.
ALONG = 5.0
#: Elements to each spot of a narrow place, over the growth from there: two sides, spots closer than their sizes.
NARROW = 0.8
#: Elements that the shapes of parts take where their sizes ask for none.
LEAST = 100.0
#: Numbers of elements from here on are not worth their digits.
BEYOND = 1e12
#: Shorter sizes are none, m.
SHORTEST = 1e-15
#: Slower growth is none: a mesh of one size has no strips of finer elements.
SLOWEST = 0.01


def sizes_within(side: Side, spec: MeshSpec, units: int) -> Sizes:
    """The sizes of a unit, of which a mesh is to hold some; raises MeshFailed where it would get too many elements."""
    # Narrow places alone that make more than are allowed need no further search.
    sizes = sizes_of(side, spec, spec.most / units * _growth(spec) / NARROW)
    found = units * elements(side, spec, sizes)
    if found > spec.most or not sizes.whole:
        count = f"about {float(f'{found:.3g}'):,.0f}" if sizes.whole and found < BEYOND else "beyond count"
        gap, pole = side.air_gap * 1e3, side.feature * 1e3
        name = f"number of elements of the {side.row.name} (air gap {gap:.4g} mm, poles {pole:.4g} mm wide)"
        most = f"up to {spec.most:,} (on a coarser mesh, or by a larger MeshSpec.most)"
        raise MeshFailed(refusal("a mesh must be small enough to compute", name, count, most))
    return sizes


def elements(side: Side, spec: MeshSpec, sizes: Sizes) -> float:
    """About how many elements one unit of a side will have, mirror image included."""
    start, end = ends_of(side)
    span = (end - start) * (2 if side.row.mirror else 1)
    along = span * (1.0 if side.flat else side.gap)
    middle = 1.0 if side.flat else (side.gap + side.row.far) / 2
    area = span * middle * abs(side.gap - side.row.far)
    iron, face, growth = sizes.iron, sizes.face, _growth(spec)
    if min(face, spec.corner * side.air_gap) < SHORTEST:
        return math.inf
    count = LEAST + DENSITY * area / iron**2
    count += along * (ALONG / face + DENSITY / 2 / growth * max(0.0, 1 / face - 1 / iron))
    finest = min(spec.corner * side.air_gap / face, 1.0)
    count += len(side.corners) * DENSITY * 2 * math.pi / growth**2 * (finest - 1 - math.log(finest))
    spots = sum(len(at) for _, at in sizes.spots) * (2 if side.row.mirror else 1)
    return count + spots * NARROW / growth


def _growth(spec: MeshSpec) -> float:
    return max(spec.growth, SLOWEST)

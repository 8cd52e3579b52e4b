"""Model problems with closed solutions, as outlines, systems and formulas that the checks of the field share.

Every outline is drawn by hand, round sections about the origin and flat ones along y, so that no machine and no pole
stands between a formula and the field. Mesh sizes are in metres: `FACE_LENGTH` makes one length of every measure.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.constants import mu_0

from polefem.gap import Gap
from polefem.materials import Steel
from polefem.mesh import Mesh
from polefem.mesher import mesh_sides
from polefem.model import Source, build_model
from polefem.outline import Label, Outline, Region, Ring, Side
from polefem.params import MeshSpec, Pole, Row
from polefem.shapes import Arc, Line
from polefem.solve import FactorCache, Solution, System, minimise

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
Ints = NDArray[np.int64]

#: Width of a face and of an air gap alike, m, so that a mesh setting of 0.002 means 2 mm.
#: Regions beside the usual ones, of made-up sides.
AIR_LAYER, SHELL = Label("air", pole=0), Label("iron", pole=1)
FACE_LENGTH = 1.0


# Rings -----------------------------------------------------------------------------------------------


def polygon(*corners: complex) -> Ring:
    """Straight lines from corner to corner and back to the first."""
    return tuple(Line(a, b) for a, b in zip(corners, (*corners[1:], corners[0]), strict=True))


def circle(centre: complex, radius: float) -> Ring:
    """A whole circle as four arcs, counter-clockwise."""
    at = [centre + radius * turn for turn in (1, 1j, -1, -1j)]
    return tuple(Arc(a, b, centre, True) for a, b in zip(at, (*at[1:], at[0]), strict=True))


def ring_sector(inner: float, outer: float, start: float, end: float) -> Ring:
    """Between two radii (inner may be 0) and two angles less than a turn apart, counter-clockwise; arcs in halves."""
    turns = [cmath.exp(1j * angle) for angle in (start, (start + end) / 2, end)]
    out = [Arc(outer * a, outer * b, 0j, True) for a, b in pairwise(turns)]
    if inner == 0.0:
        return (Line(0j, outer * turns[0]), *out, Line(outer * turns[2], 0j))
    back = [Arc(inner * turns[k], inner * turns[k - 1], 0j, False) for k in (2, 1)]
    return (
        Line(inner * turns[0], outer * turns[0]),
        *out,
        Line(outer * turns[2], inner * turns[2]),
        *back,
    )


def elliptic_arcs(a: float, b: float, start: float, end: float, pieces: int) -> tuple[Arc, ...]:
    """The ellipse (a cos t, b sin t) for t from start to end, counter-clockwise, as arcs through three points each."""
    t = np.linspace(start, end, 2 * pieces + 1)
    z = a * np.cos(t) + 1j * b * np.sin(t)
    z.real[np.abs(z.real) < 1e-15] = 0.0
    z.imag[np.abs(z.imag) < 1e-15] = 0.0
    return tuple(
        Arc(complex(first), complex(last), _centre(first, middle, last), True)
        for first, middle, last in zip(z[:-1:2], z[1::2], z[2::2], strict=True)
    )


def _centre(a: complex, b: complex, c: complex) -> complex:
    """Centre of the circle through three points."""
    turned = (c - a) / (b - a)
    offset = (turned - abs(turned) ** 2) / (turned - turned.conjugate())
    return complex(a + (b - a) * offset)


# Outlines and systems --------------------------------------------------------------------------------


def side(
    name: Literal["rotor", "stator"],
    regions: Sequence[Region],
    *,
    poles: int,
    gap: float,
    far: float,
    pitch: float = 0.0,
    flat: bool = False,
    far_fixed: bool = True,
    mirror: bool = True,
    corners: Sequence[complex] = (),
) -> Side:
    """One side whose unit is one pole, its mesh sizes in metres. pitch: along y, of a flat one, m. The row's pole says
    only whether the unit is its own mirror image."""
    pole = Pole(arc=math.pi / 2 / poles, taper=0.0 if mirror else (0.0, 0.1))
    row = Row(
        name=name,
        poles=poles,
        pattern=(pole,),
        face=gap,
        root=far,
        back=far,
        far=far,
        far_fixed=far_fixed,
        radius=pitch * poles / (2 * math.pi) if flat else None,
    )
    return Side(
        row=row,
        regions=tuple(regions),
        gap=gap,
        corners=np.array(corners, dtype=complex),
        feature=FACE_LENGTH,
        air_gap=FACE_LENGTH,
    )


def even(size: float) -> MeshSpec:
    """A mesh of one element size (m) everywhere, for sides made by `side`."""
    return MeshSpec(corner=size, face=size, iron=size, growth=1e-9)


def graded(corner: float, size: float, growth: float = 0.3) -> MeshSpec:
    """Elements of one size (m) but at the corners, for sides made by `side`."""
    return MeshSpec(corner=corner, face=size, iron=size, growth=growth)


def system_of(
    outline: Outline,
    mesh: MeshSpec,
    steels: tuple[Steel, Steel],
    *,
    sectors: int,
    antiperiodic: bool,
    coils: Sequence[Source] = (),
) -> System:
    """Outline to system, by the same rooms that a machine goes through; steels of rotor and stator."""
    rotor, stator = outline.rotor.gap, outline.stator.gap
    log_ratio = abs(stator - rotor) / outline.radius if outline.rotor.flat else abs(math.log(stator / rotor))
    model = build_model(
        mesh_sides(outline, mesh, sectors),
        steels,
        tuple(coils),
        max((coil.phase for coil in coils), default=0) + 1,
        outline.length,
        log_ratio,
        outline.radius,
        antiperiodic,
    )
    gap = Gap(model.rotor_trace, model.stator_trace, model.log_ratio, sectors, antiperiodic)
    return System(model, gap)


def solved(system: System, angle: float, load: Floats, tolerance: float = 1e-8) -> Solution:
    """The field at an angle from a zero start, finer than maps need it."""
    found = minimise(system.at(angle), load, np.zeros(system.size), FactorCache(tolerance=tolerance))
    assert found.converged, found.message
    return found


def torque_of(system: System, angle: float, found: Solution) -> float:
    """Torque on the rotor of the whole machine, N m."""
    return float(system.at(angle).torque(found.unknowns))


# Sources that no winding makes -----------------------------------------------------------------------

#: Seven points and weights on a triangle, exact to degree 5 (J. Radon, Monatsh. Math. Phys. 52 (1948) 286-300; from
#: memory: the test of the gallery integrates monomials with them).
_A, _B = (6 - math.sqrt(15)) / 21, (6 + math.sqrt(15)) / 21
RADON_POINTS = np.array(
    [
        [1 / 3, 1 / 3],
        *([_A, _A], [_A, 1 - 2 * _A], [1 - 2 * _A, _A]),
        *([_B, _B], [_B, 1 - 2 * _B], [1 - 2 * _B, _B]),
    ]
)
RADON_WEIGHTS = np.array([9 / 80, *[(155 - math.sqrt(15)) / 2400] * 3, *[(155 + math.sqrt(15)) / 2400] * 3])


def shapes_at(points: Floats) -> tuple[Floats, Floats]:
    """Quadratic shape functions, shape (n, 6), and their gradients, (n, 6, 2), on the reference triangle."""
    x, y = points.T
    z = 1 - x - y
    none = np.zeros_like(x)
    values = np.stack(
        [z * (2 * z - 1), x * (2 * x - 1), y * (2 * y - 1), 4 * z * x, 4 * x * y, 4 * z * y], axis=1
    )
    along_x = np.stack([1 - 4 * z, 4 * x - 1, none, 4 * (z - x), 4 * y, -4 * y], axis=1)
    along_y = np.stack([1 - 4 * z, none, 4 * y - 1, -4 * x, 4 * x, 4 * (z - y)], axis=1)
    return values, np.stack([along_x, along_y], axis=2)


def quadrature(mesh: Mesh, triangles: Ints) -> tuple[Floats, Floats]:
    """Places (n_triangles, 7, 2) and weights (n_triangles, 7; m2) on curved triangles; their sum is the area."""
    values, gradients = shapes_at(RADON_POINTS)
    corners = mesh.points[mesh.triangles[triangles]]
    places = np.einsum("qi,tix->tqx", values, corners)
    jacobian = np.einsum("qid,tix->tqxd", gradients, corners)
    return places, np.linalg.det(jacobian) * RADON_WEIGHTS


def density_load(system: System, on: str, region: Label, density: Callable[[Floats], Floats]) -> Floats:
    """Load of a current density (A/m2, a function of places of shape (n, 2)) in a region of "rotor" or "stator"."""
    model = system.model
    mesh = model.rotor_mesh if on == "rotor" else model.stator_mesh
    tie = model.rotor_tie if on == "rotor" else model.stator_tie
    triangles = mesh.of_region(region)
    places, weights = quadrature(mesh, triangles)
    values, _ = shapes_at(RADON_POINTS)
    local = np.einsum("tq,qi->ti", density(places.reshape(-1, 2)).reshape(weights.shape) * weights, values)
    nodes = mesh.triangles[triangles]
    load = np.zeros(system.size)
    offset = 0 if on == "rotor" else model.rotor_tie.size
    np.add.at(load, offset + tie.index[nodes], tie.signs[nodes] * local)
    return load


def wave(amplitude: complex, order: int) -> Callable[[Floats], Floats]:
    """Re(amplitude exp(i order phi)) of places of shape (n, 2)."""

    def density(places: Floats) -> Floats:
        turned: Floats = (amplitude * np.exp(1j * order * np.arctan2(places[:, 1], places[:, 0]))).real
        return turned

    return density


# Concentric layers: the closed solution --------------------------------------------------------------


@dataclass(frozen=True)
class Layer:
    """A ring from `inner` to `outer` (m) of relative permeability `mu_r` with a current density Re(current exp(i n
    phi)), A/m2."""

    inner: float
    outer: float
    mu_r: float = 1.0
    current: complex = 0.0

    def basis(self, r: float, order: int) -> tuple[complex, complex, complex]:
        """At a radius: the two free solutions r^n and r^-n (each 1 at its end of the layer) and the driven one."""
        driven = -mu_0 * self.mu_r * self.current
        driven *= r**2 * math.log(r) / 4 if order == 2 else r**2 / (4 - order**2)
        return (r / self.outer) ** order, self._falling(r, order), driven

    def slopes(self, r: float, order: int) -> tuple[complex, complex, complex]:
        """Their derivatives with r."""
        driven = -mu_0 * self.mu_r * self.current
        driven *= r * (2 * math.log(r) + 1) / 4 if order == 2 else 2 * r / (4 - order**2)
        rising = order / r * (r / self.outer) ** order
        return rising, -order / r * self._falling(r, order), driven

    def _falling(self, r: float, order: int) -> float:
        return (self.inner / r) ** order if self.inner > 0 else 0.0


@dataclass(frozen=True, eq=False)
class Layers:
    """A(r, phi) = Re(a(r) exp(i n phi)) in concentric layers, A = 0 on the outside of the last.

    In each layer a = c r^n + d r^-n + driven part; A and its slope over mu are continuous. The solution is that of
    any textbook of potential theory; it is checked against the formula of two sheets.
    """

    layers: tuple[Layer, ...]
    order: int

    @cached_property
    def coefficients(self) -> Complexes:
        """(c, d) of each layer, shape (n_layers, 2)."""
        count, n = len(self.layers), self.order
        matrix, right = np.zeros((2 * count, 2 * count), complex), np.zeros(2 * count, complex)
        for k, (one, two) in enumerate(pairwise(self.layers)):
            r = one.outer
            rows = ((one.basis(r, n), two.basis(r, n)), (one.slopes(r, n), two.slopes(r, n)))
            scales = ((1.0, 1.0), (r / one.mu_r, r / two.mu_r))
            for row, (left, after), (by, other) in zip((2 * k, 2 * k + 1), rows, scales, strict=True):
                matrix[row, 2 * k : 2 * k + 2] = by * np.array(left[:2])
                matrix[row, 2 * k + 2 : 2 * k + 4] = -other * np.array(after[:2])
                right[row] = other * after[2] - by * left[2]
        last = self.layers[-1].basis(self.layers[-1].outer, n)
        matrix[-2, -2:], right[-2] = last[:2], -last[2]
        if self.layers[0].inner == 0.0:
            matrix[-1, 1] = 1.0
        else:
            first = self.layers[0].basis(self.layers[0].inner, n)
            matrix[-1, :2], right[-1] = first[:2], -first[2]
        return np.asarray(np.linalg.solve(matrix, right).reshape(count, 2))

    def a(self, r: float) -> complex:
        """Amplitude of the potential at a radius, Wb/m."""
        layer, own = self._at(r)
        return complex(np.dot(layer.basis(r, self.order), (*own, 1.0)))

    def slope(self, r: float) -> complex:
        """da/dr, T."""
        layer, own = self._at(r)
        return complex(np.dot(layer.slopes(r, self.order), (*own, 1.0)))

    def _at(self, r: float) -> tuple[Layer, Complexes]:
        coefficients = self.coefficients
        for layer, own in zip(self.layers, coefficients, strict=True):
            if r <= layer.outer:
                return layer, own
        raise ValueError(r)

    def torque(self, r: float) -> float:
        """On all within the radius r (in air), N m per metre: r^2 times the integral of Br Bphi / mu0."""
        return self.order * math.pi * r / mu_0 * (self.a(r) * self.slope(r).conjugate()).imag

    def coenergy(self) -> float:
        """Half the integral of J A, J per metre, by Gauss points in each layer."""
        points, weights = np.polynomial.legendre.leggauss(24)
        total = 0.0
        for layer in self.layers:
            if layer.current != 0.0:
                half, middle = (layer.outer - layer.inner) / 2, (layer.outer + layer.inner) / 2
                for r, w in zip(middle + half * points, half * weights, strict=True):
                    total += w * r * (layer.current.conjugate() * self.a(r)).real * math.pi / 2
        return total


# Sections in layers ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class LayeredSection:
    """Two current layers that face each other across a gap, iron within the one and outside the other.

    Radii in m, from the inside: rotor iron to `iron_radius`, rotor layer to `rotor_layer`, the two ends of the
    unmeshed gap, the stator layer between two radii, stator iron to `outer`, where A = 0.
    """

    iron_radius: float = 20e-3
    rotor_layer: float = 24e-3
    gap: tuple[float, float] = (25e-3, 26e-3)
    stator_layer: tuple[float, float] = (28e-3, 33e-3)
    outer: float = 40e-3
    rotor_mu: float = 20.0
    stator_mu: float = 7.0
    length: float = 0.1

    def outline(self, poles: int) -> Outline:
        """Drawn as `poles` equal wedges, each its own mirror image."""
        start, end = -math.pi / poles, math.pi / poles

        def wedge(inner: float, outer: float) -> Ring:
            return ring_sector(inner, outer, start, end)

        rotor = [
            Region(Label("iron"), wedge(0.0, self.iron_radius)),
            Region(AIR_LAYER, wedge(self.iron_radius, self.rotor_layer)),
        ]
        stator = [
            Region(Label("iron"), wedge(self.stator_layer[1], self.outer)),
            Region(AIR_LAYER, wedge(*self.stator_layer)),
        ]
        return Outline(
            side("rotor", rotor, poles=poles, gap=self.gap[0], far=0.0, far_fixed=False),
            side("stator", stator, poles=poles, gap=self.gap[1], far=self.outer),
            self.length,
        )

    def system(self, size: float, poles: int, sectors: int, antiperiodic: bool) -> System:
        """With elements of one size, m."""
        steels = (Steel.linear(self.rotor_mu), Steel.linear(self.stator_mu))
        return system_of(self.outline(poles), even(size), steels, sectors=sectors, antiperiodic=antiperiodic)

    def load(self, system: System, order: int, rotor: complex, stator: complex) -> Floats:
        """Current densities Re(rotor exp(i n phi)) in the rotor's layer (in its own frame) and so in the stator's."""
        return density_load(system, "rotor", AIR_LAYER, wave(rotor, order)) + density_load(
            system, "stator", AIR_LAYER, wave(stator, order)
        )

    def closed(self, angle: float, order: int, rotor: complex, stator: complex) -> Layers:
        """The closed solution with the rotor turned by an angle, rad."""
        turned = rotor * cmath.exp(-1j * order * angle)
        low, high = self.stator_layer
        return Layers(
            (
                Layer(0.0, self.iron_radius, self.rotor_mu),
                Layer(self.iron_radius, self.rotor_layer, current=turned),
                Layer(self.rotor_layer, low),
                Layer(low, high, current=stator),
                Layer(high, self.outer, self.stator_mu),
            ),
            order,
        )


def uniform_field(mesh: Mesh, region: Label, a: Floats) -> tuple[complex, float]:
    """Flux density Bx + i By (T) that fits nodal values of A in a region best, and by how much they miss it (Wb/m)."""
    nodes = np.unique(mesh.triangles[mesh.of_region(region)])
    x, y = mesh.points[nodes].T
    terms = np.stack([y, -x, np.ones_like(x)], axis=1)
    fit, *_ = np.linalg.lstsq(terms, a[nodes], rcond=None)
    return complex(fit[0], fit[1]), float(np.abs(terms @ fit - a[nodes]).max())


# A permeable cylinder in a uniform field ------------------------------------------------------------


@dataclass(frozen=True)
class CylinderInField:
    """An iron cylinder of elliptic section, half axes a and b (m), within a current layer that makes a uniform field.

    The field is uniform up to what A = 0 at `outer` sends back; that, too, is known in closed form: the cylinder's
    moment is a dipole, and the mirror field of a dipole in a circle is uniform. Multipoles beyond it come back weaker
    by (a / outer)^8.

    Sources: the field of an ellipsoid in a uniform field and its demagnetising factors N = b / (a + b) along a and
    a / (a + b) along b for an elliptic cylinder, J. A. Osborn, Phys. Rev. 67 (1945) 351 (from memory; b = a gives
    the textbook's B = 2 mu / (mu + 1) B0); torque of a dipole, m x B.
    """

    a: float = 30e-3
    b: float = 20e-3
    mu_r: float = 500.0
    gap: tuple[float, float] = (36e-3, 40e-3)
    layer: tuple[float, float] = (110e-3, 130e-3)
    outer: float = 150e-3
    current: float = 1e6
    length: float = 0.1

    def outline(self, pieces: int = 12) -> Outline:
        """The quarter of the ellipse drawn in at most `pieces` arcs."""
        half = elliptic_arcs(self.a, self.b, -math.pi / 2, math.pi / 2, 2 * pieces)
        iron = Region(Label("iron"), (*half, Line(1j * self.b, 0j), Line(0j, -1j * self.b)))
        start, end = -math.pi / 4, math.pi / 4
        # What stands for iron on the stator is as permeable as air.
        shell = Region(SHELL, ring_sector(self.layer[1], self.outer, start, end))
        layer = Region(AIR_LAYER, ring_sector(*self.layer, start, end))
        return Outline(
            side("rotor", [iron], poles=2, gap=self.gap[0], far=0.0, far_fixed=False),
            side("stator", [shell, layer], poles=4, gap=self.gap[1], far=self.outer),
            self.length,
        )

    def system(self, size: float, pieces: int = 12) -> System:
        """With elements of one size (m), the quarter of the ellipse in at most `pieces` arcs."""
        steels = (Steel.linear(self.mu_r), Steel.vacuum())
        return system_of(self.outline(pieces), even(size), steels, sectors=2, antiperiodic=True)

    def load(self, system: System) -> Floats:
        """Of a current density that goes with cos phi."""
        return density_load(system, "stator", AIR_LAYER, wave(self.current, 1))

    def applied(self) -> complex:
        """Flux density Bx + i By that the layer makes where there is no cylinder, T."""
        low, high = self.layer
        air = Layers((Layer(0.0, low), Layer(low, high, current=self.current), Layer(high, self.outer)), 1)
        return -1j * (air.a(low / 2) / (low / 2)).conjugate()

    def closed(self, angle: float) -> tuple[complex, complex, float]:
        """With the cylinder turned by an angle (rad): moment (A m, per metre) and field that acts on it (T), both in
        the cylinder's own frame as x + i y, and the torque on it, N m per metre."""
        field = self.applied() * cmath.exp(-1j * angle)
        chi = self.mu_r - 1
        along, across = (
            math.pi * self.a * self.b * chi / (mu_0 * (1 + chi * factor))
            for factor in (self.b / (self.a + self.b), self.a / (self.a + self.b))
        )
        back = mu_0 / (2 * math.pi * self.outer**2)  # the mirror field of a unit moment, against it
        acting = complex(field.real / (1 + back * along), field.imag / (1 + back * across))
        moment = complex(along * acting.real, across * acting.imag)
        return moment, acting, (moment.conjugate() * acting).imag

    def inside(self, angle: float) -> complex:
        """Flux density in the iron, Bx + i By in the cylinder's own frame, T: B = mu0 mu M / (mu - 1)."""
        moment, _, _ = self.closed(angle)
        return mu_0 * self.mu_r / (self.mu_r - 1) * moment / (math.pi * self.a * self.b)


# Rates ----------------------------------------------------------------------------------------------


def converges(errors: Sequence[float], low: float, high: float, last: float) -> bool:
    """Whether errors fall at a rate between two bounds, on average over the halvings, to no more than `last`."""
    rate = math.log2(errors[0] / errors[-1]) / (len(errors) - 1)
    return low <= rate <= high and errors[-1] <= last

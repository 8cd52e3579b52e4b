"""Slopes against central differences on meshes that move along: the same discrete energy, so they agree to rounding."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from polefem.errors import MeshFailed
from polefem.field import built
from polefem.mesh import quality
from polefem.mesher import mesh_side
from polefem.outline import sections
from polefem.params import Machine
from polefem.params.fields import field_value, with_fields
from polefem.params.quantity import quantity_of
from polefem.params.toml import load_machine
from polefem.slopes import Following, Forces, LoadedField, Movable, Move, continuous_fields
from polefem.slopes.following import lead
from polefem.slopes.inside import Along
from polefem.solve import FactorCache, System, minimise
from polefem.units import deg
from tests.field.built_machines import MACHINES, ROUGH
from tests.mesher.mesh_checks import curves_met
from tests.slopes.shaped_machines import SHAPED

Floats = NDArray[np.float64]
GEOMETRIES = Path(__file__).parents[2] / "geometries"

#: Of slopes, over the slope itself or a millionth of the quantity per size of the field, where it does next to nothing.
WITHIN = 1e-5
#: Coarse enough to be quick: the discrete energy has its slopes on any mesh.
MESH = replace(ROUGH, corner=0.5, face=0.8)
#: Of differences, the smaller of two. At half of these rounding alone moves torque by 5e-6, and at twice these what
#: passes a knot of the magnetisation law does so by 1e-5.
STEPS = {"mm": 2e-6, "deg": 2e-5, "": 4e-5}
#: Angle (rad) and current (A): poles about to meet; aligned and saturated; between.
STATES = [(-0.2, 8.0), (0.0, 30.0), (-0.6, 15.0)]
SOME = [(name, *STATES[k % 3]) for k, name in enumerate(SHAPED, start=1)] + [("sloped", *STATES[0])]


@cache
def following(name: str) -> Following:
    return Following(built(SHAPED[name], MESH))


def fields_of(name: str) -> tuple[str, ...]:
    """All that a field can follow: features that are not there have no slope, nor has what is only a limit."""
    machine = SHAPED[name]
    there = [
        f
        for f in continuous_fields(machine)
        if field_value(machine, f) != 0.0 or f.endswith(("taper", "offset", "at"))
    ]
    limits = ("web", "most_fill")
    at_end = tuple(f"{pole}.face.stations.{k}" for pole in ("rotor_pole", "stator_pole") for k in (0, 3))
    full = [f for f in there if f.endswith("stacking_factor") and field_value(machine, f) == 1.0]
    return tuple(f for f in there if not f.endswith(limits) and f not in (*at_end, *full))


@cache
def moves(name: str) -> list[list[Move]]:
    return following(name).moves(fields_of(name))


def solved(systems: tuple[System, ...], angle: float, currents: Floats, starts: list[Floats]) -> list[Floats]:
    found = []
    for system, start in zip(systems, starts, strict=True):
        solution = minimise(
            system.at(angle), currents @ system.model.loads, start, FactorCache(tolerance=1e-12)
        )
        assert solution.converged
        found.append(solution.unknowns)
    return found


def quantities(systems: tuple[System, ...], angle: float, currents: Floats, fields: list[Floats]) -> Floats:
    """Co-energy, flux linkages of all phases, and torque, shape (n_phases + 2,)."""
    total = np.zeros(len(currents) + 2)
    for system, unknowns in zip(systems, fields, strict=True):
        coupled, model = system.at(angle), system.model
        linkages = model.loads @ unknowns
        coenergy = currents @ linkages - coupled.state(unknowns).energy
        total += [model.scale * coenergy, *(model.scale * linkages), coupled.torque(unknowns)]
    return total


class Case:
    """A machine at an angle under a current in its first phase, and a lesser one in its second."""

    def __init__(self, name: str, angle: float, current: float) -> None:
        self.following, self.moves, self.fields = following(name), moves(name), fields_of(name)
        self.angle = angle
        self.currents = np.zeros(self.following.whole.machine.phases.count)
        self.currents[:2] = current, current / 5
        systems = self.following.whole.systems
        self.found = solved(systems, angle, self.currents, [np.zeros(system.size) for system in systems])
        self.value = quantities(systems, angle, self.currents, self.found)

    def slopes(self, forces: type[Forces] = Forces) -> Floats:
        """Of co-energy, flux linkages and torque: shape (n_phases + 2, n_fields)."""
        count = len(self.currents)
        total = np.zeros((count + 2, len(self.fields)))
        for system, unknowns, own in zip(self.following.whole.systems, self.found, self.moves, strict=True):
            movable, cache = Movable(forces(system.model), own), FactorCache()
            found = movable.slopes(system.at(self.angle), unknowns, self.currents, cache, range(count), 1e-10)
            total += np.vstack([found.coenergy, found.flux_linkages, found.torque])
        return total

    def near(self, changes: dict[str, float], times: float) -> Floats:
        """The quantities with fields so many times changed, shape (n_phases + 2,)."""
        machine = replace(self.following.whole.machine, must_start=False)
        shifted = {f: field_value(machine, f) + times * step for f, step in changes.items()}
        systems = self.following.near(with_fields(machine, shifted)).systems
        found = solved(systems, self.angle, self.currents, self.found)
        return quantities(systems, self.angle, self.currents, found)

    def difference(self, changes: dict[str, float]) -> Floats:
        """Difference of the quantities along changes of fields, shape (n_phases + 2,): central ones over the changes
        and over twice them, so that a curve of third order leaves nothing (Richardson's extrapolation)."""
        once, twice = ((self.near(changes, k) - self.near(changes, -k)) / (2 * k) for k in (1.0, 2.0))
        return (4 * once - twice) / 3

    def agree(self, slopes: Floats, changes: dict[str, float]) -> bool:
        """Whether slopes foretell the difference along changes of fields."""
        steps = np.array([changes.get(field, 0.0) for field in self.fields])
        sizes = np.array([max(abs(field_value(self.following.whole.machine, f)), 1e-3) for f in self.fields])
        scale = np.array([self.value[0], *[self.value[1]] * len(self.currents), self.value[0]])
        least = 1e-6 / WITHIN * np.abs(scale) * np.abs(steps / sizes).max()
        difference, told = self.difference(changes), slopes @ steps
        size = np.maximum(np.maximum(np.abs(difference), least), np.abs(slopes * steps).max(axis=1))
        return bool((np.abs(told - difference) <= WITHIN * size).all())

    def step(self, field: str) -> float:
        """Of a difference: small beside the feature that the field sizes; a gap's is the strips meshed in it."""
        unit = quantity_of(Machine, field).unit
        step, value = STEPS[unit], abs(field_value(self.following.whole.machine, field))
        if field == "air_gap":
            return value / 2500
        return min(step, value / 1000) if unit == "mm" and value else step

    def balanced(self, slopes: Floats) -> dict[str, float]:
        """Changes of all fields at once, which add up: half of those of one at most, and each as large as makes them
        weigh alike in the co-energy."""
        rng = np.random.default_rng(1)
        steps = np.array([self.step(field) / 2 for field in self.fields])
        shares = np.abs(slopes[0] * steps)
        weighed = steps * np.minimum(1.0, np.median(shares) / np.maximum(shares, 1e-300))
        signs = rng.choice([-1.0, 1.0], len(steps))
        return dict(zip(self.fields, (weighed * signs).tolist(), strict=True))


@cache
def case(name: str, angle: float, current: float) -> Case:
    return Case(name, angle, current)


@pytest.mark.parametrize(("name", "angle", "current"), SOME)
def test_slopes_in_all_fields_at_once(name: str, angle: float, current: float) -> None:
    own = case(name, angle, current)
    slopes = own.slopes()
    assert own.agree(slopes, own.balanced(slopes))


@pytest.mark.slow
@pytest.mark.parametrize("name", SHAPED)
@pytest.mark.parametrize(("angle", "current"), STATES)
def test_slopes_in_each_field(name: str, angle: float, current: float) -> None:
    own = case(name, angle, current)
    slopes = own.slopes()
    wrong = [f for f in own.fields if not own.agree(slopes, {f: own.step(f)})]
    assert not wrong


def test_unlike_poles_are_led_in_every_copy_of_their_unit() -> None:
    machine = MACHINES["12/8, periodic half"][0]
    one, two = machine.stator_pattern
    wider = replace(machine, stator_pole=(replace(one, arc=one.arc + 1e-4), replace(two, arc=two.arc - 2e-4)))
    side, other = (sections(m)[0].stator for m in (machine, wider))
    mesh = mesh_side(side, ROUGH, 2)
    led = lead(mesh, side)
    points, way = mesh.points.copy(), led.moves(other, other.gap)
    points[led.nodes] += np.stack([way.real, way.imag], axis=1)
    assert side.unit_poles == 2 and curves_met(mesh, side, middles=False)
    assert curves_met(replace(mesh, points=points), other, middles=False)
    assert not curves_met(mesh, other, middles=False)


def test_the_thin_layer_at_a_gap_goes_with_a_pole_s_edge(monkeypatch: pytest.MonkeyPatch) -> None:
    """Arcs of the pottery wheel grow by 2 deg, three times the height of that layer; nodes that stay are the twin."""
    machine = load_machine(GEOMETRIES / "pottery_wheel.toml")
    wider = {
        f"{pole}.arc": field_value(machine, f"{pole}.arc") + 2 * deg for pole in ("rotor_pole", "stator_pole")
    }
    own = Following(built(machine, "coarse"))
    (system,) = own.near(with_fields(machine, wider)).systems
    (before,) = own.whole.systems
    for name in ("rotor_mesh", "stator_mesh"):
        assert quality(getattr(system.model, name)).min() > 0.5 * quality(getattr(before.model, name)).min()
    monkeypatch.setattr(Along, "spread", lambda self, turns: np.zeros(self._free.shape[0]))
    with pytest.raises(MeshFailed, match="a moved triangle came out too thin"):
        own.near(with_fields(machine, wider))


# Twins ------------------------------------------------------------------------------------------------


def test_a_wrong_slope_is_seen() -> None:
    """A sign, the answer of the field to the rotor's angle left out, and a field whose move is another's."""
    own = case("sloped", -0.2, 8.0)
    slopes = own.slopes()
    changes = own.balanced(slopes)
    assert own.agree(slopes, changes)
    for row in range(len(slopes)):
        turned = slopes.copy()
        turned[row] *= -1.0
        assert not own.agree(turned, changes)
    swapped = slopes[:, [1, 0, *range(2, len(own.fields))]]
    assert not own.agree(swapped, changes)


class _Deaf(Forces):
    """Forces whose field does not answer: what a load or a turn changes of it is left out."""

    def at(self, unknowns: Floats, phase_currents: Floats) -> LoadedField:
        field = super().at(unknowns, phase_currents)
        field.along = lambda change: np.zeros((self.nodes, 2))  # type: ignore[method-assign]
        return field


class _Unbent(Forces):
    """Forces that take the permeability for constant as the field answers."""

    def at(self, unknowns: Floats, phase_currents: Floats) -> LoadedField:
        field = super().at(unknowns, phase_currents)
        field._bend[:] = 0.0
        return field


@pytest.mark.parametrize("forces", [_Deaf, _Unbent])
def test_a_missing_term_of_the_adjoint_is_seen(forces: type[Forces]) -> None:
    own = case("sloped", 0.0, 30.0)
    slopes = own.slopes()
    changes = own.balanced(slopes)
    assert own.agree(slopes, changes) and not own.agree(own.slopes(forces), changes)


def test_a_node_that_stays_behind_is_seen() -> None:
    own = case("sloped", -0.2, 8.0)
    changes = {"rotor_pole.face.radius": 1e-6}
    assert own.agree(own.slopes(), changes)
    at = own.fields.index("rotor_pole.face.radius")
    stuck = own.moves[0][at].way.nodes.copy()
    (far,) = np.nonzero(np.abs(stuck) > 0.99 * np.abs(stuck).max())
    stuck[far[0]] = 0.0
    kept = own.moves
    own.moves = [
        [*kept[0][:at], replace(kept[0][at], way=replace(kept[0][at].way, nodes=stuck)), *kept[0][at + 1 :]]
    ]
    try:
        assert not own.agree(own.slopes(), changes)
    finally:
        own.moves = kept

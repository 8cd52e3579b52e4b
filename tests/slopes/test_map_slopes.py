"""Slopes of whole maps: against maps of near machines on moved meshes, and over fresh meshes within their error."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from polefem import FluxMap, flux_map
from polefem.errors import GeometryRefused, InvalidValue, MeshFailed
from polefem.field import built
from polefem.maps import CoupledMap, MapSlopes, summed
from polefem.maps.slopes import loaded
from polefem.params import Machine, MeshSpec, Pole
from polefem.params.fields import field_value, with_fields
from polefem.slopes import Swept, sloped_map
from polefem.units import deg, mm
from tests.field.built_machines import ROUGH, half_turn

Floats = NDArray[np.float64]

ANGLES, CURRENTS = np.array([3.0, 12.0, 30.0]) * deg, np.array([6.0, 18.0])
FIELDS = ("air_gap", "rotor_pole.taper.0", "stack_length", "stator_pole.arc", "stacking_factor")


def machine() -> Machine:
    """Symmetric poles, each flank of the rotor's with a taper of its own."""
    base = replace(half_turn(), rotor_pole=Pole(arc=32 * deg, taper=(0.05, 0.05)), stacking_factor=0.96)
    return replace(base, must_start=False)


@cache
def swept() -> tuple[MapSlopes, Swept]:
    return sloped_map(machine(), ANGLES, CURRENTS, FIELDS, ROUGH)


def tables(found: FluxMap) -> Floats:
    return np.stack([found.flux_linkage, found.torque, found.coenergy])


def foretold(changed: FluxMap, other: FluxMap) -> bool:
    """Whether a map changed to first order is the other machine's, but for what goes with the square of the change."""
    base = tables(swept()[0].flux_map)
    size = np.abs(tables(other) - base).max(axis=(1, 2))
    return bool((np.abs(tables(changed) - tables(other)).max(axis=(1, 2)) <= 0.02 * size).all())


@pytest.mark.parametrize(
    ("field", "step"), [("air_gap", 2e-6), ("stack_length", 1e-4), ("stator_pole.arc", 2e-4)]
)
def test_a_changed_map_is_that_of_the_near_machine(field: str, step: float) -> None:
    slopes, start = swept()
    near = with_fields(machine(), {field: field_value(machine(), field) + step})
    found = start.near_map(near, ANGLES, CURRENTS)
    assert slopes.symmetric(field) and slopes.changed({field: step}).mirror
    assert foretold(slopes.changed({field: step}), found)
    assert not foretold(slopes.changed({field: -step}), found)


def test_a_share_of_iron_changes_a_map_without_a_move() -> None:
    slopes, start = swept()
    found = start.near_map(with_fields(machine(), {"stacking_factor": 0.965}), ANGLES, CURRENTS)
    assert foretold(slopes.changed({"stacking_factor": 0.005}), found)


def test_a_field_that_spoils_the_mirror_has_slopes_on_both_sides() -> None:
    """One flank of the rotor's poles: what it does where they approach is not what it does where they leave."""
    slopes, start = swept()
    field, step = "rotor_pole.taper.0", 2e-3
    assert not slopes.symmetric(field)
    changed = slopes.changed({field: step})
    assert not changed.mirror and changed.angles.tolist() == [*(-ANGLES[::-1]), *ANGLES]
    near = with_fields(machine(), {field: 0.05 + step})
    with pytest.raises(
        GeometryRefused, match=r"a near machine keeps its symmetry: its own mirror image is False"
    ):
        start.near_map(near, ANGLES, CURRENTS)
    # The same flank seen in the mirror is the other one, which leaves where the first approaches.
    base = slopes.changed({field: 1e-12})
    unlike = replace(machine(), rotor_pole=Pole(arc=32 * deg, taper=(0.05, 0.05 + 1e-9)))
    whole = np.concatenate([-ANGLES[::-1], ANGLES])
    lone, lone_start = sloped_map(unlike, whole, CURRENTS, (field,), ROUGH)
    assert not lone.flux_map.mirror
    there = tables(lone_start.near_map(near, whole, CURRENTS)) - tables(lone.flux_map)
    told = tables(changed) - tables(base)
    size = np.abs(there).max(axis=(1, 2))
    # On other meshes, coarse ones: near alike, and far from what the mirror of the slopes would be.
    assert (np.abs(told - there).max(axis=(1, 2)) <= 0.1 * size).all()
    assert not (np.abs(told[:, :, ::-1] - there).max(axis=(1, 2)) <= 0.1 * size).all()


def test_slopes_come_back_from_a_file(tmp_path: Path) -> None:
    slopes, _ = swept()
    slopes.save(tmp_path / "map.npz")
    back = loaded(tmp_path / "map.npz")
    assert isinstance(back, MapSlopes) and back.fields == slopes.fields
    for name in ("flux_linkage", "torque", "coenergy", "mirrored"):
        assert np.array_equal(getattr(back, name), getattr(slopes, name))
    assert np.array_equal(back.flux_map.torque, slopes.flux_map.torque)
    summed(slopes.flux_map).save(tmp_path / "bare.npz")
    assert isinstance(loaded(tmp_path / "bare.npz"), CoupledMap)


@pytest.mark.parametrize(
    ("field", "step"),
    [("air_gap", 0.02 * mm), ("stator_pole.arc", 0.4 * deg), ("winding.face_inset", 0.4 * mm)],
)
def test_slopes_are_those_of_fresh_meshes(field: str, step: float) -> None:
    """Against central differences over machines meshed anew, at angles where no corners pass each other."""
    base = replace(half_turn(), stator_pole=Pole(arc=31 * deg))
    spec = MeshSpec()
    slopes, _ = sloped_map(base, ANGLES, CURRENTS, (field,), spec)
    sides = [
        tables(
            flux_map(
                with_fields(base, {field: field_value(base, field) + way * step}), ANGLES, CURRENTS, spec
            )
        )
        for way in (1, -1)
    ]
    fresh = (sides[0] - sides[1]) / (2 * step)
    told = np.stack([slopes.flux_linkage[0], slopes.torque[0], slopes.coenergy[0]])

    def near(slope: Floats) -> bool:
        size = np.abs(fresh).max(axis=(1, 2))
        return bool((np.abs(slope - fresh).max(axis=(1, 2)) <= WITHIN * size).all())

    assert near(told) and not near(-told) and not near(1.1 * told)


#: Of a slope: what the torque of fresh meshes is off, over what the differences change of it.
WITHIN = 0.05


def test_slopes_are_of_fields_that_are_there() -> None:
    parts = built(machine(), ROUGH)
    with pytest.raises(
        InvalidValue, match=r"a slope is taken in a length, an angle or a share: stator_poles is 6"
    ):
        sloped_map(parts, ANGLES, CURRENTS, ("stator_poles",))
    with pytest.raises(
        GeometryRefused, match=r"machines near by can be built: rotor_pole.tip_fillet is 0 mm"
    ):
        sloped_map(parts, ANGLES, CURRENTS, ("rotor_pole.tip_fillet",))
    filled = replace(machine(), rotor_pole=Pole(arc=32 * deg, taper=(0.05, 0.05), root_fillet=1 * mm))
    with pytest.raises(GeometryRefused, match=r"keeps its pieces: the rotor's outline is other pieces"):
        swept()[1].following.near(filled)
    far = with_fields(machine(), {"stator_pole.arc": 36 * deg})
    with pytest.raises(MeshFailed, match=r"the shape is too far from the one it was meshed for"):
        swept()[1].following.near(far)
    with pytest.raises(
        InvalidValue, match=r"slopes are of the fields that were asked for: field is 'shaft_radius'"
    ):
        swept()[0].changed({"shaft_radius": 1e-6})

"""The map as a value: what it refuses, what it keeps, how it is stored."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from polefem.errors import InvalidValue, StoreRefused
from polefem.maps import FluxMap, linear_map
from polefem.units import deg
from tests.maps.saturating import sampled


def test_arrays_cannot_be_changed() -> None:
    m = sampled()
    for name in ("angles", "currents", "flux_linkage", "torque", "coenergy", "inductance"):
        with pytest.raises(ValueError, match="read-only"):
            getattr(m, name)[0] = 1.0
    with pytest.raises(dataclasses.FrozenInstanceError, match="angles"):
        m.angles = m.angles  # type: ignore[misc]


def test_changing_the_given_arrays_leaves_the_map_alone() -> None:
    m = sampled()
    given = m.flux_linkage.copy()
    other = dataclasses.replace(m, flux_linkage=given)
    given[:] = 0.0
    assert (other.flux_linkage == m.flux_linkage).all()


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"angles": [0.0, 0.2, 0.1]}, r"the angles of a map must increase: angles\[2\] is 5.72958 deg"),
        ({"currents": [-1.0, 2.0]}, r"a map holds one sign of current: currents\[0\] is -1 A"),
        ({"torque": np.zeros((2, 2))}, r"torque is of shape \(2, 2\), allowed is shape \(11, 31\)"),
        ({"flux_linkage": np.full((11, 31), np.nan)}, r"finite numbers: flux_linkage\[0, 0\] is nan"),
        ({"phases": 0}, r"a map belongs to a machine with phases: phases is 0"),
    ],
)
def test_refusals(change: dict[str, object], sentence: str) -> None:
    with pytest.raises(InvalidValue, match=sentence):
        dataclasses.replace(sampled(), **change)


@pytest.mark.parametrize("apart", [0.2, np.pi / 4 - 0.03])
def test_straight_pieces_have_room_for_their_corners(apart: float) -> None:
    with pytest.raises(
        InvalidValue, match=r"the poles part between .* allowed is above 11.4592 and below 42.1352 deg"
    ):
        linear_map(60e-3, 6e-3, full=0.1, apart=apart, current=1.0, corner=0.05)


def test_inductance_at_zero_current_is_its_limit() -> None:
    m = sampled()
    zero = np.zeros((1, m.angles.size))
    tables = {n: np.vstack([zero, getattr(m, n)]) for n in ("flux_linkage", "torque", "coenergy")}
    with_zero = dataclasses.replace(m, currents=np.append(0.0, m.currents), **tables)
    closed = 5e-3 + 0.25 / 6 * np.exp(3 * (np.cos(4 * m.angles) - 1))
    np.testing.assert_allclose(with_zero.inductance[0], closed, rtol=5e-3)
    np.testing.assert_array_equal(with_zero.at(0.1, [3.0, 7.0]), m.at(0.1, [3.0, 7.0]))


def test_a_saved_map_comes_back_whole(tmp_path) -> None:
    m = dataclasses.replace(
        sampled(),
        turns=200,
        name="wheel",
        remarks=("no end turns",),
        iterations=np.full((11, 31), 4),
        torque_error=1e-3,
    )
    m.save(tmp_path / "m.npz")
    back = FluxMap.load(tmp_path / "m.npz")
    for item in dataclasses.fields(m):
        kept, found = getattr(m, item.name), getattr(back, item.name)
        np.testing.assert_array_equal(kept, found) if isinstance(kept, np.ndarray) else None
        assert type(kept) is type(found)
        assert isinstance(kept, np.ndarray) or kept == found
    assert not list(tmp_path.glob("*.part"))


def test_damaged_and_foreign_files_are_refused(tmp_path) -> None:
    good = tmp_path / "m.npz"
    sampled().save(good)
    with np.load(good) as archive:
        contents = dict(archive)
    refused = {
        "matches? .*changed or damaged|must match its checksum": {
            **contents,
            "torque": contents["torque"] * 1.0001,
        },
        "known version: .* is 2, allowed is version 1": {**contents, "version": np.array(2)},
        "a file without one": {"torque": contents["torque"]},
    }
    for number, (sentence, arrays) in enumerate(refused.items()):
        np.savez(tmp_path / f"{number}.npz", **arrays)
        with pytest.raises(StoreRefused, match=sentence):
            FluxMap.load(tmp_path / f"{number}.npz")
    (tmp_path / "cut.npz").write_bytes(good.read_bytes()[:2000])
    (tmp_path / "text.npz").write_text("angle,current\n")
    np.savez(tmp_path / "code.npz", angles=np.array([print], dtype=object))
    for name in ("cut", "text", "code", "absent"):
        with pytest.raises(StoreRefused, match="a map file must be readable"):
            FluxMap.load(tmp_path / f"{name}.npz")


def test_repr_tells_what_it_is() -> None:
    text = repr(linear_map(60e-3, 6e-3, full=0.0, apart=30 * deg, current=10.0))
    for part in ("10 A", "0 to 45 deg", "3 phases", "4 rotor poles", "mirror", "6 to 59.99 mH"):
        assert part in text

"""Lists of angles and currents that no map can be made of: one sentence each, before any mesh."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from polefem import flux_map, solve_state
from polefem.errors import InvalidValue
from polefem.field import built_machine
from tests.field.built_machines import half_turn

GOOD_ANGLES, GOOD_CURRENTS = [-0.2, 0.0], [1.0, 2.0]


@pytest.fixture(autouse=True)
def _no_mesh(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: Any) -> None:
        raise AssertionError("a mesh was begun")

    monkeypatch.setattr(built_machine, "mesh_sides", refuse)


@pytest.mark.parametrize(
    ("angles", "currents", "sentence"),
    [
        (
            [0.0, -0.2],
            GOOD_CURRENTS,
            r"^the angles of a map must increase: angles\[1\] is -11.4592 deg, allowed is above 0",
        ),
        ([0.0, 0.0], GOOD_CURRENTS, r"^the angles of a map must increase: angles\[1\] is 0 deg"),
        ([], GOOD_CURRENTS, r"^the angles of a map must increase: angles is of shape \(0,\)"),
        ([[0.0, 0.1]], GOOD_CURRENTS, r"^the angles of a map must increase: angles is of shape \(1, 2\)"),
        ([0.0, np.nan], GOOD_CURRENTS, r"^the angles of a map must increase: angles\[1\] is nan"),
        (
            GOOD_ANGLES,
            [2.0, 1.0],
            r"^the currents of a map must increase: currents\[1\] is 1 A, allowed is above 2 A",
        ),
        (GOOD_ANGLES, [1.0, np.inf], r"^the currents of a map must increase: currents\[1\] is inf"),
        (GOOD_ANGLES, [-1.0, 1.0], r"^the currents of a map must flow: currents\[0\] is -1 A"),
        (GOOD_ANGLES, [0.0], r"^the currents of a map must flow: currents\[0\] is 0 A"),
    ],
)
def test_a_bad_list_is_refused_before_any_mesh(angles: Any, currents: Any, sentence: str) -> None:
    with pytest.raises(InvalidValue, match=sentence):
        flux_map(half_turn(), angles, currents)


@pytest.mark.parametrize("currents", [[1.0], [1.0, 2.0], [1.0, 0.0, np.nan], 3.0])
def test_each_phase_has_one_finite_current(currents: Any) -> None:
    with pytest.raises(
        InvalidValue, match=r"^each phase has one current: phase_currents is .*, allowed is 3 finite"
    ):
        solve_state(half_turn(), 0.0, currents)


def test_a_good_list_gets_as_far_as_the_mesh() -> None:
    with pytest.raises(AssertionError, match="a mesh was begun"):
        flux_map(half_turn(), GOOD_ANGLES, GOOD_CURRENTS)

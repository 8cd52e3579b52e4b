"""Fields that are left out at added angles are told within what angles are added for, and not otherwise."""

from __future__ import annotations

import numpy as np
import pytest

from polefem import FluxMap, MeshSpec, flux_map
from polefem.field import built
from polefem.sweep import refining
from polefem.sweep.single import Results, swept
from polefem.sweep.teller import Teller
from polefem.units import deg
from tests.field.built_machines import half_turn

CURRENTS = np.linspace(3.0, 18.0, 6)
WHOLE = built(half_turn(), MeshSpec().coarser(4.0))
MOST = 1e-3


def refined() -> tuple[FluxMap, Results]:
    before = swept(WHOLE, None, np.linspace(0.0, 45.0, 19) * deg, CURRENTS, Teller(None, 0), keep=True)
    return refining.refined(WHOLE, *before, MOST, Teller(None, 0))


def off(found: FluxMap, told: np.ndarray) -> float:
    """How far torques and flux linkages that were told are from fields, of the largest."""
    fields = flux_map(WHOLE, found.angles[told.any(axis=0)], CURRENTS)
    own = told[:, told.any(axis=0)]
    return max(
        float(
            np.abs(getattr(found, name)[told] - getattr(fields, name)[own]).max()
            / np.abs(getattr(fields, name)).max()
        )
        for name in ("torque", "flux_linkage")
    )


def test_what_is_told_is_nearly_what_fields_say(monkeypatch: pytest.MonkeyPatch) -> None:
    found, results = refined()
    told = results.steps == 0
    added = results.angles.size - 19
    assert added > 10 and 0.25 * added * 6 < np.count_nonzero(told) < 0.75 * added * 6
    assert not told[-1].any()  # the largest current is solved everywhere
    assert off(found, told) < 0.5 * MOST
    # The twin: as if fields at other currents said nothing.
    monkeypatch.setattr(refining._Foretold, "_apart", lambda self, found, j: np.zeros((2, 6)))
    blind, results = refined()
    assert off(blind, results.steps == 0) > MOST

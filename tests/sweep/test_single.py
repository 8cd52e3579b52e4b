"""Points that did not converge are named, those of the map and those that its errors are estimated by."""

from __future__ import annotations

import numpy as np
import pytest

from polefem import MeshSpec, flux_map
from polefem.field import built
from polefem.solve import FactorCache
from polefem.sweep import single as sweep
from polefem.sweep.refining import refined
from polefem.sweep.teller import Teller
from polefem.units import deg
from tests.field.built_machines import half_turn

ANGLES, CURRENTS = np.array([-30.0, -15.0, 15.0]) * deg, np.array([5.0, 20.0])
SPEC = MeshSpec().coarser(4.0)


def test_a_point_that_did_not_converge_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = flux_map(half_turn(), ANGLES, CURRENTS, mesh=SPEC)
    assert whole.converged.all() and not whole.remarks
    monkeypatch.setattr(sweep, "FactorCache", lambda **_: FactorCache(most_steps=1))
    cut = flux_map(half_turn(), ANGLES, CURRENTS, mesh=SPEC)
    assert not cut.converged[:, 1].any()
    own = [remark for remark in cut.remarks if remark.startswith("no convergence")]
    assert len(own) == np.count_nonzero(~cut.converged) and "no convergence at -15 deg and 20 A" in own
    # The mirror has solved one point for both 15 and -15 deg; each is named.
    assert "no convergence at 15 deg and 20 A" in own


def test_an_error_estimate_that_did_not_converge_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    caches = iter([FactorCache(), FactorCache(most_steps=1)])
    monkeypatch.setattr(sweep, "FactorCache", lambda **_: next(caches))
    found = flux_map(half_turn(), ANGLES, CURRENTS, mesh=SPEC)
    assert found.converged.all() and found.remarks
    assert all(remark.startswith("error estimate: no convergence at ") for remark in found.remarks)


def test_of_points_that_repeat_one_is_solved() -> None:
    """The mirror and the rotor pitch: torque odd, flux linkage even; progress counts what is solved."""
    told: list[tuple[int, int]] = []
    angles = np.array([-30.0, -15.0, 15.0, 60.0]) * deg  # 60 deg is -30 deg a pole on
    found = flux_map(half_turn(), angles, CURRENTS, mesh=SPEC, progress=lambda *at: told.append(at))
    assert told == [(k, 4) for k in (1, 2, 3, 4)]

    def repeats(torque: np.ndarray) -> bool:
        return bool((torque[:, 0] == torque[:, 3]).all() and (torque[:, 1] == -torque[:, 2]).all())

    assert repeats(found.torque) and not repeats(np.abs(found.torque))
    assert (found.flux_linkage[:, 0] == found.flux_linkage[:, 3]).all()


def test_angles_are_added_in_the_middle_of_pieces_and_are_the_fields_own() -> None:
    """Also a pole pitch on, where the map goes that far; each is what a field there says."""
    whole = built(half_turn(), SPEC)
    angles = np.array([-10.0, 0.0, 15.0, 30.0, 45.0, 80.0]) * deg
    before, results = sweep.swept(whole, None, angles, CURRENTS, Teller(None, 0), keep=True)
    told: list[tuple[int, int]] = []
    after, _ = refined(whole, before, results, 0.02, Teller(lambda *at: told.append(at), 0))
    assert told[-1] == (len(told), len(told)) and all(done <= points for done, points in told)
    added = np.setdiff1d(after.angles.round(9), angles.round(9))
    assert added.size and np.isin(angles.round(9), after.angles.round(9)).all()
    again = flux_map(whole, added, CURRENTS)

    def same(torque: np.ndarray) -> bool:
        at = np.searchsorted(after.angles, added - 1e-6)
        return bool(np.allclose(torque[:, at], again.torque, atol=1e-4 * np.abs(again.torque).max()))

    assert same(after.torque) and not same(-after.torque)
    assert (added > 45 * deg).any()


@pytest.mark.parametrize("rounded", [False, True])
def test_half_a_pitch_is_the_same_to_either_side(rounded: bool) -> None:
    """Also when the last digits of angles were rounded off, as where angles were added."""
    pitch = np.pi / 2
    angles = np.linspace(-pitch / 2, pitch / 2, 13)
    distinct, where, _ = sweep.distinct_angles(
        np.round(angles, 12) if rounded else angles, pitch, mirror=False
    )
    assert len(distinct) == 12 and where[0] == where[-1] == 0
    half, _, signs = sweep.distinct_angles(np.round(angles, 12) if rounded else angles, pitch, mirror=True)
    assert len(half) == 7 and signs[3] == -1.0
    # The twin: angles that are apart stay so.
    assert len(sweep.distinct_angles(np.append(angles[:-1], pitch / 2 - 1e-9), pitch, mirror=False)[0]) == 13

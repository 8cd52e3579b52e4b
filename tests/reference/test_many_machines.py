"""Four machines of every build at eight angles, and fifty drawn at random, held against NGSolve: minutes each."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

pytest.importorskip("ngsolve", reason="the reference library is an optional dependency")

from eight_angles import CURRENTS, eight_angles
from four_machines import FOUR
from one_point import one_point
from random_machines import drawn
from test_against_ngsolve import CASE, LIBRARY

from tests.record.check import Check

Record = Callable[..., None]
LEVEL = 0  # of the reference's mesh
COUNT = 50


@pytest.mark.slow
@pytest.mark.parametrize("name", FOUR)
def test_a_machine_of_each_build_agrees(name: str, record: Record) -> None:
    found = eight_angles(FOUR[name], LEVEL)
    assert np.abs(found.itself.torque).max() < 0.003
    points = f"{name}, {len(found.angles)} angles, {len(CURRENTS)} currents, worst"
    for key, quantity, within in (
        ("flux_linkage", "flux linkage", 0.15),
        ("torque", "torque, of the peak", 0.3),
    ):
        check = Check(CASE, f"{points} {quantity}", 0.0, "%", LIBRARY, "computed", within, relative=False)
        worst, longer = (100 * float(np.abs(getattr(d, key)).max()) for d in (found.off(), found.off(1.005)))
        record(check, worst, broken=longer)


@pytest.mark.slow
def test_machines_drawn_at_random_agree(record: Record) -> None:
    draws = [drawn(seed) for seed in range(COUNT)]
    errors = 100 * np.abs([one_point(d.machine, d.angle, d.current, LEVEL) for d in draws])
    for at, quantity, within in ((0, "flux linkage", (0.1, 0.3)), (1, "torque, of the peak", (0.15, 0.5))):
        for share, part, most in zip((0.5, 1.0), ("median", "worst"), within, strict=True):
            name = f"{COUNT} machines drawn at random, {part} {quantity}"
            check = Check(CASE, name, 0.0, "%", LIBRARY, "computed", most, relative=False)
            error = float(np.quantile(errors[:, at], share))
            record(check, error, broken=error + 0.5)

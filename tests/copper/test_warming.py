"""The coarse thermal check, by hand, and the classes of insulation."""

from __future__ import annotations

import pytest

from polefem.copper import INSULATION_CLASSES, THERMAL_CAUTION, Envelope, warming
from polefem.copper.warming import allowed_rise
from polefem.errors import InvalidValue

HULL = Envelope(0.1, 0.1)  # 2 pi 0.1 * 0.2 = 0.12566 m2


def test_the_rise_is_the_loss_over_surface_and_coefficient() -> None:
    found = warming(100.0, HULL)
    assert found.most_rise == pytest.approx(100 / (10 * 0.125664), rel=1e-4)
    assert found.least_rise == pytest.approx(100 / (15 * 0.125664), rel=1e-4)


@pytest.mark.parametrize(
    ("loss", "verdict"), [(100.0, "stays within"), (150.0, "may exceed"), (300.0, "exceeds")]
)
def test_the_verdict(loss: float, verdict: str) -> None:
    found = warming(loss, HULL, "F")
    assert found.verdict == verdict
    assert verdict in str(found) and str(found).endswith(THERMAL_CAUTION)


def test_classes_are_those_of_the_standard() -> None:
    # IEC 60085 and 60034-1 as `copper/warming.py` names them: the copy is held against a second one.
    published = {"Y": 90, "A": 105, "E": 120, "B": 130, "F": 155, "H": 180, "N": 200, "R": 220}
    assert published == INSULATION_CLASSES
    # Rise by resistance over 40 degC.
    assert [allowed_rise(name) for name in "BFH"] == [80.0, 105.0, 125.0]
    assert all(40 + allowed_rise(name) <= INSULATION_CLASSES[name] - 10 for name in INSULATION_CLASSES)
    with pytest.raises(
        InvalidValue, match="insulation is of a known class: insulation is 'Z', allowed is Y, A, E"
    ):
        allowed_rise("Z")

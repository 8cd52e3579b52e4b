"""The picture of a steel shows its points, its law through them, and tells the extrapolation apart."""

import numpy as np

from polefem.materials import Steel, curve_data
from polefem.report import draw_steel


def test_points_lie_on_the_law_and_the_extrapolation_goes_on_from_it() -> None:
    steel = Steel.named("M330-50A measured")
    lines = {line.get_label(): line for line in draw_steel(steel).axes[0].get_lines()}
    assert set(lines) == {"law", "extrapolated", "points"}
    h, b = (np.asarray(values) for values in lines["points"].get_data())
    np.testing.assert_allclose(steel.b(h), b, rtol=1e-6)
    assert not np.allclose(steel.b(1.2 * h), b, rtol=1e-3)
    assert np.min(lines["extrapolated"].get_xdata()) >= np.max(lines["law"].get_xdata())


def test_a_steel_without_points_is_its_law_alone() -> None:
    data = curve_data(Steel.linear(1000.0))
    assert [line.get_label() for line in draw_steel(data).axes[0].get_lines()] == ["law"]

"""Numbers as a person reads them: each in its unit, by sums done by hand."""

from __future__ import annotations

import numpy as np
import pytest

from polefem.ranking.words import figure_text, sensitivity_text
from polefem.study import Figures, Outcome, Record, Slopes, SobolIndices, Status, quantity_of_figure
from polefem.study.record import OperatingPointFigures


def said(fields: tuple[str, ...], figures: tuple[str, ...], slopes: list[list[float]]) -> list[list[str]]:
    """The rows of fields that the text has, cells apart."""
    table = np.array(slopes)
    shares = SobolIndices(fields, figures, 0 * table + 0.25, 0 * table + 0.5, np.full(len(figures), 0.9), 40)
    lines = sensitivity_text(Slopes(fields, figures, table, 0 * table + 1.5), shares).splitlines()
    return [line.split() for line in lines if line.startswith(fields)]


def test_a_slope_is_printed_in_the_units_of_figure_and_field() -> None:
    # By hand: -3000 N m per m are -3 N m per mm; 2 per rad are 200 % over 57.3 deg, 3.49 % per deg;
    # 0.5 H per m are 0.5 mH per mm; 0.1 H per rad are 100 mH over 57.3 deg.
    fields = ("air_gap", "rotor_pole.arc")
    gap, arc = said(fields, ("mean_torque",), [[-3000.0], [57.29578]])
    assert gap == ["air_gap", "-3", "N", "m/mm", "+1.50", "25", "%", "50", "%"]
    assert arc == ["rotor_pole.arc", "+1", "N", "m/deg", "+1.50", "25", "%", "50", "%"]
    gap, arc = said(fields, ("ripple",), [[10.0], [2.0]])
    assert gap[1:3] == ["+1", "%/mm"] and arc[1:3] == ["+3.49", "%/deg"]
    gap, arc = said(fields, ("aligned_inductance",), [[0.5], [0.1]])
    assert gap[1:3] == ["+0.5", "mH/mm"] and arc[1:3] == ["+1.75", "mH/deg"]


def test_a_slope_that_is_not_known_is_a_dash() -> None:
    (gap,) = said(("air_gap",), ("ripple",), [[np.nan]])
    assert gap[:2] == ["air_gap", "-"]


@pytest.mark.parametrize(
    ("figure", "value", "text"),
    [
        ("ripple", 0.518, "51.8 %"),
        ("aligned_inductance", 0.0608, "60.80 mH"),
        ("current_density", 5.2e6, "5.20 A/mm²"),
        ("torque_per_loss", 0.0692, "69.20 mN m/W"),
        ("rotor_inertia", 3.3e-4, "3.300 kg cm²"),
        ("torque_per_volume", 4100.0, "4.10 N m/l"),
        ("shear_stress", 12500.0, "12.5 kPa"),
        ("mean_torque", 3.46, "3.460 N m"),
        ("iron_loss", None, "-"),
    ],
)
def test_a_figure_is_printed_in_its_unit(figure: str, value: float | None, text: str) -> None:
    figures = Figures(**{**dict.fromkeys(Figures.names(), 1.0), figure: value})
    record = Record("one", "one", {}, Outcome(Status.SOLVED, figures=figures))
    assert figure_text(record, figure) == text


def test_every_figure_has_a_unit() -> None:
    for name in (*Figures.names(), *(f"driven.{name}" for name in OperatingPointFigures.names())):
        assert quantity_of_figure(name).size > 0.0

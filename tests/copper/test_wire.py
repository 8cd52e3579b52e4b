"""Wire against published tables: American gauges, preferred numbers, enamel."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from polefem.copper import Wire, preferred_diameters
from polefem.copper.wire import bare_diameter, enamelled_diameter
from polefem.errors import InvalidValue
from polefem.units import mm
from tests.record.check import Check

CASE = "ends and windings by handbook formulas"
Record = Callable[..., None]

# Gauge: diameter in mm by ASTM B258, resistance in ohm/km at 20 degC of annealed copper (computed from the standards).
GAUGES = {
    14: (1.6277, 8.286),
    16: (1.2908, 13.17),
    18: (1.0237, 20.95),
    20: (0.8118, 33.31),
    22: (0.6438, 52.96),
    24: (0.5106, 84.22),
    26: (0.4049, 133.9),
    28: (0.3211, 212.9),
    30: (0.2546, 338.6),
    32: (0.2019, 538.3),
}
# Series R20 of ISO 3 (from memory), of which each number is within 1.3 % of 10^(k / 20).
R20 = (
    1.0,
    1.12,
    1.25,
    1.4,
    1.6,
    1.8,
    2.0,
    2.24,
    2.5,
    2.8,
    3.15,
    3.55,
    4.0,
    4.5,
    5.0,
    5.6,
    6.3,
    7.1,
    8.0,
    9.0,
)


def meets_the_table(wire: Callable[[int], Wire]) -> bool:
    """Diameters to their last figure, resistances to theirs."""
    return all(
        abs(wire(number).bare / mm - diameter) < 6e-5
        and abs(wire(number).resistance() * 1e3 / ohm_per_km - 1) < 5e-4
        for number, (diameter, ohm_per_km) in GAUGES.items()
    )


def test_american_gauges_are_those_of_the_table(record: Record) -> None:
    assert meets_the_table(Wire.gauge)
    for number, (diameter, ohm_per_km) in GAUGES.items():
        wire, next_one = Wire.gauge(number), Wire.gauge(number + 1)
        check = Check(
            CASE, f"diameter of AWG {number}", diameter, "mm", "ASTM B258", "formula", 6e-5, relative=False
        )
        record(check, wire.bare / mm, broken=next_one.bare / mm)
        name, ohms = f"resistance of AWG {number} at 20 degC", 1e3 * wire.resistance()
        check = Check(CASE, name, ohm_per_km, "ohm/km", "ASTM B258, IACS copper", "formula", 5e-4)
        record(check, ohms, broken=1e3 * next_one.resistance())
    assert not meets_the_table(lambda number: Wire.gauge(number + 1))


def test_a_gauge_halves_its_copper_every_three() -> None:
    # The trade's rule: three gauges on, half the area, to half a per cent.
    assert Wire.gauge(20).area / Wire.gauge(23).area == pytest.approx(2.0, rel=6e-3)


def test_metric_wire_comes_in_preferred_numbers() -> None:
    sizes = preferred_diameters(0.1 * mm, 0.95 * mm)
    assert len(sizes) == 40
    assert sizes[::2] == pytest.approx([n * 0.1 * mm for n in R20])
    for k, size in enumerate(sizes):
        assert size / (0.1 * mm * 10 ** (k / 40)) == pytest.approx(1.0, abs=1.3e-2)


@pytest.mark.parametrize(
    ("bare", "grade", "overall"), [(0.5, 1, 0.544), (0.5, 2, 0.566), (1.0, 1, 1.062), (1.0, 2, 1.094)]
)
def test_enamel_is_that_of_the_standard(bare: float, grade: int, overall: float, record: Record) -> None:
    name = f"largest overall diameter of wire {bare:.3f} mm, grade {grade}"
    check = Check(CASE, name, overall, "mm", "IEC 60317-0-1", "from memory", 1e-9)
    found, other = (Wire.metric(bare * mm, one).overall / mm for one in (grade, 3 - grade))
    record(check, found, broken=other)


@pytest.mark.parametrize("grade", [1, 2])
@pytest.mark.parametrize("bare", [0.05, 0.2, 0.71, 1.6, 3.0])
def test_the_copper_is_found_again_under_its_enamel(bare: float, grade: int) -> None:
    overall = enamelled_diameter(bare * mm, grade)
    assert overall > bare * mm
    assert bare_diameter(overall, grade) == pytest.approx(bare * mm, rel=1e-8)


def test_a_diameter_between_the_standard_ones_is_refused_with_its_neighbours() -> None:
    with pytest.raises(InvalidValue, match=r"preferred numbers: bare is 0.52 mm, allowed is 0.5 or 0.53 mm"):
        Wire.metric(0.52 * mm)
    with pytest.raises(InvalidValue, match="enamel is of a known grade: grade is 3, allowed is 1 or 2"):
        Wire.metric(0.5 * mm, grade=3)
    with pytest.raises(InvalidValue, match="enamel lies outside the copper: overall is"):
        Wire(1 * mm, 0.9 * mm)

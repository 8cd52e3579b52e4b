"""Tables of a workshop: units, decimal commas, gaps; what is wrong is refused with its line."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from polefem.errors import InvalidValue
from polefem.measured.readings import joined, read_readings

PLAIN = "angle [deg], inductance [mH], current [A]\n0, 40.5, 0.1\n15, 22, 0.1\n45, 4.2, 0.1\n"
COMMA = "# after lunch\nangle [deg]; inductance [mH]; current [A]\n0; 40,5; 0,1\n15; 22; 0,1  # shaky\n45; 4,2; 0,1\n"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "bench.csv"


@pytest.mark.parametrize(
    "text", [PLAIN, COMMA, PLAIN.replace(",", "\t"), "\ufeff" + PLAIN.replace("\n", "\r\n")]
)
def test_one_table_in_four_hands(path: Path, text: str) -> None:
    path.write_text(text, "utf-8")
    found = read_readings(path, "inductance", share=0.01)
    assert found.values == pytest.approx([40.5e-3, 22e-3, 4.2e-3])
    assert found.angles == pytest.approx(np.radians([0, 15, 45])) and set(found.currents) == {0.1}
    assert found.deviations == pytest.approx([0.405e-3, 0.22e-3, 0.042e-3])
    assert found.values != pytest.approx([40.5, 22, 4.2])


def test_gaps_are_left_out_and_said(path: Path) -> None:
    path.write_text(
        "angle [deg]; current [A]; torque [N m]; deviation [N m]\n0;5;0,1;0,05\n10;5;;0,05\n20;5;1,2;0,05\n"
    )
    found = read_readings(path, "torque")
    assert len(found) == 2 and found.places == ("bench.csv, line 2", "bench.csv, line 4")
    assert found.left_out == ("bench.csv, line 3: no torque, left out",)


def test_a_lever_and_a_scale(path: Path) -> None:
    path.write_text("angle [deg], current [A], mass [g], lever [mm], deviation [g]\n-10, 5, 500, 200, 10\n")
    found = read_readings(path, "torque")
    assert found.values == pytest.approx([0.5 * 9.80665 * 0.2]) and found.deviations == pytest.approx(
        [0.0196133]
    )
    path.write_text("angle [deg], current [A], force [N], deviation [%]\n-10, 5, 4.9, 2\n")
    again = read_readings(path, "torque", lever=0.2)
    assert again.values == pytest.approx([0.98]) and again.deviations == pytest.approx([0.0196])
    assert len(joined(found, again)) == 2


def test_the_voltage_of_an_idle_phase(path: Path) -> None:
    path.write_text(
        "angle [deg], current [A], voltage [mV], frequency [Hz], deviation [mV]\n0, 1, -62.8, 50, 3\n"
    )
    found = read_readings(path, "mutual inductance")
    assert found.values == pytest.approx([62.8e-3 / (2 * math.pi * 50)])
    assert found.deviations == pytest.approx([3e-3 / (2 * math.pi * 50)])


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("angle [deg], inductance [mH]\n", "a table has a header and rows: bench.csv is 1 lines"),
        (
            "angle, inductance [mH]\n0, 4\n",
            r"a column states its quantity and unit: bench.csv, line 1 is 'angle'",
        ),
        (
            "angle [deg], inductance [T]\n0, 4\n",
            r"line 1 is 'inductance \[T\]', allowed is angle \[deg or rad\]",
        ),
        (
            "angle [deg], torque [N m]\n0, 4\n",
            r"states its quantity and unit: bench.csv, line 1 is 'torque \[N m\]'",
        ),
        ("angle [deg], angle [rad]\n0, 4\n", "a quantity has one column: bench.csv is angle twice"),
        (
            "angle [deg], current [A]\n0, 4\n",
            "a table has what it is read for: bench.csv is without a column of induc",
        ),
        (
            "angle [deg], inductance [mH]\n0, 4, 5\n",
            "a row has a cell for each column: bench.csv, line 2 is 3 cells",
        ),
        (
            "angle [deg]; inductance [mH]\n0; 4\n1; 4,5,6\n",
            "a cell is a number: bench.csv, line 3, inductance is '4,5",
        ),
        (
            "angle [deg], inductance [mH]\n0, nan\n",
            "a cell is a number: bench.csv, line 2, inductance is 'nan'",
        ),
        (
            "angle [deg], inductance [mH]\n0, 1e999\n",
            "a cell is a number: bench.csv, line 2, inductance is '1e999'",
        ),
        (
            "angle [deg], inductance [mH]\n0, about 4\n",
            "a cell is a number: bench.csv, line 2, inductance is 'about",
        ),
        (
            "angle [deg], inductance [mH]\n0, \n",
            "a table holds something measured: bench.csv is rows with gaps alone",
        ),
        (
            "angle [deg], inductance [mH]\n0, 4\n",
            "a reading is read with all that it depends on: bench.csv, current",
        ),
        (
            "angle [deg], inductance [mH], current [A]\n0, 4, 0\n",
            "a reading was taken at a current: bench.csv, line 2",
        ),
        ("angle [deg], inductance [mH], deviation [V]\n0, 4, 1\n", r"line 1 is 'deviation \[V\]'"),
    ],
)
def test_what_is_not_understood_is_refused(path: Path, text: str, sentence: str) -> None:
    path.write_text(text)
    with pytest.raises(InvalidValue, match=sentence):
        read_readings(path, "inductance", share=0.01)


def test_a_deviation_is_asked_for_and_a_size_is_said_once(path: Path) -> None:
    path.write_text(PLAIN)
    with pytest.raises(InvalidValue, match=r"a reading has a deviation: bench.csv, line 2 is without one"):
        read_readings(path, "inductance")
    with pytest.raises(InvalidValue, match=r"a quantity is said once: bench.csv, current"):
        read_readings(path, "inductance", share=0.01, current=0.1)
    with pytest.raises(InvalidValue, match=r"a reading is of a kind: kind is 'weight'"):
        read_readings(path, "weight")  # type: ignore[arg-type]

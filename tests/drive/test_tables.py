"""Tables that leave the project: read back as text, and compiled as C."""

from __future__ import annotations

import csv
import dataclasses
import re
import shutil
import subprocess

import numpy as np
import pytest

from polefem.drive import (
    angle_table,
    position_table,
    steady_state,
    write_angle_csv,
    write_angle_header,
    write_position_csv,
    write_position_header,
)
from polefem.errors import InvalidValue
from polefem.maps import summed
from polefem.params.drive_spec import Bridge, DriveSpec, Tracking
from polefem.units import deg
from tests.drive.straight import STRAIGHT, inductance
from tests.maps.saturating import sampled

BRIDGE, OHMS = Bridge(48.0, 0.7, 0.8), 0.5
ALONE = sampled(31, 15, 60.0)
SATURATING = summed(ALONE)


@pytest.fixture(scope="module")
def table():
    return angle_table(STRAIGHT, BRIDGE, OHMS, [10.0, 60.0], [-1.0, 0.0, 1.0, 500.0], current_limit=20.0)


def test_every_setting_does_what_it_says(table) -> None:
    assert np.isfinite(table.level).tolist() == [[True, False, True, False]] * 2
    for row, speed in enumerate(table.speeds):
        for column in (0, 2):
            at = (row, column)
            window = (table.turn_on[at], table.turn_off[at], Tracking.level(table.level[at]))
            run = steady_state(STRAIGHT, DriveSpec(BRIDGE, OHMS, *window), speed)
            assert run.mean_torque == pytest.approx(table.torques[column], rel=3e-4)
            assert run.ripple == pytest.approx(table.ripple[at])
    assert "no current makes no torque" in table.reasons[0][1]
    assert "about" in table.reasons[1][3]
    assert "4 of 8 with a setting" in repr(table)


def test_csv_reads_back(table, tmp_path) -> None:
    write_angle_csv(table, tmp_path / "a.csv")
    with (tmp_path / "a.csv").open(newline="") as file:
        assert re.match("# Caution: .*open phase arcs.*licensed practice", next(file))
        lines = list(csv.DictReader(file))
    assert len(lines) == 8
    assert float(lines[0]["turn_on_deg"]) == pytest.approx(np.degrees(table.turn_on[0, 0]), rel=1e-5)
    assert lines[1]["level_a"] == "" and "no torque" in lines[1]["reason"]


def compiled(tmp_path, *lines: str) -> list[int]:
    """What a C program that includes the headers prints."""
    compiler = shutil.which("cc") or shutil.which("gcc")
    if compiler is None:
        pytest.skip("no C compiler here")
    body = "\n".join(lines)
    includes = "".join(f'#include "{name}"\n' for name in ("a.h", "a.h", "p.h"))  # twice: the guard must hold
    text = f"#include <stdio.h>\n{includes}int main(void) {{\n{body}\nreturn 0;}}\n"
    (tmp_path / "main.c").write_text(text)
    flags = ["-std=c99", "-Wall", "-Wextra", "-Wno-unused-const-variable", "-Wno-unused-variable", "-Werror"]
    subprocess.run([compiler, *flags, "-o", tmp_path / "main", tmp_path / "main.c"], check=True)
    done = subprocess.run([tmp_path / "main"], check=True, capture_output=True, text=True)
    return [int(word) for word in done.stdout.split()]


def test_headers_compile_and_hold_the_numbers(table, tmp_path) -> None:
    position = position_table(SATURATING, [2.0, 10.0])
    write_angle_header(table, tmp_path / "a.h", "wheel")
    write_position_header(position, tmp_path / "p.h")
    found = compiled(
        tmp_path,
        'printf("%d %d ", WHEEL_SPEEDS, WHEEL_TORQUES);',
        'printf("%d %d ", (int)wheel_turn_on_cdeg[1][0], (int)wheel_turn_off_cdeg[1][0]);',
        'printf("%ld %ld ", (long)wheel_level_ma[1][2], (long)wheel_level_ma[0][1]);',
        'printf("%ld %d", (long)position_flux_linkage_uwb[1][40], (int)position_angle_cdeg[0]);',
    )
    angles = np.rint(np.degrees([table.turn_on[1, 0], table.turn_off[1, 0]]) * 100)
    level = round(1000 * table.level[1, 2])
    assert found == [2, 4, *angles, level, 0, round(position.values[1, 40] * 1e6), -4500]


def test_a_number_that_does_not_fit_is_refused(table, tmp_path) -> None:
    wide = dataclasses.replace(table, turn_on=table.turn_on + 400 * deg)
    with pytest.raises(InvalidValue, match=r"a number of a C table must fit its type: int16_t is .* 32767"):
        write_angle_header(wide, tmp_path / "a.h")
    with pytest.raises(InvalidValue, match="a name in a C header must be a name in C: name is '3rd'"):
        write_angle_header(table, tmp_path / "a.h", "3rd")


def test_position_from_flux_linkage_on_the_straight_inductance() -> None:
    """Flux linkage over current is the inductance, and that is straight in the angle."""
    table = position_table(STRAIGHT, [1.0, 4.0, 20.0], samples=901)
    for angle in (-28.0, -17.0, -5.0):
        value = 7.0 * float(inductance(angle * deg))
        assert table.find(7.0, value) == pytest.approx([angle * deg], abs=2e-5)
        assert table.find(7.0, 1.03 * value) != pytest.approx([angle * deg], abs=2e-5)
    middle = np.argmin(np.abs(table.angles + 17 * deg))
    slope = 54e-3 / (27 * deg)
    assert table.uncertainty(0.01)[0, middle] == pytest.approx(
        0.01 * table.values[0, middle] / slope, rel=1e-6
    )


def test_ambiguity_is_marked_where_a_value_stands_twice() -> None:
    """On saturating iron the incremental inductance at a high current falls again towards aligned."""
    flux = position_table(SATURATING, [2.0, 20.0])
    assert not flux.ambiguous.any()
    knee = position_table(knee_map(), [1.0, 9.0], quantity="incremental_inductance")
    assert not knee.ambiguous[0].any() and knee.ambiguous[1].any()
    row, column = 1, int(np.flatnonzero(knee.ambiguous[1])[3])
    found = knee.find(9.0, float(knee.values[row, column]))
    assert len(found) == 2 and np.abs(np.array(found) - knee.angles[column]).min() < 1e-3


def knee_map():
    """Iron that fills at 0.3 Wb whatever the overlap: psi = 0.3 tanh(L(angle) i / 0.3), its co-energy
    closed."""
    angles, currents = np.linspace(0, 45, 61) * deg, np.linspace(0.5, 12, 24)
    unsaturated, turning = 0.033 + 0.027 * np.cos(4 * angles), -0.108 * np.sin(4 * angles)
    i = currents[:, None]
    x = unsaturated * i / 0.3
    area = 0.09 / unsaturated * np.log(np.cosh(x))
    torque = turning * (0.3 * i * np.tanh(x) / unsaturated - area / unsaturated)
    alone = dataclasses.replace(
        ALONE,
        angles=angles,
        currents=currents,
        flux_linkage=0.3 * np.tanh(x),
        torque=torque,
        coenergy=area,
    )
    return summed(alone)


def test_position_files_and_refusals(tmp_path) -> None:
    table = position_table(SATURATING, [2.0, 10.0], samples=5)
    write_position_csv(table, tmp_path / "p.csv")
    with (tmp_path / "p.csv").open(newline="") as file:
        lines = list(csv.DictReader(file))
    assert len(lines) == 10 and float(lines[7]["flux_linkage_wb"]) == pytest.approx(
        table.values[1, 2], rel=1e-6
    )
    with pytest.raises(InvalidValue, match=r"no current tells no angle: currents\[0\] is 0 A"):
        position_table(SATURATING, [0.0, 1.0])
    with pytest.raises(
        InvalidValue, match="within the table's currents: current is 50 A, allowed is 2 to 10 A"
    ):
        table.find(50.0, 0.1)
    with pytest.raises(
        InvalidValue, match="quantity is 'colour', allowed is flux_linkage, incremental_inductance"
    ):
        position_table(SATURATING, [1.0], quantity="colour")


def reaches(share: float) -> bool:
    """Where the value changes evenly, as far as its slope says; never further than the half pitch."""
    table = position_table(SATURATING, [2.0, 10.0], samples=361)
    middle = np.abs(table.angles + SATURATING.pitch / 4) < 0.05 * SATURATING.pitch
    reach, evenly = table.reach(0.005), table.uncertainty(share * 0.005)
    assert reach.max() <= SATURATING.pitch / 2
    return bool(np.allclose(reach[:, middle], evenly[:, middle], rtol=0.05))


def test_a_reading_reaches_as_far_as_the_slope_says() -> None:
    assert reaches(1.0) and not reaches(0.5)

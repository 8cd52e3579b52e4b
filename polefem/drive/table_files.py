"""Tables for a controller: comma-separated text to look at, and a C header that a microcontroller build
includes."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from polefem.drive.position import PositionTable
from polefem.drive.settings import AngleTable
from polefem.errors import InvalidValue, refusal
from polefem.files import complete, write_text

__all__ = ["write_angle_csv", "write_angle_header", "write_position_csv", "write_position_header"]

Array = NDArray[np.float64]

_PER_LINE = 12

_CAUTION = (
    "Caution: capacitors and fields stay charged, an open phase arcs, rectified mains kills; "
    "local codes and licensed practice decide."
)

_ANGLE_COLUMNS = (
    *("speed_rad_s", "torque_n_m", "turn_on_deg", "turn_off_deg", "level_a", "mean_torque_n_m"),
    *("ripple_max_less_min_over_mean", "copper_loss_w", "peak_current_a"),
    *("power_in_w", "power_out_w", "efficiency_percent", "reason"),
)


def write_angle_csv(table: AngleTable, path: str | Path) -> None:
    """One line for each speed and torque, units in the heading; empty numbers and a reason where none is
    reached. The first line is a caution, marked as a comment with #."""
    with complete(path) as part, part.open("w", encoding="utf-8", newline="") as file:
        file.write(f"# {_CAUTION}\n")
        lines = csv.writer(file)
        lines.writerow(_ANGLE_COLUMNS)
        for row, speed in enumerate(table.speeds):
            for column, torque in enumerate(table.torques):
                cell = (row, column)
                numbers = (
                    *np.degrees([table.turn_on[cell], table.turn_off[cell]]),
                    *(table.level[cell], table.mean_torque[cell], table.ripple[cell]),
                    *(table.copper_loss[cell], table.peak_current[cell]),
                    *(table.power_in[cell], table.power_out[cell], 100 * table.efficiency[cell]),
                )
                found = [f"{number:.6g}" if np.isfinite(number) else "" for number in numbers]
                lines.writerow([f"{speed:.6g}", f"{torque:.6g}", *found, table.reasons[row][column]])


def write_angle_header(table: AngleTable, path: str | Path, name: str = "switching") -> None:
    """The table in whole numbers, C99; `name` begins every name in it.

    Raises InvalidValue for a name that C does not allow, or an angle or level that does not fit its type.
    """
    held = np.isfinite(table.level)
    tables = [
        ("int16_t", "turn_on_cdeg", _fit(np.degrees(np.where(held, table.turn_on, 0.0)) * 100, "int16_t")),
        ("int16_t", "turn_off_cdeg", _fit(np.degrees(np.where(held, table.turn_off, 0.0)) * 100, "int16_t")),
        ("uint32_t", "level_ma", _fit(np.where(held, table.level, 0.0) * 1000, "uint32_t")),
    ]
    axes = [
        ("int32_t", "speed_mrad_s", _fit(table.speeds * 1000, "int32_t"), "SPEEDS"),
        ("int32_t", "torque_mn_m", _fit(table.torques * 1000, "int32_t"), "TORQUES"),
    ]
    words = (
        "Switching angles over speed (mrad/s) and torque (mN m, below 0 as a generator).",
        "Angles in hundredths of a degree of the rotor, from the phase's aligned angle, in the direction of turning.",
        "Current level in mA; 0 where the supply cannot reach the torque: leave the phase off.",
        _CAUTION,
    )
    _write_header(path, name, words, axes, tables)


def write_position_csv(table: PositionTable, path: str | Path) -> None:
    """One line for each current and angle, with the slope, and 1 where the value stands at another angle
    too."""
    unit = "wb" if table.quantity == "flux_linkage" else "h"
    with complete(path) as part, part.open("w", encoding="utf-8", newline="") as file:
        lines = csv.writer(file)
        lines.writerow(
            ("current_a", "angle_deg", f"{table.quantity}_{unit}", f"slope_{unit}_per_rad", "ambiguous")
        )
        for k, current in enumerate(table.currents):
            for n, angle in enumerate(table.angles):
                numbers = (current, np.degrees(angle), table.values[k, n], table.slopes[k, n])
                lines.writerow([*(f"{number:.7g}" for number in numbers), int(table.ambiguous[k, n])])


def write_position_header(table: PositionTable, path: str | Path, name: str = "position") -> None:
    """The table in whole numbers, C99; `name` begins every name in it; raises InvalidValue as
    `write_angle_header`."""
    unit = "uwb" if table.quantity == "flux_linkage" else "uh"
    axes = [
        ("int32_t", "current_ma", _fit(table.currents * 1000, "int32_t"), "CURRENTS"),
        ("int16_t", "angle_cdeg", _fit(np.degrees(table.angles) * 100, "int16_t"), "ANGLES"),
    ]
    tables = [
        ("int32_t", f"{table.quantity}_{unit}", _fit(table.values * 1e6, "int32_t")),
        ("uint8_t", "ambiguous", table.ambiguous.astype(int)),
    ]
    words = (
        "What one phase measures over current (mA) and angle (hundredths of a degree, aligned is 0).",
        "The other half of the rotor pitch looks the same. Ambiguous is 1 where another angle has the value too.",
    )
    _write_header(path, name, words, axes, tables)


def _write_header(
    path: str | Path,
    name: str,
    words: tuple[str, ...],
    axes: list[tuple[str, str, NDArray[np.int64], str]],
    tables: list[tuple[str, str, NDArray[np.int64]]],
) -> None:
    if not re.fullmatch(r"[A-Za-z][A-Za-z0-9_]*", name):
        allowed = "a letter, then letters, digits and underscores"
        raise InvalidValue(refusal("a name in a C header must be a name in C", "name", repr(name), allowed))
    guard = f"{name.upper()}_H"
    lines = ["/*", *(f" * {word}" for word in words), " */"]
    lines += [f"#ifndef {guard}", f"#define {guard}", "", "#include <stdint.h>", ""]
    sizes = [f"{name.upper()}_{count}" for *_, count in axes]
    lines += [f"#define {size} {axis[2].size}" for size, axis in zip(sizes, axes, strict=True)]
    for (kind, label, values, _), size in zip(axes, sizes, strict=True):
        lines += ["", f"static const {kind} {name}_{label}[{size}] = {{", *_rows(values, "    "), "};"]
    for kind, label, table in tables:
        lines += ["", f"static const {kind} {name}_{label}[{sizes[0]}][{sizes[1]}] = {{"]
        for row in table:
            lines += ["    {", *_rows(row, "        "), "    },"]
        lines.append("};")
    lines += ["", f"#endif /* {guard} */", ""]
    write_text(path, "\n".join(lines))


def _rows(values: NDArray[np.int64], indent: str) -> Iterator[str]:
    for start in range(0, values.size, _PER_LINE):
        yield indent + ", ".join(str(value) for value in values[start : start + _PER_LINE]) + ","


def _fit(values: Array, kind: str) -> NDArray[np.int64]:
    low, high = {
        "int16_t": (-(2**15), 2**15 - 1),
        "int32_t": (-(2**31), 2**31 - 1),
        "uint32_t": (0, 2**32 - 1),
    }[kind]
    rounded: NDArray[np.int64] = np.rint(values).astype(np.int64)
    if rounded.min() < low or rounded.max() > high:
        worst = rounded.max() if rounded.max() > high else rounded.min()
        rule = "a number of a C table must fit its type"
        raise InvalidValue(refusal(rule, kind, int(worst), f"{low} to {high}"))
    return rounded

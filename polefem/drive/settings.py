"""Turn-on, turn-off and current level that suit a speed and a torque, one at a time or as a table."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from polefem.drive.scan import Scan
from polefem.drive.switching_search import Objective, Setting, SwitchingSearch
from polefem.errors import InvalidValue, StoreRefused, refusal
from polefem.maps import CoupledMap
from polefem.maps.files import read, write
from polefem.params.checks import increasing
from polefem.params.drive_spec import Bridge
from polefem.params.quantity import speed_text

__all__ = ["AngleTable", "angle_table", "best_setting", "most_torque"]

Array = NDArray[np.float64]


def best_setting(
    m: CoupledMap,
    bridge: Bridge,
    resistance: float,
    speed: float,
    torque: float,
    *,
    objective: Objective = "loss",
    ripple_limit: float = math.inf,
    current_limit: float | None = None,
) -> Setting:
    """The switching that gives a mean torque (N m, below 0 as a generator) at a speed (rad/s) with the least
    of `objective`.

    resistance: of a phase, ohm. ripple_limit: with the objective "loss", the least loss at no more than this
    ripple, by RIPPLE_FORMULA. current_limit: no level is above it, A; else the last current of the map.

    Raises InvalidValue where the supply cannot give that torque at that speed; the sentence says how much it
    can.
    """
    return SwitchingSearch(m, bridge, resistance, speed, torque < 0, current_limit).best(
        torque, objective, ripple_limit
    )


def most_torque(
    m: CoupledMap,
    bridge: Bridge,
    resistance: float,
    speed: float,
    *,
    generate: bool = False,
    current_limit: float | None = None,
) -> Setting:
    """The switching that gives the largest mean torque at a speed (rad/s) within a current limit (A)."""
    return SwitchingSearch(m, bridge, resistance, speed, generate, current_limit).most()


@dataclass(frozen=True, eq=False, repr=False)
class AngleTable:
    """Settings over speed and torque.

    speeds: ndarray, shape (n,), rad/s. torques: ndarray, shape (k,), N m, below 0 as a generator.
    turn_on, turn_off (rad), level (A), mean_torque (N m), ripple, copper_loss (W), peak_current (A), power_in,
    power_out (W), efficiency, iron loss not counted: ndarray, shape (n, k), nan where there is no setting. reasons: why
    there is none, empty where there is one. coupling: of the map, "joint" or "summed".
    """

    speeds: Array
    torques: Array
    turn_on: Array
    turn_off: Array
    level: Array
    mean_torque: Array
    ripple: Array
    copper_loss: Array
    peak_current: Array
    power_in: Array
    power_out: Array
    efficiency: Array
    reasons: tuple[tuple[str, ...], ...]
    coupling: str

    def __post_init__(self) -> None:
        for name in ("speeds", "torques", *_COLUMNS):
            getattr(self, name).flags.writeable = False

    def save(self, path: Path) -> None:
        """Write it to a file; it appears complete or not at all."""
        reasons = tuple(why for row in self.reasons for why in row)
        write(
            path,
            {name: getattr(self, name) for name in ("speeds", "torques", *_COLUMNS)}
            | {"reasons": reasons, "coupling": self.coupling},
        )

    @classmethod
    def load(cls, path: Path) -> AngleTable:
        """Read what `save` wrote; raises StoreRefused for a file that is missing, damaged, or of other columns."""
        held, columns = read(path), [column.name for column in dataclasses.fields(cls)]
        if held.keys() != set(columns):
            found = ", ".join(sorted(held)) or "none"
            raise StoreRefused(
                refusal("a switching table has its columns", path.name, found, ", ".join(columns))
            )
        reasons, count = held.pop("reasons"), held["torques"].size
        rows = (tuple(reasons[at : at + count]) for at in range(0, len(reasons), count))
        return cls(**held, reasons=tuple(rows))

    def __repr__(self) -> str:
        held = int(np.isfinite(self.level).sum())
        return (
            f"AngleTable({self.coupling}, {self.speeds.size} speeds to {speed_text(float(self.speeds[-1]))} x "
            f"{self.torques.size} torques {self.torques[0]:.4g} to {self.torques[-1]:.4g} N m, "
            f"{held} of {self.level.size} with a setting)"
        )


_COLUMNS = (
    *("turn_on", "turn_off", "level", "mean_torque", "ripple", "copper_loss", "peak_current"),
    *("power_in", "power_out", "efficiency"),
)


def angle_table(
    m: CoupledMap,
    bridge: Bridge,
    resistance: float,
    speeds: Sequence[float] | Array,
    torques: Sequence[float] | Array,
    *,
    objective: Objective = "loss",
    ripple_limit: float = math.inf,
    current_limit: float | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> AngleTable:
    """`best_setting` for every speed (rad/s, increasing, above 0) and torque (N m, increasing; 0 has no
    setting).

    progress: called with the points done and the points in all. Points that the supply cannot reach become
    nan with a reason.
    """
    speeds = increasing("the speeds of a table must increase", "speeds", speeds, "rad/s")
    torques = increasing("the torques of a table must increase", "torques", torques, "N m")
    cells: dict[str, Array] = {name: np.full((speeds.size, torques.size), np.nan) for name in _COLUMNS}
    reasons = [[""] * torques.size for _ in speeds]
    scans: dict[float, Scan] = {1.0: Scan(m.single)}
    for row, speed in enumerate(speeds):
        sides = {
            g: SwitchingSearch(m, bridge, resistance, speed, g, current_limit, scans)
            for g in set(torques < 0)
        }
        for column, torque in enumerate(torques):
            try:
                setting = sides[bool(torque < 0)].best(torque, objective, ripple_limit)
            except InvalidValue as error:
                reasons[row][column] = str(error)
            else:
                for name in _COLUMNS:
                    cells[name][row, column] = getattr(setting, name)
            if progress:
                progress(row * torques.size + column + 1, speeds.size * torques.size)
    return AngleTable(
        speeds, torques, **cells, reasons=tuple(tuple(row) for row in reasons), coupling=m.coupling
    )

"""The search for turn-on, turn-off and current level at one speed.

A scan of some thousand switchings says where to begin; from there the simplex method of J. A. Nelder and R.
Mead (Computer Journal 7, 1965), which asks no slopes of a ripple that has none, moves the two angles, and for
each pair the level follows from the torque. The level is held by fast modulation (`Tracking.level`), to which
a narrow hysteresis band comes near; where the supply cannot reach it, the setting is a single pulse.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
import scipy
from numpy.typing import NDArray

from polefem.drive.cycle import ending_cycle
from polefem.drive.drive_run import DriveRun
from polefem.drive.level_search import level_for
from polefem.drive.machine_map import of_machine
from polefem.drive.scan import Scan, Scanned
from polefem.drive.steady import steady_state
from polefem.errors import InvalidValue, refusal
from polefem.maps import CoupledMap
from polefem.params.checks import positive, within
from polefem.params.drive_spec import Bridge, DriveSpec, Tracking
from polefem.params.quantity import speed_text

__all__ = ["Objective", "Setting", "SwitchingSearch"]

Array = NDArray[np.float64]

Objective = Literal["loss", "ripple"]
"""What a setting makes least: copper loss, or torque ripple."""

_STEPS = 240
_TRIES = 45
_CLOSE, _EXACT = 3e-3, 1e-4
_STARTS = 12
_WIDENINGS, _WIDER = 12, 0.003
_OUT_OF_REACH = 1e6


@dataclass(frozen=True)
class Setting:
    """A switching for one speed, and what it does there.

    speed: rad/s. turn_on, turn_off: rad from aligned, in the direction of turning. level: of the current, A.
    mean_torque: N m, below 0 as a generator. ripple: by RIPPLE_FORMULA. copper_loss: of all phases, W.
    rms_current, peak_current: of a phase, A. power_in, power_out: W, as motor or as generator, iron loss not counted;
    efficiency: nan where power goes in from both sides. coupling: of the map, "joint" or "summed".
    """

    speed: float
    turn_on: float
    turn_off: float
    level: float
    mean_torque: float
    ripple: float
    copper_loss: float
    rms_current: float
    peak_current: float
    power_in: float
    power_out: float
    efficiency: float
    coupling: str

    def drive(self, bridge: Bridge, resistance: float) -> DriveSpec:
        """The same as what a bridge is asked to do."""
        return DriveSpec(bridge, resistance, self.turn_on, self.turn_off, Tracking.level(self.level))


class Measured(NamedTuple):
    """What a switching does: mean torque, N m, ripple, and the mean square of the currents, A^2."""

    mean_torque: float
    ripple: float
    mean_square: float


class SwitchingSearch:
    """All that is asked at one speed, as a motor or as a generator."""

    def __init__(
        self,
        m: CoupledMap,
        bridge: Bridge,
        resistance: float,
        speed: float,
        generate: bool,
        current_limit: float | None,
        scans: dict[float, Scan] | None = None,
    ) -> None:
        within("a speed is finite", "speed", speed, -math.inf, math.inf, "rad/s")
        positive("a drive turns", "speed", abs(speed), "rad/s")
        self.limit = float(of_machine(m).currents[-1])
        if current_limit is not None:
            self.limit = min(
                self.limit, positive("a current limit lets some flow", "current_limit", current_limit, "A")
            )
        self.m, self.bridge, self.resistance, self.speed = m, bridge, resistance, speed
        self.sign, self.guess = -1.0 if generate else 1.0, np.zeros(m.phases)
        way = math.copysign(1.0, speed)
        scans = {} if scans is None else scans
        if way not in scans:
            scans[way] = Scan(m.single, way)
        self.scan = scans[way]
        self.on, self.off, self.levels = self._ground()
        shape = (*self.on.shape, self.levels.size)
        on, off, level = np.broadcast_arrays(self.on[..., None], self.off[..., None], self.levels)
        done = self.scan.run(bridge, resistance, abs(speed), on.ravel(), off.ravel(), level.ravel())
        self.found = Scanned(*(getattr(done, name).reshape(shape) for name in Scanned.__dataclass_fields__))
        self.scanned_torque = np.where(self.found.lawful, self.sign * self.found.mean_torque, -np.inf)

    def _ground(self) -> tuple[Array, Array, Array]:
        """Angles and levels to look at: turn-on by dwell, and levels closer where they are low."""
        pitch = self.m.pitch
        first, last = (-0.6, -0.02) if self.sign > 0 else (-0.25, 0.4)
        on, dwell = np.meshgrid(np.linspace(first, last, 26), np.linspace(0.04, 0.5, 20), indexing="ij")
        off = np.minimum(on + dwell, 0.15 if self.sign > 0 else 0.55)
        keep = off - on > 0.03
        return on[keep] * pitch, off[keep] * pitch, self.limit * np.linspace(0.08, 1.0, 13) ** 1.5

    def _refused(self, torque: float) -> InvalidValue:
        most = f"{self.sign * max(0.0, float(self.scanned_torque.max())):.4g} N m"
        rule = f"the supply and the current limit must reach the torque at {speed_text(self.speed)}"
        return InvalidValue(refusal(rule, "torque", f"{torque:.4g} N m", f"between 0 and about {most}"))

    def most(self) -> Setting:
        """The largest torque."""
        best = np.unravel_index(int(self.scanned_torque.argmax()), self.scanned_torque.shape)
        if not self.scanned_torque[best] > 0.0:
            raise self._refused(math.nan)

        def lack(angles: Array) -> float:
            measured = self._measure(angles[0], angles[1], self.limit)
            return -self.sign * measured.mean_torque if measured else _OUT_OF_REACH

        on, off = self._walk(lack, self.on[best[0]], self.off[best[0]])
        return self._setting(steady_state(self.m, self._drive(on, off, self.limit), self.speed), self.limit)

    def best(self, torque: float, objective: Objective, ripple_limit: float) -> Setting:
        """The least of `objective` at a mean torque."""
        if torque == 0.0:
            raise InvalidValue(refusal("no current makes no torque", "torque", "0 N m", "any other"))
        score, level = self._from_scan(abs(torque), objective, ripple_limit)
        start, guess = self._start(score, level, torque)

        def lack(angles: Array) -> float:
            nonlocal guess
            found = self._at_torque(angles[0], angles[1], abs(torque), guess)
            if found is None:
                return _OUT_OF_REACH
            guess, does = found
            return float(_score(does.ripple, does.mean_square / self.limit**2, objective, ripple_limit))

        on, off = self._walk(lack, self.on[start], self.off[start])
        setting = self._exact(on, off, torque, guess)
        if objective == "loss" and setting.ripple > ripple_limit * (1 + _CLOSE):
            rule = f"a ripple limit must be within reach at {speed_text(self.speed)} and {torque:.4g} N m"
            raise InvalidValue(
                refusal(rule, "ripple_limit", f"{ripple_limit:.4g}", f"about {setting.ripple:.3g} or more")
            )
        return setting

    def _start(self, score: Array, level: Array, torque: float) -> tuple[int, float]:
        """The best place of the scan that also holds when computed anew, and the level there."""
        for start in np.argsort(score)[:_STARTS]:
            if not math.isfinite(score[start]):
                break
            found = self._at_torque(
                float(self.on[start]), float(self.off[start]), abs(torque), float(level[start])
            )
            if found is not None:
                return int(start), found[0]
        raise self._refused(torque)

    def _from_scan(self, wanted: float, objective: Objective, ripple_limit: float) -> tuple[Array, Array]:
        """For each pair of angles: the score at the torque, infinite where it is out of reach, and the
        level."""
        reached = self.scanned_torque >= wanted
        above = reached.argmax(axis=1)
        rows = np.arange(above.size)
        below = np.maximum(above - 1, 0)
        low = np.where(above > 0, self.scanned_torque[rows, below], 0.0)
        known = reached.any(axis=1) & np.isfinite(low)
        low = np.where(known, low, 0.0)
        gap = np.where(known, self.scanned_torque[rows, above] - low, 1.0)
        share = np.where(known, np.clip((wanted - low) / gap, 0.0, 1.0), 0.0)

        def between(table: Array, start: Array | float) -> Array:
            begin = np.where(above > 0, table[rows, below], start)
            with np.errstate(invalid="ignore"):  # a switching without torque has an endless ripple
                return np.asarray((1 - share) * begin + share * table[rows, above])

        ripple = self.found.ripple
        mean_square = between(self.found.mean_square, 0.0)
        score = _score(between(ripple, ripple[:, 0]), mean_square / self.limit**2, objective, ripple_limit)
        levels = np.broadcast_to(self.levels, self.scanned_torque.shape)
        return np.where(known, score, np.inf), between(levels, 0.0)

    def _walk(self, lack: Callable[[Array], float], on: float, off: float) -> tuple[float, float]:
        """Nelder and Mead's simplex from a place of the scan, its first edges half a step of it."""
        edge = 0.012 * self.m.pitch
        simplex = np.array([[on, off], [on + edge, off], [on, off - edge]])
        best = scipy.optimize.minimize(
            lack,
            simplex[0],
            method="Nelder-Mead",
            options={
                "initial_simplex": simplex,
                "maxfev": _TRIES,
                "xatol": 1e-4 * self.m.pitch,
                "fatol": 1e-5,
            },
        ).x
        return float(best[0]), float(best[1])

    def _drive(self, on: float, off: float, level: float) -> DriveSpec:
        return DriveSpec(self.bridge, self.resistance, on, off, Tracking.level(level))

    def _measure(self, on: float, off: float, level: float) -> Measured | None:
        """What a switching does, followed with coarse steps; None where its current is still there at the next
        turn-on."""
        if not 0.02 * self.m.pitch < off - on < 0.8 * self.m.pitch or level > float(self.m.currents[-1]):
            return None
        try:
            cycle = ending_cycle(self.m, self._drive(on, off, level), self.speed, _STEPS, self.guess)
        except InvalidValue:
            return None
        if cycle is None:
            return None
        self.guess = cycle.start[0]
        mean, torque = float(cycle.steps.work.sum()) / self.m.pitch, cycle.torque
        ripple = float(np.ptp(torque)) / abs(mean) if mean else math.inf
        return Measured(mean, ripple, cycle.mean_square)

    def _at_torque(self, on: float, off: float, wanted: float, guess: float) -> tuple[float, Measured] | None:
        """The level that gives a torque with these angles, and what it does there."""
        measured: list[Measured] = []

        def gives(level: float) -> float | None:
            found = self._measure(on, off, level)
            if found is None:
                return None
            measured.append(found)
            return self.sign * found.mean_torque

        level = level_for(gives, wanted, guess, self.limit, _CLOSE)
        return None if level is None else (level, measured[-1])

    def _exact(self, on: float, off: float, torque: float, guess: float) -> Setting:
        runs: list[DriveRun] = []

        def gives(level: float) -> float | None:
            runs.append(steady_state(self.m, self._drive(on, off, level), self.speed))
            return self.sign * runs[-1].mean_torque

        for _ in range(_WIDENINGS):
            level = level_for(gives, abs(torque), guess, self.limit, _EXACT)
            if level is not None:
                return self._setting(runs[-1], level)
            # The least loss is often a single pulse just long enough: with finer steps a little longer.
            on -= _WIDER * self.m.pitch
        raise self._refused(torque)

    def _setting(self, run: DriveRun, level: float) -> Setting:
        return Setting(
            speed=self.speed,
            turn_on=run.drive.turn_on,
            turn_off=run.drive.turn_off,
            level=level,
            mean_torque=run.mean_torque,
            ripple=run.ripple,
            copper_loss=run.copper_loss,
            rms_current=run.rms_current,
            peak_current=run.peak_current,
            power_in=run.power_in,
            power_out=run.power_out,
            efficiency=run.efficiency,
            coupling=run.coupling,
        )


def _score(ripple: Array | float, loss: Array | float, objective: Objective, ripple_limit: float) -> Array:
    """What is made least; `loss` is the mean square of the current over that of the limit."""
    if objective == "ripple":
        return np.asarray(ripple + 1e-3 * loss)  # of two equally smooth settings, the cooler
    over = np.maximum(0.0, ripple / ripple_limit - 1.0)
    return np.asarray(loss * (1.0 + 10.0 * over) + over)

"""Current profiles that make the summed torque flat: neighbouring phases share it while they change over.

Each phase takes a share of the torque that rises from 0 to 1 over an overlap, stays, and falls as the next
phase's rises, so that the shares of all phases always add up to one. The share is a cubic, 3 x^2 - 2 x^3:
torque goes with the square of a small current, so that a share that began with a slope would ask for a
current that begins with a step (the idea of sharing functions: common practice, D. S. Schramm, B. W.
Williams, T. C. Green, 1992, from memory). The current at each angle follows from the map, the voltage from
the flux linkage, and with it the speed up to which the supply can do it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from polefem.errors import InvalidValue, refusal
from polefem.maps import FluxMap
from polefem.params.checks import positive, within
from polefem.params.drive_spec import Bridge, DriveSpec, Tracking

__all__ = ["TorqueSharing", "best_sharing", "share_torque"]

Array = NDArray[np.float64]

_POINTS, _COARSE = 241, 81
_HALVINGS = 36
_TRIES = 80
_OUT_OF_REACH = 1e9


@dataclass(frozen=True, eq=False, repr=False)
class TorqueSharing:
    """A current profile under which the phases together give a flat torque.

    torque: of all phases, N m, below 0 as a generator. turn_on: where a phase takes over, rad. overlap: angle
    of changing over, rad. angles, currents: ndarray, shape (n,), rad and A: the profile. speed_limit: up to
    which the supply can follow it, rad/s. rms_current: of a phase, A. copper_loss: of all phases, W.
    """

    torque: float
    turn_on: float
    overlap: float
    angles: Array
    currents: Array
    speed_limit: float
    rms_current: float
    copper_loss: float

    def __post_init__(self) -> None:
        self.angles.flags.writeable = False
        self.currents.flags.writeable = False

    def drive(self, bridge: Bridge, resistance: float) -> DriveSpec:
        """The profile as what a bridge is asked to do."""
        profile = Tracking(self.angles, self.currents)
        return DriveSpec(bridge, resistance, float(self.angles[0]), float(self.angles[-1]), profile)

    def __repr__(self) -> str:
        on, overlap = math.degrees(self.turn_on), math.degrees(self.overlap)
        return (
            f"TorqueSharing({self.torque:.4g} N m from {on:.4g} deg with {overlap:.4g} deg of overlap: flat up to "
            f"{self.speed_limit:.4g} rad/s, {self.rms_current:.4g} A rms, {self.currents.max():.4g} A peak)"
        )


def share_torque(
    m: FluxMap, bridge: Bridge, resistance: float, torque: float, turn_on: float, overlap: float
) -> TorqueSharing:
    """The profile for a torque (N m), a turn-on angle and an overlap (rad, up to one stroke); resistance in
    ohm.

    Raises InvalidValue where the map's last current does not give the torque at some angle of the profile.
    """
    within("an overlap is a part of a stroke", "overlap", overlap, 0.0, m.stroke * (1 + 1e-9), "rad")
    _check_torque(torque)
    found = _Profiles(m, bridge, resistance, torque, np.array([turn_on]), np.array([overlap]))
    if not found.reached[0]:
        lacking = int(np.argmax(found.lacks[0]))
        where = f"{found.wanted[0, lacking]:.4g} N m at {math.degrees(found.angles[0, lacking]):.4g} deg"
        most = f"up to {found.most[0, lacking]:.4g} N m there, that of {m.currents[-1]:.4g} A"
        raise InvalidValue(
            refusal("every angle of a profile must give its share of the torque", "torque", where, most)
        )
    return found.sharing(0)


def best_sharing(
    m: FluxMap,
    bridge: Bridge,
    resistance: float,
    torque: float,
    speed: float,
    current_limit: float | None = None,
) -> TorqueSharing:
    """The profile with the least copper loss that makes a torque (N m) flat at a speed (rad/s, above 0).

    Raises InvalidValue where none does; the sentence says up to what speed, or torque, there is one.
    """
    positive("a drive turns", "speed", speed, "rad/s")
    _check_torque(torque)
    sign = math.copysign(1.0, torque)
    last = float(m.currents[-1])
    limit = (
        last if current_limit is None else min(last, positive("a limit", "current_limit", current_limit, "A"))
    )
    lead = (
        np.linspace(0.02, 0.55, 22) * m.pitch
    )  # from the far end of the profile to aligned, or the other way
    leads, overlaps = (grid.ravel() for grid in np.meshgrid(lead, np.linspace(0.1, 1.0, 10) * m.stroke))
    on = -leads if sign > 0 else leads - 0.1 * m.pitch
    found = _Profiles(m, bridge, resistance, torque, on, overlaps, limit, _COARSE)
    if not found.reached.any():
        rule = f"some profile must give a flat torque with {limit:.4g} A"
        most = f"between 0 and about {sign * found.flat.max():.4g} N m"
        raise InvalidValue(refusal(rule, "torque", f"{torque:.4g} N m", most))
    score = _score(found, speed)
    start = int(score.argmin())

    def lack(pair: Array) -> float:
        if not 0.02 * m.stroke < pair[1] <= m.stroke:
            return _OUT_OF_REACH
        tried = _Profiles(m, bridge, resistance, torque, pair[:1], pair[1:], limit)
        return float(_score(tried, speed)[0])

    edge = 0.02 * m.pitch
    simplex = np.array([on[start], overlaps[start]]) + edge * np.array([[0.0, 0.0], [1.0, 0.0], [0.0, -0.5]])
    best = minimize(
        lack,
        simplex[0],
        method="Nelder-Mead",
        options={"initial_simplex": simplex, "maxfev": _TRIES, "xatol": 1e-4 * m.pitch, "fatol": 1e-6},
    ).x
    sharing = _Profiles(m, bridge, resistance, torque, best[:1], best[1:], limit).sharing(0)
    if sharing.speed_limit < speed:
        rule = f"the supply must follow the profile of {torque:.4g} N m"
        raise InvalidValue(
            refusal(rule, "speed", f"{speed:.4g} rad/s", f"up to about {sharing.speed_limit:.4g} rad/s")
        )
    return sharing


def _check_torque(torque: float) -> None:
    within("a torque is finite", "torque", torque, -math.inf, math.inf, "N m")
    if torque == 0.0:
        raise InvalidValue(refusal("no current makes no torque", "torque", "0 N m", "any other"))


def _score(found: _Profiles, speed: float) -> Array:
    """Mean square of the current, and far above any of it where the supply is too slow: the slower the
    worse."""
    slow = speed / np.maximum(found.speed_limit, 1e-9 * speed)
    score = np.where(slow <= 1.0, found.mean_square / found.last**2, 10.0 * np.minimum(slow, 1e6))
    return np.where(found.reached, score, _OUT_OF_REACH)


class _Profiles:
    """Profiles for many turn-on angles and overlaps at once; tables have a row for each."""

    def __init__(
        self,
        m: FluxMap,
        bridge: Bridge,
        resistance: float,
        torque: float,
        on: Array,
        overlap: Array,
        limit: float | None = None,
        points: int = _POINTS,
    ) -> None:
        self.m, self.torque, self.on, self.overlap, self.resistance = m, torque, on, overlap, resistance
        self.last = float(m.currents[-1]) if limit is None else limit
        length = m.stroke + overlap
        self.angles = on[:, None] + length[:, None] * np.linspace(0.0, 1.0, points)
        since = self.angles - on[:, None]
        self.wanted = abs(torque) * (
            _rise(since / overlap[:, None]) - _rise((since - m.stroke) / overlap[:, None])
        )
        self.most = self._pull(self.last)
        self.lacks = self.most < self.wanted
        self.reached: NDArray[np.bool_] = np.logical_not(self.lacks.any(axis=1))
        bound = np.full(self.wanted.shape, np.inf)
        np.divide(np.maximum(self.most, 0.0), self.wanted, out=bound, where=self.wanted > 0.0)
        self.flat = abs(torque) * bound.min(axis=1)  # the most that these angles can make flat
        self.current = self._current()
        steps = np.diff(self.angles, axis=1)
        square = self.current**2
        self.mean_square = ((square[:, 1:] + square[:, :-1]) / 2 * steps).sum(axis=1) / m.pitch
        rise = np.diff(m.at(self.angles, self.current)[0], axis=1) / steps
        drop = (resistance + bridge.source_resistance) * (self.current[:, 1:] + self.current[:, :-1]) / 2
        up = np.maximum(0.0, bridge.supply - 2 * bridge.switch_drop - drop)
        down = bridge.supply + 2 * bridge.diode_drop + drop
        with np.errstate(divide="ignore"):
            self.speed_limit = np.where(rise > 0.0, up / np.abs(rise), down / np.abs(rise)).min(axis=1)

    def _pull(self, current: Array | float) -> Array:
        pull: Array = math.copysign(1.0, self.torque) * self.m.at(self.angles, current)[1]
        return pull

    def _current(self) -> Array:
        """Where the torque is the wanted one: torque rises with current at any angle, so that halving finds
        it."""
        low, high = np.zeros(self.angles.shape), np.full(self.angles.shape, self.last)
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            more = self._pull(middle) < self.wanted
            low, high = np.where(more, middle, low), np.where(more, high, middle)
        current: Array = np.where(self.wanted > 0.0, high, 0.0)
        return current

    def sharing(self, row: int) -> TorqueSharing:
        """One of the profiles."""
        mean_square = float(self.mean_square[row])
        return TorqueSharing(
            torque=self.torque,
            turn_on=float(self.on[row]),
            overlap=float(self.overlap[row]),
            angles=self.angles[row],
            currents=self.current[row],
            speed_limit=float(self.speed_limit[row]),
            rms_current=math.sqrt(mean_square),
            copper_loss=self.m.phases * self.resistance * mean_square,
        )


def _rise(x: Array) -> Array:
    x = np.clip(x, 0.0, 1.0)
    return x * x * (3.0 - 2.0 * x)

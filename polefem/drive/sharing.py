"""Current profiles that make the torque flat: neighbouring phases share it while they change over.

Each phase takes a share of the torque that rises from 0 to 1 over an overlap, stays, and falls as the next
phase's rises, so that the shares of all phases always add up to one. The share is a cubic, 3 x^2 - 2 x^3:
torque goes with the square of a small current, so that a share that began with a slope would ask for a
current that begins with a step (the idea of sharing functions: common practice, D. S. Schramm, B. W.
Williams, T. C. Green, 1992, from memory). Two phases that share a field give more or less than their shares together:
where both conduct, both currents are scaled by one factor until the torque of the whole machine is the wanted one. The
voltage follows from the flux linkages, and with it the speed up to which the supply can do it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from polefem.drive.machine_map import of_machine
from polefem.errors import InvalidValue, refusal
from polefem.maps import CoupledMap, FluxMap
from polefem.params.checks import positive, within
from polefem.params.drive_spec import Bridge, DriveSpec, PhaseTracking, Tracking
from polefem.params.quantity import speed_text

__all__ = ["TorqueSharing", "best_sharing", "share_torque"]

Array = NDArray[np.float64]

_POINTS, _COARSE = 240, 80  # a stroke
_HALVINGS = 36
_SECANTS, _FLAT = 30, 1e-9
_TRIES = 80
_OUT_OF_REACH = 1e9
_ALIKE = 1e-6


@dataclass(frozen=True, eq=False, repr=False)
class TorqueSharing:
    """Current profiles under which the phases together give a flat torque.

    torque: of all phases, N m, below 0 as a generator. turn_on: where a phase takes over, rad. overlap: angle
    of changing over, rad. angles: ndarray, shape (n,), rad, of each phase's own. currents: ndarray, shape (phases, n),
    A: the profiles, alike where strokes are. speed_limit: up to which the supply can follow them, rad/s. rms_current:
    of a phase, A. copper_loss: of all phases, W. coupling: of the map, "joint" or "summed".
    """

    torque: float
    turn_on: float
    overlap: float
    angles: Array
    currents: Array
    speed_limit: float
    rms_current: float
    copper_loss: float
    coupling: str

    def __post_init__(self) -> None:
        self.angles.flags.writeable = False
        self.currents.flags.writeable = False

    def drive(self, bridge: Bridge, resistance: float) -> DriveSpec:
        """The profiles as what a bridge is asked to do."""
        alike = np.ptp(self.currents, axis=0).max() <= _ALIKE * self.currents.max()
        control = (
            Tracking(self.angles, self.currents[0]) if alike else PhaseTracking(self.angles, self.currents)
        )
        return DriveSpec(bridge, resistance, float(self.angles[0]), float(self.angles[-1]), control)

    def __repr__(self) -> str:
        on, overlap = math.degrees(self.turn_on), math.degrees(self.overlap)
        return (
            f"TorqueSharing({self.coupling}, {self.torque:.4g} N m from {on:.4g} deg with {overlap:.4g} deg of "
            f"overlap: flat up to {speed_text(self.speed_limit)}, {self.rms_current:.4g} A rms, "
            f"{self.currents.max():.4g} A peak)"
        )


def share_torque(
    m: CoupledMap, bridge: Bridge, resistance: float, torque: float, turn_on: float, overlap: float
) -> TorqueSharing:
    """The profiles for a torque (N m), a turn-on angle and an overlap (rad, up to one stroke); resistance in
    ohm.

    Raises InvalidValue where the map's last current does not give the torque at some angle of a profile.
    """
    within(
        "an overlap is a part of a stroke", "overlap", overlap, 0.0, of_machine(m).stroke * (1 + 1e-9), "rad"
    )
    _check_torque(torque)
    last = float(m.currents[-1])
    alone = _Shares(m.single, torque, np.array([turn_on]), np.array([overlap]), last, _POINTS)
    if not alone.reached[0]:
        lacking = int(np.argmax(alone.lacks[0]))
        where = f"{alone.wanted[0, lacking]:.4g} N m at {math.degrees(alone.angles[0, lacking]):.4g} deg"
        most = f"up to {alone.most[0, lacking]:.4g} N m there, that of {last:.6g} A"
        raise InvalidValue(
            refusal("every angle of a profile must give its share of the torque", "torque", where, most)
        )
    return _flat(m, bridge, resistance, alone, last)


def best_sharing(
    m: CoupledMap,
    bridge: Bridge,
    resistance: float,
    torque: float,
    speed: float,
    current_limit: float | None = None,
) -> TorqueSharing:
    """The profiles with the least copper loss that make a torque (N m) flat at a speed (rad/s, above 0).

    Turn-on and overlap are sought from a scan in which phases share no field. Raises InvalidValue where none does; the
    sentence says up to what speed, or torque, there is one.
    """
    positive("a drive turns", "speed", speed, "rad/s")
    _check_torque(torque)
    sign, limit = math.copysign(1.0, torque), float(of_machine(m).currents[-1])
    if current_limit is not None:
        limit = min(limit, positive("a limit", "current_limit", current_limit, "A"))
    # From the far end of the profile to aligned, or the other way.
    leads = np.linspace(0.02, 0.55, 22) * m.pitch
    leads, overlaps = (grid.ravel() for grid in np.meshgrid(leads, np.linspace(0.1, 1.0, 10) * m.stroke))
    on = -leads if sign > 0 else leads - 0.1 * m.pitch
    ground = _Shares(m.single, torque, on, overlaps, limit, _COARSE)
    if not ground.reached.any():
        rule = f"some profile must give a flat torque with {limit:.4g} A"
        most = f"between 0 and about {sign * ground.flat.max():.4g} N m"
        raise InvalidValue(refusal(rule, "torque", f"{torque:.4g} N m", most))
    square = (ground.current**2).mean(axis=1) / limit**2
    score = _score(square, ground.speed_limits(bridge, resistance), speed)
    start = int(np.where(ground.reached, score, _OUT_OF_REACH).argmin())

    def tried(pair: Array) -> TorqueSharing | None:
        if not 0.02 * m.stroke < pair[1] <= m.stroke:
            return None
        shares = _Shares(m.single, torque, pair[:1], pair[1:], limit, _POINTS)
        try:
            return _flat(m, bridge, resistance, shares, limit) if shares.reached[0] else None
        except InvalidValue:
            return None

    def lack(pair: Array) -> float:
        found = tried(pair)
        if found is None:
            return _OUT_OF_REACH
        return float(_score((found.rms_current / limit) ** 2, found.speed_limit, speed))

    edge = 0.02 * m.pitch
    simplex = np.array([on[start], overlaps[start]]) + edge * np.array([[0.0, 0.0], [1.0, 0.0], [0.0, -0.5]])
    best = scipy.optimize.minimize(
        lack,
        simplex[0],
        method="Nelder-Mead",
        options={"initial_simplex": simplex, "maxfev": _TRIES, "xatol": 1e-4 * m.pitch, "fatol": 1e-6},
    ).x
    sharing = tried(best)
    if sharing is None or sharing.speed_limit < speed:
        reached = 0.0 if sharing is None else sharing.speed_limit
        rule = f"the supply must follow the profile of {torque:.4g} N m"
        raise InvalidValue(refusal(rule, "speed", speed_text(speed), f"up to about {speed_text(reached)}"))
    return sharing


def _check_torque(torque: float) -> None:
    within("a torque is finite", "torque", torque, -math.inf, math.inf, "N m")
    if torque == 0.0:
        raise InvalidValue(refusal("no current makes no torque", "torque", "0 N m", "any other"))


def _score(mean_square: Array | float, speed_limit: Array | float, speed: float) -> Array:
    """Mean square of the current, in parts of the limit's, and far above any of it where the supply is too slow: the
    slower the worse."""
    slow = speed / np.maximum(speed_limit, 1e-9 * speed)
    return np.where(slow <= 1.0, mean_square, 10.0 * np.minimum(slow, 1e6))


class _Shares:
    """Currents with which one phase alone gives its share, for many turn-on angles and overlaps at once; tables have a
    row for each. The points of a stroke lie a stroke on again, as far as the overlap reaches; past it none flows."""

    def __init__(
        self, m: FluxMap, torque: float, on: Array, overlap: Array, limit: float, points: int
    ) -> None:
        self.m, self.torque, self.on, self.overlap, self.points = m, torque, on, overlap, points
        since = m.stroke * np.arange(2 * points + 1) / points
        self.angles = on[:, None] + since
        rising, falling = _rise(since / overlap[:, None]), _rise((since - m.stroke) / overlap[:, None])
        self.wanted = abs(torque) * (rising - falling)
        self.most = self._pull(limit)
        self.lacks = (self.most < self.wanted) & (self.wanted > 0.0)
        self.reached: NDArray[np.bool_] = np.logical_not(self.lacks.any(axis=1))
        bound = np.full(self.wanted.shape, np.inf)
        np.divide(np.maximum(self.most, 0.0), self.wanted, out=bound, where=self.wanted > 0.0)
        self.flat = abs(torque) * bound.min(axis=1)  # the most that these angles can make flat
        low, high = np.zeros(self.angles.shape), np.full(self.angles.shape, limit)
        for _ in range(_HALVINGS):  # torque rises with current at any angle
            middle = (low + high) / 2
            more = self._pull(middle) < self.wanted
            low, high = np.where(more, middle, low), np.where(more, high, middle)
        self.current: Array = np.where(self.wanted > 0.0, high, 0.0)

    def _pull(self, current: Array | float) -> Array:
        pull: Array = math.copysign(1.0, self.torque) * self.m.at(self.angles, current)[1]
        return pull

    def speed_limits(self, bridge: Bridge, resistance: float) -> Array:
        """Up to which the supply can follow each profile, rad/s."""
        flux = self.m.at(self.angles, self.current)[0]
        flux = np.where(self.current > 0.0, flux, 0.0)
        return _speed_limits(bridge, resistance, self.m.stroke / self.points, flux, self.current)


def _speed_limits(bridge: Bridge, resistance: float, step: float, flux: Array, current: Array) -> Array:
    """For rows of flux linkages and currents, `step` rad apart: where the supply, less all drops, is all needed."""
    rise = np.diff(flux, axis=-1) / step
    drop = (resistance + bridge.source_resistance) * (current[..., 1:] + current[..., :-1]) / 2
    up = np.maximum(0.0, bridge.supply - 2 * bridge.switch_drop - drop)
    down = bridge.supply + 2 * bridge.diode_drop + drop
    with np.errstate(divide="ignore"):
        limits: Array = np.where(rise > 0.0, up / np.abs(rise), down / np.abs(rise)).min(axis=-1)
    return limits


def _flat(m: CoupledMap, bridge: Bridge, resistance: float, shares: _Shares, limit: float) -> TorqueSharing:
    """The profiles of all phases, from the shares of one."""
    n, points = m.phases, shares.points
    alone = shares.current[0, : 2 * points].reshape(2, points)
    strokes = np.arange(n)
    # In stroke s phase s comes and the one before it goes; both at the angles of s strokes and a part.
    base = np.zeros((n, points, n))
    base[strokes, :, strokes] += alone[0]
    base[strokes, :, strokes - 1] += alone[1]
    angles = shares.angles[0, :points] + m.stroke * strokes[:, None]
    flowing = base * _factors(m, angles, base, shares.torque, limit)[..., None]
    flux = m.at(angles, flowing).flux_linkages
    currents, linkages = (_followed(table) for table in (flowing, flux))
    used = int(np.ceil(points * (1 + shares.overlap[0] / m.stroke) - 1e-9)) + 1
    limits = _speed_limits(bridge, resistance, m.stroke / points, linkages[:, :used], currents[:, :used])
    mean_square = float((currents**2).sum()) * m.stroke / points / m.pitch / n
    return TorqueSharing(
        torque=shares.torque,
        turn_on=float(shares.on[0]),
        overlap=float(shares.overlap[0]),
        angles=shares.angles[0, :used],
        currents=currents[:, :used],
        speed_limit=float(limits.min()),
        rms_current=math.sqrt(mean_square),
        copper_loss=n * resistance * mean_square,
        coupling=m.coupling,
    )


def _followed(table: Array) -> Array:
    """What each phase has in the stroke in which it comes, in that in which it goes, and at the end.

    table: shape (strokes, points, phases). Returns shape (phases, 2 * points + 1).
    """
    n = len(table)
    rows = [
        np.concatenate([table[p, :, p], table[(p + 1) % n, :, p], table[(p + 2) % n, :1, p]])
        for p in range(n)
    ]
    return np.stack(rows)


def _factors(m: CoupledMap, angles: Array, base: Array, torque: float, limit: float) -> Array:
    """By what the currents `base`, shape (..., phases), are scaled to give the torque together, shape (...).

    By secants in logarithms, between which torque is nearly a power of the current.
    """
    sign, most = math.copysign(1.0, torque), limit / base.max(axis=-1)

    def excess(log: Array) -> Array:
        found = sign * m.at(angles, base * np.exp(log)[..., None]).torque
        return np.log(np.maximum(found, 1e-9 * abs(torque)) / abs(torque))

    before, log = np.zeros(angles.shape), np.minimum(-0.01, np.log(most))
    at_before = excess(before)
    if np.abs(at_before).max() < _FLAT:
        return np.ones(angles.shape)
    for _ in range(_SECANTS):
        here = excess(log)
        if np.abs(here).max() < _FLAT:
            return np.asarray(np.exp(log))
        moved = log != before
        slope = np.where(moved, (here - at_before) / np.where(moved, log - before, 1.0), 1.5)
        step = np.clip(here / np.where(np.abs(slope) > 0.05, slope, 1.5), -0.5, 0.5)
        before, at_before, log = log, here, np.minimum(log - step, np.log(most))
    worst = np.unravel_index(int(np.abs(here).argmax()), here.shape)
    found = f"{abs(torque) * math.exp(float(here[worst])):.4g} N m at {math.degrees(float(angles[worst])):.4g} deg"
    rule = "phases that change over must together give the torque"
    raise InvalidValue(refusal(rule, "torque", found, f"{abs(torque):.4g} N m within {limit:.6g} A"))


def _rise(x: Array) -> Array:
    x = np.clip(x, 0.0, 1.0)
    return x * x * (3.0 - 2.0 * x)

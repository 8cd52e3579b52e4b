"""The switching that suits a machine: the turn-on angle and the dwell of least ripple, or of most torque.

They are found on the machine's map and cost no field. A scan looks at every turn-on angle of a rotor pitch and at
dwells from one stroke, below which at some angles no phase conducts, to half a pitch, beyond which a phase works
against its purpose: torque on a grid of angles for each number of phases that conduct together, and the extremes of
windows of it. From the best places of the scan, each of another dwell since a ripple has more than one least, the two
angles are refined with the torque of `rectangular_torque`, by the simplex method of J. A. Nelder and R. Mead (Computer
Journal 7, 1965), which asks no slopes of a ripple that has none. The edge, a dwell of just one stroke, where each phase
conducts alone, is refined by itself: the least often lies there. Where currents have ramps, the scan follows them over
the whole pitch from half as many angles.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from polefem.drive.machine_map import of_machine
from polefem.drive.rectangular import RectangularTorque
from polefem.errors import InvalidValue, refusal
from polefem.maps import CoupledMap
from polefem.params.rectangular import RectangularCurrent, SuitedSwitching

__all__ = ["suited_switching"]

Array = NDArray[np.float64]

_GRID = 60  # angles of the scan in a stroke
_DWELLS = 12  # dwells of it from one stroke to two
_STARTS = 3  # dwells of the scan from which is refined
_TRIES = 60
_FINE = 1e-4  # of a stroke
_COOLER = 1e-4
_NEVER = 1e6  # above any score, and finite: what refines takes differences


@dataclass(frozen=True, eq=False)
class _Scanned:
    """What the scan found at one dwell, rad: for each turn-on angle, shape (n,), current, A, and torques, N m."""

    dwell: float
    turn_on: Array
    current: Array
    mean: Array
    highest: Array
    lowest: Array


def suited_switching(
    m: CoupledMap,
    asked: SuitedSwitching,
    currents: Callable[[float], Sequence[float]],
    torque: Callable[[RectangularCurrent], RectangularTorque],
    wanted: float | None = None,
) -> RectangularCurrent:
    """The turn-on and turn-off angles that suit the machine of a map best.

    currents: the currents (A) that a dwell (rad) may have; one, or several from low to high where the current follows
    from a torque. torque: of a switching, with the current that the basis of comparison gives it; may raise
    InvalidValue where there is none. wanted: the mean torque that is asked for, N m, else None.

    Raises InvalidValue where no switching gives a torque of the sign asked for, or as much as asked for.
    """
    found = [_at_torque(group, wanted) for group in _scan(of_machine(m), currents, asked.ramp)]
    heat = float(m.currents[-1]) ** 2 * m.pitch

    def score(mean: Array | float, swing: Array | float, current: Array | float, dwell: float) -> Array:
        return _score(asked, wanted, mean, swing, np.asarray(current) ** 2 * dwell / heat)

    scores = [score(one.mean, one.highest - one.lowest, one.current, one.dwell) for one in found]
    if not any(np.isfinite(one).any() for one in scores):
        raise _refused(m, asked, found)
    stroke = m.stroke

    def exact(angles: Array) -> float:
        switching = _switching(float(angles[0]) * stroke, float(angles[1]) * stroke, asked.ramp)
        try:
            one = torque(switching)
        except InvalidValue:
            return _NEVER
        found = score(one.mean, one.highest - one.lowest, one.current, switching.heating_dwell)
        return min(float(found), _NEVER)

    places = [
        np.array([one.turn_on[own.argmin()], one.dwell]) / stroke
        for one, own in zip(found, scores, strict=True)
        if np.isfinite(own).any()
    ]
    ends = [_refined(exact, place, m.phases / 2) for place in sorted(places, key=exact)[:_STARTS]]
    if places[0][1] == 1.0:
        ends.append(_refined_edge(exact, float(places[0][0])))
    on, dwell = min(ends, key=exact)
    return _switching(float(on) * stroke, float(dwell) * stroke, asked.ramp)


def _switching(turn_on: float, dwell: float, ramp: float) -> RectangularCurrent:
    return RectangularCurrent(turn_on, turn_on + dwell, ramp)


def _scan(m: CoupledMap, currents: Callable[[float], Sequence[float]], ramp: float) -> list[list[_Scanned]]:
    """Every turn-on angle of the grid, for each dwell of the grid and, within it, each of its currents."""
    count = _GRID * m.phases // (2 if ramp else 1)
    turn_on = m.pitch * (np.arange(count) / count - 0.75)
    found = []
    for more in range(math.floor(_DWELLS * (m.phases / 2 - 1) + 1e-9) + 1):
        dwell = m.stroke * (1 + more / _DWELLS)
        count, rest = divmod(_DWELLS + more, _DWELLS)
        shared = rest * _GRID // _DWELLS  # steps from a turn-on to the turn-off of the oldest phase
        if ramp:
            drive = RectangularCurrent(0.0, dwell, ramp)
            found.append([_ramped(m, turn_on, drive, i) for i in currents(drive.heating_dwell)])
        else:
            found.append([_scanned(m, turn_on, dwell, count, shared, i) for i in currents(dwell)])
    return found


def _ramped(m: CoupledMap, turn_on: Array, drive: RectangularCurrent, current: float) -> _Scanned:
    """The scan under a current with ramps, at as many angles of the pitch as there are turn-on angles."""
    lag = m.stroke * np.arange(m.phases)
    since = np.mod(turn_on[:, None, None] - turn_on[:, None] - lag, m.pitch)  # of angle, turn-on, phase
    torque = m.torque(turn_on[:, None], current * drive.share(since))
    level = np.full(turn_on.shape, current)
    return _Scanned(drive.dwell, turn_on, level, torque.mean(axis=0), torque.max(axis=0), torque.min(axis=0))


def _scanned(
    m: CoupledMap, turn_on: Array, dwell: float, count: int, shared: int, current: float
) -> _Scanned:
    windows = [_windows(m, turn_on, count, current, shared, _GRID)]
    if shared:
        windows.append(_windows(m, turn_on, count + 1, current, 0, shared))
    area = np.sum([one[..., 1:-1].sum(axis=-1) + (one[..., 0] + one[..., -1]) / 2 for one in windows], axis=0)
    highest = np.max([one.max(axis=(0, 2)) for one in windows], axis=0)
    lowest = np.min([one.min(axis=(0, 2)) for one in windows], axis=0)
    return _Scanned(
        dwell, turn_on, np.full(turn_on.shape, current), area.mean(axis=0) / _GRID, highest, lowest
    )


def _windows(m: CoupledMap, turn_on: Array, count: int, current: float, first: int, last: int) -> Array:
    """Torque with `count` phases conducting, from `first` to `last` steps after the youngest is turned on.

    Shape (n_phases, n, last - first + 1): the youngest phase, its turn-on angle, steps.
    """
    phase = np.arange(m.phases)
    conducting = np.zeros((m.phases, m.phases))
    for older in range(count):
        conducting[phase, (phase - older) % m.phases] = current
    torque = m.torque(turn_on + phase[:, None] * m.stroke, conducting[:, None, :])
    again = np.concatenate([torque, torque[:, : last + 1]], axis=1)[:, first:]
    return sliding_window_view(again, last - first + 1, axis=1)[:, : turn_on.size]


def _at_torque(group: list[_Scanned], wanted: float | None) -> _Scanned:
    """The scan at the current that gives the mean torque that is wanted, between the currents looked at; nan where
    none does. Where no torque is wanted, the scan at its one current."""
    if wanted is None:
        return group[0]
    means = np.array([one.mean for one in group]) / wanted
    above = (means >= 1.0).argmax(axis=0)
    places = np.arange(above.size)
    low = np.maximum(above - 1, 0)
    step = means[above, places] - means[low, places]
    known = (means[above, places] >= 1.0) & ((step > 0.0) | (above == 0))
    share = np.where(above == 0, 1.0, (1.0 - means[low, places]) / np.where(step > 0.0, step, 1.0))

    def between(name: str) -> Array:
        table = np.array([getattr(one, name) for one in group])
        value = (1 - share) * table[low, places] + share * table[above, places]
        return np.where(known, value, np.nan)

    return _Scanned(
        group[0].dwell, group[0].turn_on, *(between(n) for n in ("current", "mean", "highest", "lowest"))
    )


def _score(
    asked: SuitedSwitching, wanted: float | None, mean: Array | float, swing: Array | float, heat: Array
) -> Array:
    """What is made least; endless where the torque has the wrong sign, or is less than asked for.

    heat: mean square of the current over the square of the map's last. At a torque that is wanted, what costs least
    heat gives most torque for it; of two switchings that are equally smooth, the cooler is the better.
    """
    gained = -np.asarray(mean) if asked.generating else np.asarray(mean)
    lawful = gained > asked.least_torque
    if asked.objective == "ripple":
        score = np.asarray(swing) / np.where(lawful, gained, 1.0) + _COOLER * heat
    else:
        score = -gained if wanted is None else heat
    return np.where(lawful, score, np.inf)


def _refined(exact: Callable[[Array], float], start: Array, most: float) -> Array:
    """Turn-on angle and dwell, both in strokes, from a place of the scan; the dwell stays between 1 and `most`."""
    turn_on, dwell = start
    edge = 1.5 / _GRID
    simplex = np.array([start, (turn_on + edge, dwell), (turn_on, dwell - 0.5 / _DWELLS)])
    if dwell <= 1.0:
        simplex[2, 1] = min(1.0 + 0.5 / _DWELLS, most)
    found: Array = scipy.optimize.minimize(
        exact,
        simplex[0],
        method="Nelder-Mead",
        bounds=scipy.optimize.Bounds(np.array([-np.inf, 1.0]), np.array([np.inf, most])),
        options={"initial_simplex": simplex, "maxfev": _TRIES, "xatol": _FINE, "fatol": 1e-6},
    ).x
    return found


def _refined_edge(exact: Callable[[Array], float], turn_on: float) -> Array:
    """The same for a dwell of just one stroke."""
    near = (turn_on - 1.0 / _GRID, turn_on + 1.0 / _GRID)
    found = scipy.optimize.minimize_scalar(
        lambda on: exact(np.array([on, 1.0])), bounds=near, method="bounded", options={"xatol": _FINE}
    )
    return np.array([found.x, 1.0])


def _refused(m: CoupledMap, asked: SuitedSwitching, found: list[_Scanned]) -> InvalidValue:
    way = -1.0 if asked.generating else 1.0
    most = max(float(np.nanmax(way * one.mean, initial=0.0)) for one in found)
    rule = f"some switching must give the torque of a {'generator' if asked.generating else 'motor'}"
    least = f"{way * asked.least_torque:.4g} N m or more" if asked.least_torque else "any"
    return InvalidValue(refusal(rule, "drive.least_torque", least, f"up to {way * most:.4g} N m"))

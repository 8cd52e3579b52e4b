"""The current level at which a bridge costs, gives or carries what is asked, and the torque that a loss can buy.

Loss and torque rise with the level as a power of it, until the supply cannot reach the level: the level is first
marched upwards until what is asked is passed, then closed in on between the last two in logarithms. So the lowest
level that does it is found, and none beyond is tried.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from scipy.optimize import brentq

from polefem.drive.drive_run import DriveRun
from polefem.drive.steady import steady_state
from polefem.drive.switching_search import Setting, SwitchingSearch
from polefem.errors import InvalidValue, refusal
from polefem.maps import FluxMap
from polefem.params.checks import positive
from polefem.params.drive_spec import Bridge, Chopping, Control, DriveSpec, Tracking

__all__ = [
    "at_level",
    "best_setting_at_loss",
    "run_at_copper_loss",
    "run_at_level",
    "run_at_mean_torque",
]

_FIRST, _STRIDE = 0.05, 1.5
_EXACT = 1e-5
_CLOSE = 1e-3
_DEMANDS = 12


def at_level(control: Control, level: float) -> Control:
    """The same control at another current level, A: a profile scaled to this peak, a band in proportion.

    Raises InvalidValue for a control that has no current level: a single pulse or an average voltage.

    >>> at_level(Chopping(10.0, 1.0), 20.0)
    Chopping(level=20.0, band=2.0, hard=False)
    """
    positive("a current level must be positive", "level", level, "A")
    if isinstance(control, Chopping):
        return replace(control, level=level, band=control.band * level / control.level)
    if isinstance(control, Tracking):
        return control.scaled(level)
    rule = "a level can be set where a control keeps one"
    raise InvalidValue(refusal(rule, "control", type(control).__name__, "Tracking or Chopping"))


def run_at_level(m: FluxMap, drive: DriveSpec, speed: float, level: float) -> DriveRun:
    """The steady state of this drive with its control at a level, A. Raises as `steady_state` and `at_level`."""
    return steady_state(m, replace(drive, control=at_level(drive.control, level)), speed)


def run_at_copper_loss(m: FluxMap, drive: DriveSpec, speed: float, loss: float) -> DriveRun:
    """The steady state at the lowest level of the drive's control at which all phases lose `loss`, W, in copper.

    speed: rad/s. Raises InvalidValue where the supply, or the last current of the map, does not let it flow.

    >>> from polefem.maps import linear_map
    >>> from polefem.units import deg
    >>> m = linear_map(60e-3, 6e-3, full=0.0, apart=30 * deg, current=20.0)
    >>> drive = DriveSpec(Bridge(400.0), 0.5, -32 * deg, -5 * deg, Tracking.level(1.0))
    >>> round(run_at_copper_loss(m, drive, 10.0, 20.0).copper_loss, 2)
    20.0
    """
    positive("a copper loss must be positive", "loss", loss, "W")
    positive("copper that loses has a resistance", "resistance", drive.resistance, "ohm")
    return _run_where(m, drive, speed, lambda run: run.copper_loss, loss, "copper loss", "W")


def run_at_mean_torque(m: FluxMap, drive: DriveSpec, speed: float, torque: float) -> DriveRun:
    """The steady state at the lowest level at which the mean torque is `torque`, N m (below 0: generating).

    speed: rad/s. Raises InvalidValue where no level gives it.
    """
    sign = math.copysign(1.0, torque)
    positive("a torque must be asked for", "|torque|", abs(torque), "N m")
    return _run_where(m, drive, speed, lambda run: sign * run.mean_torque, abs(torque), "mean torque", "N m")


def _run_where(
    m: FluxMap,
    drive: DriveSpec,
    speed: float,
    measure: Callable[[DriveRun], float],
    wanted: float,
    what: str,
    unit: str,
) -> DriveRun:
    last = _last_level(drive.control, float(m.currents[-1]))
    runs: dict[float, DriveRun] = {}

    def excess(log_level: float) -> float:
        runs[log_level] = run_at_level(m, drive, speed, min(math.exp(log_level), last))
        return math.log(max(measure(runs[log_level]), 1e-30) / wanted)

    below, above = math.log(_FIRST * last), math.log(_FIRST * last)
    while excess(above) < 0.0:
        if above >= math.log(last):
            found, most = f"{wanted:.6g} {unit}", f"up to {measure(runs[above]):.4g} {unit}"
            rule = f"the supply and the map's last current must reach the {what} at {speed:.4g} rad/s"
            raise InvalidValue(refusal(rule, what, found, most))
        below, above = above, min(above + math.log(_STRIDE), math.log(last))
    while below == above or excess(below) > 0.0:  # more than is asked at the first level already
        below -= math.log(10.0)
    root = float(brentq(excess, below, above, xtol=_EXACT / 2))
    excess(root)
    return runs[root]


def _last_level(control: Control, last: float) -> float:
    """The highest level at which the control itself asks for no more than a map's last current."""
    at_level(control, last)  # refuses a control that has none
    return last * control.level / control.upper if isinstance(control, Chopping) else last


def best_setting_at_loss(
    m: FluxMap,
    bridge: Bridge,
    resistance: float,
    speed: float,
    loss: float,
    *,
    generate: bool = False,
    current_limit: float | None = None,
) -> Setting:
    """The most torque that a copper loss of all phases (W) can buy at a speed (rad/s), over switchings.

    It is the torque whose setting of least loss costs just that: found by asking for torques, each as a power of
    the loss between the last two. Raises InvalidValue where the supply or the current limit does not let that much
    be lost to a purpose.
    """
    positive("a copper loss must be positive", "loss", loss, "W")
    positive("copper that loses has a resistance", "resistance", resistance, "ohm")
    search = SwitchingSearch(m, bridge, resistance, speed, generate, current_limit)
    losses = m.phases * resistance * search.found.mean_square
    within_reach = np.where(losses <= loss, search.scanned_torque, -np.inf)
    torque, power, before = float(within_reach.max()), 2.0, None
    if not torque > 0.0:
        raise InvalidValue(
            refusal("a loss must buy some torque", "loss", f"{loss:.4g} W", "more, or a lower speed")
        )
    for _ in range(_DEMANDS):
        setting = search.best(search.sign * torque, "loss", math.inf)
        if abs(setting.copper_loss / loss - 1.0) < _CLOSE:
            return setting
        if before is not None and torque != before[0]:
            power = math.log(setting.copper_loss / before[1]) / math.log(torque / before[0])
        before = torque, setting.copper_loss
        torque *= (loss / setting.copper_loss) ** (1.0 / min(max(power, 1.0), 8.0))
    found = f"{before[1]:.4g} W" if before else "none"
    raise InvalidValue(refusal("a torque must cost the loss", "loss", found, f"{loss:.4g} W"))

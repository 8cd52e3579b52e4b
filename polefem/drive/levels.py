"""The current level at which a bridge costs, gives or carries what is asked, and the torque that a loss can buy."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from polefem.drive.drive_run import DriveRun
from polefem.drive.level_search import level_for
from polefem.drive.machine_map import of_machine
from polefem.drive.steady import steady_state
from polefem.drive.switching_search import Setting, SwitchingSearch
from polefem.errors import InvalidValue, refusal
from polefem.maps import CoupledMap
from polefem.params.checks import positive
from polefem.params.drive_spec import Bridge, Chopping, Control, DriveSpec, Tracking
from polefem.params.quantity import speed_text

__all__ = [
    "at_level",
    "best_setting_at_loss",
    "run_at_copper_loss",
    "run_at_level",
    "run_at_mean_torque",
]

_FIRST = 0.05
_EXACT = 1e-5
_CLOSE = 1e-3
_TRIES = 40


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


def run_at_level(m: CoupledMap, drive: DriveSpec, speed: float, level: float) -> DriveRun:
    """The steady state of this drive with its control at a level, A. Raises as `steady_state` and `at_level`."""
    return steady_state(m, replace(drive, control=at_level(drive.control, level)), speed)


def run_at_copper_loss(m: CoupledMap, drive: DriveSpec, speed: float, loss: float) -> DriveRun:
    """The steady state at the lowest level of the drive's control at which all phases lose `loss`, W, in copper.

    speed: rad/s. Raises InvalidValue where the supply, or the last current of the map, does not let it flow.

    >>> from polefem.maps import linear_map, summed
    >>> from polefem.units import deg
    >>> m = summed(linear_map(60e-3, 6e-3, full=0.0, apart=30 * deg, current=20.0))
    >>> drive = DriveSpec(Bridge(400.0), 0.5, -32 * deg, -5 * deg, Tracking.level(1.0))
    >>> round(run_at_copper_loss(m, drive, 10.0, 20.0).copper_loss, 2)
    20.0
    """
    positive("a copper loss must be positive", "loss", loss, "W")
    positive("copper that loses has a resistance", "resistance", drive.resistance, "ohm")
    return _run_where(m, drive, speed, lambda run: run.copper_loss, loss, "copper loss", "W")


def run_at_mean_torque(m: CoupledMap, drive: DriveSpec, speed: float, torque: float) -> DriveRun:
    """The steady state at the lowest level at which the mean torque is `torque`, N m (below 0: generating).

    speed: rad/s. Raises InvalidValue where no level gives it.
    """
    sign = math.copysign(1.0, torque)
    positive("a torque must be asked for", "|torque|", abs(torque), "N m")
    return _run_where(m, drive, speed, lambda run: sign * run.mean_torque, abs(torque), "mean torque", "N m")


def _run_where(
    m: CoupledMap,
    drive: DriveSpec,
    speed: float,
    measure: Callable[[DriveRun], float],
    wanted: float,
    what: str,
    unit: str,
) -> DriveRun:
    last = _last_level(drive.control, float(of_machine(m).currents[-1]))
    runs: list[DriveRun] = []

    def gives(level: float) -> float:
        runs.append(run_at_level(m, drive, speed, level))
        return measure(runs[-1])

    if level_for(gives, wanted, _FIRST * last, last, _EXACT, tries=_TRIES) is None:
        found, most = f"{wanted:.6g} {unit}", f"up to {gives(last):.4g} {unit}"
        rule = f"the supply and the map's last current must reach the {what} at {speed_text(speed)}"
        raise InvalidValue(refusal(rule, what, found, most))
    return runs[-1]


def _last_level(control: Control, last: float) -> float:
    """The highest level at which the control itself asks for no more than a map's last current."""
    at_level(control, last)  # refuses a control that has none
    return last * control.level / control.upper if isinstance(control, Chopping) else last


def best_setting_at_loss(
    m: CoupledMap,
    bridge: Bridge,
    resistance: float,
    speed: float,
    loss: float,
    *,
    generate: bool = False,
    current_limit: float | None = None,
) -> Setting:
    """The most torque that a copper loss of all phases (W) can buy at a speed (rad/s), over switchings.

    It is the torque whose setting of least loss costs just that. Raises InvalidValue where the supply or the
    current limit does not let that much be lost to a purpose.
    """
    positive("a copper loss must be positive", "loss", loss, "W")
    positive("copper that loses has a resistance", "resistance", resistance, "ohm")
    search = SwitchingSearch(m, bridge, resistance, speed, generate, current_limit)
    losses = m.phases * resistance * search.found.mean_square
    within_reach = np.where(losses <= loss, search.scanned_torque, -np.inf)
    most = float(within_reach.max())
    if not most > 0.0:
        raise InvalidValue(
            refusal("a loss must buy some torque", "loss", f"{loss:.4g} W", "more, or a lower speed")
        )
    settings: list[Setting] = []

    def costs(torque: float) -> float:
        settings.append(search.best(search.sign * torque, "loss", math.inf))
        return settings[-1].copper_loss

    if level_for(costs, loss, most, math.inf, _CLOSE, power=2.0) is None:
        found = f"{settings[-1].copper_loss:.4g} W"
        raise InvalidValue(refusal("a torque must cost the loss", "loss", found, f"{loss:.4g} W"))
    return settings[-1]

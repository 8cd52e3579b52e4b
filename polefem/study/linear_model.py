"""A design to first order in the fields of a search: torque at every angle, objective and limits as straight lines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from polefem.drive import mean_torque, rectangular_currents, waveform_torque
from polefem.maps import CoupledMap, MapSlopes
from polefem.params import RectangularCurrent
from polefem.params.fields import field_value
from polefem.study.design import Design, of_plan
from polefem.study.first_order import near_outcome, shifted, step_of
from polefem.study.objectives import cost
from polefem.study.operating_points import RectangularOperatingPoint, WaveformOperatingPoint
from polefem.study.operation import at_work
from polefem.study.record import Outcome, Record
from polefem.study.search import Search
from polefem.study.spread import NOMINAL, Spread, spread_of

__all__ = ["ANGLES", "WEIGHT", "Model", "model_of", "spread_ripple", "torque_curve"]

Array = NDArray[np.float64]

#: Angles of a stroke at which the torque is held between the lowest and the highest; and how near to where it jumps, as
#: one phase hands over to the next, in parts of a stroke.
ANGLES, BESIDE = 60, 1e-7
#: What a limit that is missed weighs, in shares of it, against the objective in shares of its own.
WEIGHT = 20.0


def torque_curve(design: Design, outcome: Outcome, point: str = "") -> Array:
    """The torque of a design over a stroke, or over each where phases share a field, N m.

    Under the rectangular current of the plan or of an operating point, shape (ANGLES + 2,) a stroke, at equal steps
    from where a phase turns on and on both sides of where one turns off, or (ANGLES + 4,) with the corners of ramps;
    where the rotor turns both ways, that of the other way after it, as it were of the same mean. Or under the waveform
    of an operating point, shape (ANGLES,).
    """
    figures = outcome.figures
    assert outcome.machine_map is not None and figures is not None
    m = at_work(outcome.machine_map, design.machine, design.plan.end_effects)
    if not point:
        return _under(m, figures.switching, figures.current)
    of, peak = _point(design, point), figures.value(f"{point}.peak_current")
    assert of is not None and peak is not None
    if isinstance(of, WaveformOperatingPoint):
        return waveform_torque(m, of.current.scaled(peak), ANGLES).torque[:ANGLES]
    means = [mean_torque(m, drive, peak) for drive in of.ways]
    curves = [_under(m, drive, peak) for drive in of.ways]
    return np.concatenate([means[0] / mean * curve for mean, curve in zip(means, curves, strict=True)])


def _under(m: CoupledMap, drive: RectangularCurrent, current: float) -> Array:
    off, done = (angle % m.stroke / m.stroke for angle in (drive.dwell, drive.flow))
    beside = (0.0, drive.ramp / m.stroke, off, done) if drive.ramp else (off - BESIDE, off + BESIDE)
    parts = np.clip([*np.linspace(0.0, 1.0, ANGLES), *beside], BESIDE, 1.0 - BESIDE)
    strokes = np.arange(m.phases if m.coupling == "joint" else 1)
    angles = drive.turn_on + m.stroke * (strokes[:, None] + parts).ravel()
    return m.torque(angles, rectangular_currents(drive, current, m.phases, m.pitch, angles))


def _point(design: Design, point: str) -> WaveformOperatingPoint | RectangularOperatingPoint | None:
    """The operating point of a name, of those whose torque is known at every angle of a given current."""
    of = (WaveformOperatingPoint, RectangularOperatingPoint)
    return next(
        (one for one in design.plan.operating_points if one.name == point and isinstance(one, of)), None
    )


@dataclass(frozen=True, eq=False)
class Model:
    """A design to first order in a step of the unit cube.

    value: its objective, to be brought down. slope: shape (n,). torque, torque_slopes: over the mean, shapes
    (n_angles,) and (n_angles, n), where the objective is a ripple; else empty. oversteps, overstep_slopes: of the
    limits, shapes (n_limits,) and (n_limits, n). spread: of the torque, where the objective is to hold over one.
    """

    value: float
    slope: Array
    torque: Array
    torque_slopes: Array
    oversteps: Array
    overstep_slopes: Array
    spread: Spread = NOMINAL

    @property
    def merit(self) -> float:
        """The objective, and what limits are missed by."""
        return self.value + WEIGHT * float(np.maximum(self.oversteps, 0.0).sum())

    def merit_after(self, step: Array, bend: Array) -> float:
        """The merit to first order after a step, shape (n,). bend: added to the oversteps, shape (n_limits,)."""
        value = self.value + float(self.slope @ step)
        if len(self.torque):
            value = self.spread.value(self.torque + self.torque_slopes @ step)
        return value + WEIGHT * float(
            np.maximum(self.oversteps + self.overstep_slopes @ step + bend, 0.0).sum()
        )


def model_of(search: Search, design: Design, record: Record) -> Model | None:
    """The linear model of a design of a search, computed with its slopes; None for one without."""
    outcome, ranges = _sloped(search, record.outcome), search.ranges
    if outcome.slopes is None or outcome.figures is None:
        return None
    base = _Rows.of(search, design, outcome)
    if not np.isfinite(base.value):
        return None
    point = np.array(
        [(design.changes[name] - span.low) / (span.high - span.low) for name, span in ranges.items()]
    )
    columns = []
    for at, (name, span) in enumerate(ranges.items()):
        step = step_of(name) / (span.high - span.low)
        sides: list[_Rows | None] = []
        for sign in (1.0, -1.0):
            moved = point.copy()
            moved[at] += sign * step
            sides.append(_near(search, design, outcome, shifted(search.designs(moved[None], 0)[0], {})))
        columns.append(_slope(base, sides, step))
    slopes = np.array(columns).T
    end = 1 + len(base.torque)
    spread = _spread(search, design, outcome, base)
    value = spread.value(base.torque) if search.tolerances else base.value
    return Model(value, slopes[0], base.torque, slopes[1:end], base.oversteps, slopes[end:], spread)


def _sloped(search: Search, outcome: Outcome) -> Outcome:
    """The outcome with slopes of its map in no field, where no field of the machine varies and none were asked for."""
    known = outcome.machine_map
    if outcome.slopes is not None or known is None or not all(of_plan(name) for name in search.ranges):
        return outcome
    none = np.zeros((0, *known.single.torque.shape))
    return replace(outcome, slopes=MapSlopes(known, (), none, none, none))


def spread_ripple(search: Search, design: Design, record: Record) -> float | None:
    """The mean ripple and so many deviations over the tolerances of a search, of a design computed with slopes; None
    for one without, and where the search has no tolerances."""
    outcome = record.outcome
    if outcome.slopes is None or outcome.figures is None or not search.tolerances:
        return None
    base = _Rows.of(search, design, outcome)
    return _spread(search, design, outcome, base).value(base.torque)


def _spread(search: Search, design: Design, outcome: Outcome, base: _Rows) -> Spread:
    asked = _point(design, search.objective.rpartition(".")[0])
    ways = len(asked.ways) if isinstance(asked, RectangularOperatingPoint) else 1
    if not search.tolerances:
        return replace(NOMINAL, ways=ways)
    slopes = []
    for tolerance in search.tolerances:
        name, step = tolerance.field, step_of(tolerance.field)
        value = field_value(design.plan if of_plan(name) else design.machine, name)
        near = [shifted(design, {name: value + sign * step}) for sign in (1.0, -1.0)]
        sides = [_near(search, design, outcome, other) for other in near]
        slopes.append(_slope(base, sides, step)[1 : 1 + len(base.torque)])
    sizes = [tolerance.deviation for tolerance in search.tolerances]
    return replace(spread_of(slopes, sizes, search.deviations), ways=ways)


def _near(search: Search, design: Design, outcome: Outcome, other: Design) -> _Rows | None:
    assert outcome.slopes is not None
    found = near_outcome(design, outcome.slopes, other)
    return None if found.figures is None else _Rows.of(search, other, found)


def _slope(base: _Rows, sides: Sequence[_Rows | None], step: float) -> Array:
    """From the side above and the one below, or from one of them where the other cannot be."""
    high, low = (base if side is None else side for side in sides)
    width = step * (2 - list(sides).count(None))
    return high.less(low) / width if width else 0.0 * base.less(base)


@dataclass(frozen=True, eq=False)
class _Rows:
    """All that a model is linear in, of one design."""

    value: float
    torque: Array
    oversteps: Array

    @classmethod
    def of(cls, search: Search, design: Design, outcome: Outcome) -> _Rows:
        figures = outcome.figures
        assert figures is not None
        value = cost(figures, search.objective)
        point, _, of = search.objective.rpartition(".")
        mean = figures.value(f"{point}.mean_torque" if point else "mean_torque")
        torque = np.empty(0)
        if of == "ripple" and mean and (not point or _point(design, point) is not None):
            torque = torque_curve(design, outcome, point) / abs(mean)
        oversteps = np.array([limit.overstep(figures) for limit in search.limits])
        return cls(np.nan if value is None else value, torque, oversteps)

    def less(self, other: _Rows) -> Array:
        parts = (self.value - other.value, self.torque - other.torque, self.oversteps - other.oversteps)
        return np.concatenate([np.atleast_1d(part) for part in parts])

"""How tightly each field of a design must be held: what a step in it does to the torque at every angle.

At the least ripple that a shape can have, many angles share the lowest torque and many the highest. Whichever way a
field then goes, one of them gets worse: ripple has a crease there, and its slope, being that of the mean of both sides,
says next to nothing. So each side has a slope of its own here, and how far a field may go is told by the torques
themselves, each a straight line in the step.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from polefem.study.design import Design
from polefem.study.linear_model import model_of
from polefem.study.objectives import Limit
from polefem.study.record import Record
from polefem.study.search import Search

__all__ = ["RISE", "Tightness", "tightness_of"]

Array = NDArray[np.float64]

#: How much more ripple a field that is off may make, as a share of the mean torque.
RISE = 0.01
_MEAN = (Limit("mean_torque", least=1.0),)


@dataclass(frozen=True, eq=False)
class Tightness:
    """What each field of a design does alone, with what is linked to it. SI.

    fields: dotted names. values: shape (n_fields,). ripple: slopes below and above the value, shape (n_fields, 2), per
    unit of the field; 0 or more where going there makes ripple worse. torque: slope of the mean torque, shape
    (n_fields,). room: how far the field may go down and up until ripple has risen by RISE, shape (n_fields, 2), to
    first order of the torques; infinite where it never does.
    """

    fields: tuple[str, ...]
    values: Array
    ripple: Array
    torque: Array
    room: Array


def tightness_of(search: Search, design: Design, record: Record) -> Tightness | None:
    """How tightly the fields of a search must be held at one of its designs; None for one without slopes."""
    ranges = search.ranges
    asked = replace(search, objective="ripple", limits=_MEAN, tolerances=())
    model = model_of(asked, design, record)
    if model is None:
        return None
    spans = np.array([span.high - span.low for span in ranges.values()])
    values = np.array([float(design.changes[name]) for name in ranges])
    slopes = model.torque_slopes / spans
    sides = [ripple_sides(model.torque, slopes[:, at]) for at in range(len(values))]
    room = np.array(
        [[rooms(model.torque, sign * slopes[:, at]) for sign in (-1, 1)] for at in range(len(values))]
    )
    return Tightness(tuple(ranges), values, np.array(sides), -model.overstep_slopes[0] / spans, room)


def ripple_sides(torque: Array, slope: Array) -> tuple[float, float]:
    """How fast the highest less the lowest of torques, shape (n,), rises as a field goes down and as it goes up, per
    unit of the field; slope: of each, shape (n,).

    >>> ripple_sides(np.array([1.1, 1.1, 0.9]), np.array([1.0, -2.0, 0.0]))
    (2.0, 1.0)
    """
    tied = 1e-9 * float(np.ptp(torque))
    high, low = torque >= torque.max() - tied, torque <= torque.min() + tied
    down = float((-slope[high]).max() - (-slope[low]).min())
    return down, float(slope[high].max() - slope[low].min())


def rooms(torque: Array, slope: Array, rise: float = RISE) -> float:
    """How far a field may go until the highest less the lowest of torques has risen by so much; infinite where it never
    does.

    The difference of any two is a straight line, and the first to get there ends it.

    >>> round(rooms(np.array([1.1, 1.0, 0.9]), np.array([0.0, 0.4, -0.1])), 6)
    0.1
    """
    apart, faster = torque[:, None] - torque, slope[:, None] - slope
    rising = faster > 0.0
    if not rising.any():
        return float("inf")
    return float(((np.ptp(torque) + rise - apart[rising]) / faster[rising]).min())

"""A search along slopes: each step is the best of a linear model of the design, within a trust region.

Least ripple is a smooth problem once the lowest and the highest torque are unknowns of their own: the highest less the
lowest is brought down while the torque at every angle stays between them. With all torques, figures and limits linear
in the step this is a linear programme (scipy.optimize.linprog, HiGHS), solved within a box of the unit cube that grows
where the model predicts well and shrinks where it does not, where the shape cannot be built, or where it gives no mesh.
(Sequential linear programming for minimax problems: K. Madsen, J. Inst. Math. Appl. 16 (1975) 321-328; from memory.)
Where ripple is to hold over what a workshop delivers, or either way of turning, each draw of it and each way has a
lowest and a highest torque of its own (`polefem.study.spread`). Any other objective is taken the same way, without the
torques. How far a limit was missed at the last step, beyond what the model said, is allowed for in the next as going
with the square of the box.

Each design of the path is computed like any other, with its slopes, by the run of the study: it is kept at once, and a
search that was stopped finds its path in the store. Their meshes are that of the first, moved: between fresh ones the
ripple differs by more than a small step brings.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from polefem.params import Machine
from polefem.params.fields import field_value
from polefem.study.design import Design
from polefem.study.linear_model import WEIGHT, Model
from polefem.study.record import Record
from polefem.study.sampling import Range

__all__ = ["Computed", "descend", "face_rows"]

Array = NDArray[np.float64]

#: First box, largest and smallest, as parts of the unit cube.
FIRST, LARGEST, SMALLEST = 0.08, 0.2, 1e-3
#: How far within its limits a step ends by the model, in shares of them: what is left out of it then breaks none.
WITHIN = 2e-4
#: The box after a step that was better than half as good as predicted, and after one that was not taken.
GROWN, SHRUNK = 1.6, 0.4


@dataclass(frozen=True, eq=False)
class Computed:
    """A design of a descent with its record. meshed: whether on a new mesh, so that it differs by that too from those
    before it."""

    design: Design
    record: Record
    meshed: bool = False


def descend(
    start: Array,
    compute: Callable[[Array], Computed | None],
    model: Callable[[Design, Record], Model | None],
    rows: tuple[Array, Array] | None = None,
) -> None:
    """Go down from a point of the unit cube, shape (n,), until steps are small or there is no more to compute.

    compute: the design at a point; None at the end of the budget. rows: a matrix and what its product with a point must
    not exceed, as for the bend of a face.
    """
    here = start
    computed = compute(here)
    known = model(computed.design, computed.record) if computed else None
    if known is None:
        return
    box, bend = FIRST, np.zeros(len(known.oversteps))
    while box >= SMALLEST:
        step, predicted = _best_step(known, here, box, bend, rows)
        computed = compute(here + step)
        if computed is None:
            return
        found = model(computed.design, computed.record)
        if found is None:
            box *= SHRUNK
            continue
        told = known.oversteps + known.overstep_slopes @ step
        bend = np.maximum(found.oversteps - told, 0.0) / max(np.abs(step).max(), SMALLEST) ** 2
        gain = known.merit - found.merit
        if gain <= 0.0 and computed.meshed:
            # What was here lies on another mesh: both are to be compared on one.
            again = compute(here)
            known = (again and model(again.design, again.record)) or known
            gain = known.merit - found.merit
        if gain > 0.0:
            box = min(box * (GROWN if gain > predicted / 2 else 1.0), LARGEST)
            here, known = here + step, found
        else:
            box *= SHRUNK


def _best_step(
    model: Model, here: Array, box: float, bend: Array, rows: tuple[Array, Array] | None
) -> tuple[Array, float]:
    """The step within a box that the linear model likes best, and by how much its merit falls there."""
    n, limits = len(here), len(model.oversteps)
    # Unknowns: the step, lowest and highest torque over the mean of each draw and way of turning, the ripple of each
    # draw, and what each limit is missed by.
    shifts, ways = (model.spread.shifts if len(model.torque) else np.empty((0, 0))), model.spread.ways
    draws, angles = len(shifts), len(model.torque) // ways
    ends, others = draws * ways, draws * (2 * ways + 1)
    weights = model.spread.weights(model.torque) if draws else np.empty(0)
    prices = np.concatenate(
        [np.zeros(n) if draws else model.slope, np.zeros(2 * ends), weights, np.full(limits, WEIGHT)]
    )
    own = np.tile(model.torque_slopes, (draws, 1))
    which = np.repeat(np.eye(ends), angles, axis=0)
    none, free_of = np.zeros_like(which), np.zeros((len(own), draws + limits))
    lowest = np.hstack([-own, which, none, free_of])
    highest = np.hstack([own, none, -which, free_of])
    of_draw = np.repeat(np.eye(draws), ways, axis=0)
    between = np.hstack(
        [np.zeros((ends, n)), -np.eye(ends), np.eye(ends), -of_draw, np.zeros((ends, limits))]
    )
    kept = np.hstack([model.overstep_slopes, np.zeros((limits, others)), -np.eye(limits)])
    torque = (model.torque + shifts).ravel() if draws else np.empty(0)
    right = np.concatenate([torque, -torque, np.zeros(ends), -(model.oversteps + WITHIN + bend * box**2)])
    matrix = np.vstack([lowest, highest, between, kept]) if draws else kept
    if rows is not None:
        room = np.maximum(rows[1] - rows[0] @ here, 0.0)
        matrix = np.vstack([matrix, np.hstack([rows[0], np.zeros((len(room), others + limits))])])
        right = np.concatenate([right, room])
    bounds = [(max(-box, -at), min(box, 1.0 - at)) for at in here.tolist()]
    free: list[tuple[float | None, float | None]] = [(None, None)] * others + [(0.0, None)] * limits
    found = scipy.optimize.linprog(prices, A_ub=matrix, b_ub=right, bounds=[*bounds, *free])
    if found.x is None:
        return np.zeros(n), 0.0
    step: Array = found.x[:n]
    return step, model.merit - model.merit_after(step, bend * box**2)


def face_rows(
    machine: Machine, ranges: Mapping[str, Range], least_radius: float
) -> tuple[Array, Array] | None:
    """What keeps the bends of free faces no sharper than a radius (m): rows over the unit cube, and their limits.

    None where no rise varies.

    The bend is the second difference of the rises over the way along the face, which is nearly level.
    """
    names = list(ranges)
    rows, limits = [], []
    for row in machine.rows():
        pole = f"{row.name}_pole"
        varied = [name for name in names if name.startswith(f"{pole}.face.rises.")]
        if not varied or not least_radius:
            continue
        shape = field_value(machine, pole)
        way = np.array(shape.face.stations) * shape.arc / 2 * (row.radius or row.face)
        fixed, matrix = np.array(shape.face.rises), np.zeros((len(way), len(names)))
        for name in varied:
            at, span = int(name.rpartition(".")[2]), ranges[name]
            fixed[at], matrix[at, names.index(name)] = span.low, span.high - span.low
        before, after = np.diff(way)[:-1, None], np.diff(way)[1:, None]
        values = np.column_stack([fixed, matrix])
        bend = (
            2
            * (np.diff(values, axis=0)[1:] / after - np.diff(values, axis=0)[:-1] / before)
            / (before + after)
        )
        for sign in (1.0, -1.0):
            rows.append(sign * bend[:, 1:])
            limits.append(1.0 / least_radius - sign * bend[:, 0])
    return (np.vstack(rows), np.concatenate(limits)) if rows else None

"""A search along slopes: each step is the best of a linear model of the design, within a trust region.

Least ripple is a smooth problem once the lowest and the highest torque are unknowns of their own: the highest less the
lowest is brought down while the torque at every angle stays between them. With all torques, figures and limits linear
in the step this is a linear programme (scipy.optimize.linprog, HiGHS), solved within a box of the unit cube that grows
where the model predicts well and shrinks where it does not, where the shape cannot be built, or where it gives no mesh.
(Sequential linear programming for minimax problems: K. Madsen, J. Inst. Math. Appl. 16 (1975) 321-328; from memory.)
Any other objective is taken the same way, without the torques. How far a limit was missed at the last step, beyond what
the model said, is allowed for in the next as going with the square of the box.

Each design of the path is meshed anew and computed like any other, with its slopes, by the run of the study: it is kept
at once, and a search that was stopped finds its path in the store.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog

from polefem.outline.builds import builds_of
from polefem.params import AxialMachine, Machine
from polefem.params.fields import field_value
from polefem.study.design import Design
from polefem.study.first_order import near_outcome, shifted
from polefem.study.objectives import Limit, cost
from polefem.study.operation import at_work
from polefem.study.record import Outcome, Record
from polefem.study.sampling import Range

__all__ = ["Model", "descend", "face_rows", "model_of", "torque_curve"]

Array = NDArray[np.float64]

#: Angles of a stroke at which the torque is held between the lowest and the highest.
ANGLES = 60
#: First box, largest and smallest, as parts of the unit cube.
FIRST, LARGEST, SMALLEST = 0.08, 0.3, 1e-3
#: The box after a step that was better than half as good as predicted, and after one that was not taken.
GROWN, SHRUNK = 1.6, 0.4
#: What a limit that is missed weighs, in shares of it, against the objective in shares of its own.
WEIGHT = 20.0


def torque_curve(design: Design, outcome: Outcome) -> Array:
    """The summed torque of a design over a stroke from where a phase turns on, N m, shape (ANGLES,)."""
    figures = outcome.figures
    assert outcome.machine_map is not None and figures is not None
    drive = figures.switching
    m = at_work(outcome.machine_map, design.machine, design.plan.end_effects)
    angles = drive.turn_on + m.stroke * (np.arange(ANGLES) + 0.5) / ANGLES
    since = np.mod(angles[:, None] - m.stroke * np.arange(m.phases) - drive.turn_on, m.pitch)
    torque: Array = m.torque(angles, np.where(since < drive.dwell, figures.current, 0.0))
    return torque


@dataclass(frozen=True, eq=False)
class Model:
    """A design to first order in a step of the unit cube.

    value: its objective, to be brought down. slope: shape (n,). torque, torque_slopes: over the mean, shapes (ANGLES,)
    and (ANGLES, n), where the objective is the ripple; else empty. oversteps, overstep_slopes: of the limits, shapes
    (n_limits,) and (n_limits, n).
    """

    value: float
    slope: Array
    torque: Array
    torque_slopes: Array
    oversteps: Array
    overstep_slopes: Array

    @property
    def merit(self) -> float:
        """The objective, and what limits are missed by."""
        return self.value + WEIGHT * float(np.maximum(self.oversteps, 0.0).sum())


def model_of(
    point: Array,
    design: Design,
    record: Record,
    steps: Array,
    near: Callable[[Array], Design],
    objective: str,
    limits: Sequence[Limit],
) -> Model | None:
    """The linear model of a design computed with its slopes, at a point of the unit cube; None for one without.

    steps: of the differences, parts of the cube, shape (n,). near: the design at another point.
    """
    outcome = record.outcome
    if outcome.slopes is None or outcome.figures is None:
        return None
    base = _Rows.of(design, outcome, objective, limits)
    columns = []
    for at, step in enumerate(steps.tolist()):
        sides: list[_Rows | None] = []
        for sign in (1.0, -1.0):
            moved = point.copy()
            moved[at] += sign * step
            other = shifted(near(moved), {})
            found = near_outcome(design, outcome.slopes, other)
            sides.append(None if found.figures is None else _Rows.of(other, found, objective, limits))
        high, low = (base if side is None else side for side in sides)
        width = step * (2 - sides.count(None))
        columns.append(high.less(low) / width if width else 0.0 * base.less(base))
    slopes = np.array(columns).T
    end = 1 + len(base.torque)
    return Model(base.value, slopes[0], base.torque, slopes[1:end], base.oversteps, slopes[end:])


@dataclass(frozen=True, eq=False)
class _Rows:
    """All that a model is linear in, of one design."""

    value: float
    torque: Array
    oversteps: Array

    @classmethod
    def of(cls, design: Design, outcome: Outcome, objective: str, limits: Sequence[Limit]) -> _Rows:
        figures = outcome.figures
        assert figures is not None
        value = cost(figures, objective)
        torque = np.empty(0)
        if objective == "ripple":
            torque = torque_curve(design, outcome) / figures.mean_torque
        oversteps = np.array([limit.overstep(figures) for limit in limits])
        return cls(np.nan if value is None else value, torque, oversteps)

    def less(self, other: _Rows) -> Array:
        parts = (self.value - other.value, self.torque - other.torque, self.oversteps - other.oversteps)
        return np.concatenate([np.atleast_1d(part) for part in parts])


def descend(
    start: Array,
    compute: Callable[[Array], tuple[Design, Record] | None],
    model: Callable[[Array, Design, Record], Model | None],
    rows: tuple[Array, Array] | None = None,
) -> None:
    """Go down from a point of the unit cube, shape (n,), until steps are small or there is no more to compute.

    compute: the design at a point with its record; None at the end of the budget. rows: a matrix and what its product
    with a point must not exceed, as for the bend of a face.
    """
    here = start
    computed = compute(here)
    known = model(here, *computed) if computed else None
    if known is None:
        return
    box, bend = FIRST, np.zeros(len(known.oversteps))
    while box >= SMALLEST:
        step, predicted = _best_step(known, here, box, bend, rows)
        computed = compute(here + step)
        if computed is None:
            return
        found = model(here + step, *computed)
        if found is None:
            box *= SHRUNK
            continue
        told = known.oversteps + known.overstep_slopes @ step
        bend = np.maximum(found.oversteps - told, 0.0) / max(np.abs(step).max(), SMALLEST) ** 2
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
    n, limits, angles = len(here), len(model.oversteps), len(model.torque)
    # Unknowns: the step, lowest and highest torque over the mean, and what each limit is missed by.
    ends = 2 if angles else 0
    prices = np.concatenate(
        [np.zeros(n) if angles else model.slope, [-1.0, 1.0][:ends], np.full(limits, WEIGHT)]
    )
    above = np.hstack([-model.torque_slopes, np.tile([1.0, 0.0], (angles, 1)), np.zeros((angles, limits))])
    below = np.hstack([model.torque_slopes, np.tile([0.0, -1.0], (angles, 1)), np.zeros((angles, limits))])
    kept = np.hstack([model.overstep_slopes, np.zeros((limits, ends)), -np.eye(limits)])
    matrix = np.vstack([above, below, kept]) if angles else kept
    right = np.concatenate([model.torque, -model.torque, -(model.oversteps + bend * box**2)])
    if rows is not None:
        room = np.maximum(rows[1] - rows[0] @ here, 0.0)
        matrix = np.vstack([matrix, np.hstack([rows[0], np.zeros((len(room), ends + limits))])])
        right = np.concatenate([right, room])
    bounds = [(max(-box, -at), min(box, 1.0 - at)) for at in here.tolist()]
    free: list[tuple[float | None, float | None]] = [(None, None)] * ends + [(0.0, None)] * limits
    found = linprog(prices, A_ub=matrix, b_ub=right, bounds=[*bounds, *free])
    if found.x is None:
        return np.zeros(n), 0.0
    step: Array = found.x[:n]
    fall = model.merit - float(prices @ found.x) - (0.0 if angles else model.value)
    return step, fall


def face_rows(
    machine: Machine, ranges: Mapping[str, Range], least_radius: float
) -> tuple[Array, Array] | None:
    """What keeps the bends of free faces no sharper than a radius (m): rows over the unit cube, and their limits.

    None where no rise varies.

    The bend is the second difference of the rises over the way along the face, which is nearly level.
    """
    names = list(ranges)
    rows, limits = [], []
    faces = dict(
        zip(("rotor_pole", "stator_pole"), (build.face for build in builds_of(machine)), strict=True)
    )
    for pole, level in faces.items():
        varied = [name for name in names if name.startswith(f"{pole}.face.rises.")]
        if not varied or not least_radius:
            continue
        shape = field_value(machine, pole)
        radius = machine.mean_radius if isinstance(machine, AxialMachine) else abs(level)
        way = np.array(shape.face.stations) * shape.arc / 2 * radius
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

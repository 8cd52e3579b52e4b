"""From variants of a machine to records: what each shape does, and why one could not be built."""

from polefem.study.basis import Basis, EqualCopperLoss, EqualCurrent, EqualMeanTorque
from polefem.study.design import Design, Plan
from polefem.study.goals import Limit, broken_limits, check_figure, cost, more_is_better
from polefem.study.pipeline import FIELD, Solver, attempt
from polefem.study.progress import ProgressBar
from polefem.study.record import Figures, Outcome, Record, State
from polefem.study.running import Watcher, run_designs
from polefem.study.sampling import Grid, LatinHypercube, Range, SobolPoints, Variant
from polefem.study.store import Store
from polefem.study.study import Constraint, Study, Values
from polefem.study.winding import Copper
from polefem.study.workers import InProcess, WorkerLost, WorkerPool

__all__ = [
    "FIELD",
    "Basis",
    "Constraint",
    "Copper",
    "Design",
    "EqualCopperLoss",
    "EqualCurrent",
    "EqualMeanTorque",
    "Figures",
    "Grid",
    "InProcess",
    "LatinHypercube",
    "Limit",
    "Outcome",
    "Plan",
    "ProgressBar",
    "Range",
    "Record",
    "SobolPoints",
    "Solver",
    "State",
    "Store",
    "Study",
    "Values",
    "Variant",
    "Watcher",
    "WorkerLost",
    "WorkerPool",
    "attempt",
    "broken_limits",
    "check_figure",
    "cost",
    "more_is_better",
    "run_designs",
]

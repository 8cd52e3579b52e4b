"""From variants of a machine to records: what each shape does, and why one could not be built."""

from polefem.study.basis import Basis, EqualCopperLoss, EqualCurrent, EqualMeanTorque
from polefem.study.design import Design, Plan
from polefem.study.pipeline import FIELD, Solver, attempt
from polefem.study.progress import ProgressBar
from polefem.study.record import Figures, Outcome, Record, State
from polefem.study.running import Watcher, run_designs
from polefem.study.store import Store
from polefem.study.study import Study, Variant
from polefem.study.winding import Copper
from polefem.study.workers import InProcess, WorkerLost, WorkerPool

__all__ = [
    "FIELD",
    "Basis",
    "Copper",
    "Design",
    "EqualCopperLoss",
    "EqualCurrent",
    "EqualMeanTorque",
    "Figures",
    "InProcess",
    "Outcome",
    "Plan",
    "ProgressBar",
    "Record",
    "Solver",
    "State",
    "Store",
    "Study",
    "Variant",
    "Watcher",
    "WorkerLost",
    "WorkerPool",
    "attempt",
    "run_designs",
]

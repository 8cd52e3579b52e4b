"""From variants of a machine to records: what each shape does, and why one could not be built.

What computes fields is loaded when it is asked for itself: it loads a mesher, which a ranking of records does not need.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

from polefem.copper import Copper
from polefem.study.basis import Basis, EqualCopperLoss, EqualCurrent, EqualMeanTorque
from polefem.study.design import Design, Plan
from polefem.study.driven import BestPoint, LevelPoint, Point, SwitchingTable, WaveformPoint
from polefem.study.goals import Limit, broken_limits, check_figure, cost, more_is_better
from polefem.study.points import DrivePoint
from polefem.study.progress import ProgressBar
from polefem.study.record import NEXT_REASON, Figures, Outcome, PointFigures, Record, State
from polefem.study.sampling import Grid, LatinHypercube, Range, SobolPoints, Variant
from polefem.study.search import Search, run_search
from polefem.study.sensitivity import (
    Sensitivities,
    Shares,
    Slopes,
    global_shares,
    local_slopes,
    shares_of_sample,
)
from polefem.study.spreads import (
    Effect,
    FieldSpread,
    OffsetSpread,
    Run,
    Spread,
    SteelSpread,
    effects_of,
    error_from_map,
)
from polefem.study.store import Store, Table
from polefem.study.study import Constraint, Study, Values
from polefem.study.workers import Executor, InProcess, WorkerLost, WorkerPool

if TYPE_CHECKING:
    from polefem.study.pipeline import FIELD, Solver, attempt
    from polefem.study.running import Watcher, run_designs

__all__ = [
    "FIELD",
    "NEXT_REASON",
    "Basis",
    "BestPoint",
    "Constraint",
    "Copper",
    "Design",
    "DrivePoint",
    "Effect",
    "EqualCopperLoss",
    "EqualCurrent",
    "EqualMeanTorque",
    "Executor",
    "FieldSpread",
    "Figures",
    "Grid",
    "InProcess",
    "LatinHypercube",
    "LevelPoint",
    "Limit",
    "OffsetSpread",
    "Outcome",
    "Plan",
    "Point",
    "PointFigures",
    "ProgressBar",
    "Range",
    "Record",
    "Run",
    "Search",
    "Sensitivities",
    "Shares",
    "Slopes",
    "SobolPoints",
    "Solver",
    "Spread",
    "State",
    "SteelSpread",
    "Store",
    "Study",
    "SwitchingTable",
    "Table",
    "Values",
    "Variant",
    "Watcher",
    "WaveformPoint",
    "WorkerLost",
    "WorkerPool",
    "attempt",
    "broken_limits",
    "check_figure",
    "cost",
    "effects_of",
    "error_from_map",
    "global_shares",
    "local_slopes",
    "more_is_better",
    "run_designs",
    "run_search",
    "shares_of_sample",
]

_LATER = {"pipeline": ("FIELD", "Solver", "attempt"), "running": ("Watcher", "run_designs")}


def __getattr__(name: str) -> Any:
    for module, names in _LATER.items():
        if name in names:
            found = globals()[name] = getattr(import_module(f"{__name__}.{module}"), name)
            return found
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")

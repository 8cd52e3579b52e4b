"""From variants of a machine to records: what each shape does, and why one could not be built.

What computes fields is loaded when it is asked for itself: it loads a mesher, which a ranking of records does not need.
"""

from typing import TYPE_CHECKING

from polefem.copper import Copper
from polefem.later import front
from polefem.ring import Hearing
from polefem.study.at_the_shaft import ReadingOperatingPoint, SharedTorqueOperatingPoint, StartOperatingPoint
from polefem.study.basis import Basis, EqualCopperLoss, EqualCurrent, EqualMeanTorque
from polefem.study.design import Design, Plan, field_text, quantity_of_field
from polefem.study.door import check_designs, check_order, check_tolerances
from polefem.study.drive_operating_point import DriveOperatingPoint
from polefem.study.kept_switching import kept_switching
from polefem.study.naming import braking, figure_words, point_words, quantity_of_figure
from polefem.study.objectives import Limit, broken_limits, check_figure, cost, more_is_better
from polefem.study.operating_points import (
    BRIDGED,
    BestOperatingPoint,
    LevelOperatingPoint,
    OperatingPoint,
    RectangularOperatingPoint,
    SwitchingTable,
    WaveformOperatingPoint,
)
from polefem.study.plan_point import PlanPoint
from polefem.study.progress import ProgressBar
from polefem.study.record import (
    NEXT_REASON,
    OF_SOUND,
    Figures,
    OperatingPointFigures,
    Outcome,
    PointFigures,
    ReadingFigures,
    Record,
    StartFigures,
    Status,
)
from polefem.study.sampling import Grid, LatinHypercube, Range, SobolPoints, Variant
from polefem.study.search import Search
from polefem.study.sensitivity import (
    Sensitivities,
    Slopes,
    SobolIndices,
    global_sensitivity,
    sensitivity_of_sample,
)
from polefem.study.solver import FIELD, Solver
from polefem.study.store import Store
from polefem.study.study import Constraint, Study, Values
from polefem.study.tolerances import (
    EccentricityTolerance,
    Effect,
    FieldTolerance,
    JointTolerance,
    Run,
    SteelTolerance,
    Tolerance,
    effects_of,
    error_from_map,
)
from polefem.study.workers import Executor, InProcess, WorkerLost, WorkerPool

if TYPE_CHECKING:
    from polefem.study.exact_effects import effects_by_slopes
    from polefem.study.linear_model import spread_ripple
    from polefem.study.operation import at_work
    from polefem.study.pipeline import attempt
    from polefem.study.running import Progress, run_designs
    from polefem.study.searching import begins_of, run_search
    from polefem.study.shown_fields import (
        SECTION_PLACES,
        SectionFields,
        half_overlap,
        keep_section_fields,
        section_fields,
    )
    from polefem.study.slopes import local_slopes
    from polefem.study.tightness import RISE, Tightness, tightness_of

__all__ = [
    "BRIDGED",
    "FIELD",
    "NEXT_REASON",
    "OF_SOUND",
    "RISE",
    "SECTION_PLACES",
    "Basis",
    "BestOperatingPoint",
    "Constraint",
    "Copper",
    "Design",
    "DriveOperatingPoint",
    "EccentricityTolerance",
    "Effect",
    "EqualCopperLoss",
    "EqualCurrent",
    "EqualMeanTorque",
    "Executor",
    "FieldTolerance",
    "Figures",
    "Grid",
    "Hearing",
    "InProcess",
    "JointTolerance",
    "LatinHypercube",
    "LevelOperatingPoint",
    "Limit",
    "OperatingPoint",
    "OperatingPointFigures",
    "Outcome",
    "Plan",
    "PlanPoint",
    "PointFigures",
    "Progress",
    "ProgressBar",
    "Range",
    "ReadingFigures",
    "ReadingOperatingPoint",
    "Record",
    "RectangularOperatingPoint",
    "Run",
    "Search",
    "SectionFields",
    "Sensitivities",
    "SharedTorqueOperatingPoint",
    "Slopes",
    "SobolIndices",
    "SobolPoints",
    "Solver",
    "StartFigures",
    "StartOperatingPoint",
    "Status",
    "SteelTolerance",
    "Store",
    "Study",
    "SwitchingTable",
    "Tightness",
    "Tolerance",
    "Values",
    "Variant",
    "WaveformOperatingPoint",
    "WorkerLost",
    "WorkerPool",
    "at_work",
    "attempt",
    "begins_of",
    "braking",
    "broken_limits",
    "check_designs",
    "check_figure",
    "check_order",
    "check_tolerances",
    "cost",
    "effects_by_slopes",
    "effects_of",
    "error_from_map",
    "field_text",
    "figure_words",
    "global_sensitivity",
    "half_overlap",
    "keep_section_fields",
    "kept_switching",
    "local_slopes",
    "more_is_better",
    "point_words",
    "quantity_of_field",
    "quantity_of_figure",
    "run_designs",
    "run_search",
    "section_fields",
    "sensitivity_of_sample",
    "spread_ripple",
    "tightness_of",
]

__getattr__, __dir__ = front(
    __name__,
    __all__,
    {
        ".exact_effects": "effects_by_slopes",
        ".linear_model": "spread_ripple",
        ".operation": "at_work",
        ".pipeline": "attempt",
        ".running": "Progress run_designs",
        ".searching": "begins_of run_search",
        ".shown_fields": "SECTION_PLACES SectionFields half_overlap keep_section_fields section_fields",
        ".slopes": "local_slopes",
        ".tightness": "RISE Tightness tightness_of",
    },
)

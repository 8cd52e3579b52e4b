"""The machine on the bench: what to measure, reading it, laying it over the prediction, and the causes that explain it.

The files in the order of the work: `bench_sheet` says what is on the bench; `planning` chooses the points;
`table_file`, `readings` and `recording` read what was written down; `causes` and `prediction` say what a meter should
read; `comparing` lays one over the other (`overlays` for pictures); `correction` finds the causes, `words` and
`separating` say what it cannot tell and what would; `traps` names what makes a reading lie; `next_study` carries the
corrected machine on.
"""

from polefem.measured.bench_sheet import BenchSheet
from polefem.measured.causes import CAUSES, Tolerances, changed_machine, drawn_values, label, shown_cause
from polefem.measured.comparing import Comparison, compared
from polefem.measured.correction import Correction, correct, fitted
from polefem.measured.next_study import corrected_study, corrected_text, left_open
from polefem.measured.overlays import Overlay, Traced, overlays
from polefem.measured.planning import METERS, MeasuringPlan, Meter, candidates, d_optimal, planned
from polefem.measured.prediction import Prediction, Predictor
from polefem.measured.readings import KINDS, Kind, Readings, joined, read_readings, unit_of
from polefem.measured.recording import LinkageCurve, Recording, flux_linkage_of, read_recording
from polefem.measured.separating import BESIDE, Beside, advice
from polefem.measured.sheet_file import bench_in
from polefem.measured.traps import (
    CAUTIONS,
    BothWays,
    both_ways,
    mark_sentences,
    meter_sentences,
    resistance_error,
    shielded_share,
)
from polefem.measured.words import confused, found_sentences, told

__all__ = [
    "BESIDE",
    "CAUSES",
    "CAUTIONS",
    "KINDS",
    "METERS",
    "BenchSheet",
    "Beside",
    "BothWays",
    "Comparison",
    "Correction",
    "Kind",
    "LinkageCurve",
    "MeasuringPlan",
    "Meter",
    "Overlay",
    "Prediction",
    "Predictor",
    "Readings",
    "Recording",
    "Tolerances",
    "Traced",
    "advice",
    "bench_in",
    "both_ways",
    "candidates",
    "changed_machine",
    "compared",
    "confused",
    "correct",
    "corrected_study",
    "corrected_text",
    "d_optimal",
    "drawn_values",
    "fitted",
    "flux_linkage_of",
    "found_sentences",
    "joined",
    "label",
    "left_open",
    "mark_sentences",
    "meter_sentences",
    "overlays",
    "planned",
    "read_readings",
    "read_recording",
    "resistance_error",
    "shielded_share",
    "shown_cause",
    "told",
    "unit_of",
]

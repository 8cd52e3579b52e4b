"""The front door of studies: computed with workers and a store, ranked, looked into, drawn and written, by one call.

    result = run(study, workers=2)

computes what the store does not have yet, tells how far it is, and gives ranking, findings, maps and pictures; stopped,
the same call goes on from there.
"""

from polefem.bench.measuring import Measured, measure, plan_measurements
from polefem.bench.one_shape import KINDS, export, film
from polefem.bench.result import Result
from polefem.bench.running import folder_of, run

__all__ = [
    "KINDS",
    "Measured",
    "Result",
    "export",
    "film",
    "folder_of",
    "measure",
    "plan_measurements",
    "run",
]

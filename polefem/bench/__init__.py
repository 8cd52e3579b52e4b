"""The front door of studies: computed with workers and a store, ranked, looked into, drawn and written, by one call.

    result = run(study, workers=2)

computes what the store does not have yet, tells how far it is, and gives ranking, findings, maps and pictures; stopped,
the same call goes on from there. What asks for fields by itself is loaded when it is asked for.
"""

from typing import TYPE_CHECKING

from polefem.bench.kinds import KINDS
from polefem.bench.result import Result
from polefem.bench.running import folder_of, run
from polefem.later import front

if TYPE_CHECKING:
    from polefem.bench.measuring import Measured, bench_in, measure, plan_measurements
    from polefem.bench.one_shape import export, film

__all__ = [
    "KINDS",
    "Measured",
    "Result",
    "bench_in",
    "export",
    "film",
    "folder_of",
    "measure",
    "plan_measurements",
    "run",
]

__getattr__, __dir__ = front(
    __name__,
    __all__,
    {
        ".measuring": "Measured bench_in measure plan_measurements",
        ".one_shape": "export film",
    },
)

"""The front door of studies: computed with workers and a store, ranked, looked into, drawn and written, by one call.

    result = run(study, workers=2)

computes what the store does not have yet, tells how far it is, and gives ranking, findings, maps and pictures; stopped,
the same call goes on from there. What asks for fields by itself is loaded when it is asked for.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

from polefem.bench.kinds import KINDS
from polefem.bench.result import Result
from polefem.bench.running import folder_of, run

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

_LATER = {
    "measuring": ("Measured", "bench_in", "measure", "plan_measurements"),
    "one_shape": ("export", "film"),
}


def __getattr__(name: str) -> Any:
    for module, names in _LATER.items():
        if name in names:
            found = globals()[name] = getattr(import_module(f"{__name__}.{module}"), name)
            return found
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})

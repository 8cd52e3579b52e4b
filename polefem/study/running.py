"""Designs through an executor into a store: what is there is not computed again, what is computed is kept at once."""

from __future__ import annotations

import json
from collections import deque
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, CancelledError, Executor, Future, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import replace
from typing import Protocol

from polefem.errors import PolefemError
from polefem.params.content import content
from polefem.study.design import Design
from polefem.study.pipeline import FIELD, KnownMap, Solver, attempt, versions
from polefem.study.record import Outcome, Record, Status
from polefem.study.store import Member, Store
from polefem.study.workers import WorkerLost

__all__ = ["Progress", "run_designs"]

_WITH_MAPS = (
    1000  # designs of a study whose records carry their maps; those of a larger one are in the store alone
)
_TRIES = 2  # a design whose worker died is tried once more: the machine may have been short of memory


class Progress(Protocol):
    """What is told how a run goes on."""

    def begin(self, total: int) -> None:
        """There are so many designs."""

    def record(self, record: Record, computed: bool) -> None:
        """A design is done: computed now, or found in the store."""

    def end(self) -> None:
        """No more will come."""


class _Silent:
    def begin(self, total: int) -> None:
        pass

    def record(self, record: Record, computed: bool) -> None:
        pass

    def end(self) -> None:
        pass


def run_designs(
    study: str,
    designs: Sequence[Design],
    store: Store,
    executor: Executor,
    at_once: int = 1,
    solver: Solver = FIELD,
    watcher: Progress | None = None,
) -> list[Record]:
    """Records of the designs, in their order; the designs are enrolled in the store under the study's name.

    The records of a study of more than 1000 designs come without their maps, which are in the store by their keys.

    at_once: how many to have with the executor at a time; twice its workers keeps each busy.

    Raises StoreRefused where a result cannot be kept (a full disk): what was kept before stays, and the same call
    later goes on from there. So it is with KeyboardInterrupt.
    """
    watcher = watcher or _Silent()
    keys = [design.key for design in designs]
    store.enrol(study, [Member(d.name, d.key, d.plain_changes) for d in designs])
    places: dict[str, list[int]] = {}
    for at, key in enumerate(keys):
        places.setdefault(key, []).append(at)
    records: dict[int, Record] = {}

    def settle(key: str, outcome: Outcome, made_by: Mapping[str, str], computed: bool) -> None:
        if len(designs) > _WITH_MAPS:
            outcome = replace(outcome, flux_map=None)
        for at in places[key]:
            design = designs[at]
            records[at] = Record(design.name, key, design.plain_changes, outcome, made_by)
            watcher.record(records[at], computed)

    watcher.begin(len(designs))
    try:
        waiting = []
        for key, (first, *_) in places.items():
            outcome = store.outcome(key)
            if outcome is None or outcome.status is Status.LOST:
                waiting.append(designs[first])
            else:
                settle(key, outcome, store.versions(key), False)
        for design, outcome in _computed(waiting, executor, at_once, lambda d: _solver_for(d, store, solver)):
            made_by = versions()
            map_key = design.map_key if outcome.flux_map is not None else ""
            store.keep(design.key, outcome, made_by, json.dumps(content(design.inputs)), map_key)
            settle(design.key, outcome, made_by, True)
    finally:
        watcher.end()
    return [records[at] for at in range(len(designs))]


def _solver_for(design: Design, store: Store, solver: Solver) -> Solver:
    """The solver, with the design's map in place of it where the store has it from another drive."""
    try:
        map_key = design.map_key
    except PolefemError:  # a machine that cannot be: the attempt will say why
        return solver
    known = store.map_of(map_key)
    return solver if known is None else replace(solver, flux_map=KnownMap(known))


def _computed(
    designs: Iterable[Design], executor: Executor, at_once: int, solver_for: Callable[[Design], Solver]
) -> Iterable[tuple[Design, Outcome]]:
    """Designs with their outcomes, as they come; no more than `at_once` are with the executor at a time."""
    waiting = deque((design, 1) for design in designs)
    under_way: dict[Future[Outcome], tuple[Design, int]] = {}
    try:
        while waiting or under_way:
            while waiting and len(under_way) < at_once:
                design, tries = waiting.popleft()
                under_way[executor.submit(attempt, design, solver_for(design))] = design, tries
            done, _ = wait(under_way, return_when=FIRST_COMPLETED)
            for future in done:
                design, tries = under_way.pop(future)
                outcome = _answer(future)
                if outcome.status is Status.LOST and tries < _TRIES:
                    waiting.append((design, tries + 1))
                else:
                    yield design, outcome
    finally:
        for future in under_way:
            future.cancel()


def _answer(future: Future[Outcome]) -> Outcome:
    try:
        return future.result()
    except (WorkerLost, BrokenProcessPool, CancelledError) as lost:
        return Outcome(Status.LOST, str(lost) or "the executor gave the design up")
    except (
        Exception
    ) as error:  # an executor's own: a cluster that lost the worker, a call that would not travel
        return Outcome(Status.LOST, f"{type(error).__name__}: {error}")

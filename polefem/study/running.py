"""Designs through an executor into a store: what is there is not computed again, what is computed is kept at once."""

from __future__ import annotations

import json
import time
from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, CancelledError, Executor, Future, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field, replace
from typing import Protocol

from polefem.errors import MissingLibrary, PolefemError
from polefem.maps import CoupledMap, MapSlopes
from polefem.params import joined_otherwise
from polefem.params.content import content
from polefem.study.design import Design
from polefem.study.record import Outcome, Record, Status
from polefem.study.solver import FIELD, KnownJoined, KnownMap, Solver, VersionsDiffer, attempt_elsewhere
from polefem.study.store import Member, Store
from polefem.study.workers import WorkerLost
from polefem.version import numerics, versions

__all__ = ["Progress", "run_designs"]

_WITH_MAPS = (
    1000  # designs of a study whose records carry their maps; those of a larger one are in the store alone
)
_TRIES = 2  # a design whose worker died is tried once more: the machine may have been short of memory
_LOOK = 0.5  # s between looks at what other processes did, and signs of life

_Answer = tuple[Outcome, Mapping[str, str]]


class Progress(Protocol):
    """What is told how a run goes on."""

    def begin(self, total: int) -> None:
        """There are so many designs."""

    def record(self, record: Record, computed: bool) -> None:
        """A design is done: computed now, or found in the store."""

    def remark(self, said: str) -> None:
        """Something that a person should know, in a sentence."""

    def still(self) -> None:
        """The run goes on, though no design is done; told about twice a second."""

    def end(self) -> None:
        """No more will come."""


class _Silent:
    def begin(self, total: int) -> None:
        pass

    def record(self, record: Record, computed: bool) -> None:
        pass

    def remark(self, said: str) -> None:
        pass

    def still(self) -> None:
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

    at_once: how many to have with the executor at a time; twice its workers keeps each busy. Another process that runs
    designs of the same store at the same time does its share: no design is computed by both.

    Raises StoreRefused where a result cannot be kept (a full disk): what was kept before stays, and the same call
    later goes on from there. So it is with KeyboardInterrupt. Raises VersionsDiffer where a worker has other
    versions, MissingLibrary where it lacks one.
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
            outcome = replace(outcome, machine_map=None, slopes=None)
        for at in places[key]:
            design = designs[at]
            records[at] = Record(design.name, key, design.plain_changes, outcome, made_by)
            watcher.record(records[at], computed)

    watcher.begin(len(designs))
    try:
        waiting = []
        for key, (first, *_) in places.items():
            outcome = store.outcome(key)
            if key in store.damaged:
                watcher.remark(f"what was kept of {designs[first].name!r} is damaged: it is computed again")
            if outcome is None or outcome.status is Status.LOST:
                waiting.append(designs[first])
            else:
                settle(key, outcome, store.versions(key), False)
        work = _Work(store, executor, at_once, solver, watcher, deque((design, 1) for design in waiting))
        for design, outcome, made_by in work.results():
            if made_by is not None:
                map_key = design.map_key if outcome.machine_map is not None else ""
                store.keep(design.key, outcome, made_by, json.dumps(content(design.inputs)), map_key)
            settle(design.key, outcome, made_by or store.versions(design.key), made_by is not None)
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
    if known is None:
        return _with_joined_otherwise(design, store, solver)
    if isinstance(known, MapSlopes):
        return replace(solver, sloped=KnownMap(known))
    return replace(solver, flux_map=KnownMap(known.single), coupled_map=KnownMap(known))


def _with_joined_otherwise(design: Design, store: Store, solver: Solver) -> Solver:
    """The solver, with what the store has of the machine whose coils are joined the other usual way."""
    if design.plan.coupling != "joint" or design.plan.slopes:
        return solver
    for polarity in (joined_otherwise(design.machine.phases), None):
        other = replace(design, changes={**design.changes, "winding.polarity": polarity})
        known = store.map_of(other.map_key)
        if isinstance(known, CoupledMap):
            joined = KnownJoined(known, other.machine.phases, solver.coupled_map)
            return replace(solver, coupled_map=joined)
    return solver


@dataclass(eq=False)
class _Work:
    """Designs on their way. waiting: to be begun, with the number of the try. elsewhere: another process has them."""

    store: Store
    executor: Executor
    at_once: int
    solver: Solver
    watcher: Progress
    waiting: deque[tuple[Design, int]]
    under_way: dict[Future[_Answer], tuple[Design, int]] = field(default_factory=dict)
    elsewhere: list[tuple[Design, int]] = field(default_factory=list)

    def results(self) -> Iterator[tuple[Design, Outcome, Mapping[str, str] | None]]:
        """Designs with their outcomes and the versions that made them, as they come: None for the versions where
        another process kept the outcome. No more than `at_once` are with the executor at a time."""
        try:
            while self.waiting or self.under_way or self.elsewhere:
                yield from self._begin()
                done, _ = wait(self.under_way, timeout=_LOOK, return_when=FIRST_COMPLETED)
                if not self.under_way and self.elsewhere:
                    time.sleep(_LOOK)
                for future in done:
                    yield from self._taken(future)
                if not done:
                    self.watcher.still()
                    if len(self.under_way) < self.at_once and self.elsewhere:
                        self.waiting.extend(self.elsewhere)
                        self.elsewhere.clear()
        finally:
            for future in self.under_way:
                future.cancel()

    def _begin(self) -> Iterator[tuple[Design, Outcome, None]]:
        while self.waiting and len(self.under_way) < self.at_once:
            design, tries = self.waiting.popleft()
            if not self.store.claim(design.key):
                self.elsewhere.append((design, tries))
                continue
            kept = self.store.outcome(design.key)  # another process may have done it since we looked
            if kept is None or kept.status is Status.LOST:
                solver = _solver_for(design, self.store, self.solver)
                future = self.executor.submit(attempt_elsewhere, design, solver, numerics())
                self.under_way[future] = design, tries
            else:
                self.store.unclaim(design.key)
                yield design, kept, None

    def _taken(self, future: Future[_Answer]) -> Iterator[tuple[Design, Outcome, Mapping[str, str]]]:
        design, tries = self.under_way.pop(future)
        outcome, made_by = _answer(future)
        if outcome.status is Status.LOST and tries < _TRIES:
            self.waiting.append((design, tries + 1))
        else:
            yield design, outcome, made_by


def _answer(future: Future[_Answer]) -> _Answer:
    try:
        return future.result()
    except (VersionsDiffer, MissingLibrary):
        raise
    except (WorkerLost, BrokenProcessPool, CancelledError) as lost:
        return Outcome(Status.LOST, str(lost) or "the executor gave the design up"), versions()
    except (
        Exception
    ) as error:  # an executor's own: a cluster that lost the worker, a call that would not travel
        return Outcome(Status.LOST, f"{type(error).__name__}: {error}"), versions()

"""Running a study: designs through workers into a store, their order, what the study asks beyond it, its pages."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypedDict

from polefem import study as later
from polefem.bench.result import Result
from polefem.drive import AngleTable
from polefem.errors import InvalidValue, StoreRefused, refusal
from polefem.export import write_cut, write_pages, write_tables
from polefem.files import file_name, sweep
from polefem.params import MeshSpec
from polefem.params.checks import whole
from polefem.ranking import rank, remarks, table_text
from polefem.report import (
    MOST,
    Descent,
    Findings,
    SearchPath,
    Shape,
    descent_of,
    findings_of,
    further_texts,
    search_path,
)
from polefem.study import (
    FIELD,
    Design,
    Executor,
    InProcess,
    ProgressBar,
    Record,
    Search,
    Solver,
    Store,
    Study,
    SwitchingTable,
    Variant,
    WorkerPool,
    check_designs,
    check_order,
    check_tolerances,
    keep_section_fields,
    kept_switching,
    run_designs,
)
from polefem.study.stopping import undisturbed

__all__ = ["Bench", "Means", "folder_of", "opened", "prepare", "run", "settled"]

_SHOWN = 20  # designs in the table that is told; the files hold all


@dataclass(frozen=True, eq=False)
class Bench:
    """Where designs are computed and kept."""

    store: Store
    executor: Executor
    at_once: int
    solver: Solver
    progress: bool

    def compute(self, name: str, designs: Sequence[Design], bar: ProgressBar | None = None) -> list[Record]:
        """Records of the designs, in their order; what the store has is not computed again."""
        if bar is None and self.progress:
            bar = ProgressBar(sys.stderr, name)
        return run_designs(name, designs, self.store, self.executor, self.at_once, self.solver, bar)

    def switching(self, asked: SwitchingTable, shape: Shape) -> AngleTable:
        """The controller's table of a shape, from the store where it was kept."""
        return kept_switching(asked, shape.design, shape.at_work, shape.figures.phase_resistance, self.store)

    @property
    def drawing(self) -> Executor:
        """Draws pictures: here, since an executor that was handed in may be on other computers."""
        return self.executor if isinstance(self.executor, WorkerPool) else InProcess()


class Means(TypedDict, total=False):
    """How designs are computed, where results go and what orders them: as the arguments of `run` of these names."""

    workers: int | None
    folder: str | Path | None
    store: str | Path | None
    mesh: MeshSpec | str | None
    rank_by: str | None
    patience: float | None
    progress: bool
    executor: Executor | None
    at_once: int | None
    solver: Solver


def folder_of(study: Study | Search) -> Path:
    """Where the results of a study go if nothing else is said: `results/` and its name."""
    return Path("results") / file_name(study.name)


def run(
    study: Study | Search,
    *,
    workers: int | None = None,
    folder: str | Path | None = None,
    store: str | Path | None = None,
    mesh: MeshSpec | str | None = None,
    rank_by: str | None = None,
    drawn: int = MOST,
    pages: bool = True,
    patience: float | None = None,
    progress: bool = True,
    executor: Executor | None = None,
    at_once: int | None = None,
    solver: Solver = FIELD,
    command: str = "",
    tell: Callable[[str], None] = lambda text: None,
) -> Result:
    """Run a study: compute what its store does not have yet, rank, find out what it asks beyond, draw and write.

    workers: worker processes, as many as cores if not said. folder: where results go, `folder_of(study)` if not said.
    store: where designs are kept, shared by studies; the folder if not said. mesh: in place of the plan's. rank_by: the
    figure that orders, the study's first objective if not said. drawn: shapes that get pictures, best first. pages:
    whether to draw, and write the report. patience: s that a design may take before its worker is stopped. progress:
    whether to say on stderr how far it is. executor: any of `concurrent.futures`' kind in place of worker processes;
    it is left open. at_once: how many designs it is given at a time, 64 if not said. solver: gives maps and fields.
    command: that makes the pages again, to stand on them. tell: is told the ranking as soon as it is known, as text,
    then the rest.

    Raises InvalidValue, before anything is computed, for a name, a value, a figure, a mesh or a number of workers that
    cannot be, in whatever variant it stands, StoreRefused where results cannot be
    kept, and KeyboardInterrupt when stopped: what was computed is kept, and the same call goes on from there.
    """
    whole("shapes to be shown are counted", "drawn", drawn, 0)
    by, study, place = settled(study, rank_by, mesh, folder, store)
    with opened(store or place, workers, patience, executor, at_once, solver, progress) as bench:
        prepare(place)
        findings = _found(study, bench, by, drawn, tell)
        lacking: dict[str, str] = {}
        if pages:
            findings, lacking = _with_fields(findings, bench)
        files = write_tables(findings, place)
        if findings.winner is not None:
            files |= write_cut(findings.winner.design.machine, place)
        if not pages:
            return Result(findings, place, files)
        written = write_pages(findings, place, command, bench.drawing, files)
    undrawn = {**lacking, **written.undrawn}
    return Result(findings, place, files, written.paths, written.pictures, undrawn)


def settled(
    study: Study | Search,
    rank_by: str | None,
    mesh: MeshSpec | str | None,
    folder: str | Path | None,
    store: str | Path | None,
) -> tuple[str, Study | Search, Path]:
    """The figure that orders, the study on its mesh, and where its results go; raises InvalidValue for any mistake in
    the study or the call that can be told before anything is computed."""
    by = rank_by or (study.objectives[0] if isinstance(study, Study) else study.objective)
    check_order(study.plan, by)
    designs = study.designs() if isinstance(study, Study) else study.study([Variant("base")]).designs()
    check_designs(designs)
    check_tolerances(study.tolerances, designs)
    if mesh is not None:
        spec = MeshSpec.named(mesh) if isinstance(mesh, str) else mesh
        study = replace(study, plan=replace(study.plan, mesh=spec))
    for said, path in (("folder", folder), ("store", store)):
        _refuse_file(said, path)
    return by, study, Path(folder) if folder is not None else folder_of(study)


def _refuse_file(said: str, path: str | Path | None) -> None:
    """Raise InvalidValue for a place of results that is a file, or lies below one."""
    for place in (Path(path), *Path(path).parents) if path is not None else ():
        if place.exists() and not place.is_dir():
            raise InvalidValue(
                refusal("results go into a folder", said, f"{str(place)!r}, a file", "a folder")
            )


def prepare(place: Path) -> None:
    """Make the folder of the results, and remove what processes that were killed left half written there."""
    place.mkdir(parents=True, exist_ok=True)
    for folder in (place, place / "pictures", place / "sheets", place / "shapes"):
        sweep(folder)


@contextlib.contextmanager
def opened(
    store: str | Path,
    workers: int | None,
    patience: float | None,
    executor: Executor | None,
    at_once: int | None,
    solver: Solver,
    progress: bool,
) -> Iterator[Bench]:
    """What computes and keeps; worker processes end with it, at once on an error."""
    if executor is not None:
        for name, value in (("workers", workers), ("patience", patience)):
            if value is not None:
                rule = "an executor that is handed in has workers of its own"
                raise InvalidValue(refusal(rule, name, value, "to say it where that executor is made"))
        with _kept_in(store) as opened:
            yield Bench(opened, executor, at_once or 64, solver, progress)
        return
    count = workers if workers is not None else len(os.sched_getaffinity(0))
    pool = WorkerPool(count, patience)
    try:
        with _kept_in(store) as opened:
            yield Bench(opened, pool, 2 * count, solver, progress)
    except BaseException:
        with undisturbed():
            pool.stop()
        raise
    pool.shutdown()


@contextlib.contextmanager
def _kept_in(folder: str | Path) -> Iterator[Store]:
    """The store; what cannot be written once it is open is told with what that leaves."""
    with Store(folder) as store:
        try:
            yield store
        except (StoreRefused, OSError) as error:
            goes_on = "What was kept before stays; the same command goes on from there."
            raise StoreRefused(f"{error}\n{goes_on}") from error


def _found(study: Study | Search, bench: Bench, by: str, drawn: int, tell: Callable[[str], None]) -> Findings:
    """Compute a study and what it asks for beyond; `tell` is told the ranking as soon as it is known, then the rest."""
    path: SearchPath | None = None
    descents: dict[str, Descent] = {}
    if isinstance(study, Search):
        search, records = study, []
        for lever, part in search.parts.items():
            part = _going_on(search, part, descents)
            found = _searched(part, bench)
            records += found
            descent = descent_of(part, found) if part.method == "gradient" else None
            if descent is not None:
                descents[lever] = descent
        path = search_path(search.name, records, search.objective, search.limits)
        study = search.study([Variant(record.name, record.changes) for record in records])
    else:
        records = bench.compute(study.name, study.designs())
    ranking = rank(records, study.plan.terms, by, study.limits)
    tell(table_text(ranking, _SHOWN, remarks(ranking, {design.name: design for design in study.designs()})))
    findings = findings_of(study, ranking, bench.compute, bench.store.outcome, drawn, bench.switching)
    for text in further_texts(findings):
        tell(text)
    return replace(findings, path=path, descents=descents)


def _going_on(search: Search, part: Search, descents: Mapping[str, Descent]) -> Search:
    """A part of a search from where others of it ended: of a front the one before, of levers the best of those whose
    fields this one has too, so that more fields never find less."""
    before = [
        found
        for lever, found in descents.items()
        if search.front or set(search.levers[lever]) < set(part.ranges)
    ]
    if not before:
        return part
    best = before[-1] if search.front else min(before, key=lambda found: found.reached)
    return part.onward(best.last[0], next(iter(descents.values())).first[0].machine)


def _searched(search: Search, bench: Bench) -> list[Record]:
    bar = ProgressBar(sys.stderr, search.name, search.evaluations) if bench.progress else None
    try:
        return later.run_search(search, lambda name, designs: bench.compute(name, designs, bar))
    finally:
        if bar is not None:
            bar.close()


def _with_fields(findings: Findings, bench: Bench) -> tuple[Findings, dict[str, str]]:
    """Findings whose shapes have the fields that they are shown with, and why some have none."""
    asked = [(shape.design, shape.figures.current) for shape in findings.shapes]
    fields, lacking = keep_section_fields(asked, bench.store, bench.executor, bench.at_once, bench.solver)
    shapes = tuple(replace(shape, fields=fields.get(shape.name)) for shape in findings.shapes)
    return replace(findings, shapes=shapes), lacking

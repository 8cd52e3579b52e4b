"""The command line: runs study files, prints rankings, draws pictures.

A study file defines `study = Study(...)` or `study = Search(...)` and ends with

    if __name__ == "__main__":
        raise SystemExit(run_study(study))

so that it runs as it is, with the same options as `python -m polefem run FILE`.
"""

from __future__ import annotations

import argparse
import dataclasses
import os
import runpy
import sys
from collections.abc import Sequence
from pathlib import Path

from polefem.drive import write_angle_csv, write_angle_header
from polefem.errors import InvalidValue, PolefemError, StoreRefused, refusal
from polefem.params import MeshSpec
from polefem.params.toml import machine_text
from polefem.ranking import (
    Ranking,
    doubt_of,
    doubt_text,
    drives_text,
    fields_text,
    orders_under_drives,
    pareto_set,
    pareto_text,
    rank,
    sensitivity_text,
    table_text,
)
from polefem.report import (
    draw_design,
    draw_doubt,
    draw_pareto,
    draw_search,
    draw_shares,
    draw_study,
    pareto_points,
    save,
    search_path,
    write_results,
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
    State,
    Store,
    Study,
    Variant,
    WorkerPool,
    effects_of,
    global_shares,
    local_slopes,
    run_designs,
    run_search,
)
from polefem.version import __version__

__all__ = ["run", "run_study"]

ALL_WELL, FAILED, MISTAKEN, INTERRUPTED = 0, 1, 2, 130
_EXIT_STATUS = """exit status:
  0    every design has figures or was refused with a reason
  1    a design failed, or none has figures, or results could not be kept
  2    a mistake in the options, the study file or the machine it describes
  130  stopped with Ctrl-C; the same command goes on from there
"""
_DRAWN = 8  # designs that get pictures of their own
_SHOWN = 20  # designs in the table on the terminal; the files hold all


def run(arguments: Sequence[str] | None = None) -> int:
    """`python -m polefem ...`; returns the exit status."""
    parser = _parser("Decide the pole shapes of a switched reluctance machine.", prog="polefem")
    parser.add_argument("--version", action="version", version=f"polefem {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    runner = commands.add_parser(
        "run",
        help="run a study file and print its ranking",
        epilog=_EXIT_STATUS,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    runner.add_argument("file", type=Path, metavar="FILE", help="a Python file that defines `study`")
    _add_options(runner)
    options = parser.parse_args(arguments)
    try:
        study = _study_in(options.file)
    except PolefemError as mistake:
        return _mistaken(mistake)
    return _run(study, options, FIELD, None, None)


def run_study(
    study: Study | Search,
    arguments: Sequence[str] | None = None,
    solver: Solver = FIELD,
    executor: Executor | None = None,
    at_once: int | None = None,
) -> int:
    """Run a study with the options on the command line: compute, rank, print, write; returns the exit status.

    executor: any of `concurrent.futures`' kind, such as a Dask client's, in place of worker processes here; it is
    left open. at_once: how many designs it is given at a time, 64 if not said.
    """
    parser = _parser(f"Run the study '{study.name}' and print its ranking.")
    _add_options(parser)
    return _run(study, parser.parse_args(arguments), solver, executor, at_once)


def _parser(description: str, prog: str | None = None) -> argparse.ArgumentParser:
    style = argparse.RawDescriptionHelpFormatter
    return argparse.ArgumentParser(prog, description=description, epilog=_EXIT_STATUS, formatter_class=style)


def _add_options(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("--out", type=Path, metavar="FOLDER", help="where results go (results/ and the study's name)")
    add("--store", type=Path, metavar="FOLDER", help="where designs are kept, shared by studies (as --out)")
    add("--workers", type=int, metavar="N", help="worker processes (as many as cores)")
    add("--mesh", choices=("coarse", "normal", "fine"), help="how fine (as the study says)")
    add("--rank-by", metavar="FIGURE", help="the figure that orders (the study's first goal)")
    add("--patience", type=float, metavar="S", help="seconds a design may take before its worker is stopped")
    add("--no-pictures", action="store_true", help="numbers only")


def _study_in(file: Path) -> Study | Search:
    if not file.is_file():
        raise InvalidValue(
            refusal("a study is a file", "FILE", repr(str(file)), "a Python file that is there")
        )
    sys.path.insert(0, str(file.resolve().parent))  # as when the file is run itself
    try:
        found = runpy.run_path(str(file)).get("study")
    except PolefemError:
        raise
    except Exception as error:
        said = f"{type(error).__name__}: {error}"
        raise InvalidValue(refusal("a study file must run", str(file), said, "Python that runs")) from error
    if not isinstance(found, Study | Search):
        name = type(found).__name__ if found is not None else "missing"
        raise InvalidValue(refusal("a study file defines a study", "study", name, "study = Study(...)"))
    return found


@dataclasses.dataclass(frozen=True, eq=False)
class _Bench:
    """Where designs are computed and results go."""

    folder: Path
    store: Store
    executor: Executor
    at_once: int
    solver: Solver
    pictures: bool

    def compute(self, name: str, designs: Sequence[Design], bar: ProgressBar | None = None) -> list[Record]:
        bar = bar or ProgressBar(sys.stderr, name)
        return run_designs(name, designs, self.store, self.executor, self.at_once, self.solver, bar)

    @property
    def drawings(self) -> Path:
        return self.folder / "pictures"


def _run(
    study: Study | Search,
    options: argparse.Namespace,
    solver: Solver,
    executor: Executor | None,
    at_once: int | None,
) -> int:
    folder = options.out or Path("results") / study.name.replace(" ", "_")
    by = options.rank_by or (study.goals[0] if isinstance(study, Study) else study.goal)
    pool: WorkerPool | None = None
    try:
        if options.mesh:
            plan = dataclasses.replace(study.plan, mesh=MeshSpec.named(options.mesh))
            study = dataclasses.replace(study, plan=plan)
        rank([], "", by)
        if executor is None:
            workers = options.workers if options.workers is not None else len(os.sched_getaffinity(0))
            executor = pool = WorkerPool(workers, options.patience)
            at_once = 2 * workers
    except InvalidValue as mistake:
        return _mistaken(mistake)
    try:
        with Store(options.store or folder) as store:
            folder.mkdir(parents=True, exist_ok=True)
            bench = _Bench(folder, store, executor, at_once or 64, solver, not options.no_pictures)
            well = _searched(study, bench, by) if isinstance(study, Search) else _studied(study, bench, by)
    except KeyboardInterrupt:
        said = f"Stopped. What was computed is kept in {folder}; the same command goes on from there."
        return _ended(pool, f"\n{said}", INTERRUPTED)
    except (StoreRefused, OSError) as refused:
        said = "What was kept before stays; the same command goes on from there."
        return _ended(pool, f"{refused}\n{said}", FAILED)
    if pool is not None:
        pool.shutdown()
    return ALL_WELL if well else FAILED


def _mistaken(mistake: PolefemError) -> int:
    print(f"polefem: {mistake}", file=sys.stderr)
    return MISTAKEN


def _ended(pool: WorkerPool | None, said: str, status: int) -> int:
    if pool is not None:
        pool.stop()
    print(said, file=sys.stderr)
    return status


def _studied(study: Study, bench: _Bench, by: str) -> bool:
    """Compute, print and write a study; whether all went well."""
    designs = study.designs()
    records = bench.compute(study.name, designs)
    ranking = rank(records, study.plan.terms, by, study.limits)
    print(table_text(ranking, _SHOWN), flush=True)
    more = [fields_text(ranking), _drives(study, records, by), _pareto(study, ranking.ordered, bench)]
    more += [*_doubt(study, designs, ranking, bench), *_sensitivities(study, bench)]
    return _finished(study, bench, designs, ranking, [text for text in more if text])


def _searched(search: Search, bench: _Bench, by: str) -> bool:
    """Compute, print and write a search; whether all went well."""
    bar = ProgressBar(sys.stderr, search.name, search.solves)
    try:
        records = run_search(search, lambda name, designs: bench.compute(name, designs, bar))
    finally:
        bar.close()
    ranking = rank(records, search.plan.terms, by, search.limits)
    print(table_text(ranking, _SHOWN), flush=True)
    study = search.study([Variant(record.name, record.changes) for record in records])
    if bench.pictures:
        path = search_path(search.name, records, search.goal, search.limits)
        save(draw_search([path]), bench.drawings / "search.png")
    return _finished(study, bench, study.designs(), ranking, [fields_text(ranking)])


def _finished(
    study: Study, bench: _Bench, designs: Sequence[Design], ranking: Ranking, more: Sequence[str]
) -> bool:
    for text in more:
        print(text, flush=True)
    write_results(bench.folder, study.name, ranking, "\n".join([table_text(ranking), *more]))
    by_name = {design.name: design for design in designs}
    if ranking.ordered:
        first = by_name[ranking.ordered[0].name].machine
        (bench.folder / "first.toml").write_text(machine_text(first), encoding="utf-8")
    tables = _switching(study, bench, ranking)
    undrawn = _draw(study, bench, by_name, ranking) if bench.pictures else []
    files = f"ranking.txt, ranking.csv, records.json, first.toml, {tables}maps/, pictures/"
    print(f"Written to {bench.folder}: {files}")
    for name, reason in undrawn:
        print(f"No pictures of {name}: {reason}", file=sys.stderr)
    failed = any(record.state in (State.FAILED, State.LOST) for record in ranking.apart)
    return bool(ranking.ordered) and not failed and not undrawn


def _drives(study: Study, records: Sequence[Record], by: str) -> str:
    """The order under each drive of the plan, beside that under the ideal square current."""
    if not study.plan.points:
        return ""
    conditions = {point.name: str(point) for point in study.plan.points}
    return drives_text(orders_under_drives(records, study.plan.terms, conditions, by, study.limits))


def _switching(study: Study, bench: _Bench, ranking: Ranking) -> str:
    """Write the winner's switching table, where one is asked for; the names of its files."""
    first = ranking.ordered[0] if ranking.ordered else None
    if study.switching is None or first is None or first.figures is None:
        return ""
    kept = bench.store.outcome(first.key) if first.outcome.flux_map is None else first.outcome
    if kept is None or kept.flux_map is None:
        return ""
    table = study.switching.table(kept.flux_map, first.figures.phase_resistance)
    write_angle_csv(table, bench.folder / "switching.csv")
    write_angle_header(table, bench.folder / "switching.h")
    return "switching.csv, switching.h, "


def _pareto(study: Study, records: Sequence[Record], bench: _Bench) -> str:
    if len(study.goals) < 2:
        return ""
    if bench.pictures:
        save(draw_pareto(pareto_points(records, study.goals)), bench.drawings / "pareto.png")
    return pareto_text(pareto_set(records, study.goals), study.goals)


def _doubt(study: Study, designs: Sequence[Design], ranking: Ranking, bench: _Bench) -> list[str]:
    names = [record.name for record in ranking.ordered[: study.sure_of]]
    doubted = [design for design in designs if design.name in names]
    if not study.spreads or not doubted:
        return []
    doubt = doubt_of(ranking, effects_of(study.name, doubted, study.spreads, ranking.by, bench.compute))
    if bench.pictures:
        save(draw_doubt(doubt), bench.drawings / "doubt.png")
    return [doubt_text(doubt)]


def _sensitivities(study: Study, bench: _Bench) -> list[str]:
    if study.sensitivities is None:
        return []
    base = study.design(Variant("base"))
    slopes = local_slopes(study.name, base, study.sensitivities, bench.compute)
    shares = global_shares(study.name, base, study.sensitivities, bench.compute)
    if bench.pictures:
        save(draw_shares(shares), bench.drawings / "sensitivities.png")
    return [sensitivity_text(slopes, shares)]


def _draw(study: Study, bench: _Bench, designs: dict[str, Design], ranking: Ranking) -> list[tuple[str, str]]:
    """Pictures of the first designs, one by one and together; returns what could not be drawn and why.

    An executor that was handed in may be on other computers: it computes, but pictures are drawn here.
    """
    executor = bench.executor if isinstance(bench.executor, WorkerPool) else InProcess()
    drawn, together = [], {}
    for record in ranking.ordered[:_DRAWN]:
        design, m, figures = designs[record.name], record.outcome.flux_map, record.figures
        if m is None and (kept := bench.store.outcome(record.key)) is not None:
            m = kept.flux_map
        if m is None or figures is None:
            continue
        what = (bench.drawings, design.name, design.machine, m, figures.current, design.plan.mesh)
        drawn.append((design.name, executor.submit(draw_design, *what, bench.solver.fields)))
        together[design.name] = m, design.plan.drive, figures.current
    draw_study(bench.drawings, together, study.plan.terms)
    errors = [(name, future.exception()) for name, future in drawn]
    return [(name, f"{type(error).__name__}: {error}") for name, error in errors if error is not None]


if __name__ == "__main__":
    raise SystemExit(run())

"""The command line: runs study files, prints rankings, draws pictures.

A study file defines `study = Study(...)` and ends with

    if __name__ == "__main__":
        raise SystemExit(run_study(study))

so that it runs as it is, with the same options as `python -m polefem run FILE`.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import os
import runpy
import sys
from collections.abc import Sequence
from pathlib import Path

from polefem.errors import InvalidValue, PolefemError, StoreRefused, refusal
from polefem.params import MeshSpec
from polefem.ranking import Ranking, csv_text, rank, table_text
from polefem.report import draw_design, draw_study
from polefem.study import (
    FIELD,
    Design,
    ProgressBar,
    Record,
    Solver,
    State,
    Store,
    Study,
    WorkerPool,
    run_designs,
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
_PICTURES = 8


def run(arguments: Sequence[str] | None = None) -> int:
    """`python -m polefem ...`; returns the exit status."""
    parser = argparse.ArgumentParser(
        prog="polefem",
        description="Decide the pole shapes of a switched reluctance machine.",
        epilog=_EXIT_STATUS,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
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
    return _run(study, options, FIELD)


def run_study(study: Study, arguments: Sequence[str] | None = None, solver: Solver = FIELD) -> int:
    """Run a study with the options on the command line: compute, rank, print, write; returns the exit status."""
    parser = argparse.ArgumentParser(
        description=f"Run the study '{study.name}' and print its ranking.",
        epilog=_EXIT_STATUS,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    _add_options(parser)
    return _run(study, parser.parse_args(arguments), solver)


def _add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--out", type=Path, metavar="FOLDER", help="where results go (results/ and the study's name)"
    )
    parser.add_argument("--workers", type=int, metavar="N", help="worker processes (as many as cores)")
    parser.add_argument("--mesh", choices=("coarse", "normal", "fine"), help="how fine (as the study says)")
    parser.add_argument(
        "--rank-by", metavar="FIGURE", default="ripple", help="the figure that orders (ripple)"
    )
    parser.add_argument(
        "--patience", type=float, metavar="S", help="seconds a design may take before its worker is stopped"
    )
    parser.add_argument("--no-pictures", action="store_true", help="numbers only")


def _study_in(file: Path) -> Study:
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
    if not isinstance(found, Study):
        name = type(found).__name__ if found is not None else "missing"
        raise InvalidValue(refusal("a study file defines a study", "study", name, "study = Study(...)"))
    return found


def _run(study: Study, options: argparse.Namespace, solver: Solver) -> int:
    folder = options.out or Path("results") / study.name.replace(" ", "_")
    try:
        if options.mesh:
            plan = dataclasses.replace(study.plan, mesh=MeshSpec.named(options.mesh))
            study = dataclasses.replace(study, plan=plan)
        workers = options.workers if options.workers is not None else len(os.sched_getaffinity(0))
        rank([], "", options.rank_by)
        pool = WorkerPool(workers, options.patience)
    except InvalidValue as mistake:
        return _mistaken(mistake)
    try:
        with Store(folder) as store:
            designs = study.designs()
            bar = ProgressBar(sys.stderr, study.name)
            records = run_designs(study.name, designs, store, pool, 2 * workers, solver, bar)
            ranking = rank(records, str(study.plan.basis), options.rank_by)
            print(table_text(ranking), flush=True)
            _write(folder, study, ranking)
            undrawn = [] if options.no_pictures else _draw(folder, study, designs, ranking, pool, solver)
        print(f"Written to {folder}: records.json, ranking.csv, ranking.txt, maps/, pictures/")
    except KeyboardInterrupt:
        pool.stop()
        print(
            f"\nStopped. What was computed is kept in {folder}; the same command goes on from there.",
            file=sys.stderr,
        )
        return INTERRUPTED
    except StoreRefused as refused:
        pool.stop()
        print(f"{refused}\nWhat was kept before stays; the same command goes on from there.", file=sys.stderr)
        return FAILED
    pool.shutdown()
    for name, reason in undrawn:
        print(f"No pictures of {name}: {reason}", file=sys.stderr)
    failed = any(record.state in (State.FAILED, State.LOST) for record in records)
    return FAILED if failed or undrawn or not ranking.ordered else ALL_WELL


def _mistaken(mistake: PolefemError) -> int:
    print(f"polefem: {mistake}", file=sys.stderr)
    return MISTAKEN


def _write(folder: Path, study: Study, ranking: Ranking) -> None:
    try:
        (folder / "ranking.txt").write_text(table_text(ranking), encoding="utf-8")
        (folder / "ranking.csv").write_text(csv_text(ranking), encoding="utf-8")
        records = [_plain(record) for record in (*ranking.ordered, *ranking.apart)]
        text = json.dumps({"study": study.name, "basis": ranking.basis, "records": records}, indent=1)
        (folder / "records.json").write_text(text, encoding="utf-8")
    except OSError as error:
        rule = "results need room to write"
        raise StoreRefused(
            refusal(rule, str(folder), f"not so ({error})", "a folder on a sound disk")
        ) from error


def _plain(record: Record) -> dict[str, object]:
    figures = dataclasses.asdict(record.figures) if record.figures else None
    outcome = record.outcome
    return {
        "name": record.name,
        "state": record.state.value,
        "reason": record.reason,
        "figures": figures,
        "torque_harmonics": list(outcome.harmonics),
        "changes": dict(record.changes),
        "seconds": dict(outcome.seconds),
        "versions": dict(record.versions),
        "map": f"maps/{record.key}.npz" if outcome.flux_map else None,
        "key": record.key,
    }


def _draw(
    folder: Path, study: Study, designs: Sequence[Design], ranking: Ranking, pool: WorkerPool, solver: Solver
) -> list[tuple[str, str]]:
    """Pictures of the study and of its first designs; returns what could not be drawn and why."""
    by_name = {design.name: design for design in designs}
    shown = [(by_name[r.name], r.outcome.flux_map, r.figures) for r in ranking.ordered[:_PICTURES]]
    whole = [(design, m, figures) for design, m, figures in shown if m is not None and figures is not None]
    drawn = [
        (
            design.name,
            pool.submit(
                draw_design,
                folder / "pictures",
                design.name,
                design.machine,
                m,
                figures.current,
                design.plan.mesh,
                solver.solve_state,
            ),
        )
        for design, m, figures in whole
    ]
    operations = {design.name: (m, design.plan.drive, figures.current) for design, m, figures in whole}
    draw_study(folder / "pictures", operations, str(study.plan.basis))
    errors = [(name, future.exception()) for name, future in drawn]
    return [(name, f"{type(error).__name__}: {error}") for name, error in errors if error is not None]

"""The command line: runs study files, prints rankings, writes pages, draws pictures.

A study file defines `study = Study(...)` or `study = Search(...)` and ends with

    if __name__ == "__main__":
        raise SystemExit(run_study(study))

so that it runs as it is, with the same options as `python -m polefem run FILE`. Results go to stdout, all that is said
about them to stderr.
"""

from __future__ import annotations

import argparse
import contextlib
import dataclasses
import functools
import os
import shlex
import sys
import traceback
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path

from polefem.errors import InvalidValue, PolefemError, StoreRefused, refusal
from polefem.export import Pages, write_pages, write_tables
from polefem.files import file_name, sweep, unfailing_streams
from polefem.params import MeshSpec
from polefem.ranking import rank, table_text
from polefem.report import (
    MOST,
    Findings,
    film_of,
    film_writer,
    findings_of,
    search_path,
    shapes_of,
    texts,
    write_film,
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
    Variant,
    WorkerPool,
    run_designs,
    run_search,
)
from polefem.study.stopping import Stopped, stoppable, undisturbed
from polefem.study.study_file import study_in
from polefem.version import __version__

__all__ = ["run", "run_study"]

ALL_WELL, FAILED, MISTAKEN, INTERRUPTED = 0, 1, 2, 130
_EXIT_STATUS = """exit status:
  0    every design has figures or was refused with a reason
  1    a design failed, or none has figures, or results could not be kept
  2    a mistake in the options, the study file or the machine it describes
  129, 130, 143  stopped (terminal closed, Ctrl-C, SIGTERM); the same command goes on from there
"""
_EXAMPLES = """examples:
  polefem run studies/pottery_wheel.py --mesh coarse --out results/trial
  polefem report studies/pottery_wheel.py --mesh coarse --out results/trial
  polefem animate studies/pottery_wheel.py --mesh coarse --out results/trial --shape tapered

`COMMAND --help` lists the options of a command. What was computed is kept in the folder: the same command goes on
where it was stopped, and another command does not compute it again.

"""
_SHOWN = 20  # designs in the table on the terminal; the files hold all


def run(arguments: Sequence[str] | None = None) -> int:
    """`python -m polefem ...`; returns the exit status."""
    given = sys.argv[1:] if arguments is None else list(arguments)
    options = _whole_parser().parse_args(given)
    means = _Means(f"python -m polefem {shlex.join(given)}")
    return _guarded(lambda: study_in(options.file), _ACTS[options.command], options, means)


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
    given = sys.argv[1:] if arguments is None else list(arguments)
    parser = _parser(argparse.ArgumentParser, "run", f"run the study '{study.name}' and print its ranking")
    options = parser.parse_args(given)
    means = _Means(f"python {shlex.join([sys.argv[0], *given])}", solver, executor, at_once)
    return _guarded(lambda: study, _print_and_write, options, means)


def _whole_parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        "polefem",
        description="Decide the pole shapes of a switched reluctance machine.",
        epilog=_EXAMPLES + _EXIT_STATUS,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"polefem {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for name, said in (
        ("run", "run a study file, print its ranking, write everything"),
        ("report", "write the page of a study, as HTML and Markdown, and print where it is"),
        ("animate", "write a film of one shape, its field and torque, and print where it is"),
    ):
        one = _parser(functools.partial(commands.add_parser, name, help=said), name, said)
        one.add_argument("file", type=Path, metavar="FILE", help="a Python file that defines `study`")
    return parser


def _parser(make: Callable[..., argparse.ArgumentParser], command: str, said: str) -> argparse.ArgumentParser:
    style = argparse.RawDescriptionHelpFormatter
    parser = make(description=f"{said[0].upper()}{said[1:]}.", epilog=_EXIT_STATUS, formatter_class=style)
    add = parser.add_argument
    add("--out", type=Path, metavar="FOLDER", help="where results go (results/ and the study's name)")
    add("--store", type=Path, metavar="FOLDER", help="where designs are kept, shared by studies (as --out)")
    add("--workers", type=int, metavar="N", help="worker processes (as many as cores)")
    add("--mesh", choices=("coarse", "normal", "fine"), help="how fine (as the study says)")
    add("--rank-by", metavar="FIGURE", help="the figure that orders (the study's first objective)")
    add(
        "--patience",
        type=float,
        metavar="S",
        help="seconds a design may take (30 times the longest, at least 600)",
    )
    if command == "animate":
        add("--shape", metavar="NAME", help="of the shape (the first of the ranking)")
        add("--frames", type=int, metavar="N", default=48, help="over a rotor pitch (48)")
        add("--film", type=Path, metavar="PATH", help="a .gif, or an .mp4 where ffmpeg is (in --out)")
    else:
        add(
            "--drawn",
            type=int,
            metavar="N",
            default=MOST,
            help=f"shapes that get pictures, best first ({MOST})",
        )
    if command == "run":
        add("--no-pictures", action="store_true", help="numbers only: no pictures, no page")
    add("--debug", action="store_true", help="with an error, what led to it as Python tells it")
    return parser


@dataclasses.dataclass(frozen=True, eq=False)
class _Means:
    """What a study is run with. command: the one that was given."""

    command: str
    solver: Solver = FIELD
    executor: Executor | None = None
    at_once: int | None = None


@dataclasses.dataclass(frozen=True, eq=False)
class _Bench:
    """Where designs are computed and results go. by: the figure that orders."""

    folder: Path
    store: Store
    executor: Executor
    at_once: int
    means: _Means
    options: argparse.Namespace
    by: str

    def compute(self, name: str, designs: Sequence[Design], bar: ProgressBar | None = None) -> list[Record]:
        bar = bar or ProgressBar(sys.stderr, name)
        return run_designs(name, designs, self.store, self.executor, self.at_once, self.means.solver, bar)


_Act = Callable[[Study | Search, _Bench], bool]


def _guarded(
    load: Callable[[], Study | Search], act: _Act, options: argparse.Namespace, means: _Means
) -> int:
    """Do what was asked; an error is told in a sentence, with what led to it where that is asked for."""
    kept = ""
    with unfailing_streams() as (out, _):
        try:
            with stoppable():
                study = load()
                folder = Path(options.out or Path("results") / file_name(study.name))
                kept = f" What was computed is kept in {options.store or folder}; the same command goes on from there."
                status = _run(study, folder, act, options, means)
                if isinstance(out.failure, OSError) and not isinstance(out.failure, BrokenPipeError):
                    raise OSError(f"results could not be printed ({out.failure}); they are in {folder}")
                return status
        except (Exception, KeyboardInterrupt) as error:
            if options.debug:
                traceback.print_exc()
            said, status = _told(error, kept)
            print(said, file=sys.stderr)
            return status


def _told(error: BaseException, kept: str) -> tuple[str, int]:
    """What is said of an error, and the exit status."""
    if isinstance(error, Stopped):
        return f"\nStopped by {error.name}.{kept}", error.status
    if isinstance(error, KeyboardInterrupt):
        return f"\nStopped.{kept}", INTERRUPTED
    if isinstance(error, StoreRefused | OSError):
        return f"polefem: {error}", FAILED
    if isinstance(error, PolefemError):
        return f"polefem: {error}", MISTAKEN
    place = traceback.extract_tb(error.__traceback__)[-1]
    where = f"({place.filename}, line {place.lineno}); --debug shows what led to it"
    return f"polefem: not foreseen: {type(error).__name__}: {error} {where}", FAILED


def _say(text: str | Path) -> None:
    """Print a result; where no one reads on (`| head`), the work goes on and its files are written all the same."""
    print(text, flush=True)


def _run(study: Study | Search, folder: Path, act: _Act, options: argparse.Namespace, means: _Means) -> int:
    by = options.rank_by or (study.objectives[0] if isinstance(study, Study) else study.objective)
    rank([], "", by)
    if options.mesh:
        plan = dataclasses.replace(study.plan, mesh=MeshSpec.named(options.mesh))
        study = dataclasses.replace(study, plan=plan)
    with _workers(options, means) as (executor, at_once), Store(options.store or folder) as store:
        try:
            folder.mkdir(parents=True, exist_ok=True)
            for place in (folder, folder / "pictures", folder / "shapes"):
                sweep(place)
            well = act(study, _Bench(folder, store, executor, at_once, means, options, by))
        except (StoreRefused, OSError) as error:
            goes_on = "What was kept before stays; the same command goes on from there."
            raise StoreRefused(f"{error}\n{goes_on}") from error
    return ALL_WELL if well else FAILED


@contextlib.contextmanager
def _workers(options: argparse.Namespace, means: _Means) -> Iterator[tuple[Executor, int]]:
    """What computes, and how many designs to give it at a time; worker processes end with it, at once on an error."""
    if means.executor is not None:
        for name in ("workers", "patience"):
            if (value := getattr(options, name)) is not None:
                rule = "an executor that is handed in has workers of its own"
                raise InvalidValue(refusal(rule, f"--{name}", value, "to say it where that executor is made"))
        yield means.executor, means.at_once or 64
        return
    workers = options.workers if options.workers is not None else len(os.sched_getaffinity(0))
    pool = WorkerPool(workers, options.patience)
    try:
        yield pool, 2 * workers
    except BaseException:
        with undisturbed():
            pool.stop()
        raise
    pool.shutdown()


def _found(study: Study | Search, bench: _Bench, tell: Callable[[str], None]) -> Findings:
    """Compute a study and what it asks for beyond; `tell` is told the ranking as soon as it is known, then the rest."""
    path = None
    if isinstance(study, Search):
        search, bar = study, ProgressBar(sys.stderr, study.name, study.evaluations)
        try:
            records = run_search(search, lambda name, designs: bench.compute(name, designs, bar))
        finally:
            bar.close()
        path = search_path(search.name, records, search.objective, search.limits)
        study = search.study([Variant(record.name, record.changes) for record in records])
    else:
        records = bench.compute(study.name, study.designs())
    ranking = rank(records, study.plan.terms, bench.by, study.limits)
    tell(table_text(ranking, _SHOWN))
    findings = findings_of(study, ranking, bench.compute, bench.store.outcome, bench.options.drawn)
    for text in texts(findings):
        tell(text)
    return dataclasses.replace(findings, path=path)


def _print_and_write(study: Study | Search, bench: _Bench) -> bool:
    """Compute, print and write a study; whether all went well."""
    findings = _found(study, bench, _say)
    files = write_tables(findings, bench.folder)
    pages = None if bench.options.no_pictures else _pages(findings, bench, files)
    held = [*files.values(), "maps/", *([path.name for path in pages.paths] if pages else [])]
    print(f"Written to {bench.folder}: {', '.join(held)}", file=sys.stderr)
    return findings.complete and not (pages and pages.undrawn)


def _report(study: Study | Search, bench: _Bench) -> bool:
    """Write the pages of a study, computing what is not yet there; print where they are."""
    findings = _found(study, bench, lambda text: None)
    pages = _pages(findings, bench, write_tables(findings, bench.folder))
    for path in pages.paths:
        _say(path)
    return findings.complete and not pages.undrawn


def _animate(study: Study | Search, bench: _Bench) -> bool:
    """Write the film of one shape of a study; print where it is."""
    if isinstance(study, Search):
        raise InvalidValue(refusal("a film is of a shape", "study", "a search", "a study of variants"))
    records = bench.compute(study.name, study.designs())
    ranking = rank(records, study.plan.terms, bench.by, study.limits)
    shapes = shapes_of(study, ranking, bench.store.outcome, len(records))
    wanted = bench.options.shape
    shape = next((shape for shape in shapes if wanted in (None, shape.name)), None)
    if shape is None:
        names = ", ".join(shape.name for shape in shapes) or "none: no shape has figures"
        raise InvalidValue(refusal("a film is of a shape that has figures", "--shape", repr(wanted), names))
    path = bench.options.film or bench.folder / f"{shape.stem}.gif"
    film_writer(path)  # refuses before anything is solved
    _say(write_film(film_of(shape, bench.means.solver.fields, bench.options.frames), path))
    return True


_ACTS: dict[str, _Act] = {"run": _print_and_write, "report": _report, "animate": _animate}


def _pages(findings: Findings, bench: _Bench, files: Mapping[str, str]) -> Pages:
    """Write the pages of a study, and say which shapes have no pictures.

    An executor that was handed in may be on other computers: it computes, but pictures are drawn here.
    """
    executor = bench.executor if isinstance(bench.executor, WorkerPool) else InProcess()
    means = bench.means
    pages = write_pages(findings, bench.folder, means.command, means.solver.fields, executor, files)
    for name, reason in pages.undrawn.items():
        print(f"No pictures of {name}: {reason}", file=sys.stderr)
    return pages


if __name__ == "__main__":
    raise SystemExit(run())

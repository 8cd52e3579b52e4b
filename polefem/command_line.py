"""The command line: reads options and study files, calls the front door, prints.

A study file defines `study = Study(...)` or `study = Search(...)` and ends with

    if __name__ == "__main__":
        raise SystemExit(main(study))

so that it runs as it is, with the same options as `python -m polefem run FILE`. Results go to stdout, all that is said
about them to stderr.
"""

from __future__ import annotations

import argparse
import dataclasses
import functools
import shlex
import sys
import traceback
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from polefem import bench
from polefem.bench import KINDS, Result, folder_of, run
from polefem.errors import MissingLibrary, PolefemError, StoreRefused
from polefem.files import unfailing_streams
from polefem.ranking import figures_text
from polefem.report import MOST
from polefem.study import FIELD, Executor, Search, Solver, Study
from polefem.study.stopping import Stopped, stoppable
from polefem.study.study_file import study_in
from polefem.version import __version__

__all__ = ["main"]

ALL_WELL, FAILED, MISTAKEN, INTERRUPTED = 0, 1, 2, 130
_EXIT_STATUS = """exit status:
  0    every design has figures or was refused with a reason
  1    a design failed, or none has figures, or results could not be kept
  2    a mistake in the options, the study file or the machine it describes
  129, 130, 143  stopped (terminal closed, Ctrl-C, SIGTERM); the same command goes on from there
"""
_MEASURE = """A Python file defines `bench = BenchSheet(...)`. Without readings, as with a machine's TOML, a measuring
plan is written, and a table to fill in for each kind of reading; with readings they are compared with the prediction,
the machine is corrected, written as TOML, and the file's study, if it has one, ranked again.
"""
_EXAMPLES = """examples:
  polefem run studies/pottery_wheel.py --mesh coarse --out results/trial
  polefem report studies/pottery_wheel.py --mesh coarse --out results/trial
  polefem animate studies/pottery_wheel.py --mesh coarse --out results/trial --shape tapered
  polefem export studies/pottery_wheel.py --mesh coarse --out results/trial --shape tapered --as dxf pdf
  polefem figures studies/pottery_wheel.py

`COMMAND --help` lists the options of a command. What was computed is kept in the folder: the same command goes on
where it was stopped, and another command does not compute it again.

"""


_DEBUG = "with an error, what led to it as Python tells it"


def main(
    study: Study | Search | None = None,
    arguments: Sequence[str] | None = None,
    solver: Solver = FIELD,
    executor: Executor | None = None,
    at_once: int | None = None,
) -> int:
    """Run a study with the options on the command line: compute, rank, print, write; returns the exit status.

    study: of the file that calls; None for `python -m polefem`, whose options name a command and a file.
    arguments: in place of those of the command line. solver, executor, at_once: as in `polefem.run`.
    """
    given = sys.argv[1:] if arguments is None else list(arguments)
    if study is None:
        options = _whole_parser().parse_args(given)
        if options.command == "figures":
            return _listed(options)
        if options.command == "measure":
            return _measured(options)
        command = f"python -m polefem {shlex.join(given)}"
        call = _Call(lambda: study_in(options.file), options, command, solver, executor, at_once)
        return _guarded(call, _ACTS[options.command])
    own = study
    parser = _parser(argparse.ArgumentParser, "run", f"run the study '{own.name}' and print its ranking")
    command = f"python {shlex.join([sys.argv[0], *given])}"
    call = _Call(lambda: own, parser.parse_args(given), command, solver, executor, at_once)
    return _guarded(call, _print_and_write)


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
        ("export", "write one shape as files that other programs open, and print where they are"),
    ):
        one = _parser(functools.partial(commands.add_parser, name, help=said), name, said)
        one.add_argument("file", type=Path, metavar="FILE", help="a Python file that defines `study`")
    said = "list the figures that designs are ranked by"
    figures = commands.add_parser("figures", help=said, description=f"{said[0].upper()}{said[1:]}.")
    figures.add_argument(
        "file", type=Path, metavar="FILE", nargs="?", help="a study, for those of its drives too"
    )
    figures.add_argument("--debug", action="store_true", help=_DEBUG)
    _add_measure(commands)
    return parser


def _add_measure(commands: Any) -> None:
    said = "plan what to measure on a built machine, or correct it by what was read"
    style = argparse.RawDescriptionHelpFormatter
    one = commands.add_parser("measure", help=said, description=_MEASURE, formatter_class=style)
    one.add_argument(
        "file", type=Path, metavar="FILE", help="a machine as TOML, or a Python file that defines `bench`"
    )
    add = one.add_argument
    add("--out", type=Path, metavar="FOLDER", help="where results go (results/ and the machine's name)")
    add("--mesh", choices=("coarse", "normal", "fine"), help="how fine (normal, or as the file says)")
    add(
        "--current",
        type=float,
        metavar="A",
        default=5.0,
        help="the most that the bench drives, for a TOML file (5)",
    )
    add("--points", type=int, metavar="N", help="to measure (16, or as the file says)")
    add("--workers", type=int, metavar="N", help="worker processes for the file's study (as many as cores)")
    add("--debug", action="store_true", help="with an error, what led to it as Python tells it")


def _parser(make: Callable[..., argparse.ArgumentParser], command: str, said: str) -> argparse.ArgumentParser:
    style = argparse.RawDescriptionHelpFormatter
    parser = make(description=f"{said[0].upper()}{said[1:]}.", epilog=_EXIT_STATUS, formatter_class=style)
    add = parser.add_argument
    add("--out", type=Path, metavar="FOLDER", help="where results go (results/ and the study's name)")
    add("--store", type=Path, metavar="FOLDER", help="where designs are kept, shared by studies (as --out)")
    add("--workers", type=int, metavar="N", help="worker processes (default: all cores)")
    add("--mesh", choices=("coarse", "normal", "fine"), help="how fine (as the study says)")
    orders = "the figure that orders, one of `polefem figures FILE` (the study's first objective)"
    add("--rank-by", metavar="FIGURE", help=orders)
    add(
        "--patience",
        type=float,
        metavar="S",
        help="seconds a design may take (30 times the longest, at least 600)",
    )
    if command in ("animate", "export"):
        add("--shape", metavar="NAME", help="of the shape (the first of the ranking)")
    if command == "animate":
        add("--frames", type=int, metavar="N", default=48, help="over a rotor pitch (48)")
        add("--film", type=Path, metavar="PATH", help="a .gif, or an .mp4 where ffmpeg is (in --out)")
    elif command == "export":
        forms = "; ".join(f"{kind}: {held}" for kind, held in KINDS.items())
        add("--as", nargs="+", choices=KINDS, metavar="KIND", dest="kinds", help=f"some of {forms} (all)")
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
    add("--debug", action="store_true", help=_DEBUG)
    return parser


@dataclass(frozen=True, eq=False)
class _Call:
    """What was asked for. load: gives the study. command: that was given."""

    load: Callable[[], Study | Search]
    options: argparse.Namespace
    command: str
    solver: Solver
    executor: Executor | None
    at_once: int | None

    def folder(self, study: Study | Search) -> Path:
        return self.options.out or folder_of(study)

    def means(self, study: Study | Search) -> dict[str, Any]:
        """What `run`, `film` and `export` take alike."""
        options = self.options
        return {
            "workers": options.workers,
            "folder": self.folder(study),
            "store": options.store,
            "mesh": options.mesh,
            "rank_by": options.rank_by,
            "patience": options.patience,
            "executor": self.executor,
            "at_once": self.at_once,
            "solver": self.solver,
        }


_Act = Callable[[Study | Search, _Call], bool]


def _measured(options: argparse.Namespace) -> int:
    """Plan what to measure, or correct by what was read; the exit status."""
    with unfailing_streams():
        try:
            with stoppable():
                sheet = bench.bench_in(options.file, options.current)
                changes = {
                    name: getattr(options, name) for name in ("mesh", "points") if getattr(options, name)
                }
                sheet = dataclasses.replace(sheet, **changes)
                if sheet.readings is None:
                    _, files = bench.plan_measurements(sheet, options.out)
                    _say("\n".join(map(str, files.values())))
                    return ALL_WELL
                tell = functools.partial(print, file=sys.stderr)
                found = bench.measure(sheet, options.out, tell=tell, workers=options.workers)
                _say(str(found))
                _say("\n".join(map(str, found.files.values())))
                return ALL_WELL
        except (Exception, KeyboardInterrupt) as error:
            if options.debug:
                traceback.print_exc()
            text, status = _told(error, "")
            print(text, file=sys.stderr)
            return status


def _guarded(call: _Call, act: _Act) -> int:
    """Do what was asked; an error is told in a sentence, with what led to it where that is asked for."""
    kept, options = "", call.options
    with unfailing_streams() as (out, _):
        try:
            with stoppable():
                study = call.load()
                folder = call.folder(study)
                kept = f" What was computed is kept in {options.store or folder}; the same command goes on from there."
                status = ALL_WELL if act(study, call) else FAILED
                if isinstance(out.failure, OSError) and not isinstance(out.failure, BrokenPipeError):
                    raise OSError(f"results could not be printed ({out.failure}); they are in {folder}")
                return status
        except (Exception, KeyboardInterrupt) as error:
            if options.debug:
                traceback.print_exc()
            said, status = _told(error, kept)
            print(said, file=sys.stderr)
            return status


def _listed(options: argparse.Namespace) -> int:
    """Print the figures that designs are ranked by, with those at the operating points of a study."""
    try:
        _say(figures_text(None if options.file is None else study_in(options.file).plan))
    except Exception as error:
        if options.debug:
            traceback.print_exc()
        said, status = _told(error, "")
        print(said, file=sys.stderr)
        return status
    return ALL_WELL


def _told(error: BaseException, kept: str) -> tuple[str, int]:
    """What is said of an error, and the exit status."""
    if isinstance(error, Stopped):
        return f"\nStopped by {error.name}.{kept}", error.status
    if isinstance(error, KeyboardInterrupt):
        return f"\nStopped.{kept}", INTERRUPTED
    if isinstance(error, StoreRefused | MissingLibrary | OSError):
        return f"polefem: {error}", FAILED
    if isinstance(error, PolefemError):
        return f"polefem: {error}", MISTAKEN
    place = traceback.extract_tb(error.__traceback__)[-1]
    file, here = Path(place.filename), Path.cwd()
    file = file.relative_to(here) if file.is_relative_to(here) else file
    where = f"({file}, line {place.lineno}); --debug shows what led to it"
    return f"polefem: not foreseen: {type(error).__name__}: {error} {where}", FAILED


def _say(text: str | Path) -> None:
    """Print a result; where no one reads on (`| head`), the work goes on and its files are written all the same."""
    print(text, flush=True)


def _run(
    study: Study | Search, call: _Call, tell: Callable[[str], None] = lambda text: None, pages: bool = True
) -> Result:
    drawn, means = call.options.drawn, call.means(study)
    result = run(study, drawn=drawn, pages=pages, command=call.command, tell=tell, **means)
    for name, reason in result.undrawn.items():
        print(f"Not all pictures of {name}: {reason}", file=sys.stderr)
    return result


def _print_and_write(study: Study | Search, call: _Call) -> bool:
    """Compute, print and write a study; whether all went well."""
    result = _run(study, call, _say, not call.options.no_pictures)
    held = [*result.files.values(), "maps/", *(path.name for path in result.pages)]
    held += ["sheets/"] if result.pages and result.findings.shapes else []
    print(f"Written to {result.folder}: {', '.join(held)}", file=sys.stderr)
    return result.complete


def _report(study: Study | Search, call: _Call) -> bool:
    """Write the pages of a study, computing what is not yet there; print where they are."""
    result = _run(study, call)
    for path in result.pages:
        _say(path)
    return result.complete


def _animate(study: Study | Search, call: _Call) -> bool:
    """Write the film of one shape of a study; print where it is."""
    options, means = call.options, call.means(study)
    _say(bench.film(study, options.shape, frames=options.frames, path=options.film, **means))
    return True


def _export(study: Study | Search, call: _Call) -> bool:
    """Write one shape of a study as files that other programs open; print where they are."""

    def tell(said: str) -> None:
        print(said, file=sys.stderr)

    for path in bench.export(
        study, call.options.shape, kinds=call.options.kinds, tell=tell, **call.means(study)
    ):
        _say(path)
    return True


_ACTS: dict[str, _Act] = {
    "run": _print_and_write,
    "report": _report,
    "animate": _animate,
    "export": _export,
}

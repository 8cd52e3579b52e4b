"""A machine on the bench by one call: its measuring plan written, or what was read compared, corrected and ranked
again."""

from __future__ import annotations

import io
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from polefem.bench.result import Result
from polefem.bench.running import run
from polefem.errors import InvalidValue, refusal
from polefem.files import file_name, write_text
from polefem.measured import (
    BenchSheet,
    Correction,
    Kind,
    MeasuringPlan,
    bench_in,
    corrected_study,
    corrected_text,
    fitted,
    found_sentences,
    unit_of,
)
from polefem.report import bench_html, bench_markdown, correction_page, plan_page
from polefem.units import deg

__all__ = ["Measured", "bench_in", "measure", "plan_measurements"]

#: Columns of a table to fill in: the quantity that is read, in the unit that its column states.
_READ: dict[Kind, str] = {
    "inductance": "inductance [mH]",
    "flux linkage": "flux linkage [mWb]",
    "torque": "torque [N m]",
    "mutual inductance": "voltage [V]",
}


@dataclass(frozen=True, eq=False)
class Measured:
    """What a machine on the bench came to.

    correction: of the causes. folder: with all that was written; files: there, by what they hold. before, after:
    the sheet's study run with the machine as drawn and as corrected; None where it has no study.
    """

    correction: Correction
    folder: Path
    files: dict[str, Path]
    before: Result | None = None
    after: Result | None = None

    def __str__(self) -> str:
        return "\n".join(found_sentences(self.correction))


def bench_folder(sheet: BenchSheet) -> Path:
    """Where what is written about a machine on the bench goes if nothing else is said."""
    return Path("results") / f"{file_name(sheet.name)}_on_the_bench"


def plan_measurements(
    sheet: BenchSheet, folder: str | Path | None = None
) -> tuple[MeasuringPlan, dict[str, Path]]:
    """Choose what to measure, and write the page and a table to fill in for each kind of reading.

    Returns the plan, and what was written by what it holds. Raises what `flux_map` raises.
    """
    place = Path(folder or bench_folder(sheet))
    plan = sheet.plan()
    files = _pages(plan_page(sheet, plan), place, "measuring_plan")
    for kind in dict.fromkeys(plan.points.kinds):
        path = place / f"{file_name(kind)}.csv"
        write_text(path, _to_fill_in(sheet, plan, kind))
        files[kind] = path
    return plan, files


def measure(
    sheet: BenchSheet,
    folder: str | Path | None = None,
    *,
    tell: Callable[[str], None] = lambda text: None,
    **running: Any,
) -> Measured:
    """Compare what was read with the prediction, correct the machine, rank the sheet's study again, write it all.

    tell: is told what is being done. running: options of `run` for the study, such as workers and mesh.
    Raises InvalidValue for a sheet without readings, and what `flux_map` and `run` raise.
    """
    if sheet.readings is None:
        rule, allowed = (
            "a machine is corrected by what was read",
            "readings, or `plan_measurements` before there are any",
        )
        raise InvalidValue(refusal(rule, "readings", "none", allowed))
    place = Path(folder or bench_folder(sheet))
    place.mkdir(parents=True, exist_ok=True)
    predictor = sheet.predictor
    tell("the machine as drawn")
    correction = fitted(
        predictor.drawn, sheet.readings, sheet.tolerances, again=predictor.corrected, tell=tell
    )
    before = after = None
    if sheet.study is not None:
        options = {"pages": False, "progress": False, **running}
        tell(f"{sheet.study.name}, as drawn and as corrected")
        plain = replace(
            sheet.study, tolerances=()
        )  # what the workshop does is asked of the corrected one alone
        before = run(plain, folder=place / "as_drawn", **options)
        next_study = corrected_study(sheet.study, sheet.machine, correction)
        after = run(next_study, folder=place / "as_corrected", **options)
    orders = [None if result is None else result.findings for result in (before, after)]
    files = _pages(correction_page(sheet, correction, *orders), place, "measured")
    files["machine"] = place / f"{file_name(sheet.name)}_corrected.toml"
    write_text(files["machine"], corrected_text(sheet.machine, correction))
    return Measured(correction, place, files, before, after)


def _pages(sheet: Any, place: Path, stem: str) -> dict[str, Path]:
    place.mkdir(parents=True, exist_ok=True)
    for part in sheet.parts:
        for picture in part.pictures:
            picture.write(place / "pictures")
    files = {"page": place / f"{stem}.html", "text": place / f"{stem}.md"}
    write_text(files["page"], bench_html(sheet))
    write_text(files["text"], bench_markdown(sheet))
    return files


def _to_fill_in(sheet: BenchSheet, plan: MeasuringPlan, kind: Kind) -> str:
    """A table with all but what is read; the expected values stand behind hashes, which readers pass over."""
    out = io.StringIO()
    unit = _READ[kind].rstrip("]").partition(" [")[2]
    out.write(f"# {kind} of {sheet.name}: fill in what was read, and its deviation in {unit}\n")
    alternating = kind in ("inductance", "mutual inductance")
    more = ["frequency [Hz]"] if alternating else []
    heads = ["angle [deg]", "current [A]", *more, _READ[kind], f"deviation [{unit}]"]
    out.write(f"{', '.join(heads)}\n")
    points = plan.points
    for k in points.of(kind).nonzero()[0]:
        size = unit_of(kind)[1]
        if kind == "mutual inductance":  # a voltmeter reads it
            size = 1.0 / (2 * math.pi * sheet.frequency * float(points.currents[k]))
        row = [f"{points.angles[k] / deg:.6g}", f"{points.currents[k]:.6g}"]
        row += [f"{sheet.frequency:.6g}"] if alternating else []
        expected = f"expected {points.values[k] / size:.4g} +- {plan.bands[k] / size:.2g} {unit}"
        out.write(f"{', '.join(row)}, ,  # {expected}; resolve {plan.resolutions[k] / size:.2g}\n")
    return out.getvalue()

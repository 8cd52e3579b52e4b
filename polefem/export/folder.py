"""The folder of a study: tables, what the winner's builder needs, pages with their pictures, files of each shape."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from polefem.drive import write_angle_csv, write_angle_header
from polefem.export.shapes import write_shape
from polefem.files import write_text
from polefem.params.toml import machine_text
from polefem.ranking import table_text
from polefem.report import (
    Findings,
    Picture,
    html_text,
    markdown_text,
    page_of,
    shape_pictures,
    study_pictures,
    texts,
    winner_pictures,
    write_results,
)
from polefem.report.pictures import Fields
from polefem.study import Executor

__all__ = ["Pages", "write_pages", "write_tables"]


@dataclass(frozen=True)
class Pages:
    """Where the pages of a study are. undrawn: shapes that have no pictures on them, and why."""

    paths: tuple[Path, ...]
    undrawn: Mapping[str, str]


def write_tables(findings: Findings, folder: Path) -> dict[str, str]:
    """Write what a study found as tables, and what the winner's builder needs; names of files by what they hold.

    Raises StoreRefused where there is no room.
    """
    ranking, winner = findings.ranking, findings.winner
    write_results(folder, findings.study.name, ranking, "\n".join([table_text(ranking), *texts(findings)]))
    files = {
        "ranking (text)": "ranking.txt",
        "ranking (CSV)": "ranking.csv",
        "all records (JSON)": "records.json",
    }
    if winner is not None:
        write_text(folder / "first.toml", machine_text(winner.design.machine))
        files["first machine (TOML)"] = "first.toml"
    if findings.switching is not None:
        write_angle_csv(findings.switching, folder / "switching.csv")
        write_angle_header(findings.switching, folder / "switching.h")
        files |= {"switching table (CSV)": "switching.csv", "switching table (C)": "switching.h"}
    return files


def write_pages(
    findings: Findings,
    folder: Path,
    command: str,
    fields: Fields,
    executor: Executor,
    files: Mapping[str, str] | None = None,
) -> Pages:
    """Write `report.html`, which needs nothing beside it, and `report.md` with `pictures/`; and files of each shape.

    command: that makes the pages again. fields: gives the fields to be drawn. executor: draws the shapes. files: that
    the pages shall name, as `write_tables` gives them.
    """
    winner = findings.winner
    together = study_pictures(findings)
    first = winner_pictures(winner) if winner is not None else ()
    apiece, undrawn = _drawn(findings, fields, executor)
    for picture in (*together, *first, *(p for pictures in apiece.values() for p in pictures)):
        picture.write(folder / "pictures")
    own = {}
    for shape in findings.shapes:
        written = write_shape(shape.design.machine, shape.phase_map, folder / "shapes", shape.stem)
        own[shape.name] = {said: path.relative_to(folder).as_posix() for said, path in written.items()}
    page = page_of(findings, together, first, apiece, command, files, own)
    paths = folder / "report.html", folder / "report.md"
    for path, text in zip(paths, (html_text(page), markdown_text(page)), strict=True):
        write_text(path, text)
    return Pages(paths, undrawn)


def _drawn(
    findings: Findings, fields: Fields, executor: Executor
) -> tuple[dict[str, tuple[Picture, ...]], dict[str, str]]:
    """The pictures of shapes by name, and why some have none."""
    asked = {shape.name: executor.submit(shape_pictures, shape, fields) for shape in findings.shapes}
    errors = {name: future.exception() for name, future in asked.items()}
    undrawn = {name: f"{type(e).__name__}: {e}" for name, e in errors.items() if e is not None}
    return {name: future.result() for name, future in asked.items() if name not in undrawn}, undrawn

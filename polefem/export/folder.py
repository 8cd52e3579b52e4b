"""The folder of a study: tables, what the winner's builder needs, pages with their pictures, files of each shape."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from polefem.drive import write_angle_csv, write_angle_header
from polefem.export.shapes import shape_files, write_shape
from polefem.export.sheets import shape_sheets
from polefem.files import write_text
from polefem.params.toml import machine_text
from polefem.report import (
    Drawing,
    Findings,
    KeptFiles,
    KeptPictures,
    Page,
    Picture,
    code_of,
    descent_drawings,
    drawing_key,
    html_text,
    markdown_text,
    page_of,
    shape_drawings,
    shape_pictures,
    speed_drawings,
    study_drawings,
    texts,
    winder_drawings,
    winner_drawings,
    write_results,
)
from polefem.study import Executor
from polefem.version import __version__

__all__ = ["Pages", "write_pages", "write_tables"]


@dataclass(frozen=True)
class Pages:
    """Where the pages of a study are, and the pictures on them. undrawn: shapes that lack pictures, and why."""

    paths: tuple[Path, ...]
    pictures: tuple[Picture, ...]
    undrawn: Mapping[str, str]


def write_tables(findings: Findings, folder: Path) -> dict[str, str]:
    """Write what a study found as tables, and what the winner's builder needs; names of files by what they hold.

    Raises StoreRefused where there is no room.
    """
    ranking, winner = findings.ranking, findings.winner
    write_results(folder, findings.study.name, ranking, "\n".join(texts(findings)))
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
    executor: Executor,
    files: Mapping[str, str] | None = None,
) -> Pages:
    """Write `report.html`, which needs nothing beside it, and `report.md` with `pictures/`; of each shape sheets to
    print, in `sheets/`, and files, in `shapes/`.

    A picture is drawn, and a file written, where what it shows, or the code that makes it, is not that of the one that
    is there.

    command: that makes the pages again. executor: draws the shapes. files: that the pages shall name, as `write_tables`
    gives them.
    """
    winner = findings.winner
    kept = KeptPictures(folder / "pictures")
    together = _pictures(study_drawings(findings), kept)
    first = _pictures(winner_drawings(winner), kept) if winner is not None else ()
    wound = _pictures(winder_drawings(winner), kept) if winner is not None else ()
    at_speed = _pictures(speed_drawings(findings), kept)
    apiece, undrawn = _of_shapes(findings, kept, executor)
    written = KeptFiles(folder)
    sheets = shape_sheets(findings.shapes, folder / "sheets", executor, written)
    own = {}
    for shape in findings.shapes:
        held = shape_files(folder / "shapes", shape.stem)
        given = (shape.design.machine, shape.phase_map)
        write = partial(write_shape, *given, folder / "shapes", shape.stem)
        written.write(tuple(held.values()), drawing_key(*given, code_of(Path(__file__).parent)), write)
        held = {**held, **sheets.get(shape.name, {})}
        own[shape.name] = {said: path.relative_to(folder).as_posix() for said, path in held.items()}
    ways = {
        lever: _pictures(descent_drawings(descent, lever), kept)
        for lever, descent in findings.descents.items()
    }
    page = page_of(findings, together, first, apiece, command, files, own, wound, at_speed, ways)
    paths = folder / "report.html", folder / "report.md"
    for path, text in zip(paths, (html_text, markdown_text), strict=True):
        written.write((path,), drawing_key(page, __version__), partial(_write, path, text, page))
    written.close()
    pictures = (
        *together,
        *(picture for some in ways.values() for picture in some),
        *first,
        *wound,
        *at_speed,
        *(picture for some in apiece.values() for picture in some),
    )
    return Pages(paths, pictures, undrawn)


def _write(path: Path, text: Callable[[Page], str], page: Page) -> None:
    write_text(path, text(page))


def _pictures(drawings: Sequence[Drawing], kept: KeptPictures) -> tuple[Picture, ...]:
    """The pictures of drawings, each as it is kept or drawn here and kept."""
    pictures = []
    for drawing in drawings:
        picture = kept.known(drawing)
        if picture is None:
            picture = drawing.picture()
            kept.keep([(drawing, picture)])
        pictures.append(picture)
    return tuple(pictures)


def _of_shapes(
    findings: Findings, kept: KeptPictures, executor: Executor
) -> tuple[dict[str, tuple[Picture, ...]], dict[str, str]]:
    """The pictures of shapes by name, and why some have none; the executor draws what is not kept."""
    drawings = {shape.name: shape_drawings(shape) for shape in findings.shapes}
    wanted = {name: [d for d in some if kept.known(d) is None] for name, some in drawings.items()}
    asked = {
        shape.name: executor.submit(shape_pictures, shape, [d.name for d in wanted[shape.name]])
        for shape in findings.shapes
        if wanted[shape.name]
    }
    undrawn = {}
    for name, future in asked.items():
        if (error := future.exception()) is not None:
            undrawn[name] = f"{type(error).__name__}: {error}"
        else:
            kept.keep(zip(wanted[name], future.result(), strict=True))
    pictures = {name: tuple(p for d in some if (p := kept.known(d))) for name, some in drawings.items()}
    return pictures, undrawn

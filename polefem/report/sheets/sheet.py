"""A sheet: views at a scale on paper, beside them words, and a bar to check the print by."""

from __future__ import annotations

import io
import math
import re
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from polefem.errors import GeometryRefused, refusal
from polefem.files import complete
from polefem.report import plotting
from polefem.report.sheets.paper import (
    APART,
    COLUMN,
    ENLARGED,
    INCH,
    LETTER,
    LINE,
    MARGIN,
    PAPERS,
    SCALES,
    WORDS,
    Paper,
    Spot,
    placed,
    scale_words,
)
from polefem.report.sheets.view import View, keys, one_line, put
from polefem.report.style import EDGE
from polefem.units import mm

__all__ = ["BAR", "Sheet", "compose", "pdf_of", "plate", "write_pdf", "write_sheets"]

BAR = 50.0
"""Length on paper of the bar that a print is checked by, mm."""
_PLATE = 115.0  # mm: width of a picture that a phone shows without making its words too small
_PLATE_WORDS = 10.0  # pt
_BAR_LINES = 5  # of words, for which the bar takes the room
_UNIT = re.compile(r"(?<=\d) (?=(?:mm|m|kg|ohm|°C|%)\b|°C|%)")
_PLACE = re.compile(r'width="[\d.]+pt" height="[\d.]+pt"')


@dataclass(frozen=True, eq=False)
class Sheet:
    """A sheet to print. name: what it is for, also of its file: "to-cut". title: for people. scale: lengths of the
    machine over those on paper. paper: what it is printed on. words: that stand on it, line by line. figure: the
    drawing, of the paper's very size."""

    name: str
    title: str
    scale: float
    paper: Paper
    words: tuple[str, ...]
    figure: plotting.Figure

    def svg(self) -> bytes:
        """As SVG, its size said in millimetres; the same sheet gives the same bytes."""
        text = io.StringIO()
        canvas: Any = plotting.FigureCanvasSVG(self.figure)
        with plotting.rc_context({"svg.hashsalt": self.title}):
            canvas.print_svg(text, metadata={"Date": None, "Title": self.title})
        size = f'width="{self.paper.width:g}mm" height="{self.paper.height:g}mm"'
        return _PLACE.sub(size, text.getvalue(), count=1).encode()

    def write(self, path: str | Path) -> Path:
        """Write it as .svg or .pdf, as the path's ending says."""
        path = Path(path)
        if path.suffix.lower() == ".pdf":
            return write_pdf([self], path)
        data = self.svg()
        with complete(path) as part:
            part.write_bytes(data)
        return path

    def __repr__(self) -> str:
        return f"Sheet({self.title!r}, {scale_words(self.scale)} on {self.paper.name})"


def pdf_of(sheets: Sequence[Sheet]) -> bytes:
    """Sheets as one PDF, a page each."""
    out = io.BytesIO()
    with plotting.PdfPages(out, metadata={"CreationDate": None, "Title": sheets[0].title}) as pages:
        for sheet in sheets:
            plotting.FigureCanvasPdf(sheet.figure)
            pages.savefig(sheet.figure)
    return out.getvalue()


def write_pdf(sheets: Sequence[Sheet], path: str | Path) -> Path:
    """Write sheets as one PDF, a page each; returns where."""
    path = Path(path)
    data = pdf_of(sheets)
    with complete(path) as part:
        part.write_bytes(data)
    return path


def write_sheets(sheets: Sequence[Sheet], folder: str | Path, stem: str) -> dict[str, Path]:
    """Write sheets into a folder: each as SVG, and all as one PDF; returns what they are and where."""
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    written = {"sheets to print (PDF)": write_pdf(sheets, folder / f"{stem}-sheets.pdf")}
    for sheet in sheets:
        what = "of the poles" if sheet.name == "poles" else sheet.name.replace("-", " ")
        written[f"sheet {what} (SVG)"] = sheet.write(folder / f"{stem}-{sheet.name}.svg")
    return written


def compose(
    name: str, title: str, views: Sequence[View], words: Sequence[str], enlarge: bool = False
) -> Sheet:
    """Put views on the smallest paper that takes them at true size; where none does, at the largest scale that fits.

    words: sentences beside them. enlarge: whether small things are shown larger, on A4, as far as it goes.
    """
    keyed = [f"A: {one_line(each.text)}" for view in views for each in view.leaders]
    scale, paper, count, spots = _fitted(title, views, [*words, *keyed], enlarge)
    figure = plotting.Figure(figsize=(paper.width / INCH, paper.height / INCH))
    letters, said = keys(), list(words)
    up = MARGIN + paper.height - 2 * MARGIN - paper.room(count)[1]
    for view, (x, y) in zip(views, spots, strict=True):
        said += put(figure, view, (x + MARGIN, y + up), scale, WORDS, letters)
    lines = _lines(title, scale, paper, views, said)
    _write_words(figure, paper, lines, any(view.to_scale for view in views), scale)
    return Sheet(name, title, scale, paper, tuple(lines), figure)


def plate(view: View) -> plotting.Figure:
    """A view as a picture of a page, narrow enough for a phone, what its letters stand for below it."""
    scale = 1.0
    if view.to_scale:
        beside = view.size(1e9)[0]  # what does not grow with the scale
        left, low, right, high = view.box
        scale = max((right - left) / mm / (_PLATE - beside), (high - low) / mm / _PLATE)
    width, height = view.size(scale)
    letters = math.floor((width - 6.0) / (LETTER * _PLATE_WORDS / WORDS))
    keyed = [f"A: {one_line(leader.text)}" for leader in view.leaders]
    count = sum(len(_wrapped(line, letters)) for line in keyed)
    below = (count + 1) * LINE if keyed else 0.0
    figure = plotting.Figure(figsize=(width / INCH, (height + below) / INCH))
    said = put(figure, view, (0.0, below), scale, _PLATE_WORDS, keys())
    lines = [line for sentence in said for line in _wrapped(sentence, letters)]
    _write_lines(figure, lines, (3.0, below - 0.5 * LINE), _PLATE_WORDS)
    return figure


def _fitted(
    title: str, views: Sequence[View], sentences: Sequence[str], enlarge: bool
) -> tuple[float, Paper, int, tuple[Spot, ...]]:
    """Scale, paper, how many lines of words stand on it, the bar among them, and where views lie.

    Raises GeometryRefused for what no paper takes.
    """
    small = [(scale, paper) for scale in ENLARGED if enlarge for paper in PAPERS[:2]]
    usual = [(scale, paper) for scale in SCALES for paper in PAPERS]
    for scale, paper in (*small, *usual):
        count = len(_lines(title, scale, paper, views, sentences)) + _BAR_LINES
        spots = placed([view.size(scale) for view in views], paper.room(count))
        if spots is not None:
            return scale, paper, count, spots
    rule, most = "a drawing must fit on paper", f"what fits A3 at {scale_words(SCALES[-1])}"
    raise GeometryRefused(refusal(rule, "sheet", title, most))


def _lines(title: str, scale: float, paper: Paper, views: Sequence[View], said: Sequence[str]) -> list[str]:
    """What stands on a sheet, a line each."""
    sentences = [title, ""]
    if any(view.to_scale for view in views):
        true = "true size" if scale == 1 else "not true size"
        sentences.append(
            f"Scale {scale_words(scale)} on {paper.name}, {true}. Print at 100 %, not fitted to the page, and "
            "measure the bar. Lengths in mm."
        )
    letters = math.floor(paper.column / LETTER)
    return [line for sentence in (*sentences, *said) for line in _wrapped(sentence, letters)]


def _wrapped(sentence: str, letters: int) -> list[str]:
    """Lines of so many letters at the most; a number is not parted from its unit."""
    sentence = _UNIT.sub("\N{NO-BREAK SPACE}", sentence)
    return textwrap.wrap(sentence, letters, subsequent_indent="    ") or [""]


def _write_words(
    figure: plotting.Figure, paper: Paper, lines: Sequence[str], bar: bool, scale: float
) -> None:
    """Words in columns, the first beginning with the title; the bar at the foot of the last."""
    rows, top = len(lines), paper.height - MARGIN
    if paper.upright:
        rows = math.ceil((len(lines) + _BAR_LINES) / paper.columns)
        top = MARGIN + (rows + 1) * LINE
    first = MARGIN if paper.upright else paper.width - MARGIN - paper.column
    left = first
    for column in range(paper.columns):
        left = first + column * (paper.column + APART)
        own = lines[column * rows : (column + 1) * rows]
        _write_lines(figure, own, (left, top), WORDS, titled=0 if column else [*lines, ""].index(""))
    if bar:
        _draw_bar(figure, (left, MARGIN), scale)


def _write_lines(
    figure: plotting.Figure,
    lines: Sequence[str],
    spot: tuple[float, float],
    size: float,
    titled: int = 0,
) -> None:
    """titled: how many of the lines are of a title."""
    width, height = figure.get_size_inches() * INCH
    for at, line in enumerate(lines):
        if line:
            figure.text(
                spot[0] / width,
                (spot[1] - (at + 0.5) * LINE) / height,
                line,
                fontsize=size,
                fontweight="bold" if at < titled else "normal",
                color=EDGE,
                va="center",
            )


def _draw_bar(figure: plotting.Figure, corner: tuple[float, float], scale: float) -> None:
    """A bar of BAR mm on paper with a tick every 10 mm."""
    width, height = figure.get_size_inches() * INCH
    axes = figure.add_axes(
        (corner[0] / width, corner[1] / height, COLUMN / width, 14.0 / height), frameon=False
    )
    axes.set_axis_off()
    axes.set_xticks([])
    axes.set_yticks([])
    axes.set_xlim(0.0, COLUMN)
    axes.set_ylim(0.0, 14.0)
    axes.plot([1.0, 1.0 + BAR], [3.0, 3.0], color=EDGE, linewidth=1.0, gid="bar", solid_capstyle="butt")
    for tick in range(6):
        axes.plot([1.0 + 10.0 * tick] * 2, [3.0, 5.5], color=EDGE, linewidth=0.8)
    told = f"{BAR:g} mm on paper" if scale == 1 else f"{BAR:g} mm, {BAR * scale:g} mm of the machine"
    axes.text(1.0, 9.0, told, fontsize=WORDS, color=EDGE, va="center")

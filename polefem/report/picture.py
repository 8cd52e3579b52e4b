"""A drawn picture as bytes: to be written beside a text, or to go into a page as it is."""

from __future__ import annotations

import base64
import io
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from polefem.files import complete
from polefem.report import plotting

__all__ = ["Picture", "picture_of"]

_DPI = 100  # as sharp as a page shows it, so that a page of many fields stays small
_SMALL = 200_000  # bytes up to which a drawing stays lines; more of them and pixels are smaller
_MEDIA = {"svg": "image/svg+xml", "png": "image/png"}


@dataclass(frozen=True)
class Picture:
    """One picture. name: stem of its file. kind: what its data is. words: what it shows, for those who cannot see it
    and under it. width, height: as shown, px of 1/96 in. data: the file's contents."""

    name: str
    kind: Literal["svg", "png"]
    words: str
    width: int
    height: int
    data: bytes

    @property
    def file(self) -> str:
        """Name of its file."""
        return f"{self.name}.{self.kind}"

    @property
    def address(self) -> str:
        """The picture itself as an address, so that a page needs no file beside it."""
        return f"data:{_MEDIA[self.kind]};base64,{base64.b64encode(self.data).decode()}"

    def write(self, folder: Path) -> Path:
        """Write it into a folder, which is made if need be."""
        folder.mkdir(parents=True, exist_ok=True)
        path = folder / self.file
        with complete(path) as part:
            part.write_bytes(self.data)
        return path

    def __repr__(self) -> str:
        return f"Picture({self.file!r}, {len(self.data) / 1000:.0f} kB: {self.words})"


def picture_of(figure: plotting.Figure, name: str, words: str, pixels: bool = False) -> Picture:
    """The picture of a figure: lines (SVG) where that is small, else pixels (PNG); `pixels`: where it is not.

    The same figure gives the same bytes, whenever it is drawn.
    """
    kind: Literal["svg", "png"] = "png"
    data = b"" if pixels else _drawn(figure, "svg", name)
    if data and len(data) <= _SMALL:
        kind = "svg"
    else:
        data = _drawn(figure, "png", name)
    width, height = (round(96 * inches) for inches in figure.get_size_inches())
    return Picture(name, kind, words, width, height, data)


def _as_png(figure: plotting.Figure, out: io.BytesIO) -> None:
    canvas: Any = plotting.FigureCanvasAgg(figure)  # its stubs know no types
    canvas.print_png(out)


def _as_svg(figure: plotting.Figure, out: io.StringIO) -> None:
    canvas: Any = plotting.FigureCanvasSVG(figure)
    canvas.print_svg(out, metadata={"Date": None})


def _drawn(figure: plotting.Figure, kind: str, name: str) -> bytes:
    # Not by `savefig`, which draws everything once more beforehand, to no use here.
    out = io.BytesIO()
    if kind == "png":
        figure.set_dpi(_DPI)
        _as_png(figure, out)
        return out.getvalue()
    text = io.StringIO()
    with plotting.rc_context({"svg.hashsalt": name}):
        _as_svg(figure, text)
    return text.getvalue().encode()

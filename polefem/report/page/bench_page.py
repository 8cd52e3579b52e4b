"""Pages of parts: a title, an answer, then parts of sentences, tables and pictures, in order and without mark-up."""

from __future__ import annotations

from dataclasses import dataclass

from polefem.report.page.rendering import html_environment, plain_environment
from polefem.report.page.tables import Table
from polefem.report.picture import Picture
from polefem.version import __version__

__all__ = ["BenchPage", "Part", "bench_html", "bench_markdown"]


@dataclass(frozen=True)
class Part:
    """One part. anchor: by which it is found. said: sentences before what it shows. listed: sentences as a list."""

    anchor: str
    heading: str
    said: tuple[str, ...] = ()
    listed: tuple[str, ...] = ()
    tables: tuple[Table, ...] = ()
    pictures: tuple[Picture, ...] = ()


@dataclass(frozen=True)
class BenchPage:
    """A page. kind: what sort of page it is. answer: what it comes to, in one sentence."""

    kind: str
    title: str
    answer: str
    parts: tuple[Part, ...]


def bench_html(page: BenchPage) -> str:
    """HTML that needs no other file and no network."""
    return html_environment.get_template("bench.html").render(page=page, version=__version__)


def bench_markdown(page: BenchPage, pictures: str = "pictures") -> str:
    """Markdown; `pictures`: the folder that holds them, as seen from the text."""
    template = plain_environment.get_template("bench.md")
    return template.render(page=page, version=__version__, pictures=pictures)

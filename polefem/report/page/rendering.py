"""A page as text: HTML in one piece, and Markdown with its pictures in a folder beside it."""

from __future__ import annotations

import re

from jinja2 import Environment, PackageLoader, StrictUndefined

from polefem.report.page.contents import Page
from polefem.version import __version__

__all__ = ["html_environment", "html_text", "markdown_text", "plain_environment"]

_LOADER = PackageLoader("polefem.report.page")
html_environment = Environment(
    loader=_LOADER, autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
)
plain_environment = Environment(
    loader=_LOADER, autoescape=False, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
)
_MARKED = re.compile(r"([\\`*_{}\[\]<>#|])")


def html_text(page: Page) -> str:
    """The page as HTML that needs no other file and no network: pictures, styles and script are inside it."""
    return html_environment.get_template("page.html").render(page=page, version=__version__)


def markdown_text(page: Page, pictures: str = "pictures") -> str:
    """The page as Markdown; `pictures`: the folder that holds them, as seen from the text."""
    return plain_environment.get_template("page.md").render(page=page, version=__version__, pictures=pictures)


def _quoted(text: str) -> str:
    """Text that Markdown leaves as it is, on one line."""
    return _MARKED.sub(r"\\\1", " ".join(text.split()))


plain_environment.filters["quoted"] = _quoted

"""One study on one page, for the person at the bench: as HTML that needs nothing beside it, and as Markdown."""

from polefem.report.page.contents import Page, page_of
from polefem.report.page.rendering import html_text, markdown_text

__all__ = ["Page", "html_text", "markdown_text", "page_of"]

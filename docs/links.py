"""Whether every link of the built manual leads somewhere, and whether a page needs anything from the network."""

from __future__ import annotations

from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote, urlsplit

__all__ = ["dead_links", "from_outside"]

#: Where a page takes something in, in contrast to pointing at it.
TAKEN_IN = {"img": "src", "script": "src", "link": "href", "iframe": "src", "source": "src", "object": "data"}


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.places: set[str] = set()
        self.links: list[str] = []
        self.taken: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value for name, value in attrs if value is not None}
        self.places.update(given[name] for name in ("id", "name") if name in given and tag != "meta")
        if tag == "a" and "href" in given:
            self.links.append(given["href"])
        if tag in TAKEN_IN and TAKEN_IN[tag] in given:
            self.taken.append(given[TAKEN_IN[tag]])


def _pages(folder: Path) -> dict[Path, _Reader]:
    found = {}
    for file in sorted(folder.resolve().rglob("*.html")):
        found[file] = _Reader()
        found[file].feed(file.read_text("utf-8"))
    return found


def dead_links(folder: Path) -> list[str]:
    """Links and pictures within the folder's pages that lead to no file, or to no place in a page."""
    pages = _pages(folder)
    return [
        f"{file.relative_to(folder.resolve())}: {link}"
        for file, page in pages.items()
        for link in (*page.links, *page.taken)
        if not _leads(file, link, pages)
    ]


def _leads(file: Path, link: str, pages: dict[Path, _Reader]) -> bool:
    parts = urlsplit(link)
    if parts.scheme or parts.netloc:
        return True  # to the outside: see `from_outside` for what may not be
    target = (file.parent / unquote(parts.path)).resolve() if parts.path else file
    if not target.is_file():
        return False
    return not parts.fragment or target not in pages or unquote(parts.fragment) in pages[target].places


def from_outside(folder: Path) -> Iterator[str]:
    """What pages take in from elsewhere: scripts, styles and pictures of another host."""
    for file, page in _pages(folder).items():
        for address in page.taken:
            parts = urlsplit(address)
            if parts.netloc or parts.scheme not in ("", "data"):
                yield f"{file.relative_to(folder.resolve())}: {address}"

"""How far a sweep has come."""

from __future__ import annotations

from collections.abc import Callable

__all__ = ["Teller"]


class Teller:
    """Counts points and tells whoever wants to know."""

    def __init__(self, progress: Callable[[int, int], None] | None, points: int) -> None:
        self._progress, self._points, self._done = progress, points, 0

    def more(self, points: int) -> None:
        """Count with points that were not foreseen."""
        self._points += points

    def __call__(self) -> None:
        self._done += 1
        if self._progress is not None:
            self._progress(self._done, self._points)

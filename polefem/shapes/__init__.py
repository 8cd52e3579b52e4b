"""From the words of a `Pole` to its edge, in the pole's own frame."""

from polefem.shapes.segments import Arc, Line, Segment

__all__ = ["Arc", "Line", "Segment"]

"""From the words of a `Pole` to its edge, in the pole's own frame."""

from polefem.shapes.curves import distance
from polefem.shapes.edge import Edge, pole_edge
from polefem.shapes.seat import Seat
from polefem.shapes.segments import Arc, Line, Segment, area, moved, points, turned_back
from polefem.shapes.side_by_side import CurveArrays

__all__ = [
    "Arc",
    "CurveArrays",
    "Edge",
    "Line",
    "Seat",
    "Segment",
    "area",
    "distance",
    "moved",
    "points",
    "pole_edge",
    "turned_back",
]

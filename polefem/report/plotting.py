"""What pictures are drawn with, loaded when something is drawn: where all pictures are kept, none of it is."""

from typing import TYPE_CHECKING

from polefem.later import front

if TYPE_CHECKING:
    from matplotlib import rc_context
    from matplotlib.animation import AbstractMovieWriter, FFMpegWriter, PillowWriter
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.backends.backend_pdf import FigureCanvasPdf, PdfPages
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.collections import LineCollection, PolyCollection
    from matplotlib.colors import ListedColormap
    from matplotlib.figure import Figure
    from matplotlib.patches import FancyArrowPatch, Patch, PathPatch, Polygon, Rectangle
    from matplotlib.path import Path
    from matplotlib.patheffects import withStroke
    from matplotlib.ticker import FuncFormatter, MaxNLocator
    from matplotlib.tri import Triangulation

__all__ = [
    "AbstractMovieWriter",
    "Artist",
    "Axes",
    "FFMpegWriter",
    "FancyArrowPatch",
    "Figure",
    "FigureCanvasAgg",
    "FigureCanvasPdf",
    "FigureCanvasSVG",
    "FuncFormatter",
    "LineCollection",
    "ListedColormap",
    "MaxNLocator",
    "Patch",
    "Path",
    "PathPatch",
    "PdfPages",
    "PillowWriter",
    "PolyCollection",
    "Polygon",
    "Rectangle",
    "Triangulation",
    "rc_context",
    "withStroke",
]

__getattr__, __dir__ = front(
    __name__,
    __all__,
    {
        "matplotlib": "rc_context",
        "matplotlib.animation": "AbstractMovieWriter FFMpegWriter PillowWriter",
        "matplotlib.artist": "Artist",
        "matplotlib.axes": "Axes",
        "matplotlib.backends.backend_agg": "FigureCanvasAgg",
        "matplotlib.backends.backend_pdf": "FigureCanvasPdf PdfPages",
        "matplotlib.backends.backend_svg": "FigureCanvasSVG",
        "matplotlib.collections": "LineCollection PolyCollection",
        "matplotlib.colors": "ListedColormap",
        "matplotlib.figure": "Figure",
        "matplotlib.patches": "FancyArrowPatch Patch PathPatch Polygon Rectangle",
        "matplotlib.path": "Path",
        "matplotlib.patheffects": "withStroke",
        "matplotlib.ticker": "FuncFormatter MaxNLocator",
        "matplotlib.tri": "Triangulation",
    },
)

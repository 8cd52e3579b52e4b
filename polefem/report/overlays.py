"""The picture that lays readings over their prediction: points with bars, the predicted band, the corrected curve."""

from __future__ import annotations

from polefem.measured import Overlay
from polefem.report import plotting
from polefem.report.style import KINDS, axes_on, new_figure

__all__ = ["draw_overlay"]

_MARKS = ("o", "s", "^", "D", "v", "P")


def draw_overlay(overlay: Overlay, name: str) -> plotting.Figure:
    """Readings with bars of two deviations, bands of two deviations as drawn, dashed; corrected curves whole."""
    figure = new_figure(6.4, 4.3)
    axes = axes_on(figure, overlay.x_name, overlay.y_name, f"{overlay.kind.capitalize()} - {name}")
    for at, curve in enumerate(overlay.curves):
        colour, mark = KINDS[at % len(KINDS)], _MARKS[at % len(_MARKS)]
        low, high = curve.predicted - 2 * curve.bands, curve.predicted + 2 * curve.bands
        axes.fill_between(curve.x, low, high, color=colour, alpha=0.13, linewidth=0)
        axes.plot(curve.x, curve.predicted, color=colour, linestyle="--", linewidth=1.1)
        if curve.corrected is not None:
            axes.plot(curve.x, curve.corrected, color=colour, linewidth=1.6)
        x, y, bar = curve.points
        axes.errorbar(
            x,
            y,
            2 * bar,
            fmt=mark,
            color=colour,
            markersize=4.5,
            markerfacecolor="white",
            capsize=2.5,
            linewidth=1.0,
            label=curve.label,
        )
    known = any(curve.corrected is not None for curve in overlay.curves)
    title = "points: read; dashed: as drawn, with its band" + ("; whole: as corrected" if known else "")
    columns = min(len(overlay.curves), 6)
    figure.legend(loc="outside lower left", ncols=columns, frameon=False, fontsize="small", title=title)
    return figure

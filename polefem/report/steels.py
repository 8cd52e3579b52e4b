"""A steel's curve as a picture: its points, the law through them, and where it is extrapolated."""

from __future__ import annotations

from polefem.materials import CurveData, Steel, curve_data
from polefem.report import plotting
from polefem.report.style import axes_on, new_figure, steps

__all__ = ["draw_steel"]


def draw_steel(steel: Steel | CurveData) -> plotting.Figure:
    """Flux density over field strength, logarithmic, with the points fitted and the extrapolation told apart.

    The numbers are those of `polefem.materials.curve_data`.
    """
    data = curve_data(steel) if isinstance(steel, Steel) else steel
    figure = new_figure()
    axes = axes_on(figure, "field strength (A/m)", "flux density (T)", data.name)
    fitted, beyond = steps(2)[-1], "0.45"
    seen = data.h > 0
    axes.semilogx(
        data.h[seen & ~data.extrapolated], data.b[seen & ~data.extrapolated], color=fitted, label="law"
    )
    if data.extrapolated.any():
        part = seen & data.extrapolated
        axes.semilogx(data.h[part], data.b[part], "--", color=beyond, label="extrapolated")
    points = data.points_h > 0
    if points.any():
        axes.semilogx(
            data.points_h[points], data.points_b[points], "o", color="black", markersize=3, label="points"
        )
    axes.legend(loc="lower right", frameon=False)
    return figure

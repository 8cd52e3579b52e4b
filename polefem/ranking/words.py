"""Uncertainty, Pareto set, sensitivities and searches as text for a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

import numpy as np

from polefem.params.fields import shown, unit_of
from polefem.ranking.order import Ranking
from polefem.ranking.uncertainty import Uncertainty
from polefem.study import Figures, Record, Slopes, SobolIndices
from polefem.units import deg

__all__ = [
    "columns",
    "fields_text",
    "figure_text",
    "pareto_text",
    "sensitivity_sentence",
    "sensitivity_text",
    "uncertainty_text",
    "unit_of_figure",
    "verdict_sentences",
]

_WIDTH = 110
# Each figure as a person reads it: its unit and that unit's size in SI.
_UNITS: dict[str, tuple[str, float]] = {
    "current": ("A", 1.0),
    "copper_loss": ("W", 1.0),
    "phase_resistance": ("ohm", 1.0),
    "current_density": ("A/mm2", 1e6),
    "copper_mass": ("kg", 1.0),
    "steel_mass": ("kg", 1.0),
    "mean_torque": ("N m", 1.0),
    "lowest_torque": ("N m", 1.0),
    "highest_torque": ("N m", 1.0),
    "ripple": ("%", 0.01),
    "aligned_inductance": ("mH", 1e-3),
    "unaligned_inductance": ("mH", 1e-3),
    "torque_per_loss": ("mN m/W", 1e-3),
    "phase_interaction": ("% of mean", 0.01),
    "turn_on": ("deg", deg),
    "turn_off": ("deg", deg),
    "rotor_inertia": ("kg cm2", 1e-4),
    "torque_per_mass": ("N m/kg", 1.0),
    "torque_per_volume": ("N m/l", 1e3),
    "shear_stress": ("kPa", 1e3),
    "end_winding_inductance": ("mH", 1e-3),
    "aligned_fringing": ("mH", 1e-3),
    "unaligned_fringing": ("mH", 1e-3),
    "most_rise": ("K", 1.0),
    "iron_loss": ("W", 1.0),
    "peak_current": ("A", 1.0),
    "rms_current": ("A", 1.0),
    "input_power": ("W", 1.0),
    "efficiency": ("%", 0.01),
}


def unit_of_figure(figure: str) -> tuple[str, float]:
    """The unit a figure is read in, and its size in SI.

    >>> unit_of_figure("ripple")
    ('%', 0.01)
    """
    return _UNITS[figure.rpartition(".")[2]]


def figure_text(figures: Figures, figure: str) -> str:
    """A figure with its unit, four digits; a dash where it is not known."""
    value = figures.value(figure)
    unit, size = unit_of_figure(figure)
    return "-" if value is None else f"{value / size:.4g} {unit}"


def columns(rows: Sequence[Sequence[str]]) -> list[str]:
    """Rows of cells as lines: the first cell to the left, the others to the right, a rule under the first row."""
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    lines = [
        "  ".join(
            [row[0].ljust(widths[0]), *(c.rjust(w) for c, w in zip(row[1:], widths[1:], strict=True))]
        ).rstrip()
        for row in rows
    ]
    return [lines[0], "-" * (sum(widths) + 2 * (len(widths) - 1)), *lines[1:]]


def uncertainty_text(uncertainty: Uncertainty) -> str:
    """Error bars, ties, the chance of each to be the best, and what would settle the order."""
    unit, size = unit_of_figure(uncertainty.figure)
    rows = [
        ["design", f"{uncertainty.figure.replace('_', ' ')} ({unit})", "+-", "is the best", "beats the next"]
    ]
    for at, name in enumerate(uncertainty.names):
        beats = (
            ""
            if at == len(uncertainty.names) - 1
            else f"{uncertainty.ahead[at]:.0%}{' tied' if uncertainty.tied[at] else ''}"
        )
        value, deviation = uncertainty.values[at] / size, uncertainty.deviations[at] / size
        rows.append([name, f"{value:.4g}", f"{deviation:.3g}", f"{uncertainty.first[at]:.0%}", beats])
    parts = [[f"of the +- ({unit})", *uncertainty.names]]
    for source, deviations in uncertainty.by_source.items():
        parts.append([source, *(f"{deviation / size:.2g}" for deviation in deviations)])
    said = [
        "+-: one standard deviation. beats the next: chance to be better than the next line; tied below 95 %.",
        *verdict_sentences(uncertainty),
    ]
    return (
        "\n".join(["How sure the order is", "", *columns(rows), "", *columns(parts), "", *_wrapped(said)])
        + "\n"
    )


def verdict_sentences(uncertainty: Uncertainty) -> tuple[str, ...]:
    """What would settle the order, and what the error bars leave out, in sentences for every text and page."""
    said = [f"Verdict: {uncertainty.advice}."]
    if uncertainty.one_sided:
        said.append(
            f"Had from one side alone, as the other cannot be built: {', '.join(uncertainty.one_sided)}."
        )
    if uncertainty.unknown:
        said.append(f"Not in it, as it could not be computed: {', '.join(uncertainty.unknown)}.")
    return tuple(said)


def fields_text(ranking: Ranking, most: int = 8) -> str:
    """What the first designs change, each field in the unit it is read in; empty where that is more than numbers."""
    first = ranking.ordered[:most]
    names = list(dict.fromkeys(name for record in first for name in record.changes))
    if not names or not all(isinstance(r.changes.get(n, 0.0), int | float) for r in first for n in names):
        return ""
    rows = [["design", *names]]
    rows += [
        [r.name, *(shown(n, r.changes[n]) if n in r.changes else "as base" for n in names)] for r in first
    ]
    return "\n".join(["What they are", "", *columns(rows)]) + "\n"


def pareto_text(best: Sequence[Record], objectives: Sequence[str]) -> str:
    """The designs that none beats in every objective."""
    rows = [["design", *(objective.replace("_", " ") for objective in objectives)]]
    rows += [
        [r.name, *(figure_text(r.figures, objective) for objective in objectives)]
        for r in best
        if r.figures is not None
    ]
    named = ", ".join(objective.replace("_", " ") for objective in objectives)
    head = f"Beaten by none in {named} together: {len(best)} designs"
    return "\n".join([head, "", *columns(rows)]) + "\n"


def sensitivity_text(slopes: Slopes, shares: SobolIndices) -> str:
    """What each field does to each figure, at the base design and over its range."""
    lines = ["What each field does", ""]
    for k, figure in enumerate(slopes.figures):
        unit, size = unit_of_figure(figure)
        rows = [[figure.replace("_", " "), "slope at base", "% for 1 %", "share alone", "share with others"]]
        for j, name in enumerate(slopes.fields):
            of, field_size = unit_of(name)
            slope = slopes.slopes[j, k] * field_size / size
            shown = "-" if np.isnan(slope) else f"{slope:+.3g} {unit}/{of or '1'}"
            part = slopes.per_cent[j, k]
            per_cent = f"{part:+.2f}" if np.isfinite(part) else "-"
            rows.append([name, shown, per_cent, f"{shares.first[j, k]:.0%}", f"{shares.total[j, k]:.0%}"])
        lines += [*columns(rows), ""]
    return "\n".join([*lines, *_wrapped([sensitivity_sentence(shares)])]) + "\n"


def sensitivity_sentence(shares: SobolIndices) -> str:
    """What slopes and shares are, and how far the shares are to be trusted, in a sentence for every text and page."""
    parts = [
        f"{share:.0%} of {figure.replace('_', ' ')}"
        for share, figure in zip(shares.q_squared, shares.figures, strict=True)
    ]
    return (
        "Slopes are central differences at the base machine. Shares are Sobol's indices over the ranges, of a Gaussian "
        f"process through {shares.designs} designs, which predicts {' and '.join(parts)} at designs left out: do not "
        "trust shares where it predicts little."
    )


def _wrapped(sentences: Sequence[str]) -> list[str]:
    return [line for said in sentences for line in textwrap.wrap(said, _WIDTH, subsequent_indent="    ")]

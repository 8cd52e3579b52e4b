"""Uncertainty, Pareto set, sensitivities and searches as text for a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

import numpy as np

from polefem.params.quantity import Quantity, percent
from polefem.ranking.order import Ranking
from polefem.ranking.uncertainty import Uncertainty
from polefem.study import (
    Figures,
    OperatingPointFigures,
    Plan,
    Record,
    Slopes,
    SobolIndices,
    braking,
    error_from_map,
    field_text,
    figure_words,
    quantity_of_field,
    quantity_of_figure,
)

__all__ = [
    "columns",
    "fields_text",
    "figure_text",
    "figures_text",
    "pareto_text",
    "sensitivity_sentence",
    "sensitivity_text",
    "uncertainty_text",
    "verdict_sentences",
]

_WIDTH = 110


def figure_text(record: Record, figure: str) -> str:
    """A figure of a record with its unit, to the digits that its error leaves; a dash where it is not known."""
    value = None if record.figures is None else record.figures.value(figure)
    brakes = record.figures is not None and record.figures.brakes(figure)
    return quantity_of_figure(figure, brakes).text(value, error_from_map(record, figure))


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


def figures_text(plan: Plan | None = None) -> str:
    """The figures that designs are ranked by: names, units, and which way is better; of a plan, with those at each of
    its operating points."""
    rows = [["figure", "unit", "better"], *(_figure_row(name) for name in Figures.names())]
    lines = columns(rows)
    points = {"POINT": OperatingPointFigures.names()} if plan is None else plan.point_figures
    for point, names in points.items():
        named = [f"{point}.{name}" for name in names]
        lines += ["", *columns([[f"at {point}", "unit", "better"], *map(_figure_row, named)])]
    if not points:
        lines += ["", "The study has no operating points, and no figures at them."]
    return "\n".join(lines)


def _figure_row(figure: str) -> list[str]:
    how = quantity_of_figure(figure)
    return [figure, how.unit, "high" if how.more_is_better else "low"]


def uncertainty_text(uncertainty: Uncertainty) -> str:
    """Error bars, ties, the chance of each to be the best, and what would settle the order."""
    how = quantity_of_figure(uncertainty.figure, uncertainty.brakes)
    rows = [
        [
            "shape",
            f"{figure_words(uncertainty.figure, uncertainty.brakes)} ({how.unit})",
            "+-",
            "is the best",
            "better than the next",
        ]
    ]
    for at, name in enumerate(uncertainty.names):
        beats = (
            ""
            if at == len(uncertainty.names) - 1
            else f"{percent(uncertainty.ahead[at])}{' tied' if uncertainty.tied[at] else ''}"
        )
        value, reach = float(uncertainty.values[at]), 2 * float(uncertainty.deviations[at])
        said = how.number(value, reach), how.error(reach)
        rows.append([name, *said, percent(uncertainty.first[at]), beats])
    parts = [[f"of the +- ({how.unit})", *uncertainty.names]]
    for source, deviations in uncertainty.by_source.items():
        parts.append([source, *map(how.error, (2 * deviations).tolist())])
    sentences = [
        "+-: two standard deviations. better than the next: chance of it; tied below 95 %.",
        *verdict_sentences(uncertainty),
    ]
    return (
        "\n".join(
            ["How sure the order is", "", *columns(rows), "", *columns(parts), "", *_wrapped(sentences)]
        )
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
    """What the first designs change, each field in the unit it is read in; empty where that is more than numbers.

    A row for each design; where that is too wide, a row for each field, of as many designs as there is room for.
    """
    first = ranking.ordered[:most]
    names = list(dict.fromkeys(name for record in first for name in record.changes))
    if not names or not all(isinstance(r.changes.get(n, 0.0), int | float) for r in first for n in names):
        return ""
    rows = [["shape", *names]]
    rows += [
        [r.name, *(field_text(n, r.changes[n]) if n in r.changes else "unchanged" for n in names)]
        for r in first
    ]
    lines = columns(rows)
    if max(map(len, lines)) > _WIDTH:
        turned = [columns(list(zip(*rows[: count + 1], strict=True))) for count in range(1, len(rows))]
        lines = [one for one in turned if max(map(len, one)) <= _WIDTH or one is turned[0]][-1]
    return "\n".join(["What each shape changes", "", *lines]) + "\n"


def pareto_text(best: Sequence[Record], objectives: Sequence[str]) -> str:
    """The designs that no other beats on every goal."""
    words = [figure_words(objective, braking(best, objective)) for objective in objectives]
    rows = [["shape", *words]]
    rows += [
        [r.name, *(figure_text(r, objective) for objective in objectives)]
        for r in best
        if r.figures is not None
    ]
    count = f"{len(best)} shape{'' if len(best) == 1 else 's'}"
    head = f"No other shape is better on every goal ({', '.join(words)}): {count}"
    return "\n".join([head, "", *columns(rows)]) + "\n"


def sensitivity_text(slopes: Slopes, shares: SobolIndices) -> str:
    """What each field does to each figure, at the base design and over its range."""
    lines = ["What each field does", ""]
    for k, figure in enumerate(slopes.figures):
        how = quantity_of_figure(figure)
        rows = [[figure_words(figure), "slope at base", "% for 1 %", "share alone", "share with others"]]
        for j, name in enumerate(slopes.fields):
            of = quantity_of_field(name) or Quantity()
            slope = slopes.slopes[j, k] * of.size / how.size
            shown = "-" if np.isnan(slope) else f"{slope:+.3g} {how.unit}/{of.unit or '1'}"
            part = slopes.per_cent[j, k]
            per_cent = f"{part:+.2f}" if np.isfinite(part) else "-"
            rows.append(
                [
                    name,
                    shown,
                    per_cent,
                    percent(shares.first[j, k]),
                    percent(shares.total[j, k]),
                ]
            )
        lines += [*columns(rows), ""]
    return "\n".join([*lines, *_wrapped([sensitivity_sentence(shares)])]) + "\n"


def sensitivity_sentence(shares: SobolIndices) -> str:
    """What slopes and shares are, and how far the shares are to be trusted, in a sentence for every text and page."""
    parts = [
        f"{percent(share)} of {figure_words(figure)}"
        for share, figure in zip(shares.q_squared, shares.figures, strict=True)
    ]
    return (
        "Slopes are central differences at the base machine. Shares are Sobol's indices over the ranges, of a Gaussian "
        f"process through {shares.designs} designs, which predicts {' and '.join(parts)} at designs left out: do not "
        "trust shares where it predicts little."
    )


def _wrapped(sentences: Sequence[str]) -> list[str]:
    return [line for said in sentences for line in textwrap.wrap(said, _WIDTH, subsequent_indent="    ")]

"""What a machine on the bench is told in: the measuring plan, and the page of prediction, measurement and
correction."""

from __future__ import annotations

import numpy as np

from polefem.measured import (
    CAUTIONS,
    BenchSheet,
    Comparison,
    Correction,
    MeasuringPlan,
    advice,
    confused,
    found_sentences,
    label,
    mark_sentences,
    meter_sentences,
    overlays,
    shown_cause,
    told,
    unit_of,
)
from polefem.params.quantity import figures_of_error, rounded
from polefem.ranking import Ranking
from polefem.report.findings import Findings
from polefem.report.overlays import draw_overlay
from polefem.report.page.bench_page import BenchPage, Part
from polefem.report.page.tables import Cell, Head, Table
from polefem.report.page.words import how_sure
from polefem.report.picture import Picture, picture_of
from polefem.study import quantity_of_figure
from polefem.units import deg

__all__ = ["correction_page", "overlay_pictures", "plan_page"]

_WAYS = {
    "inductance": "By a bridge or an LCR meter at {frequency:.4g} Hz and {meter:.3g} A, the other phases open.",
    "flux linkage": (
        "From a step of voltage: record voltage at the coil's taps and current, from some time before the "
        "switch closes "
        "until the current is steady. The integral of v - R i is the flux linkage; the quiet start gives the "
        "offsets, the "
        "steady end the resistance."
    ),
    "torque": (
        "A lever clamped to the shaft, a scale or weights at its end, level. Approach each angle from both "
        "sides and take "
        "the mean: half of the difference is the friction."
    ),
    "mutual inductance": (
        "A sine through one phase; an alternating voltmeter on the phase that comes into line one stroke later. Divide "
        "by the current and by 2 pi times the frequency."
    ),
}
_EVERYWHERE = (
    "Iron remembers: read with the current both ways and take the mean, or run an alternating current down to nothing "
    "before each reading.",
    "Copper warms by 0.39 % a kelvin: measure the resistance before and after each reading of flux linkage.",
    "The first mark is the weakest: make aligned the angle between two positions, one on either side, where the "
    "inductance is the same.",
)


def plan_page(sheet: BenchSheet, plan: MeasuringPlan) -> BenchPage:
    """The measuring plan of a machine."""
    points = plan.points
    parts = [Part("points", "What to measure, most telling first", tables=(_plan_table(plan),))]
    kinds = list(dict.fromkeys(points.kinds))
    ways = tuple(
        f"{kind.capitalize()}: {_WAYS[kind].format(frequency=sheet.frequency, meter=sheet.meter_current)}"
        for kind in kinds
    )
    parts.append(Part("how", "How to read each", listed=ways))
    parts.append(Part("gain", "What it will tell", tables=(_gain_table(plan),)))
    traps = (
        *meter_sentences(sheet.machine, sheet.frequency, sheet.predictor.drawn, sheet.meter_current),
        *mark_sentences(sheet.predictor.drawn, points),
        *_EVERYWHERE,
    )
    parts.append(Part("traps", "What makes a reading lie", listed=traps))
    parts.append(Part("before", "Before current flows", listed=CAUTIONS))
    left = plan.left / plan.tolerances
    best, worst = int(np.argmin(left)), int(np.argmax(left))
    answer = (
        f"{len(points)} points tell most: they narrow the {label(plan.names[best])} to {left[best]:.0%} of its "
        "tolerance, "
        f"and least the {label(plan.names[worst])}, to {left[worst]:.0%}."
    )
    return BenchPage("Measuring plan", sheet.name, answer, tuple(parts))


def _plan_table(plan: MeasuringPlan) -> Table:
    heads = (
        Head("reading", number=False),
        Head("angle", "deg"),
        Head("current", "A"),
        Head("expected"),
        Head("unit", number=False),
        Head("meter must resolve"),
    )
    rows = []
    points = plan.points
    for k, kind in enumerate(points.kinds):
        unit, size = unit_of(kind)
        value, band = points.values[k] / size, plan.bands[k] / size
        rows.append(
            (
                Cell(kind, head=True),
                Cell(f"{points.angles[k] / deg:.4g}"),
                Cell(f"{points.currents[k]:.4g}"),
                Cell(rounded(float(value), float(band), 4), error=f"+- {figures_of_error(float(band))}"),
                Cell(unit),
                Cell(figures_of_error(float(plan.resolutions[k] / size))),
            )
        )
    said = "Expected values, one deviation by the drawing's tolerances; a meter that resolves a third adds little to it"
    return Table(said, heads, tuple(rows))


def _gain_table(plan: MeasuringPlan) -> Table:
    heads = (
        Head("cause", number=False),
        Head("tolerance"),
        Head("left"),
        Head("unit", number=False),
        Head("left", "%"),
    )
    rows = []
    for name, before, after in zip(plan.names, plan.tolerances, plan.left, strict=True):
        how = shown_cause(name)
        numbers = (how.error(float(before)), how.error(float(after)))
        share = f"{100 * after / before:.0f}"
        rows.append(
            (Cell(label(name), head=True), Cell(numbers[0]), Cell(numbers[1]), Cell(how.unit), Cell(share))
        )
    return Table("One deviation of each cause, before and after these readings", heads, tuple(rows))


def correction_page(
    sheet: BenchSheet, correction: Correction, before: Findings | None = None, after: Findings | None = None
) -> BenchPage:
    """Prediction, measurement, correction, and the order of the next shapes before and after it."""
    comparison = correction.before
    pictures = overlay_pictures(sheet, correction)
    asked = advice(correction, sheet.candidates())
    parts = [
        Part("overlays", "Read over predicted", comparison.sentences, pictures=pictures),
        Part("differences", "Differences", tables=(_differences(comparison, correction.after),)),
        Part(
            "causes",
            "What explains them",
            tables=_cause_tables(correction),
            said=correction.after.sentences[:1],
        ),
        Part("open", "What the readings cannot tell", (), (*told(correction), *confused(correction), *asked)),
    ]
    if not parts[-1].listed:
        parts[-1] = Part(
            "open", "What the readings cannot tell", ("Every cause that was left free is told.",)
        )
    if before is not None and after is not None:
        orders = _orders(before.ranking, after.ranking)
        parts.append(Part("order", "The next shapes, ranked again", how_sure(after), tables=(orders,)))
    left_out = correction.before.readings.left_out
    if left_out:
        parts.append(Part("left-out", "Rows that were not read", listed=left_out))
    parts.append(Part("before", "Before current flows again", listed=CAUTIONS))
    return BenchPage("Measured and corrected", sheet.name, _answer(correction), tuple(parts))


def _answer(correction: Correction) -> str:
    allowed = np.array([getattr(correction.tolerances, name) for name in correction.names])
    drawn = np.array([correction.drawn[name] for name in correction.names])
    moved = np.abs(correction.values - drawn) / allowed
    first = int(np.argmax(moved))
    chi = correction.before.reduced_chi_square, correction.after.reduced_chi_square
    said = found_sentences(correction)[first]
    fits = f"reduced chi-square {chi[0]:.3g} before, {chi[1]:.3g} after"
    return f"Farthest from the drawing, in its tolerance, is the {said}; {fits}."


def overlay_pictures(sheet: BenchSheet, correction: Correction) -> tuple[Picture, ...]:
    """A picture for each kind that was read."""
    readings = correction.before.readings
    drawn = overlays(sheet.predictor.drawn, readings, sheet.tolerances, correction)
    return tuple(
        picture_of(
            draw_overlay(one, sheet.name),
            f"read_{one.kind.replace(' ', '_')}",
            f"{one.kind.capitalize()}: read, with bars of two deviations; as drawn, dashed in a band of two; whole, as "
            "corrected",
        )
        for one in drawn
    )


def _differences(before: Comparison, after: Comparison) -> Table:
    heads = (
        Head("reading", number=False),
        Head("angle", "deg"),
        Head("current", "A"),
        Head("read"),
        Head("predicted"),
        Head("corrected"),
        Head("unit", number=False),
        Head("off", "deviations"),
        Head("left", "deviations"),
    )
    rows, readings = [], before.readings
    for k, place in enumerate(readings.places):
        unit, size = unit_of(readings.kinds[k])
        error, band = readings.deviations[k] / size, before.bands[k] / size
        rows.append(
            (
                Cell(place, head=True),
                Cell(f"{readings.angles[k] / deg:.4g}"),
                Cell(f"{readings.currents[k]:.4g}"),
                _number(readings.values[k] / size, error),
                _number(before.predicted[k] / size, band),
                _number(after.predicted[k] / size, after.bands[k] / size),
                Cell(unit),
                Cell(f"{before.in_deviations[k]:+.1f}{' !' if before.outliers[k] else ''}"),
                Cell(f"{after.in_deviations[k]:+.1f}{' !' if after.outliers[k] else ''}"),
            )
        )
    said = "Each reading beside both machines; ! stands out of the others"
    return Table(said, heads, tuple(rows))


def _number(value: float, deviation: float) -> Cell:
    if not deviation > 0.0:
        return Cell(f"{value:.4g}")
    return Cell(rounded(float(value), float(deviation), 4), error=f"+- {figures_of_error(float(deviation))}")


def _cause_tables(correction: Correction) -> tuple[Table, ...]:
    heads = (
        Head("cause", number=False),
        Head("drawn"),
        Head("found"),
        Head("unit", number=False),
        Head("moved", "deviations"),
    )
    rows = []
    for name, value, deviation in zip(
        correction.names, correction.values, correction.deviations, strict=True
    ):
        how = shown_cause(name)
        drawn, allowed = correction.drawn[name], getattr(correction.tolerances, name)
        rows.append(
            (
                Cell(label(name), head=True),
                Cell(how.number(drawn, allowed), error=f"+- {how.error(allowed)}"),
                Cell(how.number(float(value), float(deviation)), error=f"+- {how.error(float(deviation))}"),
                Cell(how.unit),
                Cell(f"{(value - drawn) / deviation:+.1f}"),
            )
        )
    if correction.tolerances.turns:
        drawn_turns = str(correction.prediction.turns)
        chance = f"{correction.chances[correction.turns]:.0%} chance"
        rows.append(
            (
                Cell("turns a pole", head=True),
                Cell(drawn_turns),
                Cell(str(correction.turns)),
                Cell(""),
                Cell(chance),
            )
        )
    found = Table("Causes as drawn and as found, one deviation each", heads, tuple(rows))
    names = [label(name) for name in correction.names]
    pairs = [
        (Cell(name, head=True), *(Cell(f"{r:+.2f}") for r in row))
        for name, row in zip(names, correction.correlations, strict=True)
    ]
    with_each = Table(
        "Correlations of what was found", (Head("", number=False), *map(Head, names)), tuple(pairs)
    )
    return (found, with_each) if len(names) > 1 else (found,)


def _orders(before: Ranking, after: Ranking) -> Table:
    """Places and figures of the shapes, with the machine as drawn and as corrected."""
    by = after.by
    unit = quantity_of_figure(by).unit
    heads = [Head("shape", number=False)]
    for when in ("as drawn", "as corrected"):
        heads += [Head(f"place, {when}"), Head(f"{by.replace('_', ' ')}, {when}", unit)]
    names = dict.fromkeys(record.name for ranking in (after, before) for record in ranking.ordered)
    rows = [(Cell(name, head=True), *_placed(before, name, by), *_placed(after, name, by)) for name in names]
    return Table(f"By {by.replace('_', ' ')}, {after.basis}", tuple(heads), tuple(rows))


def _placed(ranking: Ranking, name: str, by: str) -> tuple[Cell, Cell]:
    """Place and figure of a shape; dashes where it has none."""
    for place, record in enumerate(ranking.ordered, 1):
        if record.name == name and record.figures is not None:
            return Cell(str(place)), Cell(quantity_of_figure(by).number(record.figures.value(by)))
    return Cell("-"), Cell("-")

"""What a page says of a search along slopes: what it came from and to, and how tightly the last must be held."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from polefem import study as later
from polefem.params.quantity import Quantity, percent, rounded
from polefem.report.descent import Descent
from polefem.report.page.tables import Cell, Head, Table
from polefem.study import (
    Record,
    error_from_map,
    field_text,
    figure_words,
    quantity_of_field,
    quantity_of_figure,
)

__all__ = ["ends_table", "levers_table", "ramps_sentence", "tightness_note", "tightness_table"]

_OF_POINT = ("ripple", "mean_torque", "copper_loss", "peak_current", "peak_voltage")
_SHOWN = ("ripple", "mean_torque", "lowest_torque", "highest_torque", "current", "copper_loss")
_STEP = {"mm": 0.1, "deg": 1.0}


def tightness_note() -> str:
    """What the table of tightness rests on."""
    return (
        "Room: how far a dimension alone (with what follows from it) may be off until ripple has risen by "
        f"{percent(later.RISE)} of the mean torque, by the exact slopes of the torque at every angle: to first "
        "order, so that small rooms are the surest. Where ripple is least it rises whichever way a dimension goes; "
        "slopes are of either side. Off together, dimensions share the room between them."
    )


def levers_table(descents: Mapping[str, Descent]) -> Table:
    """What each lever came to, side by side, after what all came from; on the finer mesh where it is known."""
    first = next(iter(descents.values())).first[1]
    columns = {"as it was": first, **{lever: one.finer or one.last[1] for lever, one in descents.items()}}
    names = list(dict.fromkeys(name for one in descents.values() for name in _figures(one)))
    heads = (Head("figure", number=False), *(Head(lever) for lever in columns), Head("unit", number=False))
    said = "What each search came to"
    return Table(said, heads, tuple(_row(name, list(columns.values())) for name in names))


def _figures(descent: Descent) -> list[str]:
    """Of the objective and the limits; and, where the objective is of an operating point, of that, else of the ideal
    current."""
    point = descent.figures[0].rpartition(".")[0]
    others = [f"{point}.{name}" for name in _OF_POINT] if point else [*_SHOWN]
    return list(dict.fromkeys([*descent.figures, *others]))


def _row(name: str, records: Sequence[Record]) -> tuple[Cell, ...]:
    how = quantity_of_figure(name)
    cells = []
    for record in records:
        value = None if record.figures is None else record.figures.value(name)
        error = error_from_map(record, name)
        known = value is not None and error is not None
        cells.append(Cell(how.number(value, error), value, f"± {how.error(error)}" if known else ""))
    return Cell(figure_words(name), head=True), *cells, Cell(how.unit)


def ends_table(descent: Descent) -> Table:
    """The first and the last of a descent, and the last on a finer mesh, beside each other."""
    records = {"first": descent.first[1], "last": descent.last[1]}
    if descent.finer is not None:
        records["last, finer mesh"] = descent.finer
    rows = [_row(name, list(records.values())) for name in _figures(descent)]
    heads = (Head("figure", number=False), *(Head(title) for title in records), Head("unit", number=False))
    said = f"What the search came from and to: {descent.first[0].name}, {descent.last[0].name}"
    return Table(said, heads, tuple(rows))


def ramps_sentence(descent: Descent) -> str:
    """How much of the last's smoothness needs a current that steps; empty where it is not known."""
    found, figures = descent.ramps, descent.last[1].figures
    known = descent.last[1].outcome.machine_map
    if len(found) < 2 or figures is None or known is None:
        return ""
    ripple, angle = quantity_of_figure("ripple"), quantity_of_figure("ramp")
    said = [f"{angle.text(ramp)}: {ripple.text(value)}" for ramp, value in found.items() if ramp]
    summed = ", phases summed" if known.coupling == "summed" else ""
    stepped = f"where the current steps: {ripple.text(found[0.0])}"
    rest = (
        "The search was for these ramps"
        if figures.ramp
        else "A bridge's current takes its time to rise and fall"
    )
    return (
        f"Ripple of the last at the same angles and current{summed}, {stepped}; where it rises and falls over "
        f"{', '.join(said)}. {rest}."
    )


def tightness_table(tightness: later.Tightness) -> Table:
    """How far each dimension may be off, the tightest of each kind first, and what it does to ripple and torque."""
    rows = []
    for at in _tightest_first(tightness):
        name = tightness.fields[at]
        how = quantity_of_field(name) or Quantity()
        step = _STEP.get(how.unit, 1.0)
        size = step * how.size
        down, up = (float(room) / how.size for room in tightness.room[at])
        nearer = min(down, up)
        ripple = [100 * size * float(slope) for slope in tightness.ripple[at]]
        torque = size * float(tightness.torque[at])
        rows.append(
            (
                Cell(name, head=True),
                Cell(field_text(name, float(tightness.values[at]))),
                Cell(f"{rounded(nearer, digits=2)} {how.unit}", nearer),
                *(Cell(rounded(room, digits=2), room) for room in (down, up)),
                *(Cell(rounded(slope, digits=2), slope) for slope in (*ripple, torque)),
                Cell(f"{step:g} {how.unit}".strip()),
            )
        )
    heads = (
        Head("field", number=False),
        Head("value"),
        Head("hold within ±"),
        Head("room down"),
        Head("room up"),
        Head("ripple going down", "%"),
        Head("ripple going up", "%"),
        Head("mean torque going up", "N m"),
        Head("for", number=False),
    )
    return Table("How tightly each dimension of the last must be held", heads, tuple(rows))


def _tightest_first(tightness: later.Tightness) -> list[int]:
    """Lengths, then angles, then all else; of each kind the tightest first."""
    kinds = ["mm", "deg"]

    def order(at: int) -> tuple[int, float]:
        how = quantity_of_field(tightness.fields[at]) or Quantity()
        return kinds.index(how.unit) if how.unit in kinds else len(kinds), float(tightness.room[at].min())

    return sorted(range(len(tightness.fields)), key=order)

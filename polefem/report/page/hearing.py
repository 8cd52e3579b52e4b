"""What a page says of the pull in the gap: its swing, how shapes compare, which speeds to avoid."""

from __future__ import annotations

import math
from collections.abc import Sequence

from polefem.report.findings import Findings, Shape
from polefem.report.hearing import SHOWN_SPEEDS, shown_speeds
from polefem.report.page.tables import Cell, Head, Table, figure_cell
from polefem.ring import LEFT_OUT, RingWaves, crossing_sentence, relative_level
from polefem.study import OF_SOUND, OperatingPointFigures, error_from_map, field_text
from polefem.units import rpm

__all__ = ["forces_of", "sound_table", "to_hear"]

_HELD = {"free": "by nothing", "clamped": "all round its outside"}


def sound_table(findings: Findings) -> Table | None:
    """Pull and relative level of each shape at each operating point that is listened to; None where none is. Levels are
    against the first shape."""
    known = [shape.figures.operating_points.items() for shape in findings.shapes]
    drives = {name for points in known for name, of in points if isinstance(of, OperatingPointFigures)}
    points = [point.name for point in findings.study.plan.operating_points if point.name in drives]
    heard = [shape for shape in findings.shapes if _heard(shape, points)]
    if not heard:
        return None
    heads, rows = [Head("shape", number=False)], []
    for point in points:
        heads += [
            Head(f"pull swing, {point}", "N"),
            Head(f"wave swing, {point}", "N"),
            Head(f"level, {point}", "dB"),
        ]
    for shape in heard:
        cells = [Cell(shape.name, head=True)]
        for point in points:
            pull, wave, velocity, _ = (f"{point}.{name}" for name in OF_SOUND)
            for name in (pull, wave):
                value = shape.figures.value(name)
                cells.append(figure_cell(name, value, error_from_map(shape.record, name)))
            cells.append(_level(shape, heard[0], velocity))
        rows.append(tuple(cells))
    return Table(
        "Swing of the pull, and level of the ring against the first shape",
        tuple(heads),
        tuple(rows),
    )


def _level(shape: Shape, first: Shape, velocity: str) -> Cell:
    """How a shape moves against the first, dB, and how far that may be off by both fields."""
    own, other = shape.figures.value(velocity), first.figures.value(velocity)
    if not own or not other:
        return Cell("-", None)
    level = relative_level(own, other)
    errors = [error_from_map(one.record, velocity) for one in (shape, first)]
    said = ""
    if shape is not first and errors[0] is not None and errors[1] is not None:
        off = errors[0] / own + errors[1] / other
        said = f"± {relative_level(1.0 + off, 1.0):.1f}"
    return Cell(f"{level:+.1f}", level, said)


def to_hear(shape: Shape) -> tuple[str, ...]:
    """What the pull in the gap of a shape meets, at each operating point that is listened to; nothing where none is."""
    hearing, sound = shape.design.plan.hearing, shape.record.outcome.sound
    if hearing is None or not sound:
        return ()
    said = []
    for name, met in sound.items():
        said.append(f"With the currents of {name} ({met.speed / rpm:.0f} rpm), {_meetings(met)}.")
    own = ", ".join(
        f"{hertz:.0f} Hz in order {order}" for order, hertz in next(iter(sound.values())).frequencies[:4]
    )
    said.append(
        f"The ring's own frequencies, held {_HELD[hearing.mount]}: {own}. An estimate; not in it: {LEFT_OUT}."
    )
    said.append(
        f"Pull swing is the highest less the lowest pull on a pole; wave swing likewise, of {_order(hearing.order)}. "
        "Levels compare how fast the ring's surface "
        "moves, by the square, against the first shape, with an assumed damping of "
        f"{hearing.damping * 100:.2g} % of the critical. They say nothing of how loud a machine is."
    )
    return tuple(said)


def _order(order: int | None) -> str:
    if order is not None:
        return f"order {order}"
    return "the order with as many waves round the ring as a phase has poles, which squeezes it"


def _meetings(met: RingWaves) -> str:
    """What is met up to twice the speed of the operating point; where nothing is, also what is met first beyond."""
    near = SHOWN_SPEEDS * met.speed
    said = met.sentence(near)
    if met.crossings(0.0, near) or not (beyond := shown_speeds(met)[1]):
        return said
    slowest = min(beyond, key=lambda crossing: crossing.speed)
    return (
        f"{said}, twice that speed. First beyond it, {crossing_sentence([slowest], math.inf, met.harmonics)}"
    )


def _heard(shape: Shape, points: Sequence[str]) -> bool:
    return any(shape.figures.value(f"{point}.pull_swing") is not None for point in points)


def forces_of(shape: Shape) -> tuple[str, ...]:
    """The caution about the pull of this very machine, at each operating point where it is known."""
    said, offset = [], None if shape.design.plan.hearing is None else shape.design.plan.hearing.offset
    for point, known in shape.figures.operating_points.items():
        if not isinstance(known, OperatingPointFigures):
            continue
        pull, side = (shape.figures.value(f"{point}.{name}") for name in ("pull_swing", "side_pull"))
        if pull is None:
            continue
        aside = ""
        if side is not None and offset is not None:
            how_far = field_text("hearing.offset", offset)
            aside = f", and its rotor, {how_far} off its axis, goes to one side with {_weight(side)}"
        said.append(
            f"Of {shape.name}, with the currents of {point}: a pole is pulled with {_weight(pull)}{aside}."
        )
    return tuple(said)


def _weight(force: float) -> str:
    """A force and what weighs as much.

    >>> _weight(1893.0)
    'up to 1890 N (the weight of 193 kg)'
    """
    return f"up to {float(f'{force:.3g}'):g} N (the weight of {float(f'{force / 9.81:.3g}'):g} kg)"

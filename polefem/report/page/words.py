"""What a page says in words: the answer, how sure it is, what was assumed, what to beware of."""

from __future__ import annotations

from polefem.copper import THERMAL_CAUTION
from polefem.drive import RIPPLE_FORMULA
from polefem.params import Machine, MeshSpec, made_of_discs
from polefem.params.quantity import percent
from polefem.ranking import verdict_sentences
from polefem.report.findings import Findings, Shape
from polefem.report.page.tables import change_words, error_of
from polefem.study import (
    Figures,
    Record,
    braking,
    field_text,
    figure_words,
    more_is_better,
    point_words,
    quantity_of_figure,
)

__all__ = ["CAUTIONS", "answer", "assumptions", "end_share", "how_sure", "to_cut", "to_switch"]

CAUTIONS = (
    "A coil at current holds energy. Open its circuit and it arcs, at a voltage that kills switches and people: give "
    "every phase a path for its current to die away in, and let capacitors discharge before you touch anything.",
    "Magnetised parts pull each other with forces that close on fingers, and pull a rotor against its stator where the "
    "gap is uneven.",
    "A spinning rotor needs a guard that would hold its pieces.",
    "Mains voltage, and any supply derived from it without isolation, is for those licensed to work on it.",
    "Nothing on this page overrides local codes and licensed practice; where they differ, follow them.",
    f"'Highest temperature rise' is how much warmer than still air the outside may get. {THERMAL_CAUTION}",
)

_MUCH = 0.1  # of the unaligned inductance: beyond it estimates of end effects are said first


def answer(findings: Findings) -> str:
    """Which shape, by how much, and how sure, in one sentence; in a second, end effects that are large."""
    ranking = findings.ranking
    if not ranking.ordered:
        return "No shape of this study has figures: the reasons are below."
    first, *rest = ranking.ordered
    again = [record for record in rest if _is_of_shape(first, record)]
    others = [record for record in rest if not _is_of_shape(first, record)]
    by = ranking.by
    brakes = braking(ranking.ordered, by)
    which = ("strongest" if brakes else "highest") if more_is_better(by) else "lowest"
    what = figure_words(by, brakes).removeprefix("strongest ")
    meshed = "".join(f" ({_with_unit(one, by, findings)} on another mesh, {one.name})" for one in again)
    said = f"{first.name} has the {which} {what}, {_with_unit(first, by, findings)}{meshed}"
    ends = _ends(first, findings.study.plan.end_effects)
    if not others:
        return f"{said}, at {ranking.basis}; there is nothing to compare it with.{ends}"
    second = (
        f"{_with_unit(others[0], by, findings)} of {others[0].name}, the next of {len(others) + 1} shapes"
    )
    verdict = _verdict(findings, first, others[0])
    return f"{said}, against {second}, at {ranking.basis}; {verdict}{_elsewhere(findings)}.{ends}"


def _is_of_shape(first: Record, other: Record) -> bool:
    """Whether both are of one machine and drive, on whatever mesh."""
    one, two = (
        {name: value for name, value in record.changes.items() if not name.startswith("mesh.")}
        for record in (first, other)
    )
    return one == two and first.changes != other.changes


def end_share(figures: Figures) -> float:
    """What estimates of the ends add to the unaligned inductance, over what the field gives."""
    return (figures.end_winding_inductance + figures.unaligned_fringing) / figures.unaligned_inductance


def _ends(record: Record, counted: bool | float) -> str:
    """A sentence on end effects that are too large to be left to the small print."""
    if record.figures is None or (share := end_share(record.figures)) <= _MUCH:
        return ""
    inside = (
        "these estimates are in torque and currents" if counted else "they are not in torque and currents"
    )
    return (
        f" Mind the ends: end turns and flux past the ends of the steel come to {percent(share)} of the unaligned "
        f"inductance that the flat field gives, by estimates good to some 30 %; {inside}."
    )


def _elsewhere(findings: Findings) -> str:
    """Who is first under other drives, where that is another."""
    orders = findings.orders
    if orders is None:
        return ""
    under: dict[str, list[str]] = {}
    for k, drive in enumerate(orders.drives):
        winner = orders.winner(k)
        if winner is not None and winner != orders.winner(0):
            under.setdefault(winner, []).append(drive)
    return "".join(
        f"; {_listed([point_words(drive) for drive in drives])}, {winner} is first"
        for winner, drives in under.items()
    )


def _listed(names: list[str]) -> str:
    """Names in a sentence: one, two and three."""
    return " and ".join([*([", ".join(names[:-1])] if names[1:] else []), names[-1]])


def _verdict(findings: Findings, first: Record, second: Record) -> str:
    uncertainty, by = findings.uncertainty, findings.ranking.by
    if uncertainty is not None and len(uncertainty.names) > 1:
        if uncertainty.tied[0]:
            return f"but the two are tied, {percent(uncertainty.ahead[0])} against {percent(1 - uncertainty.ahead[0])}"
        return f"it is better than the next with {percent(uncertainty.ahead[0])} chance"
    values, errors = [], []
    for record in (first, second):
        values.append(record.figures.value(by) if record.figures is not None else None)
        errors.append(error_of(record, by, None))
    if any(value is None for value in (*values, *errors)):
        return "how sure that is, is not known"
    apart = abs((values[0] or 0.0) - (values[1] or 0.0))
    if apart > sum(error or 0.0 for error in errors):
        return "more than the mesh's error; workshop tolerances were not included"
    return "but that is within the mesh's error: try a finer mesh"


def how_sure(findings: Findings) -> tuple[str, ...]:
    """Sentences on the uncertainty about the order, and what would settle it."""
    uncertainty = findings.uncertainty
    said = []
    if uncertainty is None:
        said.append(
            "± and bars are a bound of the mesh's error alone, by the map's own estimate. Workshop tolerances (gap, "
            "arcs, steel, an eccentric rotor) were not included: a study that is given tolerances tells how sure the "
            "order is."
        )
    else:
        said.append(
            f"± of {figure_words(uncertainty.figure, uncertainty.brakes)} and its bars are two standard deviations, of "
            f"workshop tolerances and mesh, for the first {len(uncertainty.names)}; every other ± is a bound of the "
            "mesh's error alone. Neighbours are tied below 95 %."
        )
        said += verdict_sentences(uncertainty)
    return tuple(said)


def to_cut(shape: Shape) -> tuple[str, ...]:
    """What is cut and wound for a shape."""
    machine = shape.design.machine
    winding = machine.winding
    changed = change_words(shape.design.changes)
    poles = f"{machine.stator_poles} stator poles, {machine.rotor_poles} rotor poles"
    wire = winding.wire_diameter
    sized = "" if wire is None else f" of wire {field_text('winding.wire_diameter', wire)} over the enamel"
    resistance = _with_unit(shape.record, "phase_resistance")
    density = _with_unit(shape.record, "current_density")
    return (
        f"{poles}, {machine.phases.count} phases, air gap {field_text('air_gap', machine.air_gap)}, "
        f"steel {machine.steel.name}.",
        f"Against the base machine: {changed}." if changed else "Unchanged base machine.",
        f"{winding.turns_per_pole} turns a pole{sized}: {resistance} a phase at "
        f"{field_text('copper.temperature', shape.design.plan.copper.temperature)}, {density} while it conducts.",
    )


def to_switch(shape: Shape, table: bool) -> str:
    """When a phase conducts, and where the table for a controller is, if there is one."""
    current = _with_unit(shape.record, "current")
    brakes = shape.figures.brakes()
    half = (
        "past 0 the rotor pole leaves, and the torque brakes"
        if brakes
        else "below 0 the rotor pole approaches"
    )
    ramp = _with_unit(shape.record, "ramp")
    ramps = f", rises over the first {ramp} and falls over {ramp} more" if shape.figures.ramp else ""
    said = (
        f"Under the {shape.figures.switching.form} each phase conducts {current} from "
        f"{_with_unit(shape.record, 'turn_on')} to {_with_unit(shape.record, 'turn_off')} (0: aligned; {half})"
        f"{ramps}."
    )
    if table:
        return f"{said} For a bridge, see the switching table."
    time = (
        "Whether a bridge can follow is for its supply and the speed to say"
        if ramps
        else "A bridge needs time for that"
    )
    return f"{said} {time}: a study that asks for a switching table gets the angles of one."


def _times(end_effects: bool | float) -> str:
    return "" if end_effects is True else f", {end_effects:.3g} times, as was measured"


def _section_words(machine: Machine) -> str:
    """Of what the field is solved."""
    if made_of_discs(machine):
        return (
            f"Magnetostatic field of flat sections, {machine.cuts} cylinders through the machine, unrolled, each times "
            "its share of the length along the radius"
        )
    return "Magnetostatic field of a flat section through a long machine, times the stack length"


def assumptions(findings: Findings) -> tuple[str, ...]:
    """What was assumed, and what a flat section leaves out."""
    plan = findings.study.plan
    mesh = next((n for n in ("coarse", "normal", "fine") if MeshSpec.named(n) == plan.mesh), "of its own")
    ends = (
        "Estimates of end turns and of flux past the ends of the steel, by handbook formulas good to some 30 %, are in "
        f"torque and currents{_times(plan.end_effects)}."
        if plan.end_effects
        else "Left out: the inductance of the end turns (their resistance is counted) and the flux that bulges out "
        "past the ends of the steel. Both are estimated beside the field, by handbook formulas good to some 30 %."
    )
    together = (
        "All phases share one field: what they do to each other's iron is in every torque; 'phase interaction' is how "
        "far a sum of single phases would be off."
        if plan.coupling == "joint"
        else "Torques of single phases are summed as if each were alone; the phase interaction was not included."
    )
    return (
        f"Compared at {plan.terms}, under the {plan.drive.form}, {plan.drive}; coils filled to "
        f"{percent(plan.copper.fill_factor)}, copper at {field_text('copper.temperature', plan.copper.temperature)}.",
        f"Ripple is {RIPPLE_FORMULA} of the torque of all phases over a turn; (max - min) / (max + min), in use "
        "elsewhere, gives about half of it.",
        f"{_section_words(findings.study.base)}; mesh {mesh}, second order; {plan.angle_points} angles, "
        f"{plan.current_points} currents.",
        ends,
        "Eddy currents and hysteresis are not in the field. Gaps between laminations count as far as the stacking "
        "factor of the machine says.",
        "The unaligned inductance suffers most: expect to measure more than is shown, the more so the shorter the "
        f"{'poles along the radius' if findings.study.base.flat else 'stack'}.",
        together,
        "Every shape is cut exactly and runs true, but for what the error bars say.",
    )


def _with_unit(record: Record, name: str, findings: Findings | None = None) -> str:
    """A figure with its unit, to the digits that its error leaves."""
    error = error_of(record, name, findings.uncertainty if findings else None)
    value = None if record.figures is None else record.figures.value(name)
    brakes = record.figures is not None and record.figures.brakes(name)
    said = quantity_of_figure(name, brakes).text(value, error)
    return "unknown" if value is None else said.replace(" ", "\N{NO-BREAK SPACE}")

"""What is found out about a study before anything is computed: names, values, figures, currents.

A shape that contradicts itself is a design refused; a name that is none, or a value that no machine has, is a mistake
of whoever wrote it, and costs an hour where it is told after the others were computed.
"""

from __future__ import annotations

from collections.abc import Sequence

from polefem.copper import WoundPhase, wound_phase
from polefem.errors import GeometryRefused, InvalidValue, PolefemError, UnknownName, refusal
from polefem.params import Machine
from polefem.study.design import Design, Plan, number_of
from polefem.study.objectives import check_figure
from polefem.study.tolerances import Tolerance

__all__ = ["check_current_density", "check_designs", "check_order", "check_tolerances"]

_MOST_DENSITY = 100e6  # A/m2: a pulse of this melts copper within seconds


def check_designs(designs: Sequence[Design]) -> None:
    """Raise InvalidValue, with the design's name, for the first with an unknown field or a value that no machine has,
    and where the first that can be drawn would carry a current that no coil bears."""
    drawn = False
    for design in designs:
        try:
            machine, plan = design.machine, design.plan
            if not drawn:
                for name in plan.slopes:
                    number_of(machine, plan, name)
                check_current_density(machine, plan, wound_phase(machine, plan.copper))
                drawn = True
        except GeometryRefused:  # the shape's own end, told beside the others'
            continue
        except InvalidValue as error:
            kind = UnknownName if isinstance(error, UnknownName) else InvalidValue
            raise kind(f"the variant {design.name!r}: {error}") from error


def check_tolerances(tolerances: Sequence[Tolerance], designs: Sequence[Design]) -> None:
    """Raise InvalidValue for the first of a field that none of the designs has, or that is no number: an error of what
    is not there would be left out of all error bars."""
    for tolerance in tolerances:
        refused: InvalidValue | None = None
        for design in designs:
            try:
                tolerance.shifts(design)
            except InvalidValue as error:
                refused = refused or error
            except PolefemError:
                continue
            else:
                break
        else:
            if refused is not None:
                raise refused


def check_current_density(machine: Machine, plan: Plan, winding: WoundPhase) -> None:
    """Raise InvalidValue where the plan's currents are more than copper bears; a machine that is unusual may."""
    dwell, _ = plan.dwells(machine.stroke, machine.rotor_pitch)
    reach = plan.basis.reach(dwell, machine.rotor_pitch, machine.phases.count, winding.resistance)
    current = max(plan.map_current, reach)
    density = winding.current_density(current)
    if density > _MOST_DENSITY and not machine.unusual:
        field = "map_current" if current > reach else "basis"
        found = f"{plan.basis}, up to {current:.4g} A, which is {density * 1e-6:.3g} A/mm² in the coils"
        allowed = f"up to {_MOST_DENSITY * 1e-6:g} A/mm² (unusual=True of the machine lets it stand)"
        raise InvalidValue(refusal("coils carry a current that copper bears", field, found, allowed))


def check_order(plan: Plan, figure: str) -> None:
    """Raise UnknownName for a figure to order by that designs of the plan do not have."""
    check_figure("rank_by", figure, plan.point_figures)

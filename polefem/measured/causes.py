"""The few causes that may explain why a built machine is not the drawn one, and how far each may be off beforehand.

- angle offset: of the first mark on the bench, and of nothing in the machine;
- air gap, stacking factor: as the drawing's tolerances say. The stacking factor is that of both stacks, since both are
  punched from one sheet and pressed alike; where the drawing gives the rotor one of its own (a solid rotor has 1), it
  is that of the stator alone: a phase's readings see both in series with the gap, and could not tell a second one;
- ends: what the flux round the ends of the stack and the end turns add, over its estimate (`polefem.estimates`), which
  is taken as good to some 30 %;
- knee: of the steel, in shares of what building did to cores that were measured (`polefem.materials.as_built`): 0 for
  the sheet as sold, 1 for a core like those. Half a share is taken for one deviation, so that both lie within two;
- saturation: the steel's polarisation over that of its curve; batches of a grade differ by some 1 % (an assumption);
- turns: in whole numbers.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields

from polefem.errors import InvalidValue, refusal
from polefem.materials import LEAST_SHARE, MOST_SHARE
from polefem.params import Machine
from polefem.params.checks import positive, whole
from polefem.params.fields import with_fields
from polefem.params.quantity import Quantity, quantity
from polefem.units import deg, mm

__all__ = [
    "CAUSES",
    "MAP_CAUSES",
    "Tolerances",
    "bounds_of",
    "changed_machine",
    "drawn_values",
    "label",
    "shown_cause",
]

#: In the order of results.
CAUSES = ("angle_offset", "air_gap", "stacking_factor", "ends", "knee", "saturation")
#: Those that change the map of the field.
MAP_CAUSES = ("air_gap", "stacking_factor", "knee", "saturation")


@dataclass(frozen=True)
class Tolerances:
    """How far each cause may be off, one standard deviation beforehand; 0 holds it at what is drawn.

    turns: how many a count may be off, either way; 0 takes the drawn number for sure.
    """

    angle_offset: float = field(default=0.5 * deg, metadata=quantity("deg", digits=3))
    air_gap: float = field(default=0.03 * mm, metadata=quantity("mm", digits=3))
    stacking_factor: float = field(default=0.01, metadata=quantity("", digits=3))
    ends: float = field(default=0.3, metadata=quantity("", digits=3))
    knee: float = field(default=0.5, metadata=quantity("", digits=3))
    saturation: float = field(default=0.01, metadata=quantity("", digits=3))
    turns: int = 0

    def __post_init__(self) -> None:
        for name in CAUSES:
            positive("a tolerance has a size", f"tolerances.{name}", getattr(self, name), zero=True)
        whole("turns are miscounted in whole numbers", "tolerances.turns", self.turns, 0)

    @property
    def free(self) -> tuple[str, ...]:
        """The causes that are not held, turns apart."""
        return tuple(name for name in CAUSES if getattr(self, name) > 0.0)


def drawn_values(machine: Machine) -> dict[str, float]:
    """What the drawing says of each cause: of the steel, what its allowance says (`Steel.as_built`)."""
    allowance = machine.steel.allowance
    return {
        "angle_offset": 0.0,
        "air_gap": machine.air_gap,
        "stacking_factor": machine.stacking_factor,
        "ends": 1.0,
        "knee": allowance.share if allowance else 0.0,
        "saturation": allowance.polarisation if allowance else 1.0,
    }


def bounds_of(name: str, drawn: float) -> tuple[float, float]:
    """Between which a cause can lie at all."""
    if name == "air_gap":
        return 0.1 * drawn, 10.0 * drawn
    if name == "stacking_factor":
        return 0.5, 1.0
    if name == "ends":
        return 0.0, 5.0
    if name == "knee":
        return 0.98 * LEAST_SHARE, 0.98 * MOST_SHARE
    return (0.5, 1.5) if name == "saturation" else (-1.6, 1.6)


def changed_machine(machine: Machine, values: Mapping[str, float], turns: int | None = None) -> Machine:
    """The machine with causes at other values than drawn; what is no part of it (angle offset, ends) is passed over.

    Raises what the machine's own parts refuse.
    """
    drawn = drawn_values(machine)
    changes: dict[str, object] = {
        name: values[name]
        for name in ("air_gap", "stacking_factor")
        if name in values and values[name] != drawn[name]
    }
    bend = tuple(values.get(name, drawn[name]) for name in ("knee", "saturation"))
    if bend != (drawn["knee"], drawn["saturation"]):
        changes["steel"] = machine.steel.as_built(*bend)
        if machine.rotor_steel is not None:
            changes["rotor_steel"] = machine.rotor_steel.as_built(*bend)
    if turns is not None and turns != machine.winding.turns_per_pole:
        changes["winding.turns_per_pole"] = turns
    return with_fields(machine, changes)


def label(name: str) -> str:
    """The cause in words.

    >>> label("air_gap")
    'air gap'
    """
    return name.replace("_", " ")


def shown_cause(name: str) -> Quantity:
    """How the number of a cause is shown."""
    for own in fields(Tolerances):
        if own.name == name and "quantity" in own.metadata:
            found: Quantity = own.metadata["quantity"]
            return found
    raise InvalidValue(refusal("a cause has a name", "cause", repr(name), ", ".join(CAUSES)))

"""The coil on each stator pole and how the coils make phases."""

from __future__ import annotations

from dataclasses import dataclass, field

from polefem.errors import InvalidValue, refusal, spelled
from polefem.params.checks import positive, whole, within
from polefem.params.quantity import quantity

__all__ = ["THINNEST_LINER", "CoilStep", "Winding"]

#: Thinnest film that lines a slot, m (common practice).
THINNEST_LINER = 0.05e-3


@spelled
@dataclass(frozen=True)
class CoilStep:
    """A piece of a coil side with a width of its own. length: along the pole, m. width: away from the flank, m."""

    length: float = field(metadata=quantity("mm"))
    width: float = field(metadata=quantity("mm"))

    def __post_init__(self) -> None:
        positive("a step of a coil must have a length", "winding.step.length", self.length, "m")
        positive("a step of a coil must have a width", "winding.step.width", self.width, "m")


@spelled
@dataclass(frozen=True)
class Winding:
    """A concentrated coil round every stator pole; its two sides are rectangles along the flanks.

    turns_per_pole: turns of one coil. coil_width: across a coil side, away from the flank, m. steps: pieces of
    other widths, in a row from the pole face on, before the rest of that width: a coil that is narrower where the
    slot is. face_inset: from the pole face back to the coil, m. yoke_clearance: from the coil to the yoke, m.
    liner: insulation between flank and coil, m. parallel_paths: coils of a phase are joined in this many parallel
    paths, each a series string.

    wire_diameter: of the round wire over its enamel, m; None to leave open whether the turns fit. strands:
    wires side by side in one turn. most_fill: largest part of a coil side that wire and enamel may fill;
    hand-laid round wire reaches about 0.65 (common practice), and pi / 4 needs every wire straight above
    another.

    phase_of_pole, polarity: of every stator pole, where they are not the usual ones (`phases_of`); see
    `rejoined`.
    """

    turns_per_pole: int
    coil_width: float = field(metadata=quantity("mm"))
    face_inset: float = field(metadata=quantity("mm"))
    yoke_clearance: float = field(metadata=quantity("mm"))
    liner: float = field(default=0.3e-3, metadata=quantity("mm"))
    parallel_paths: int = 1
    wire_diameter: float | None = field(default=None, metadata=quantity("mm"))
    strands: int = 1
    most_fill: float = field(default=0.65, metadata=quantity())
    phase_of_pole: tuple[int, ...] | None = None
    polarity: tuple[int, ...] | None = None
    steps: tuple[CoilStep, ...] = ()

    def __post_init__(self) -> None:
        whole("a coil must have turns", "winding.turns_per_pole", self.turns_per_pole)
        positive("a coil side must have a width", "winding.coil_width", self.coil_width, "m")
        positive(
            "a coil must stay behind the pole face", "winding.face_inset", self.face_inset, "m", zero=True
        )
        positive(
            "a coil must stay off the yoke", "winding.yoke_clearance", self.yoke_clearance, "m", zero=True
        )
        liner = positive(
            "a liner cannot be thinner than nothing", "winding.liner", self.liner, "m", zero=True
        )
        if 0.0 < liner < THINNEST_LINER * (1 - 1e-6):
            rule, least = (
                "a liner is left out or is a film that can be handled",
                f"0 or {THINNEST_LINER * 1e3:.6g} mm or more",
            )
            raise InvalidValue(refusal(rule, "winding.liner", f"{liner * 1e3:.6g} mm", least))
        whole("a phase must have a path", "winding.parallel_paths", self.parallel_paths)
        whole("a turn must have a strand", "winding.strands", self.strands)
        within("a coil holds some wire and some air", "winding.most_fill", self.most_fill, 0.0, 1.0)
        if self.wire_diameter is not None:
            positive("a wire must have a diameter", "winding.wire_diameter", self.wire_diameter, "m")

"""The coil on each stator pole and how the coils make phases."""

from __future__ import annotations

from dataclasses import dataclass

from polefem.params.checks import positive, whole

__all__ = ["Winding"]


@dataclass(frozen=True)
class Winding:
    """A concentrated coil round every stator pole; its two sides are rectangles along the flanks.

    turns_per_pole: turns of one coil. coil_width: across a coil side, away from the flank, m. face_inset:
    from the pole face back to the coil, m. yoke_clearance: from the coil to the yoke, m. liner: insulation
    between flank and coil, m. parallel_paths: coils of a phase are joined in this many parallel paths, each
    a series string.
    """

    turns_per_pole: int
    coil_width: float
    face_inset: float
    yoke_clearance: float
    liner: float = 0.3e-3
    parallel_paths: int = 1

    def __post_init__(self) -> None:
        whole("a coil must have turns", "winding.turns_per_pole", self.turns_per_pole)
        positive("a coil side must have a width", "winding.coil_width", self.coil_width, "m")
        positive(
            "a coil must stay behind the pole face", "winding.face_inset", self.face_inset, "m", zero=True
        )
        positive(
            "a coil must stay off the yoke", "winding.yoke_clearance", self.yoke_clearance, "m", zero=True
        )
        positive("a liner cannot be thinner than nothing", "winding.liner", self.liner, "m", zero=True)
        whole("a phase must have a path", "winding.parallel_paths", self.parallel_paths)

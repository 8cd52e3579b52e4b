"""How fine a mesh to make: three settings by name, or sizes of one's own."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from polefem.errors import InvalidValue, refusal, spelled
from polefem.params.checks import positive, whole
from polefem.params.quantity import quantity

__all__ = ["MeshSpec"]


@spelled
@dataclass(frozen=True)
class MeshSpec:
    """Element sizes, each as a multiple of a length of the machine, so that one setting fits every size.

    corner: at pole corners, in air gaps. face: along pole faces, in geometric means of air gap and pole width
    (the field of a passing corner is as wide as the gap, and counts for less the wider the pole), or in ten air
    gaps where a pole is wider than a hundred. iron: inside iron, in pole widths. growth: how fast sizes grow away
    from a corner or a face, per length (0.3: a third of a metre per metre). most: elements of one side of the gap over
    the sector that is solved; sizes that ask for more are refused before any meshing. 200,000 on each side make 0.9
    million unknowns, which take minutes and 10 GB.
    """

    corner: float = field(default=0.08, metadata=quantity())
    face: float = field(default=0.188, metadata=quantity())
    iron: float = field(default=0.22, metadata=quantity())
    growth: float = field(default=0.7, metadata=quantity())
    most: int = 200_000

    def __post_init__(self) -> None:
        for name in ("corner", "face", "iron", "growth"):
            positive("a mesh size must be positive", f"mesh.{name}", getattr(self, name))
        whole("a mesh has elements", "mesh.most", self.most)

    def coarser(self, factor: float) -> MeshSpec:
        """The same grading with every size `factor` times as large."""
        return replace(self, corner=self.corner * factor, face=self.face * factor, iron=self.iron * factor)

    @classmethod
    def named(cls, name: str) -> MeshSpec:
        """The mesh called 'coarse', 'normal' or 'fine'; raises InvalidValue for another name."""
        settings = {
            "coarse": cls(corner=0.2, face=0.22, iron=0.42, growth=1.5),
            "normal": cls(),
            "fine": cls(corner=0.04, face=0.11, iron=0.12, growth=0.4),
        }
        if name not in settings:
            raise InvalidValue(
                refusal("a mesh has one of three names", "mesh", repr(name), ", ".join(settings))
            )
        return settings[name]

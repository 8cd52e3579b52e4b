"""The shape of one pole, as a builder would say it. The same words serve rotor and stator, round and flat."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any, Literal

from polefem.errors import InvalidValue, refusal, spelled
from polefem.params.checks import Sides, both, number, positive, within
from polefem.params.face import FreeFace, RoundFace, SlopedFace
from polefem.params.quantity import quantity

__all__ = ["Barrier", "Hole", "Notch", "Pole", "Shoe"]

#: Notch forms by name.
FORMS = ("rectangular", "v", "round")


@spelled
@dataclass(frozen=True)
class Shoe:
    """A pole shoe: the face reaches beyond the flanks of the pole's body.

    overhang: how far each tip reaches past the flank, m; 0 for none on one side. tip: thickness at the tip,
    m. neck: thickness where the shoe meets the body, m. Each may be a pair, minus side first. Lengths are
    measured along or across the pole axis.
    """

    overhang: Sides = field(metadata=quantity("mm"))
    tip: Sides = field(metadata=quantity("mm"))
    neck: Sides = field(metadata=quantity("mm"))

    def __post_init__(self) -> None:
        rule = "a pole shoe must reach out"
        if not sum(positive(rule, "shoe.overhang", reach, "m", zero=True) for reach in both(self.overhang)):
            raise InvalidValue(refusal(rule, "shoe.overhang", "0 mm", "above 0 mm on a side"))
        for tip in both(self.tip):
            positive("a pole shoe must have a tip of some thickness", "shoe.tip", tip, "m")
        for neck in both(self.neck):
            positive("a pole shoe must have a neck of some thickness", "shoe.neck", neck, "m")


@spelled
@dataclass(frozen=True)
class Notch:
    """A notch cut into the pole face, symmetric about a line through the shaft's centre (flat: across the
    gap).

    at: angle from the pole axis, rad. width: across its mouth, m. depth: behind the face on the notch's own
    line, m. form: "rectangular"; "v", pointed at the bottom; or "round", one arc where it is no deeper than
    half its width, else straight sides and a half-round bottom.
    """

    at: float = field(metadata=quantity("deg"))
    width: float = field(metadata=quantity("mm"))
    depth: float = field(metadata=quantity("mm"))
    form: Literal["rectangular", "v", "round"] = "rectangular"

    def __post_init__(self) -> None:
        number("notch.at", self.at)
        positive("a notch must have a width", "notch.width", self.width, "m")
        positive("a notch must have a depth", "notch.depth", self.depth, "m")
        if self.form not in FORMS:
            raise InvalidValue(
                refusal("a notch has a known form", "notch.form", repr(self.form), ", ".join(FORMS))
            )


@spelled
@dataclass(frozen=True)
class Hole:
    """A round hole in the pole, `depth` of its centre behind the face level, `offset` off the axis, m."""

    depth: float = field(metadata=quantity("mm"))
    diameter: float = field(metadata=quantity("mm"))
    offset: float = field(default=0.0, metadata=quantity("mm"))

    def __post_init__(self) -> None:
        positive("a hole must lie behind the face", "hole.depth", self.depth, "m")
        positive("a hole must have a diameter", "hole.diameter", self.diameter, "m")
        number("hole.offset", self.offset)


@spelled
@dataclass(frozen=True)
class Barrier:
    """A rectangular opening in the pole that flux must go round.

    depth: of its centre behind the face level, m. length: along the pole axis where tilt is 0, m. width:
    across, m. tilt: of its length, counter-clockwise from the pole axis, rad. offset: of its centre off the
    axis, m.
    """

    depth: float = field(metadata=quantity("mm"))
    length: float = field(metadata=quantity("mm"))
    width: float = field(metadata=quantity("mm"))
    tilt: float = field(default=0.0, metadata=quantity("deg"))
    offset: float = field(default=0.0, metadata=quantity("mm"))

    def __post_init__(self) -> None:
        positive("a barrier must lie behind the face", "barrier.depth", self.depth, "m")
        positive("a barrier must have a length", "barrier.length", self.length, "m")
        positive("a barrier must have a width", "barrier.width", self.width, "m")
        number("barrier.tilt", self.tilt)
        number("barrier.offset", self.offset)


@spelled
@dataclass(frozen=True)
class Pole:
    """One pole, of the stator or of the rotor. `Pole(arc)` alone is parallel-sided, as wide as its face's
    chord.

    arc: angle of the face about the shaft, at the pole's own gap radius, rad; the width of the parallel-sided pole
    is the chord 2 r sin(arc / 2). taper: angle of each flank to the pole axis, rad; positive widens the pole
    towards its root. shoe: where the face reaches beyond the flanks. notches: in the face. holes, barriers: inside.
    face: how the gap varies along it; None for the same gap all along. tip_chamfer, tip_fillet: at the face's
    edges, m (one of the two on a side). root_fillet: between flank and yoke, m. flank_length: of the straight
    flank, m, where the valley beside it is scooped out: the flank turns off in one arc, tangent to it, that meets
    the yoke's level midway to the next pole; 0 for flanks that run straight down to the yoke. web: the thinnest
    iron that may be left anywhere, m; 0.35 mm, a common sheet's thickness, below which punching tears the edge
    (common practice).

    taper, tip_chamfer, tip_fillet, root_fillet, flank_length and what the shoe has may be a pair: minus side
    (clockwise of the axis), then plus side. Levels behind the face are measured along the pole axis from where the
    gap is narrowest.

    >>> Pole(arc=0.5, taper=(0.0, 0.1)).symmetric
    False
    """

    arc: float = field(metadata=quantity("deg"))
    taper: Sides = field(default=0.0, metadata=quantity("deg"))
    shoe: Shoe | None = None
    notches: tuple[Notch, ...] = ()
    holes: tuple[Hole, ...] = ()
    barriers: tuple[Barrier, ...] = ()
    face: SlopedFace | RoundFace | FreeFace | None = None
    tip_chamfer: Sides = field(default=0.0, metadata=quantity("mm"))
    tip_fillet: Sides = field(default=0.0, metadata=quantity("mm"))
    root_fillet: Sides = field(default=0.0, metadata=quantity("mm"))
    flank_length: Sides = field(default=0.0, metadata=quantity("mm"))
    web: float = field(default=0.35e-3, metadata=quantity("mm"))

    def __post_init__(self) -> None:
        within("a pole face must be narrower than half a turn", "pole.arc", self.arc, 0.0, math.pi, "rad")
        for taper in both(self.taper):
            within("a flank must run along the pole", "pole.taper", taper, -math.pi / 4, math.pi / 4, "rad")
        for name in ("tip_chamfer", "tip_fillet", "root_fillet"):
            for size in both(getattr(self, name)):
                positive("a corner's size cannot be negative", f"pole.{name}", size, "m", zero=True)
        for length in both(self.flank_length):
            positive("a flank cannot be shorter than nothing", "pole.flank_length", length, "m", zero=True)
        positive("a web must have a thickness", "pole.web", self.web, "m")
        if any(a and b for a, b in zip(both(self.root_fillet), both(self.flank_length), strict=True)):
            rule, most = "a root is filled or scooped out", "0 where flank_length is set"
            raise InvalidValue(refusal(rule, "pole.root_fillet", self.root_fillet, most))
        if any(a and b for a, b in zip(both(self.tip_chamfer), both(self.tip_fillet), strict=True)):
            raise InvalidValue(
                refusal(
                    "a tip is chamfered or rounded",
                    "pole.tip_chamfer",
                    self.tip_chamfer,
                    "0 where tip_fillet is set",
                )
            )

    @property
    def symmetric(self) -> bool:
        """Whether the pole axis is an axis of symmetry."""
        sides = [self.taper, self.tip_chamfer, self.tip_fillet, self.root_fillet, self.flank_length]
        if self.shoe is not None:
            sides += [self.shoe.overhang, self.shoe.tip, self.shoe.neck]
        return (
            all(minus == plus for minus, plus in map(both, sides))
            and (self.face is None or self.face.symmetric)
            and _mirrored({(n.at, 0.0, n.width, n.depth, n.form) for n in self.notches})
            and _mirrored({(h.offset, 0.0, h.depth, h.diameter) for h in self.holes})
            and _mirrored({(b.offset, *_lie(b.tilt), b.depth, b.length, b.width) for b in self.barriers})
        )


def _lie(tilt: float) -> tuple[float, float]:
    """A tilt as a barrier shows it, the same after half a turn; mirrored, the first changes sign."""
    return round(math.sin(2 * tilt), 12), round(math.cos(2 * tilt), 12)


def _mirrored(parts: set[tuple[Any, ...]]) -> bool:
    """Whether the parts are the same with the signs of their first two numbers changed."""
    return {(-part[0], -part[1], *part[2:]) for part in parts} == parts

"""A magnetisation curve as published: its points, and what is known and assumed of them."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from polefem.materials.grade import Seen, Standing
from polefem.materials.law import MU0, FloatArray, Law
from polefem.materials.table import checked_table, law_through

__all__ = ["Curve"]


@dataclass(frozen=True, eq=False, repr=False)
class Curve:
    """Points of H and B with their origin.

    Attributes
    ----------
    h, b : ndarray, shape (n,), A/m and T, both increasing from 0
    saturation : polarisation in T that the extrapolation goes to, or None for a short rise to the slope of vacuum
    standing, source, seen : what the points are, where from, and how the source was seen
    assumed : what in the curve or beyond its points nobody measured; empty if nothing
    """

    name: str
    h: FloatArray
    b: FloatArray
    saturation: float | None = None
    standing: Standing = "measured"
    source: str = "given"
    seen: Seen = "read"
    assumed: str = ""

    def __post_init__(self) -> None:
        for field, array in zip(("h", "b"), checked_table(self.h, self.b, self.name), strict=True):
            array.flags.writeable = False
            object.__setattr__(self, field, array)

    def __reduce__(self) -> tuple[type["Curve"], tuple[object, ...]]:
        parts = (
            self.name,
            self.h,
            self.b,
            self.saturation,
            self.standing,
            self.source,
            self.seen,
            self.assumed,
        )
        return Curve, parts

    def __repr__(self) -> str:
        ends = f"{self.h.size} points up to {self.b[-1]:.3g} T at {self.h[-1]:.4g} A/m"
        assumed = f"; assumed: {self.assumed}" if self.assumed else ""
        return f"Curve {self.name!r}: {ends}; {self.standing}; {self.source}, {self.seen}{assumed}"

    @classmethod
    def from_polarisation(cls, name: str, h: ArrayLike, j: ArrayLike, **known: object) -> "Curve":
        """A curve from points of H in A/m and J in T."""
        h = np.asarray(h, dtype=np.float64)
        return cls(name, h, np.asarray(j, dtype=np.float64) + MU0 * h, **known)  # type: ignore[arg-type]

    @property
    def j(self) -> FloatArray:
        """Polarisation B - mu0 H at the points: ndarray, shape (n,), T."""
        return self.b - MU0 * self.h

    def law(self) -> Law:
        """The law through every point."""
        return law_through(self.h, self.b, self.saturation, self.name)

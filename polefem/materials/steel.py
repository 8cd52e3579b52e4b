"""What a part is made of: a name and its magnetisation law."""

from dataclasses import dataclass
from math import inf
from typing import overload

import numpy as np
from numpy.typing import ArrayLike

from polefem.errors import InvalidValue, refusal
from polefem.materials.law import MU0, NU0, TINY_B, FloatArray, Law
from polefem.materials.table import checked_table, law_through

__all__ = ["Steel"]


@dataclass(frozen=True, eq=False, repr=False)
class Steel:
    """A soft magnetic material, single-valued and isotropic.

    Examples
    --------
    >>> steel = Steel.from_table([0, 100, 1000, 10000, 100000], [0, 1.0, 1.5, 1.8, 2.1], name="shop steel")
    >>> round(steel.h(1.5), 9), round(steel.b(1000.0), 9)
    (1000.0, 1.5)
    >>> steel
    Steel 'shop steel': 100 A/m at 1 T, 1000 A/m at 1.5 T, saturates at 1.986 T
    """

    name: str
    law: Law

    @classmethod
    def from_table(cls, h: ArrayLike, b: ArrayLike, name: str = "table") -> "Steel":
        """The steel whose law passes through every point of a table.

        Parameters
        ----------
        h, b : array_like, shape (n,)
            Field strength in A/m and flux density in T, both increasing from 0; three points or more.

        Raises
        ------
        InvalidValue
            A table that no steel has; the sentence names the row.
        """
        return cls(name, law_through(*checked_table(h, b, name)))

    @classmethod
    def linear(cls, mu_r: float, name: str | None = None) -> "Steel":
        """A material of constant relative permeability, 1 or more."""
        if not 1.0 <= mu_r < inf:
            raise InvalidValue(
                refusal("iron carries more flux than vacuum", "mu_r", mu_r, "1 or more, and finite")
            )
        return cls(name or f"linear, mu_r = {mu_r:g}", Law(np.zeros(1), np.zeros(1), np.array([NU0 / mu_r])))

    @classmethod
    def vacuum(cls) -> "Steel":
        """No iron at all."""
        return cls.linear(1.0, name="vacuum")

    def __repr__(self) -> str:
        if self.law.b.size == 1:
            return f"Steel {self.name!r}: constant relative permeability {NU0 / self.law.slope[0]:.4g}"
        knee = ", ".join(f"{self.h(b):.4g} A/m at {b:g} T" for b in (1.0, 1.5))
        return f"Steel {self.name!r}: {knee}, saturates at {self.saturation_polarisation:.4g} T"

    def content(self) -> tuple[str | float, ...]:
        """Everything that makes this steel this steel, as plain strings and numbers: for a content key."""
        knots = np.concatenate([self.law.b, self.law.h, self.law.slope])
        return ("steel", self.name, *knots.tolist())

    def evaluate(self, b: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """H in A/m, dH/dB in m/H and energy density in J/m3 at flux densities >= 0 in T, in one pass."""
        return self.law.evaluate(b)

    def reluctivity(self, b: FloatArray) -> tuple[FloatArray, FloatArray]:
        """H/B in m/H and its derivative with respect to B squared, in m/(H T2), at flux densities >= 0 in T.

        With them the exact tangent is dH_i/dB_j = nu delta_ij + 2 dnu/d(B^2) B_i B_j. At b = 0 the first is
        the slope there and the second 0: the tangent has that limit, since its second term carries B twice.
        """
        h, slope, _ = self.law.evaluate(b)
        still = b < TINY_B
        safe = np.where(still, 1.0, b)
        nu = np.where(still, slope, h / safe)
        return nu, np.where(still, 0.0, 0.5 * (slope - nu) / safe**2)

    @overload
    def h(self, b: float) -> float: ...
    @overload
    def h(self, b: FloatArray) -> FloatArray: ...
    def h(self, b: float | FloatArray) -> float | FloatArray:
        """Field strength in A/m at a flux density in T, of either sign."""
        b = np.asarray(b, dtype=np.float64)
        return _plain(np.sign(b) * self.law.evaluate(np.abs(b))[0])

    @overload
    def b(self, h: float) -> float: ...
    @overload
    def b(self, h: FloatArray) -> FloatArray: ...
    def b(self, h: float | FloatArray) -> float | FloatArray:
        """Flux density in T at a field strength in A/m, of either sign."""
        h = np.asarray(h, dtype=np.float64)
        return _plain(np.sign(h) * self.law.invert(np.abs(h)))

    @overload
    def coenergy_density(self, b: float) -> float: ...
    @overload
    def coenergy_density(self, b: FloatArray) -> FloatArray: ...
    def coenergy_density(self, b: float | FloatArray) -> float | FloatArray:
        """Integral of B dH up to the H of a flux density in T, J/m3: H B less the energy."""
        b = np.abs(np.asarray(b, dtype=np.float64))
        h, _, energy = self.law.evaluate(b)
        return _plain(h * b - energy)

    @property
    def saturation_polarisation(self) -> float:
        """Largest B - mu0 H in T: 0 for vacuum, infinite for a constant permeability above 1."""
        if self.law.slope[-1] < NU0 * (1.0 - 1e-9):
            return inf
        return float(self.law.b[-1] - MU0 * self.law.h[-1])


def _plain(values: FloatArray) -> float | FloatArray:
    return float(values) if values.ndim == 0 else values

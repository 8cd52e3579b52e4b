"""What a part is made of: a name and its magnetisation law, the curve it came from and the figures of its grade."""

from dataclasses import dataclass
from math import inf
from pathlib import Path
from typing import overload

import numpy as np
from numpy.typing import ArrayLike

from polefem.errors import InvalidValue, refusal
from polefem.materials.as_built import Allowance, built_grade, built_law
from polefem.materials.csv_file import OUTLIER, read_table
from polefem.materials.curve import Curve
from polefem.materials.grade import Grade
from polefem.materials.law import MU0, NU0, TINY_B, FloatArray, Law
from polefem.materials.library import named
from polefem.materials.table import checked_table

__all__ = ["Steel"]

#: The largest constant relative permeability: far beyond any iron, and short of where numbers end.
MOST = 1e12


@dataclass(frozen=True, eq=False, repr=False)
class Steel:
    """A soft magnetic material, single-valued and isotropic.

    Attributes
    ----------
    name : what it is called in results
    law : H(B), see `Law`
    curve : the points that the law was made from, with their source; None for a constant permeability
    grade : density, resistivity, loss and thickness, where they are known
    allowance, sheet : for a steel `as_built`, what was allowed for, and the steel as it is sold

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
    curve: Curve | None = None
    grade: Grade | None = None
    allowance: Allowance | None = None
    sheet: "Steel | None" = None

    @classmethod
    def from_curve(cls, curve: Curve, grade: Grade | None = None) -> "Steel":
        """The steel whose law passes through every point of a curve."""
        return cls(curve.name, curve.law(), curve, grade)

    @classmethod
    def from_table(
        cls, h: ArrayLike, b: ArrayLike, name: str = "table", *, saturation: float | None = None
    ) -> "Steel":
        """The steel whose law passes through every point of a table.

        Parameters
        ----------
        h, b : array_like, shape (n,)
            Field strength in A/m and flux density in T, both increasing from 0; three points or more.
        saturation : float, T
            The polarisation that the law approaches beyond the last point. Without it the slope dB/dH falls to
            mu0 within 0.05 T, as if the table ended at saturation.

        Raises
        ------
        InvalidValue
            A table that no steel has; the sentence names the row.
        """
        return cls.from_curve(Curve(name, *checked_table(h, b, name), saturation))

    @classmethod
    def from_csv(
        cls,
        path: str | Path,
        name: str | None = None,
        *,
        saturation: float | None = None,
        outlier: float = OUTLIER,
    ) -> "Steel":
        """The steel of a measured curve in a CSV file, whose header states quantities and units.

        Parameters
        ----------
        path : a header such as `H [kA/m], J [T]`, then rows of two numbers; a hash starts a comment
        name : the file's name without its ending, if left out
        saturation : as in `from_table`
        outlier : float, T, how far a point may lie from a curve whose slope rises once and falls once

        Raises
        ------
        InvalidValue
            A file that holds no such curve; the sentence names the line.
        """
        path = Path(path)
        h, b = read_table(path, outlier)
        return cls.from_curve(Curve(name or path.stem, h, b, saturation, source=path.name))

    @classmethod
    def named(cls, name: str) -> "Steel":
        """A steel of the library, see `steel_names` and the head of `polefem.materials.library`.

        A bare grade such as "M330-50A" is the least its standard allows; "M330-50A measured" one that was bought.

        >>> steel = Steel.named("M330-50A")
        >>> round(steel.j(5000.0), 9), steel.curve.standing, steel.grade.loss(1.5, 50.0).value
        (1.6, 'guaranteed minimum', 3.3)

        Raises
        ------
        InvalidValue
            A name that is not in the library.
        """
        return cls.vacuum() if name == "vacuum" else cls.from_curve(*named(name))

    @classmethod
    def linear(cls, mu_r: float, name: str | None = None) -> "Steel":
        """A material of constant relative permeability, 1 or more; raises InvalidValue for anything else."""
        real = isinstance(mu_r, int | float | np.integer | np.floating) and not isinstance(mu_r, bool)
        if not (real and 1.0 <= mu_r <= MOST):
            rule, allowed = "iron carries more flux than vacuum", f"a number from 1 to {MOST:g}"
            raise InvalidValue(refusal(rule, "mu_r", f"{mu_r!r}"[:40], allowed))
        return cls(name or f"linear, mu_r = {mu_r:g}", Law(np.zeros(1), np.zeros(1), np.array([NU0 / mu_r])))

    @classmethod
    def vacuum(cls) -> "Steel":
        """No iron at all."""
        return cls.linear(1.0, name="vacuum")

    def stacked(self, factor: float) -> "Steel":
        """The same steel as a stack of sheets: iron in the share `factor` of its length, air in the rest.

        Along the sheets both see the same H: B = factor B_iron(H) + (1 - factor) mu0 H. Common practice: 0.95 to
        0.97 for 0.50 mm, 0.93 to 0.96 for 0.35 mm.

        Raises
        ------
        InvalidValue
            A factor not above 0, or above 1.
        """
        if not 0.0 < factor <= 1.0:
            raise InvalidValue(refusal("a stack is part iron", "stacking factor", factor, "above 0, up to 1"))
        return Steel(f"{self.name}, stacked {factor:g}", self.law.beside_air(factor), grade=self.grade)

    def as_built(self, share: float = 1.0, polarisation: float = 1.0) -> "Steel":
        """The same steel cut, pressed and joined, see `polefem.materials.as_built`: below its knee it takes more field
        strength, and its losses grow; both as in three cores that were measured beside their sheet.

        Parameters
        ----------
        share : 0 for the sheet as sold, 1 for a core like those
        polarisation : over that of the sheet at the field strength so bent

        Raises
        ------
        InvalidValue
            Numbers with which the law would not rise, or a material of constant permeability.

        Examples
        --------
        >>> sheet = Steel.named("NO20")
        >>> round(sheet.as_built().h(1.0) / sheet.h(1.0), 1), round(sheet.as_built().h(1.5) / sheet.h(1.5), 1)
        (3.2, 1.1)
        """
        allowance, sheet = Allowance(share, polarisation), self.sheet or self
        if sheet.law.b.size == 1:
            rule, allowed = "what building does is known of a steel with a knee", "a steel with a curve"
            raise InvalidValue(refusal(rule, "steel", sheet.name, allowed))
        grade = built_grade(sheet.grade, allowance) if sheet.grade else None
        law = built_law(sheet.law, allowance)
        return Steel(f"{sheet.name}, {allowance}", law, None, grade, allowance, sheet)

    def __repr__(self) -> str:
        if self.law.b.size == 1:
            return f"Steel {self.name!r}: constant relative permeability {NU0 / self.law.slope[0]:.4g}"
        knee = ", ".join(f"{self.h(b):.4g} A/m at {b:g} T" for b in (1.0, 1.5))
        return f"Steel {self.name!r}: {knee}, saturates at {self.saturation_polarisation:.4g} T"

    def content(self) -> tuple[str | float, ...]:
        """Everything that makes this steel this steel, as plain strings and numbers: for a content key."""
        knots = np.concatenate([self.law.b, self.law.h, self.law.slope])
        return ("steel", self.name, *knots.tolist(), *(self.grade.content() if self.grade else ()))

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
    def j(self, h: float) -> float: ...
    @overload
    def j(self, h: FloatArray) -> FloatArray: ...
    def j(self, h: float | FloatArray) -> float | FloatArray:
        """Polarisation B - mu0 H in T at a field strength in A/m, of either sign."""
        return self.b(h) - MU0 * h

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

"""What cutting, pressing and joining do to a sheet: an allowance of two numbers that bend its law and keep it rising.

The field strength that a polarisation asks for grows from h to

    h' = h + share * MOST_MORE * h / (1 + (h / (PLACE h_half))^2)

with h_half the field strength at half the saturation polarisation: up to 3.4 times as much below the knee, nothing
more far beyond it. The polarisation is scaled as a whole. For a share above -0.42 and below 3.37 the law rises as the
sheet's does, whatever the sheet.

`MOST_MORE` and `PLACE` were fitted to cores that were measured beside their sheet (`built_cores`): at a share of 1 the
form meets their field strength within 16 % from 0.5 to 1.55 T, where the sheet alone is off by up to 3.5 times. That
another shop's cores are like these is an assumption; a share between 0, the sheet, and 1, these cores, is what nobody
who has not measured can say.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from polefem.errors import InvalidValue, refusal
from polefem.materials.built_cores import CORES
from polefem.materials.grade import Figure, Grade, Loss
from polefem.materials.law import MU0, NU0, FloatArray, Law

__all__ = ["LEAST_SHARE", "MOST_SHARE", "Allowance", "built_grade", "built_law"]

#: How much more field strength the measured cores take well below the knee, as a part of their sheet's.
MOST_MORE = 2.37
#: Where that fades, in field strengths at half the saturation polarisation.
PLACE = 3.88
#: Shares between which every law keeps rising: 1 + share * MOST_MORE * (1 - x^2) / (1 + x^2)^2 > 0 for every x, where
#: that fraction lies between -1/8 and 1.
LEAST_SHARE, MOST_SHARE = -1.0 / MOST_MORE, 8.0 / MOST_MORE
#: Measured loss of the cores over their sheet's at 1 T, by frequency in Hz; and what of that excess is left at 1.5 T,
#: where only 50 Hz were measured.
LOSS_FREQUENCIES, MORE_LOSS = (50.0, 200.0, 400.0, 1000.0), (1.62, 1.50, 1.44, 1.35)
LEFT_AT_KNEE = 0.27 / 0.62
PARTS = 4  # pieces made of one, so that the cubic between follows the bent law


@dataclass(frozen=True)
class Allowance:
    """share: 0 for the sheet as sold, 1 for cores as measured. polarisation: over that of the sheet.

    Raises InvalidValue for a share with which a law would fall, and a polarisation that is not above 0.
    """

    share: float = 1.0
    polarisation: float = 1.0

    def __post_init__(self) -> None:
        if not LEAST_SHARE < self.share < MOST_SHARE:
            rule, allowed = "a steel keeps rising", f"above {LEAST_SHARE:.2f} and below {MOST_SHARE:.2f}"
            raise InvalidValue(refusal(rule, "as_built", self.share, allowed))
        if not 0.0 < self.polarisation < 2.0:
            rule = "built steel is magnetic"
            raise InvalidValue(refusal(rule, "polarisation", self.polarisation, "above 0, below 2"))

    def __str__(self) -> str:
        scaled = "" if self.polarisation == 1.0 else f", {self.polarisation:.4g} of its polarisation"
        return f"as built {self.share:.4g}{scaled}"


def built_law(law: Law, allowance: Allowance) -> Law:
    """The law with an allowance: exact in value and slope at its knots and at three more within each piece."""
    between = law.b[:-1, None] + np.diff(law.b)[:, None] * np.arange(PARTS) / PARTS
    b = np.append(between.ravel(), law.b[-1])
    h, slope, _ = law.evaluate(b)
    j = b - MU0 * h
    field, growth = _bent(h, _half_field(law), allowance.share)
    j, rate = allowance.polarisation * j, allowance.polarisation * (1.0 / slope - MU0) / growth
    return Law(j + MU0 * field, field, np.minimum(1.0 / (MU0 + rate), NU0))


def _bent(h: FloatArray, half: float, share: float) -> tuple[FloatArray, FloatArray]:
    """Field strengths h' in A/m and dh'/dh at field strengths h in A/m, any shape."""
    square = (h / (PLACE * half)) ** 2
    more = share * MOST_MORE
    return h * (1.0 + more / (1.0 + square)), 1.0 + more * (1.0 - square) / (1.0 + square) ** 2


def _half_field(law: Law) -> float:
    """Field strength at half the saturation polarisation, A/m."""
    saturation = law.b[-1] - MU0 * law.h[-1]
    b = np.linspace(0.0, law.b[-1], 4001)
    h = law.evaluate(b)[0]
    return float(np.interp(0.5 * saturation, b - MU0 * h, h))


def built_grade(grade: Grade, allowance: Allowance) -> Grade:
    """The grade with its losses as much larger as those of the measured cores, in the allowance's share."""

    def grown(loss: Loss) -> Loss:
        most = np.interp(np.log(loss.frequency), np.log(LOSS_FREQUENCIES), MORE_LOSS) - 1.0
        left = np.interp(loss.peak, (1.0, 1.5), (1.0, LEFT_AT_KNEE))
        factor = 1.0 + max(allowance.share, 0.0) * float(most * left)
        old = loss.figure
        source = f"{old.source}, times {factor:.3g} as in {CORES}"
        return replace(loss, figure=Figure(old.value * factor, old.unit, "assumption", source, old.seen))

    return replace(grade, losses=tuple(grown(loss) for loss in grade.losses))

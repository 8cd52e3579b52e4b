"""Low-carbon sheet and bar, and pure iron: curves as published, and fits sampled where they hold.

What a small shop can buy without asking: DC01 and DC03 are cold-rolled sheet, AISI 1008 strip, AISI 12L14 and 9SMn28K
free-cutting bar, EN9 a medium-carbon bar. None is sold to a magnetic promise: their curves move with carbon, cold work
and annealing far more than those of electrical sheet.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np

from polefem.materials.curve import Curve
from polefem.materials.grade import Figure, Grade
from polefem.materials.law import MU0, FloatArray
from polefem.materials.published_sheet import data_curve

__all__ = ["MuFit", "iron_curves", "iron_grade", "sheet_fits"]


HIGHEST_FITTED_FIELD = 6000.0  # A/m

IRON_SATURATION = 2.158  # T
IRON_EASY = 0.8311896  # mean largest direction cosine of a cubic crystal's axes over all directions
IRON_PERMEABILITY = 2e5
# H in A/m and J in T of free grains
_IRON_ROTATION = (
    (500.0, 1.80087),
    (1000.0, 1.80785),
    (2000.0, 1.82131),
    (3000.0, 1.83415),
    (5000.0, 1.85817),
    (7500.0, 1.88553),
    (10000.0, 1.91039),
    (15000.0, 1.95400),
    (20000.0, 1.99107),
    (30000.0, 2.05021),
    (50000.0, 2.11806),
    (100000.0, 2.14895),
    (200000.0, 2.15585),
)


@dataclass(frozen=True)
class MuFit:
    """mu_r(B) = 1 + (initial - 1 + a x) / (1 + c x + x^n) with x = B / knee (Roschke, dissertation 2000).

    The fits are anhysteretic. Trap: x^n takes mu_r to 1 only slowly, so that near saturation they ask for far too
    much H; `curve` samples them up to 6000 A/m and leaves the rest to the approach to saturation.
    """

    initial: float
    knee: float  # T
    a: float
    c: float
    n: float

    def field(self, b: FloatArray) -> FloatArray:
        """H in A/m at flux densities above 0 in T, any shape."""
        x = b / self.knee
        return b / (MU0 * (1.0 + (self.initial - 1.0 + self.a * x) / (1.0 + self.c * x + x**self.n)))

    def curve(self, name: str, saturation: float) -> Curve:
        """The fit at a few dozen flux densities, with an assumed saturation polarisation in T."""
        b = np.concatenate([[0.002, 0.005, 0.01, 0.02, 0.05], np.arange(2, 40) / 20.0])
        h = self.field(b)
        held = h <= HIGHEST_FITTED_FIELD
        return Curve(
            name,
            np.append(0.0, h[held]),
            np.append(0.0, b[held]),
            saturation=saturation,
            standing="typical",
            source="Roschke, VDI Fortschritt-Berichte 21/293 (2000)",
            assumed=f"above {HIGHEST_FITTED_FIELD:g} A/m an exponential approach to {saturation:g} T",
        )


# The source has one more fit, of a complete core of M330-50A with its joints: not a sheet, left out.
_BAR_FITS = {
    "AISI 1008": (MuFit(200, 1.17, 8100, 2.59, 10), 2.1),
    "AISI 12L14": (MuFit(10, 0.94, 5900, 4.19, 6.4), 2.05),
    "DC01": (MuFit(5, 1.1, 6450, 3.65, 7.7), 2.1),
    "DC03": (MuFit(0, 1.05, 27790, 16, 10.4), 2.1),
    "9SMn28K": (MuFit(500, 1.036, 43414, 35.8, 14), 2.05),
}
_SHEET_FITS = {
    "M350-50A": (MuFit(1210, 1.16, 24630, 2.44, 14), 2.0),
    "M530-50A": (MuFit(2120, 1.25, 12400, 1.6, 13.5), 2.05),
    "M700-100A": (MuFit(1120, 1.2, 20750, 3.55, 13.15), 2.05),
    "M940-100A": (MuFit(680, 1.26, 17760, 3.13, 13.9), 2.05),
}


@cache
def sheet_fits() -> dict[str, Curve]:
    """Fits of electrical sheet, by the name of their grade."""
    return {grade: fit.curve(f"{grade} fit", saturation) for grade, (fit, saturation) in _SHEET_FITS.items()}


@cache
def iron_curves() -> dict[str, Curve]:
    """Low-carbon steels, steels of benchmark problems and pure iron, by name."""
    fits = (fit.curve(name, saturation) for name, (fit, saturation) in _BAR_FITS.items())
    return {curve.name: curve for curve in (*fits, *_en9(), _team_13(), _team_25(), _pure_iron())}


def _en9() -> tuple[Curve, Curve]:
    """As published, and with points put in below 4000 A/m, where the source has none and torque may move by 20 %."""
    source = "N. Allen, D. Rodger, Description of TEAM Workshop Problem 24, table I: annealed"
    plain = data_curve("EN9", "EN9", source=source, assumed="nearly straight up to 4000 A/m, the first point")
    h, b = np.insert(plain.h, 1, (500.0, 1150.0, 1800.0)), np.insert(plain.b, 1, (0.5, 1.0, 1.2))
    return plain, Curve("EN9, assumed knee", h, b, source=source, assumed="the three points below 4000 A/m")


def _team_13() -> Curve:
    """The table, and the parabola that the problem sets above 1.8 T, up to its vertex: from there J is 2.16 T."""
    table = data_curve("TEAM_13", "TEAM 13 steel")
    a, b, c = -2.381e-10, 2.327e-5, 1.590
    h = np.linspace(12e3, -b / (2.0 * a), 12)
    above = MU0 * h + a * h**2 + b * h + c
    return Curve(
        table.name, np.append(table.h, h), np.append(table.b, above), source="TEAM Workshop Problem 13"
    )


def _team_25() -> Curve:
    return data_curve(
        "TEAM_25",
        "TEAM 25 steel",
        saturation=2.1,
        source="TEAM Workshop Problem 25",
        seen="from memory",
        assumed="beyond the last point an exponential approach to 2.1 T",
    )


def _pure_iron() -> Curve:
    """What an isotropic iron could do at best: grains with nothing to hinder them but their crystal's axes.

    Each grain takes the direction m of least energy K1 (m1^2 m2^2 + m2^2 m3^2 + m3^2 m1^2) - Js H.m, and J is the
    mean over all orientations of a grain; K1 = 48 kJ/m3 and Js = 2.158 T (R. M. Bozorth, Ferromagnetism,
    1951). In no field that mean is 0.8312 Js, the mean of the largest direction cosine; purified iron has the
    largest permeability reported, 200 000 (the same source), and is taken to reach it with that.
    Grains that touch pull each other straight and leave down to half of what free ones lack to saturation
    (T. Holstein, H. Primakoff, Phys. Rev. 59 (1941) 388): half is granted from 30 kA/m up, none below 5 kA/m. Both
    sources from memory.
    """
    easy = IRON_EASY * IRON_SATURATION
    h, free = np.array(_IRON_ROTATION).T
    left = np.interp(np.log(h), np.log([5e3, 30e3]), [1.0, 0.5])
    return Curve.from_polarisation(
        "pure iron",
        np.concatenate([[0.0, easy / (IRON_PERMEABILITY * MU0)], h]),
        np.concatenate([[0.0, easy], IRON_SATURATION - left * (IRON_SATURATION - free)]),
        saturation=IRON_SATURATION,
        standing="computed",
        source="least energy of crystal grains, constants of Bozorth (1951)",
        seen="computed",
        assumed="no hysteresis, no cold work, no impurity: an upper bound, not a material to order",
    )


# Resistivities at room temperature, 1e-8 ohm m: silicon, manganese, sulphur and carbon each add some.
_RESISTIVITY = {"AISI 12L14": 17.0, "9SMn28K": 17.0, "pure iron": 9.7}
_LOW_CARBON = 14.0


def iron_grade(name: str) -> Grade:
    """Density and resistivity of a solid steel, for its mass and its skin depth. None has a promised loss."""
    memory = "handbook value"
    resistivity = Figure(
        1e-8 * _RESISTIVITY.get(name, _LOW_CARBON), "ohm m", "assumption", memory, "from memory"
    )
    if name.startswith("EN9"):
        resistivity = Figure(1.0 / 4.54e6, "ohm m", "measured", "TEAM Workshop Problem 24", "read")
    return Grade(name, Figure(7860.0, "kg/m3", "typical", memory, "from memory"), resistivity)

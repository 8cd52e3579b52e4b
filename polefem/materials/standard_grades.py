"""Non-oriented electrical steel, fully processed, by its standard: EN 10106 / IEC 60404-8-4.

A grade M330-50A is sheet of 0.50 mm with at most 3.30 W/kg at 1.5 T and 50 Hz. The standard limits the
polarisation J = B - mu0 H from below at three field strengths, and the loss from above; the density is the
conventional one that the cross-section of a sample is computed with. Two rows were read in a text that quotes them,
the densities of the 0.50 mm grades were read beside measured curves, everything else is from memory.
"""

from polefem.materials.grade import Figure, Grade, Loss, Seen

__all__ = ["STANDARD", "resistivity_at", "standard_grade", "standard_grade_names"]

STANDARD = "EN 10106 / IEC 60404-8-4"

# name: (P at 1.5 T and 1.0 T, 50 Hz, W/kg; J at 2500, 5000 and 10000 A/m, T; density, kg/dm3)
_TABLE = {
    "M235-35A": (2.35, 0.95, 1.49, 1.60, 1.70, 7.60),
    "M250-35A": (2.50, 1.00, 1.49, 1.60, 1.70, 7.60),
    "M270-35A": (2.70, 1.10, 1.49, 1.60, 1.70, 7.65),
    "M300-35A": (3.00, 1.20, 1.49, 1.60, 1.70, 7.65),
    "M330-35A": (3.30, 1.30, 1.49, 1.60, 1.70, 7.65),
    "M250-50A": (2.50, 1.05, 1.49, 1.60, 1.70, 7.60),
    "M270-50A": (2.70, 1.10, 1.49, 1.60, 1.70, 7.60),
    "M290-50A": (2.90, 1.15, 1.49, 1.60, 1.70, 7.60),
    "M310-50A": (3.10, 1.25, 1.49, 1.60, 1.70, 7.65),
    "M330-50A": (3.30, 1.35, 1.49, 1.60, 1.70, 7.65),
    "M350-50A": (3.50, 1.50, 1.50, 1.60, 1.70, 7.65),
    "M400-50A": (4.00, 1.70, 1.53, 1.63, 1.73, 7.70),
    "M470-50A": (4.70, 2.00, 1.54, 1.64, 1.74, 7.70),
    "M530-50A": (5.30, 2.30, 1.56, 1.65, 1.75, 7.70),
    "M600-50A": (6.00, 2.60, 1.57, 1.66, 1.76, 7.75),
    "M700-50A": (7.00, 3.00, 1.60, 1.69, 1.77, 7.80),
    "M800-50A": (8.00, 3.60, 1.60, 1.70, 1.78, 7.80),
    "M940-50A": (9.40, 4.20, 1.62, 1.72, 1.81, 7.85),
    "M350-65A": (3.50, 1.50, 1.49, 1.60, 1.70, 7.60),
    "M400-65A": (4.00, 1.70, 1.52, 1.62, 1.72, 7.65),
    "M470-65A": (4.70, 2.00, 1.53, 1.63, 1.73, 7.65),
    "M530-65A": (5.30, 2.30, 1.54, 1.64, 1.74, 7.70),
    "M600-65A": (6.00, 2.60, 1.56, 1.66, 1.76, 7.75),
    "M700-65A": (7.00, 3.00, 1.57, 1.67, 1.76, 7.75),
    "M800-65A": (8.00, 3.60, 1.60, 1.70, 1.78, 7.80),
    "M1000-65A": (10.0, 4.40, 1.61, 1.71, 1.80, 7.80),
}
_READ = {"M270-35A", "M400-50A"}  # all but the loss at 1.0 T
_FIELDS = (2500.0, 5000.0, 10000.0)


def standard_grade_names() -> tuple[str, ...]:
    """The grades of the standard that are known here."""
    return tuple(_TABLE)


def standard_grade(name: str) -> Grade:
    """A grade of the standard, each figure with its standing.

    >>> print(standard_grade("M400-50A").loss(1.5, 50.0))
    4 W/kg (guaranteed maximum; EN 10106 / IEC 60404-8-4, read in a second text)
    """
    loss_15, loss_10, *minima, density = _TABLE[name]
    seen: Seen = "read in a second text" if name in _READ else "from memory"

    def most(value: float, how: Seen) -> Figure:
        return Figure(value, "W/kg", "guaranteed maximum", STANDARD, how)

    return Grade(
        name=name,
        density=Figure(
            1000.0 * density, "kg/m3", "conventional", STANDARD, "read" if name.endswith("50A") else seen
        ),
        resistivity=resistivity_at(1000.0 * density),
        thickness=Figure(1e-5 * float(name.rstrip("A").split("-")[1]), "m", "conventional", STANDARD, "read"),
        minima=tuple(
            (h, Figure(j, "T", "guaranteed minimum", STANDARD, seen))
            for h, j in zip(_FIELDS, minima, strict=True)
        ),
        losses=(Loss(1.5, 50.0, most(loss_15, seen)), Loss(1.0, 50.0, most(loss_10, "from memory"))),
    )


def resistivity_at(density: float) -> Figure:
    """The standard gives none. Silicon and aluminium lower the density and raise the resistivity together.

    Both are rules of thumb: density 7865 - 65 s and resistivity 12 + 11 s microhm cm, s in per cent of
    silicon and the like. At 7650 kg/m3 they give 48.4, against 48 (M19) and 52 (M270-35A) in makers' data.
    """
    silicon = (7865.0 - density) / 65.0
    return Figure((12.0 + 11.0 * silicon) * 1e-8, "ohm m", "assumption", "from the density", "from memory")

"""The steels that can be had by name, and what is known of each.

- "M330-50A": the least that the standard lets a supplier deliver. The curve passes exactly through the minimum
  polarisations; the rest is assumed: the shape of a measured curve of a like steel, its J multiplied by a factor that
  makes it meet the minima, constant below the first and above the last of them, even in log H between.
- "M330-50A measured", "M330-50A data sheet", "M350-50A fit": one published curve each. Of some measured grades only
  points from 2500 A/m up were copied; below, and between, the shape is assumed as above.
- low-carbon sheet and bar, steels of benchmark problems, and pure iron as an upper bound.
"""

from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np

from polefem.errors import UnknownName, unknown
from polefem.materials.built_cores import NO20, no20_grade
from polefem.materials.curve import Curve
from polefem.materials.grade import Figure, Grade, Loss, Seen, Standing
from polefem.materials.law import MU0
from polefem.materials.published_iron import iron_curves, iron_grade, sheet_fits
from polefem.materials.published_sheet import MEASURED_POINTS, SOURCE, measured_curves, sheet_curves
from polefem.materials.standard_grades import STANDARD, resistivity_at, standard_grade, standard_grade_names

__all__ = ["named", "standard_minimum", "steel_names"]

# Relative distance in H within which a point of the shape gives way to the point that is known.
SAME_POINT = 0.03


def steel_names() -> tuple[str, ...]:
    """Every name that `Steel.named` knows: the grades of the standard, published curves, vacuum."""
    return (*standard_grade_names(), *_published(), "vacuum")


def named(name: str) -> tuple[Curve, Grade]:
    """The curve and the other figures of a steel of the library.

    Raises
    ------
    InvalidValue
        A name that is not in the library; the sentence lists those that begin alike, or all.
    """
    if name in standard_grade_names():
        return standard_minimum(name), standard_grade(name)
    if name in _published():
        return _published()[name]
    like = [known for known in steel_names() if name and known[:4].lower() == name[:4].lower()]
    raise UnknownName(unknown("a steel is known by its name", "name", name, like or steel_names()))


@cache
def standard_minimum(name: str) -> Curve:
    """A curve through the minimum polarisations of a grade of the standard, its other parts assumed."""
    grade = standard_grade(name)
    points = [(h, figure.value) for h, figure in grade.minima]
    seen = grade.minima[0][1].seen
    return _reshaped(_like(grade), name, points, standing="guaranteed minimum", source=STANDARD, seen=seen)


@cache
def _published() -> dict[str, tuple[Curve, Grade]]:
    """Curve and other figures of every published curve, by its name."""
    partial = {
        grade: _reshaped(_like(_sheet_grade(grade)), f"{grade} measured", points, source=SOURCE)
        for grade, points in MEASURED_POINTS.items()
    }
    sheet = [
        (curve.name, (curve, _sheet_grade(grade)))
        for curves in (measured_curves(), partial, sheet_curves(), sheet_fits())
        for grade, curve in curves.items()
    ]
    return dict(sheet) | {name: (curve, iron_grade(name)) for name, curve in iron_curves().items()}


def _like(grade: Grade) -> Curve:
    """The measured curve of the most similar make: thin sheet apart, else by density, that is by silicon."""
    if grade.thickness is not None and grade.thickness.value < 0.4e-3:
        return measured_curves()["HP270-35A"]
    if grade.density.value < 7675.0:
        return measured_curves()["M330-50A"]
    return measured_curves()["M400-50A" if grade.density.value < 7725.0 else "M800-50A"]


def _reshaped(shape: Curve, name: str, points: Sequence[tuple[float, float]], **known: Any) -> Curve:
    """The curve through points of H in A/m and J in T that elsewhere keeps the shape of another."""
    at, j = np.array(points).T
    factor = j / (shape.law().invert(at) - MU0 * at)
    log_h = np.log(np.maximum(shape.h, 1e-3))
    kept = np.abs(log_h[:, None] - np.log(at)).min(axis=1) > SAME_POINT
    h = np.append(shape.h[kept], at)
    j = np.append(shape.j[kept] * np.interp(log_h[kept], np.log(at), factor), j)
    order = np.argsort(h)
    saturation = float(factor[-1]) * (shape.law().b[-1] - MU0 * shape.law().h[-1])
    met = ", ".join(f"{value:g}" for value in at)
    assumed = (
        f"all but the points at {met} A/m: the shape of {shape.name}, scaled; saturation {saturation:.3f} T"
    )
    return Curve.from_polarisation(name, h[order], j[order], saturation=saturation, assumed=assumed, **known)


@cache
def _sheet_grade(name: str) -> Grade:
    """The figures of a sheet: by the standard, with those of its own source in their place."""
    second: Seen = "read in a second text"
    typical: Standing = "typical"
    if name == NO20:
        return no20_grade()
    if name == "M19 29 gauge":
        source = "Lamination Steels, 3rd ed. (2007)"
        loss = Figure(3.42, "W/kg", "guaranteed maximum", source, second)
        return Grade(
            name,
            density=Figure(7650.0, "kg/m3", typical, source, second),
            resistivity=Figure(48e-8, "ohm m", typical, source, second),
            thickness=Figure(0.36e-3, "m", "conventional", source, second),
            losses=(Loss(1.5, 60.0, loss),),
        )
    if name == "M270-35A":
        source = "a maker's data sheet, June 2008"
        return replace(
            standard_grade(name),
            resistivity=Figure(52e-8, "ohm m", typical, source, second),
            losses=(Loss(1.5, 50.0, Figure(2.47, "W/kg", typical, source, second)),),
        )
    if name in standard_grade_names():
        return standard_grade(name)
    # Outside the standard a name still says loss and thickness, as in HP270-35A or M700-100A.
    loss_part, thickness_part = name.strip("HMPA").split("-")
    density = 7650.0 if float(loss_part) < 300.0 else 7800.0
    loss = Figure(float(loss_part) / 100.0, "W/kg", "guaranteed maximum", "by its name", "read")
    return Grade(
        name,
        density=Figure(density, "kg/m3", "assumption", "grades of like loss in the standard", "from memory"),
        resistivity=resistivity_at(density),
        thickness=Figure(1e-5 * float(thickness_part), "m", "conventional", "by its name", "read"),
        losses=(Loss(1.5, 50.0, loss),),
    )

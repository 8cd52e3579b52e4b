"""Electrical sheet: curves that makers and laboratories published.

All but M19 were measured at 50 Hz, so that they hold the eddy currents of a thin sheet at that frequency. A grade's
name does not fix its curve: two sources of M330-50A below differ by 40 % in H at 1.5 T.
"""

from functools import cache
from math import inf
from pathlib import Path
from typing import Any

from polefem.materials.built_cores import NO20, SHEET
from polefem.materials.csv_file import read_table
from polefem.materials.curve import Curve

__all__ = ["MEASURED_POINTS", "SOURCE", "data_curve", "measured_curves", "sheet_curves"]

#: Where the measured curves were read; `data/LICENCE_of_measured_curves.txt` is its notice.
SOURCE: str = "soft-magnetic sheet data of the Modelica Standard Library, development branch"

# The saturation polarisations that the source extrapolates to, T, by grade.
_MEASURED = {"M330-50A": 1.99525, "M400-50A": 2.02447, "M800-50A": 2.09350, "HP270-35A": 1.98697}

#: Measured points (H in A/m, J in T) of grades whose whole curve was not copied, by the name of their grade.
MEASURED_POINTS: dict[str, tuple[tuple[float, float], ...]] = {
    "M270-50A": (
        (2500.0, 1.52527),
        (5000.0, 1.61988),
        (10000.0, 1.74529),
        (15000.0, 1.82820),
        (32130.0, 1.93345),
    ),
    "M310-50A": (
        (2500.0, 1.55621),
        (5000.0, 1.64369),
        (10000.0, 1.76049),
        (15000.0, 1.84027),
        (32380.0, 1.96018),
    ),
    "M350-50A": (
        (2500.0, 1.55527),
        (5000.0, 1.64097),
        (10000.0, 1.75864),
        (15000.0, 1.84054),
        (32900.0, 1.97732),
    ),
    "M470-50A": (
        (2500.0, 1.58954),
        (5000.0, 1.67248),
        (10000.0, 1.78625),
        (15000.0, 1.86728),
        (33280.0, 2.00860),
    ),
    "M530-50A": (
        (2500.0, 1.59287),
        (5000.0, 1.67423),
        (10000.0, 1.78775),
        (15000.0, 1.86961),
        (33880.0, 2.01873),
    ),
    "M600-50A": (
        (2500.0, 1.60863),
        (5000.0, 1.69031),
        (10000.0, 1.80464),
        (15000.0, 1.88146),
        (33300.0, 2.02693),
    ),
    "M700-50A": (
        (2500.0, 1.61834),
        (5000.0, 1.70187),
        (10000.0, 1.81526),
        (15000.0, 1.89589),
        (35880.0, 2.04505),
    ),
    "HP235-35A": (
        (2500.0, 1.56048),
        (5000.0, 1.65363),
        (10000.0, 1.77227),
        (15000.0, 1.84228),
        (32020.0, 1.93049),
    ),
    "HP250-35A": (
        (2500.0, 1.58647),
        (5000.0, 1.67391),
        (10000.0, 1.78522),
        (15000.0, 1.85677),
        (32250.0, 1.95335),
    ),
}

_APPROACH = "beyond the last point an exponential approach to the saturation of the source"
_AT_2_T = "beyond the last point an exponential approach to 2.0 T"


def data_curve(file: str, name: str, **known: Any) -> Curve:
    """A curve from one of the tables beside this module."""
    return Curve(name, *read_table(Path(__file__).parent / "data" / f"{file}.csv", outlier=inf), **known)


@cache
def measured_curves() -> dict[str, Curve]:
    """Whole measured curves, by the name of their grade."""
    return {
        grade: data_curve(
            f"{grade}_measured", f"{grade} measured", saturation=saturation, source=SOURCE, assumed=_APPROACH
        )
        for grade, saturation in _MEASURED.items()
    }


@cache
def sheet_curves() -> dict[str, Curve]:
    """Curves of makers' data sheets and handbooks, by the name of their grade."""
    maker = f"a maker's data sheet in the {SOURCE}"
    older = "a maker's data sheet, June 2008"
    m19 = "Lamination Steels, 3rd ed. (2007), as in the data of MIT 6.685, autumn 2013"
    second = "read in a second text"
    known: dict[str, Any] = {"saturation": 2.0, "standing": "typical"}
    return {
        "M330-50A": data_curve(
            "M330-50A_data_sheet", "M330-50A data sheet", source=maker, assumed=_AT_2_T, **known
        ),
        "M400-50A": data_curve(
            "M400-50A_data_sheet", "M400-50A data sheet", source=maker, assumed=_APPROACH, **known
        ),
        "M270-35A": data_curve(
            "M270-35A_data_sheet", "M270-35A data sheet", source=older, seen=second, assumed=_AT_2_T, **known
        ),
        NO20: data_curve("NO20_data_sheet", NO20, source=SHEET, assumed=_AT_2_T, **known),
        "M19 29 gauge": data_curve(
            "M19_29_gauge", "M19 29 gauge", source=m19, seen=second, assumed=_AT_2_T, **known
        ),
    }

"""Sheet of 0.20 mm and three stator cores assembled of it, both measured: what building does to a sheet.

Source (read as numbers): statordata, P. Fyhr, 2025, MIT licence: instrument exports of three assembled stator cores,
measured on 18 September 2024, and the maker's data sheet of March 2019 of the sheet they are made of. The means of the
three cores and their losses at round flux densities were computed from the exports (computed). How the cores were cut
and joined is not stated, nor the path that the instrument divides by: the field strength is that of a whole yoke.
"""

from __future__ import annotations

from polefem.materials.grade import Figure, Grade, Loss, Seen, Standing

__all__ = ["CORES", "CORE_FIELD", "CORE_LOSS", "NO20", "NO20_LOSS", "PEAKS", "SHEET", "no20_grade"]

NO20 = "NO20"
SHEET = "a maker's data sheet, March 2019, in statordata (P. Fyhr, 2025)"
CORES = "three assembled stator cores, statordata (P. Fyhr, 2025)"

#: Of the sheet, typical: specific loss in W/kg by frequency in Hz, at the peak flux densities of `PEAKS`.
PEAKS = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.3, 1.4, 1.5, 1.6)
NO20_LOSS: dict[float, tuple[float, ...]] = {
    50.0: (0.02, 0.06, 0.11, 0.18, 0.25, 0.34, 0.44, 0.54, 0.66, 0.80, 0.96, 1.15, 1.40, 1.69, 2.02, 2.33),
    100.0: (0.03, 0.12, 0.25, 0.40, 0.57, 0.76, 0.98, 1.23, 1.50, 1.81, 2.16, 2.59, 3.13, 3.83, 4.53, 5.19),
    200.0: (0.07, 0.27, 0.57, 0.93, 1.36, 1.85, 2.38, 2.97, 3.63, 4.37, 5.22, 6.24, 7.47, 9.09, 10.8, 12.2),
    400.0: (0.16, 0.66, 1.39, 2.31, 3.41, 4.64, 6.05, 7.60, 9.32, 11.2, 13.4, 16.1, 19.6, 23.5, 28.0, 31.9),
    700.0: (0.37, 1.45, 3.03, 5.04, 7.41, 10.2, 13.3, 16.8, 20.6, 24.9, 29.7, 35.3, 42.0, 50.4, 59.9, 68.9),
    1000.0: (
        0.64,
        2.42,
        5.06,
        8.38,
        12.4,
        17.1,
        22.4,
        28.3,
        35.0,
        42.4,
        50.7,
        60.2,
        71.5,
        85.7,
        102.0,
        117.0,
    ),
}

#: Of the cores, mean of three: peak polarisation in T, then W/kg by frequency in Hz; they differ by 4 % at 1 T.
CORE_LOSS: dict[float, dict[float, float]] = {
    0.5: {20.0: 0.176, 50.0: 0.465, 200.0: 2.28, 400.0: 5.44, 1000.0: 18.6, 1500.0: 33.1, 2000.0: 50.1},
    0.7: {20.0: 0.292, 50.0: 0.774, 200.0: 3.84, 400.0: 9.27, 1000.0: 32.3, 1500.0: 57.9, 2000.0: 88.5},
    1.0: {20.0: 0.486, 50.0: 1.30, 200.0: 6.57, 400.0: 16.1, 1000.0: 57.4, 1500.0: 104.0, 2000.0: 161.0},
    1.1: {20.0: 0.558, 50.0: 1.49, 200.0: 7.63, 400.0: 18.8, 1000.0: 67.2, 1500.0: 123.0},
    1.3: {20.0: 0.726, 50.0: 1.95, 200.0: 10.1, 400.0: 25.2},
    1.5: {20.0: 0.966, 50.0: 2.57},
}

#: Of the cores, first magnetisation, mean of three: polarisation in T and field strength in A/m.
CORE_FIELD: tuple[tuple[float, float], ...] = (
    (0.3, 82.0),
    (0.4, 105.0),
    (0.5, 131.0),
    (0.6, 160.0),
    (0.7, 192.0),
    (0.8, 227.0),
    (0.9, 268.0),
    (1.0, 317.0),
    (1.1, 379.0),
    (1.2, 468.0),
    (1.3, 621.0),
    (1.4, 966.0),
    (1.45, 1308.0),
    (1.5, 1802.0),
    (1.55, 2485.0),
    (1.6, 3335.0),
)


def no20_grade() -> Grade:
    """The other figures of the sheet; of its losses those at 50 to 1000 Hz from 0.5 T up, which machines see."""
    seen: Seen = "read"
    typical: Standing = "typical"
    losses = tuple(
        Loss(peak, frequency, Figure(row[at], "W/kg", typical, SHEET, seen))
        for frequency, row in NO20_LOSS.items()
        for at, peak in enumerate(PEAKS)
        if peak in (0.5, 1.0, 1.5)
    )
    return Grade(
        NO20,
        density=Figure(7600.0, "kg/m3", typical, SHEET, seen),
        resistivity=Figure(59e-8, "ohm m", typical, SHEET, seen),
        thickness=Figure(0.20e-3, "m", "conventional", SHEET, seen),
        losses=losses,
    )

"""A measured curve from a file: units by its header, and faults named by their line."""

from pathlib import Path

import numpy as np
import pytest

from polefem.materials import MU0, Steel
from polefem.materials.csv_file import smooth_curve

CURVE = Steel.named("M330-50A measured").curve


def written(folder: Path, header: str, h: np.ndarray, b: np.ndarray, separator: str = ", ") -> Path:
    rows = [f"{x!r}{separator}{y!r}" for x, y in zip(h.tolist(), b.tolist(), strict=True)]
    path = folder / "bench.csv"
    path.write_text("\n".join(["# a strip from the bench", header, *rows]) + "\n")
    return path


@pytest.mark.parametrize(
    ("header", "per_h", "per_b", "quantity"),
    [
        ("H [A/m], B [T]", 1.0, 1.0, "b"),
        ("H (kA/m), J (mT)", 1e3, 1e-3, "j"),
        ("H_A/cm, B/T", 1e2, 1.0, "b"),
        ("H in Oe, B in G", 79.57747, 1e-4, "b"),
        ("H / (Oe), J / (kG)", 79.57747, 0.1, "j"),
    ],
)
def test_any_stated_unit_gives_the_same_steel(
    tmp_path: Path, header: str, per_h: float, per_b: float, quantity: str
) -> None:
    """1 Oe is 1000 / (4 pi) A/m; in gauss J stands for 4 pi M."""
    path = written(tmp_path, header, CURVE.h / per_h, getattr(CURVE, quantity) / per_b)
    steel = Steel.from_csv(path)
    assert steel.name == "bench"
    np.testing.assert_allclose(steel.b(CURVE.h), CURVE.b, rtol=1e-6)


def test_columns_in_the_other_order_and_decimal_commas(tmp_path: Path) -> None:
    path = tmp_path / "strip.csv"
    path.write_text("B [T];\tH [A/m]\n0,5; 60 # first\n\n1,0; 110,5\n1,5; 1500\n")
    steel = Steel.from_csv(path, name="strip steel")
    assert steel.name == "strip steel"
    assert steel.curve.h.tolist() == [0.0, 60.0, 110.5, 1500.0]
    assert steel.b(110.5) == pytest.approx(1.0)


def test_b_is_not_j(tmp_path: Path) -> None:
    as_b = Steel.from_csv(written(tmp_path, "H [A/m], B [T]", CURVE.h, CURVE.j))
    as_j = Steel.from_csv(written(tmp_path, "H [A/m], J [T]", CURVE.h, CURVE.j))
    assert as_j.b(1e4) - as_b.b(1e4) == pytest.approx(MU0 * 1e4, rel=1e-2)


@pytest.mark.parametrize(("row", "shift"), [(20, 0.015), (24, 0.04), (24, -0.04), (28, 0.03), (28, -0.03)])
def test_an_outlier_is_named_by_its_line(tmp_path: Path, row: int, shift: float) -> None:
    b = CURVE.b.copy()
    b[row] += shift
    path = written(tmp_path, "H [A/m], B [T]", CURVE.h, b)
    # The first row of numbers is line 3 of the file.
    with pytest.raises(ValueError, match=f"one smooth curve: bench.csv, line {row + 3} is B = "):
        Steel.from_csv(path, outlier=0.005)
    assert Steel.from_csv(path, outlier=np.inf).b(CURVE.h[row]) == pytest.approx(b[row])


def test_the_published_curve_itself_has_no_outlier() -> None:
    assert np.abs(CURVE.b - smooth_curve(CURVE.h, CURVE.b)).max() < 1e-3


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "a curve needs points: faulty.csv is an empty file"),
        (
            "H, B\n0, 0\n",
            "states its quantity and unit: faulty.csv is 'H', allowed is H in A/m, kA/m, A/cm, Oe with",
        ),
        ("H [A/m], B [Wb]\n0, 0\n", r"its quantity and unit: faulty.csv is 'B \[Wb\]'"),
        ("B [T], J [T]\n0, 0\n", "a curve has two quantities: faulty.csv is B and J"),
        ("H [A/m], B [T], B [T]\n0, 0, 0\n", "a curve has two quantities: faulty.csv is H and B and B"),
        ("H [A/m], B [T]\n0, 0\n50, none\n", "a row is two numbers: faulty.csv, line 3 is '50, none'"),
        ("H [A/m], B [T]\n0, 0\n50\n", "a row is two numbers: faulty.csv, line 3 is '50'"),
        ("H [A/m], B [T]\n0, 0\n50, 1\n", "a curve needs points: faulty.csv is a table of 2 rows"),
        (
            "H [A/m], B [T]\n0, 0\n50, 1\n\n40, 1.2\n",
            "increases: faulty.csv, line 5 is H = 40 A/m, B = 1.2 T",
        ),
        (
            "H [A/m], B [T]\n0, 0\n50, 1\n90, nan\n",
            "holds numbers: faulty.csv, line 4 is H = 90 A/m, B = nan T",
        ),
        ("H [kA/m], B [T]\n0, 0\n50, 1\n900, 1.1\n", "in vacuum: faulty.csv, line 4 is H = 900000 A/m"),
    ],
)
def test_a_faulty_file_is_refused_by_its_line(tmp_path: Path, text: str, sentence: str) -> None:
    path = tmp_path / "faulty.csv"
    path.write_text(text)
    with pytest.raises(ValueError, match=sentence):
        Steel.from_csv(path)

"""A measured curve from a file: units by its header, and faults named by their line."""

import tracemalloc
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import isotonic_regression

from polefem.errors import InvalidValue
from polefem.materials import MU0, Steel, steel_names
from polefem.materials.csv_file import _pooled, smooth_curve

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


@pytest.mark.parametrize(
    "text",
    [
        "H [A/m]; B [T]\n0;0\n60;0,5\n110,5;1,0\n1500;1,5\n",
        'H [A/m],B [T]\n0,0\n60,"0,5"\n"110,5","1,0"\n1500,1.5\n',
        '"H [A/m]","B [T]"\n"0","0"\n"60","0.5"\n"110.5","1.0"\n"1500","1.5"\n',
    ],
)
def test_spreadsheets_of_either_habit_are_read(text: str, tmp_path: Path) -> None:
    path = tmp_path / "strip.csv"
    path.write_text(text)
    steel = Steel.from_csv(path)
    assert steel.curve.h.tolist() == [0.0, 60.0, 110.5, 1500.0]
    assert steel.curve.b.tolist() == pytest.approx([0.0, 0.5, 1.0, 1.5])


def test_bytes_that_no_text_has_are_told(tmp_path: Path) -> None:
    path = tmp_path / "strip.csv"
    path.write_bytes(bytes(range(1, 256)))
    with pytest.raises(InvalidValue, match=r"a curve is read from a text file: strip\.csv is no text"):
        Steel.from_csv(path)


def test_a_misspelt_steel_is_met_with_the_near_one() -> None:
    with pytest.raises(InvalidValue, match=r"name is '330-50A' .did you mean 'M330-50A'"):
        Steel.named("330-50A")


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
            "states its quantity and unit: faulty.csv is 'H', allowed is a header such as 'H \\[A/m\\], B \\[T\\]'",
        ),
        ("H [A/m], B [Wb]\n0, 0\n", r"its quantity and unit: faulty.csv is 'B \[Wb\]'"),
        ("B [T], J [T]\n0, 0\n", "a curve has two quantities: faulty.csv is B and J"),
        ("H [A/m], B [T], B [T]\n0, 0, 0\n", "a curve has two quantities: faulty.csv is H and B and B"),
        ("H [A/m], B [T]\n0, 0\n50, none\n", "a row is two numbers: faulty.csv, line 3 is '50, none'"),
        ("H [A/m], B [T]\n0, 0\n5_0, 1\n", "a row is two numbers: faulty.csv, line 3 is '5_0, 1'"),
        ("H [A/m]; B [T]\n0; 0\n1.000,5; 1\n", "a row is two numbers: faulty.csv, line 3 is '1.000,5; 1'"),
        (
            "0; 0\n50; 1\n",
            "what the columns are: faulty.csv, first line is '0; 0', allowed is a line before it such as",
        ),
        (
            "0,0\n50,1\n",
            r"first line is '0,0', allowed is a line before it such as 'H \[A/m\], B \[T\]': H in A/m, kA/m, A/cm, "
            "Oe with B or J in T, mT, G, kG",
        ),
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


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
@pytest.mark.parametrize(
    "text",
    [
        "# für µ\nH [A/m]; B [T]\n0; 0\n60,5; 0,5\n110; 1\n1500; 1,5\n",
        "# für µ\nH [A/m]\tB [T]\r\n0\t0\r\n60,5\t0,5\r\n110\t1\r\n1500\t1,5\r\n",
        '# für µ\n"H [A/m]";"B [T]"\n"0";"0"\n"60,5";"0,5"\n"110";"1"\n"1,5E3";"1,5"\n',
        "# für µ\nH [A/m], B [T]\n0; 0\n60,5; 0,5\n110; 1\n1500; 1,5\n",
        "# für µ\nH [A/m], B [T]\n0, 0\n60.5, 0.5\n110, 1\n1500, 1.5\n",
    ],
)
def test_what_an_editor_or_a_sheet_writes_is_read(tmp_path: Path, text: str, encoding: str) -> None:
    path = tmp_path / "sheet.csv"
    path.write_bytes(text.encode(encoding))
    curve = Steel.from_csv(path).curve
    assert curve.h.tolist() == [0.0, 60.5, 110.0, 1500.0] and curve.b.tolist() == [0.0, 0.5, 1.0, 1.5]


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (
            None,
            r"a curve is read from a text file: '.*gone.csv' is not readable \(No such file or directory\)",
        ),
        (
            bytes(range(256)) * 9,
            "a curve is read from a text file: gone.csv is no text, allowed is a header such as",
        ),
        (
            "H [A/m], B [T]\n0, 0\n".encode("utf-16-le"),
            "a curve is read from a text file: gone.csv is no text",
        ),
        (b"\xff\xfeH", "a column states its quantity and unit: gone.csv is 'ÿþH'"),
        (b"\x89PNG\r\n\x1a\n" * 40, "a curve is read from a text file: gone.csv is no text"),
    ],
)
def test_what_is_no_text_ends_in_a_sentence(tmp_path: Path, data: bytes | None, sentence: str) -> None:
    path = tmp_path / "gone.csv"
    if data is not None:
        path.write_bytes(data)
    with pytest.raises(ValueError, match=sentence):
        Steel.from_csv(path)


def test_a_folder_is_no_curve(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match=r"a curve is read from a text file: '.*' is not readable"):
        Steel.from_csv(tmp_path)


def every_place_tried(h: np.ndarray, b: np.ndarray) -> np.ndarray:
    """The nearest curve whose slope rises once and falls once, by fitting it for every place of the steepest step."""
    width, curves = np.diff(h), []
    slope = np.diff(b) / width
    for top in range(slope.size):
        up = isotonic_regression(slope[:top], weights=width[:top]).x if top else slope[:0]
        down = isotonic_regression(slope[top:], weights=width[top:], increasing=False).x
        curves.append(b[0] + np.append(0.0, np.cumsum(np.append(up, down) * width)))
    return min(curves, key=lambda curve: float(np.sum((curve - b) ** 2)))


def test_the_nearest_smooth_curve_is_that_of_the_best_place_of_all() -> None:
    chance = np.random.default_rng(5)
    tables = [Steel.named(name).curve for name in steel_names() if Steel.named(name).curve]
    pairs = [(curve.h, curve.b) for curve in tables]
    for scatter in (1e-6, 1e-3, 0.05):
        h = np.append(0.0, np.cumsum(chance.exponential(60.0, 80)))
        pairs.append((h, 1.6 * h / (h + 300.0) + np.sort(chance.normal(0.0, scatter, h.size))))

    def same(one: np.ndarray, other: np.ndarray) -> bool:
        return bool(np.abs(one - other).max() <= 1e-12)

    for h, b in pairs:
        assert same(smooth_curve(h, b), every_place_tried(h, b))
    # The twin: slopes pooled to fall from the first step on.
    h, b = CURVE.h, CURVE.b
    falling = isotonic_regression(np.diff(b) / np.diff(h), weights=np.diff(h), increasing=False).x
    assert not same(b[0] + np.append(0.0, np.cumsum(falling * np.diff(h))), every_place_tried(h, b))


def test_what_is_left_of_each_beginning_is_that_of_its_own_regression() -> None:
    rng = np.random.default_rng(4)
    width, rise = rng.uniform(0.5, 2.0, 40), rng.normal(1.0, 1.0, 40)

    def left(steps: int) -> float:
        slope = isotonic_regression(rise[:steps] / width[:steps], weights=width[:steps]).x
        return float((np.cumsum(slope * width[:steps] - rise[:steps]) ** 2).sum())

    assert _pooled(width, rise)[0] == pytest.approx([0.0, *map(left, range(1, 41))])


def test_many_rows_take_memory_for_each_and_not_for_each_pair(tmp_path: Path) -> None:
    """Twice the rows take twice the memory; in pairs of rows it would be four times as much."""

    def taken(rows: int) -> int:
        h = np.linspace(0.0, 5e4, rows)
        path = written(tmp_path, "H [A/m], B [T]", h, 1.9 * h / (h + 300.0) + MU0 * h)
        tracemalloc.start()
        steel = Steel.from_csv(path)
        most = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        assert steel.b(5e3) == pytest.approx(1.9 * 5e3 / 5300.0 + MU0 * 5e3, rel=1e-6)
        return most

    def linear(few: int, many: int) -> bool:
        return many < 2.6 * few

    few, many = taken(2000), taken(4000)
    assert linear(few, many)
    assert not linear(2000**2 * 8, 4000**2 * 8)


@pytest.mark.parametrize("mu_r", [True, "x", "1000", None, [1000.0], 0.5, np.nan, np.inf, 10**400, 1j])
def test_a_permeability_is_a_number_that_iron_may_have(mu_r: object) -> None:
    with pytest.raises(
        InvalidValue,
        match=r"iron carries more flux than vacuum: mu_r is .*, allowed is a number from 1 to 1e",
    ):
        Steel.linear(mu_r)  # type: ignore[arg-type]


def test_a_table_of_words_is_refused() -> None:
    for h in (["a", "b", "c"], [[0.0], [1.0, 2.0]], [0, 1, 10**400]):
        with pytest.raises(
            InvalidValue,
            match=r"a B-H table holds numbers: table is (text or the like|lists of unequal length)",
        ):
            Steel.from_table(h, [0.0, 1.0, 1.5])

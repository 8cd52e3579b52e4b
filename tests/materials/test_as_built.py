"""Cores as they were assembled, measured beside their sheet: what the allowance makes of them, and the loss fit.

The tables are those of `polefem.materials.built_cores` (read); a few of their numbers stand here a second time.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.optimize import least_squares

from polefem import Steel
from polefem.errors import InvalidValue
from polefem.materials import LossSeparation, as_built, fitted_separation, loss_separation, steel_names
from polefem.materials.as_built import MOST_MORE, PLACE
from polefem.materials.built_cores import CORE_FIELD, CORE_LOSS, CORES, NO20_LOSS, PEAKS
from polefem.materials.eddy import classical_coefficient
from polefem.params.toml import load_machine, machine_from_text, machine_text
from tests.record.check import Check

CASE = "steels"
SHEET = Steel.named("NO20")
CLASSICAL = classical_coefficient(0.20e-3, 59e-8, 7600.0)
J, H = np.array(CORE_FIELD).T
Record = Callable[..., None]


def field_at(steel: Steel, polarisation: np.ndarray) -> np.ndarray:
    h = np.geomspace(1.0, 2e4, 20001)
    return np.exp(np.interp(polarisation, steel.j(h), np.log(h)))


def furthest(steel: Steel) -> float:
    """From the cores' field strength between 0.5 and 1.55 T, as a part of it."""
    held = (J >= 0.499) & (J <= 1.551)
    return float(np.abs(field_at(steel, J[held]) / H[held] - 1.0).max())


def test_the_sheet_and_its_cores_written_down_twice() -> None:
    assert SHEET.j(150.0) == pytest.approx(1.19) and SHEET.j(1500.0) == pytest.approx(1.49)
    assert (SHEET.grade.loss(1.0, 50.0).value, SHEET.grade.loss(1.5, 400.0).value) == (0.80, 28.0)
    assert dict(CORE_FIELD)[1.0] == 317.0 and CORE_LOSS[1.0][1000.0] == 57.4
    # Published build factors, computed from the same exports.
    sheet = {f: dict(zip(PEAKS, row, strict=True)) for f, row in NO20_LOSS.items()}
    for frequency, factor in zip(as_built.LOSS_FREQUENCIES, as_built.MORE_LOSS, strict=True):
        assert CORE_LOSS[1.0][frequency] / sheet[frequency][1.0] == pytest.approx(factor, abs=0.01)
    assert CORE_LOSS[1.5][50.0] / sheet[50.0][1.5] == pytest.approx(1.27, abs=0.01)


def test_the_allowance_meets_the_cores_and_the_sheet_does_not(record: Record) -> None:
    name = "NO20 as built, field strength from 0.5 to 1.55 T, largest difference from assembled cores"
    check = Check(CASE, name, 0.0, "", CORES, "computed", 0.16, relative=False)
    record(check, furthest(SHEET.as_built()), broken=furthest(SHEET))


def test_the_two_constants_are_what_the_cores_ask_for() -> None:
    sheet = field_at(SHEET, J)
    half = float(field_at(SHEET, np.array([SHEET.saturation_polarisation / 2]))[0])
    held = (J >= 0.499) & (J <= 1.551)

    def off(p: np.ndarray) -> np.ndarray:
        bent = sheet * (1 + p[0] / (1 + (sheet / (p[1] * half)) ** 2))
        return np.log(bent / H)[held]

    fitted = least_squares(off, [1.0, 1.0]).x
    assert fitted == pytest.approx([MOST_MORE, PLACE], rel=0.01)


def rises(steel: Steel) -> bool:
    b = np.linspace(0.0, 1.05 * steel.law.b[-1], 4001)
    h, slope, _ = steel.evaluate(b)
    return bool((np.diff(h) > 0).all() and (slope > 0).all())


@pytest.mark.parametrize("share", [-0.4, 0.0, 1.0, 3.3])
def test_every_steel_of_the_library_keeps_rising(share: float) -> None:
    curved = [steel for steel in map(Steel.named, steel_names()) if steel.law.b.size > 1]
    assert all(rises(steel.as_built(share, 0.95)) for steel in curved)


def test_a_share_beyond_the_limits_falls_and_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(InvalidValue, match="a steel keeps rising: as_built is 4"):
        SHEET.as_built(4.0)
    monkeypatch.setattr(as_built, "MOST_SHARE", 20.0)
    assert not rises(SHEET.as_built(8.0))


def test_nothing_allowed_is_the_sheet_and_twice_is_once() -> None:
    plain = SHEET.as_built(0.0)
    b = np.linspace(0.0, 2.2, 500)
    for found, own in zip(plain.evaluate(b), SHEET.evaluate(b), strict=True):
        assert found == pytest.approx(own, rel=1e-9, abs=1e-9)
    again, once = SHEET.as_built(1.0).as_built(0.5), SHEET.as_built(0.5)
    assert again.content() == once.content()
    assert SHEET.as_built(0.0, 0.9).saturation_polarisation == pytest.approx(
        0.9 * SHEET.saturation_polarisation
    )


def test_bare_numbers_and_constant_iron_are_refused() -> None:
    with pytest.raises(InvalidValue, match="built steel is magnetic: polarisation is 0"):
        SHEET.as_built(1.0, 0.0)
    with pytest.raises(
        InvalidValue, match="what building does is known of a steel with a knee: steel is vacuum"
    ):
        Steel.vacuum().as_built()


# Loss -------------------------------------------------------------------------------------------------


def rows(frequencies: tuple[float, ...]) -> np.ndarray:
    return np.array([(p, f, v) for p, by in CORE_LOSS.items() for f, v in by.items() if f in frequencies])


def furthest_loss(
    fitted: tuple[float, ...], held_out: tuple[float, ...], classical: float = CLASSICAL
) -> float:
    law = fitted_separation(rows(fitted), classical)
    return max(abs(law.sine(p, f) / v - 1.0) for p, f, v in rows(held_out))


@pytest.mark.parametrize(("fitted", "held_out"), [((50.0, 400.0), (200.0, 1000.0, 1500.0, 2000.0))])
def test_losses_at_two_frequencies_foretell_those_at_others(
    fitted: tuple[float, ...], held_out: tuple[float, ...], record: Record
) -> None:
    name = "loss of assembled cores at 200 to 2000 Hz from that at 50 and 400 Hz, largest difference"
    check = Check(CASE, name, 0.0, "", CORES, "computed", 0.03, relative=False)
    # With the classical loss of a sheet of 0.50 mm, the highest frequencies give it away.
    thick = classical_coefficient(0.50e-3, 59e-8, 7600.0)
    record(check, furthest_loss(fitted, held_out), broken=furthest_loss(fitted, held_out, thick))


def test_losses_of_a_sheet_at_many_frequencies_are_separated() -> None:
    law = loss_separation(SHEET.grade)
    ratios = [
        law.sine(peak, frequency) / loss
        for frequency, row in NO20_LOSS.items()
        for peak, loss in zip(PEAKS, row, strict=True)
        if peak >= 0.5
    ]
    assert min(ratios) >= 0.89 and max(ratios) <= 1.12
    assert (law.hysteresis > 0) and (law.excess > 0)


def as_cores_lose(steel: Steel) -> bool:
    law = loss_separation(steel.grade)
    return all(0.82 < law.sine(p, f) / v < 1.1 for p, f, v in rows((50.0, 200.0, 400.0, 1000.0, 2000.0)))


def test_the_allowance_loses_as_the_cores_do() -> None:
    assert as_cores_lose(SHEET.as_built())
    assert not as_cores_lose(SHEET)


def test_a_separation_needs_two_of_each() -> None:
    with pytest.raises(
        InvalidValue, match="a loss is separated over peaks and frequencies: rows is 6 of them"
    ):
        fitted_separation(rows((50.0,)), CLASSICAL)
    law = LossSeparation(0.02, 1.8, CLASSICAL, 3e-4)
    three = np.array([(p, f, law.sine(p, f)) for p, f in ((0.5, 50.0), (1.5, 50.0), (1.0, 400.0))])
    with pytest.raises(
        InvalidValue, match="rows is 2 of them, allowed is three rows at two of each, or more"
    ):
        fitted_separation(three[1:], CLASSICAL)
    found = fitted_separation(three, CLASSICAL)
    assert (found.hysteresis, found.exponent, found.excess) == pytest.approx((0.02, 1.8, 3e-4), rel=1e-4)


# Files ------------------------------------------------------------------------------------------------


def test_an_allowance_is_kept_in_a_machine_s_file() -> None:
    wheel = load_machine("geometries/pottery_wheel.toml")
    text = machine_text(wheel).replace('name = "M330-50A"', 'name = "M330-50A"\nas_built = 0.5')
    built = machine_from_text(text)
    assert built.steel.content() == wheel.steel.as_built(0.5).content()
    assert machine_from_text(machine_text(built)).steel.content() == built.steel.content()
    assert built.steel.grade.density == wheel.steel.grade.density
    assert wheel.steel.allowance is None

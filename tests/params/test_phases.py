"""Phases against the stroke table of the trade: stroke = 2 pi / (phases * rotor poles)."""

import math
from collections.abc import Callable
from fractions import Fraction

import pytest

from polefem.errors import GeometryRefused
from polefem.params.phases import Phases, phases_of
from tests.record.check import Check

CASE = "strokes and pole arcs"
LAWRENSON = "Lawrenson and others, IEE Proceedings B 127(4), 1980"
Record = Callable[..., None]

#: Stator poles, rotor poles, phases, stroke in degrees: Lawrenson and others 1980 (from memory).
TABLE = [
    (6, 4, 3, 30),
    (8, 6, 4, 15),
    (10, 8, 5, 9),
    (12, 8, 3, 15),
    (18, 12, 3, 10),
    (6, 10, 3, 12),
    (12, 16, 3, 7.5),
    (6, 8, 3, 15),
    (4, 2, 2, 90),
    (12, 10, 6, 6),
]


def strokes_apart(phases: Phases, stator_poles: int, rotor_poles: int) -> bool:
    """Whether the rotor must turn by p strokes, modulo its pitch, to stand before every pole of phase p."""
    pitch = Fraction(1, rotor_poles)
    stroke = pitch / phases.count
    return all(
        (Fraction(pole, stator_poles) - phase * stroke) % pitch == 0
        for pole, phase in enumerate(phases.of_pole)
    )


@pytest.mark.parametrize(("stator_poles", "rotor_poles", "count", "stroke_deg"), TABLE)
def test_phases_follow_the_stroke_table(
    stator_poles: int, rotor_poles: int, count: int, stroke_deg: float, record: Record
) -> None:
    phases = phases_of(stator_poles, rotor_poles)
    assert phases.count == count
    assert math.isclose(360 / (count * rotor_poles), stroke_deg)
    assert phases.of_pole[0] == 0
    # One number short is a phase too many or too few.
    for name, published, unit, found in (
        ("phases", count, "", phases.count),
        ("stroke", stroke_deg, "deg", 360 / (phases.count * rotor_poles)),
    ):
        check = Check(
            CASE, f"{name} of {stator_poles}/{rotor_poles}", published, unit, LAWRENSON, "from memory", 1e-9
        )
        record(check, found, broken=found * (count + 1) / count)
    assert strokes_apart(phases, stator_poles, rotor_poles)
    assert len({len(phases.poles(p)) for p in range(count)}) == 1


def test_numbering_phases_round_the_machine_would_not_follow_the_stroke() -> None:
    wrong = Phases(3, (0, 1, 2, 0, 1, 2), (1,) * 6)
    assert not strokes_apart(wrong, 6, 4)


@pytest.mark.parametrize(("stator_poles", "rotor_poles"), [row[:2] for row in TABLE])
def test_flux_of_a_phase_returns_through_its_other_poles(stator_poles: int, rotor_poles: int) -> None:
    phases = phases_of(stator_poles, rotor_poles)
    for phase in range(phases.count):
        signs = [phases.polarity[pole] for pole in phases.poles(phase)]
        assert signs == [1, -1] * (len(signs) // 2)


def test_a_rig_with_one_phase_is_made_when_asked_for() -> None:
    assert phases_of(2, 2, single_phase=True) == Phases(1, (0, 0), (1, -1))
    with pytest.raises(GeometryRefused, match=r"switched in turn: .* is 2/2 \(1 phase\), allowed is 2 to 6"):
        phases_of(2, 2)
    with pytest.raises(GeometryRefused, match="all its poles aligned at once"):
        phases_of(6, 4, single_phase=True)


@pytest.mark.parametrize(("stator_poles", "rotor_poles"), [(9, 6), (6, 5), (5, 4), (12, 9)])
def test_poles_that_do_not_pair_up_are_refused(stator_poles: int, rotor_poles: int) -> None:
    with pytest.raises(GeometryRefused, match="must pair up, one for flux out and one for flux back"):
        phases_of(stator_poles, rotor_poles)


@pytest.mark.parametrize(("stator_poles", "rotor_poles"), [(6, 6), (4, 8), (14, 12)])
def test_poles_all_aligned_at_once_or_never_are_refused(stator_poles: int, rotor_poles: int) -> None:
    with pytest.raises(GeometryRefused, match="phases that are switched in turn"):
        phases_of(stator_poles, rotor_poles)

"""Flat sections by hand against formulas of the handbooks: Carter's coefficient and the leakage of a slot."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cache

import numpy as np
import pytest
from scipy.constants import mu_0

from polefem.materials import Steel
from polefem.model import Source
from polefem.outline import Label, Outline, Region, Ring
from polefem.params import MeshSpec
from polefem.units import mm
from tests.gallery import converges, even, graded, polygon, side, solved, system_of
from tests.record.check import Check

CASE = "slots by handbook formulas"
CARTER = "Carter 1901; Pyrhonen, Jokinen, Hrabovcova, ch. 3"
LEAKAGE = "Pyrhonen, Jokinen, Hrabovcova, Design of Rotating Electrical Machines, ch. 4"
Record = Callable[..., None]

#: Iron so soft that the formulas' ideal iron is not missed.
IDEAL = Steel.linear(1e7)


def box(low: float, high: float, start: float, end: float) -> Ring:
    """Between two levels of x and two of y."""
    return polygon(complex(low, start), complex(high, start), complex(high, end), complex(low, end))


# Carter's coefficient -------------------------------------------------------------------------------

#: Slot pitch, slot opening and gap (mm), and kc by the exact formula, to four digits (computed from the formula).
TRIPLES = [
    (10, 3, 0.5, 1.1980),
    (12, 4, 1, 1.1759),
    (20, 10, 0.5, 1.6524),
    (15, 3, 1, 1.0812),
    (30, 15, 0.4, 1.7645),
]


def carter(pitch: float, opening: float, gap: float) -> float:
    """kc = ts / (ts - gamma g), gamma = (4 / pi)(u atan u - ln sqrt(1 + u^2)), u = b / 2g.

    Source: F. W. Carter, 1901; Pyrhonen, Jokinen, Hrabovcova, Design of Rotating Electrical Machines, ch. 3 (from
    memory). It holds for one slot of any depth in ideal iron, by a conformal map.
    """
    u = opening / (2 * gap)
    gamma = 4 / math.pi * (u * math.atan(u) - math.log(math.sqrt(1 + u**2)))
    return pitch / (pitch - gamma * gap)


@cache
def slotted(pitch: float, opening: float, gap: float, mesh: MeshSpec) -> float:
    """The same by the field: how much wider a gap without slots would have to be to let as little flux through.

    Four teeth to a period, current in every other slot, so that two teeth at a time stand at one magnetic potential
    over a smooth rotor; the slot between the two has no current. The flux through its pitch is the difference of A
    between the middles of the two teeth.
    """
    half, depth, yoke = (pitch - opening) / 2, 2 * opening, pitch / 2
    foot, back = gap + depth, gap + depth + yoke
    iron = polygon(
        *(complex(gap, -half), complex(foot, -half), complex(foot, -pitch / 2), complex(back, -pitch / 2)),
        *(complex(back, pitch / 2), complex(foot, pitch / 2), complex(foot, half), complex(gap, half)),
    )
    stator = side(
        "stator",
        [
            Region(Label("iron"), iron),
            Region(Label("coil", pole=0, side="minus"), box(gap + depth / 2, foot, -pitch / 2, -half)),
            Region(Label("coil", pole=0, side="plus"), box(gap + depth / 2, foot, half, pitch / 2)),
        ],
        poles=4,
        pitch=pitch,
        gap=gap * 2 / 3,
        far=back,
        flat=True,
        corners=[complex(gap, half), complex(gap, -half)],
    )
    smooth = Region(Label("iron"), box(-yoke, 0.0, -pitch / 2, pitch / 2))
    rotor = side("rotor", [smooth], poles=4, pitch=pitch, gap=gap / 3, far=-yoke, flat=True)
    # The other half of each slot's current lies in the next sector, with the other sign.
    coils = (
        Source(Label("coil", pole=0, side="minus"), 0, 0.5),
        Source(Label("coil", pole=1, side="plus"), 0, -0.5),
    )
    outline = Outline(rotor, stator, 1.0, 4 * pitch / (2 * math.pi))
    system = system_of(outline, mesh, (IDEAL, IDEAL), sectors=2, antiperiodic=True, coils=coils)
    model = system.model
    found = solved(system, 0.0, model.loads[0])
    trace = model.rotor_trace
    along = trace.angles * trace.radius
    a = found.unknowns[model.rotor_at][trace.unknowns] * trace.signs
    at = [int(np.argmin(np.abs(along - y))) for y in (0.0, pitch)]
    assert np.allclose(along[at], [0.0, pitch], atol=1e-9)
    return mu_0 * 0.5 * pitch / (gap * float(abs(np.diff(a[at])[0])))


@pytest.mark.parametrize(("pitch", "opening", "gap", "worked"), TRIPLES)
def test_a_slotted_gap_is_wider_by_carters_coefficient(
    pitch: float, opening: float, gap: float, worked: float, record: Record
) -> None:
    expected = carter(pitch, opening, gap)
    assert round(expected, 4) == worked

    def right(found: float) -> bool:
        # Of the widening itself, which is what the coefficient is about.
        return abs((found - expected) / (expected - 1)) < 1e-3

    found = slotted(
        pitch * mm, opening * mm, gap * mm, graded(0.02 * gap * mm, min(pitch / 20, 2 * gap) * mm)
    )
    assert right(found)
    # The twins: half the current in the slots, and the handbooks' rough formula gamma = (b/g)^2 / (5 + b/g).
    ratio = opening / gap
    rough = pitch / (pitch - ratio**2 / (5 + ratio) * gap)
    assert not right(found / 2) and not right(rough)
    name = f"Carter's coefficient less 1; pitch {pitch}, opening {opening}, gap {gap} mm"
    record(Check(CASE, name, worked - 1, "", CARTER, "from memory", 0.002), found - 1, broken=found / 2 - 1)


def test_rates_at_a_corner() -> None:
    """At a right angle of ideal iron A goes with r^(2/3): even elements gain h^(4/3) in flux, graded ones far more."""
    expected = carter(12, 4, 1)
    errors = [
        abs(slotted(12 * mm, 4 * mm, 1 * mm, even(size * mm)) / expected - 1) for size in (0.8, 0.4, 0.2)
    ]
    assert converges(errors, 1.0, 1.7, 2e-3), errors
    finer = abs(slotted(12 * mm, 4 * mm, 1 * mm, graded(0.02 * mm, 0.6 * mm)) / expected - 1)
    assert finer < errors[-1] / 10


# Slot leakage ---------------------------------------------------------------------------------------


@cache
def leakage(height: float, width: float, above: float, size: float) -> float:
    """Permeance over mu0 per metre of a slot filled to a height (m), `above` free above it: L / (mu0 N^2 l).

    What lies over the slot is a flux line, as the formula has it: A = 0 on the far end of the stator, where the slot
    opens; its bottom lies towards the gap. Every other slot carries the other sign.
    """
    pitch, yoke, gap = 2 * width, width, width / 5
    foot = gap + yoke
    top = foot + height + above
    half, end = width / 2, pitch / 2
    iron = polygon(
        *(complex(gap, -end), complex(top, -end), complex(top, -half), complex(foot, -half)),
        *(complex(foot, half), complex(top, half), complex(top, end), complex(gap, end)),
    )
    iron = tuple(iron) if _turns_left(iron) else polygon(*[s.start for s in iron][::-1])
    stator = side(
        "stator",
        [
            Region(Label("iron"), iron),
            Region(Label("coil", pole=0, side="minus"), box(foot, foot + height, -half, 0.0)),
            Region(Label("coil", pole=0, side="plus"), box(foot, foot + height, 0.0, half)),
        ],
        poles=2,
        pitch=pitch,
        gap=gap * 2 / 3,
        far=top,
        flat=True,
    )
    smooth = Region(Label("iron"), box(-yoke, 0.0, -end, end))
    rotor = side("rotor", [smooth], poles=2, pitch=pitch, gap=gap / 3, far=-yoke, flat=True)
    coils = (
        Source(Label("coil", pole=0, side="minus"), 0, 0.5),
        Source(Label("coil", pole=0, side="plus"), 0, 0.5),
    )
    outline = Outline(rotor, stator, 1.0, 2 * pitch / (2 * math.pi))
    system = system_of(outline, even(size), (IDEAL, IDEAL), sectors=2, antiperiodic=True, coils=coils)
    load = system.model.loads[0]
    found = solved(system, 0.0, load)
    return float(load @ found.unknowns) / mu_0


def _turns_left(ring: Ring) -> bool:
    return sum((segment.start.conjugate() * segment.end).imag for segment in ring) > 0


@pytest.mark.parametrize(
    ("height", "width", "above", "worked"),
    [(30, 10, 0, 1.0), (40, 12, 0, 1.111), (30, 10, 4, 1.4), (12, 12, 3, 0.583)],
)
def test_slot_leakage_is_a_third_of_height_over_width(
    height: float, width: float, above: float, worked: float, record: Record
) -> None:
    """lambda = h / 3b, and h2 / b for what lies above (Pyrhonen, Jokinen, Hrabovcova, ch. 4)."""
    expected = height / (3 * width) + above / width
    assert round(expected, 3) == worked

    def right(found: float) -> bool:
        return abs(found / expected - 1) < 1e-4

    found = leakage(height * mm, width * mm, above * mm, width / 5 * mm)
    assert right(found)
    assert not right(found * 1.001) and not right(height / (2 * width) + above / width)
    name = f"permeance over mu0 and length; slot {height} x {width}, {above} mm free above"
    of_half = height / (2 * width) + above / width
    record(Check(CASE, name, worked, "", LEAKAGE, "from memory", 1e-3), found, broken=of_half)


def test_the_leakage_of_a_hundred_turns(record: Record) -> None:
    """Worked: N = 100, l = 0.1 m: 1.257 mH for 30 x 10 mm, 1.396 mH for 40 x 12 mm (computed from the formula)."""
    for height, width, worked in ((30, 10, 1.257e-3), (40, 12, 1.396e-3)):
        found = mu_0 * 100**2 * 0.1 * leakage(height * mm, width * mm, 0.0, width / 5 * mm)
        assert found == pytest.approx(worked, abs=0.5e-6)
        name = f"leakage of 100 turns along 0.1 m; slot {height} x {width} mm"
        check = Check(CASE, name, 1e3 * worked, "mH", LEAKAGE, "from memory", 0.5e-3, relative=False)
        record(check, 1e3 * found, broken=1e3 * found / 2)

"""The thinnest yoke: as thick as the least web, less what rounding takes."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from polefem.errors import GeometryRefused
from polefem.outline.checks import refuse_thin_yoke
from polefem.shapes import Seat
from polefem.units import deg, mm

SEAT = Seat(30.4 * mm, 48 * mm, 30 * deg)


@dataclass(frozen=True)
class Member:
    """What the check reads of a member: how far out its back lies."""

    back: float
    name: str = "stator"
    seat: Seat = SEAT


@pytest.mark.parametrize("part", [1.0, 0.9995, 1.5])
def test_a_yoke_of_the_least_web_stands(part: float) -> None:
    refuse_thin_yoke(Member(48 * mm + part * 0.5 * mm), 0.5 * mm)  # type: ignore[arg-type]


@pytest.mark.parametrize("part", [0.998, 0.5])
def test_a_thinner_one_is_refused(part: float) -> None:
    with pytest.raises(GeometryRefused, match=r"stator yoke is 0\.\d+ mm, allowed is 0.5 mm or more"):
        refuse_thin_yoke(Member(48 * mm + part * 0.5 * mm), 0.5 * mm)  # type: ignore[arg-type]

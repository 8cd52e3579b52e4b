"""The thinnest yoke: as thick as the least web, less what rounding takes."""

from __future__ import annotations

import pytest

from polefem.errors import GeometryRefused
from polefem.outline.builds import Build
from polefem.outline.checks import refuse_thin_yoke
from polefem.params import Pole, Row
from polefem.units import deg, mm


def stator(back: float) -> Build:
    """A stator whose slots end at 48 mm."""
    return Build(Row("stator", 6, (Pole(arc=30 * deg),), 30.4 * mm, 48 * mm, back, back, True))


@pytest.mark.parametrize("part", [1.0, 0.9995, 1.5])
def test_a_yoke_of_the_least_web_stands(part: float) -> None:
    refuse_thin_yoke(stator(48 * mm + part * 0.5 * mm), 0.5 * mm)


@pytest.mark.parametrize("part", [0.998, 0.5])
def test_a_thinner_one_is_refused(part: float) -> None:
    with pytest.raises(GeometryRefused, match=r"stator yoke is 0\.\d+ mm, allowed is 0.5 mm or more"):
        refuse_thin_yoke(stator(48 * mm + part * 0.5 * mm), 0.5 * mm)

"""What a pole, a face, a winding may be said to be: symmetry told apart, wrong words refused at the door."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import FrozenInstanceError, replace

import pytest

from polefem.errors import InvalidValue
from polefem.params import (
    Barrier,
    FreeFace,
    Hole,
    Notch,
    Pole,
    RoundFace,
    Shoe,
    SlopedFace,
    Winding,
)
from polefem.params.checks import both
from polefem.params.fields import with_fields
from polefem.units import deg, mm

PLAIN = Pole(arc=30 * deg)
NOTCH = Notch(5 * deg, 1 * mm, 1 * mm)
BARRIER = Barrier(5 * mm, 4 * mm, 1 * mm)


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"taper": (0.1, 0.1)},
        {"shoe": Shoe((1 * mm, 1 * mm), 1 * mm, 2 * mm)},
        {"notches": (NOTCH, replace(NOTCH, at=-5 * deg))},
        {"notches": (replace(NOTCH, at=0.0),)},
        {"holes": (Hole(5 * mm, 1 * mm),)},
        {"holes": (Hole(5 * mm, 1 * mm, 2 * mm), Hole(5 * mm, 1 * mm, -2 * mm))},
        {"barriers": (replace(BARRIER, tilt=math.pi / 2),)},
        {
            "barriers": (
                replace(BARRIER, tilt=0.3, offset=1 * mm),
                replace(BARRIER, tilt=-0.3, offset=-1 * mm),
            )
        },
        {"barriers": (replace(BARRIER, tilt=0.3), replace(BARRIER, tilt=math.pi - 0.3))},
        {"face": SlopedFace(rise=1 * mm, start=2 * deg)},
        {"face": RoundFace(30 * mm)},
        {"face": FreeFace((-1, -0.5, 0.5, 1), (1 * mm, 0.0, 0.0, 1 * mm))},
    ],
)
def test_a_pole_that_is_its_own_mirror_image_says_so(changes: dict[str, object]) -> None:
    assert replace(PLAIN, **changes).symmetric  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "changes",
    [
        {"taper": (0.1, 0.0)},
        {"root_fillet": (1 * mm, 0.0)},
        {"tip_chamfer": (1 * mm, 0.0)},
        {"shoe": Shoe((1 * mm, 2 * mm), 1 * mm, 2 * mm)},
        {"shoe": Shoe(1 * mm, (1 * mm, 1.5 * mm), 2 * mm)},
        {"notches": (NOTCH,)},
        {"notches": (NOTCH, replace(NOTCH, at=-5 * deg, form="v"))},
        {"holes": (Hole(5 * mm, 1 * mm, 2 * mm),)},
        {"barriers": (replace(BARRIER, tilt=0.3),)},
        {"face": SlopedFace(rise=(0.0, 1 * mm))},
        {"face": RoundFace(30 * mm, at=2 * deg)},
        {"face": FreeFace((-1, 0, 1), (0.0, 0.0, 1 * mm))},
    ],
)
def test_a_pole_that_favours_a_side_says_so(changes: dict[str, object]) -> None:
    assert not replace(PLAIN, **changes).symmetric  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("make", "sentence"),
    [
        (lambda: Pole(arc=0.0), "pole.arc is 0 deg, allowed is above 0 and below 180 deg"),
        (lambda: Pole(arc=math.nan), "a dimension must be finite: pole.arc is nan"),
        (lambda: Pole(arc="wide"), "a dimension must be a number: pole.arc is 'wide'"),
        (lambda: Pole(arc=0.5, taper=(0.0, 0.8)), "pole.taper is 45.8366 deg"),
        (lambda: Pole(arc=0.5, taper=(0.0, 0.1, 0.2)), "a pole has two sides"),
        (lambda: Pole(arc=0.5, root_fillet=(1 * mm, -1 * mm)), "pole.root_fillet is -1 mm"),
        (lambda: Pole(arc=0.5, web=0.0), "pole.web is 0 mm, allowed is above 0 mm"),
        (
            lambda: Pole(arc=0.5, tip_chamfer=1 * mm, tip_fillet=(0.0, 1 * mm)),
            "a tip is chamfered or rounded",
        ),
        (
            lambda: Shoe(0.0, 1 * mm, 1 * mm),
            "must reach out: shoe.overhang is 0 mm, allowed is above 0 mm on a side",
        ),
        (lambda: Shoe((1 * mm, -1 * mm), 1 * mm, 1 * mm), "must reach out: shoe.overhang is -1 mm"),
        (lambda: Shoe(1 * mm, 0.0, 1 * mm), "shoe.tip is 0 m"),
        (lambda: Notch(0.0, 0.0, 1 * mm), "notch.width is 0 m"),
        (
            lambda: Notch(0.0, 1 * mm, 1 * mm, "square"),
            "notch.form is 'square', allowed is rectangular, v, round",
        ),
        (lambda: Hole(0.0, 1 * mm), "hole.depth is 0 m"),
        (lambda: Barrier(1 * mm, 1 * mm, 0.0), "barrier.width is 0 m"),
        (
            lambda: SlopedFace(rise=0.0),
            "must widen the gap: face.rise is 0 mm, allowed is above 0 mm on a side",
        ),
        (lambda: RoundFace(0.0), "face.radius is 0 m"),
        (
            lambda: FreeFace((-1, 1), (0.0,)),
            "face.stations and face.rises is 2 and 1, allowed is equally many",
        ),
        (lambda: FreeFace((-1, 0.5), (0.0, 0.0)), r"from edge to edge: face.stations is \(-1.0, 0.5\)"),
        (lambda: FreeFace((-1, 0, 0, 1), (0.0,) * 4), "allowed is increasing from -1 to 1"),
        (lambda: FreeFace((-1, 1), (0.0, -1 * mm)), "face.rises is -1 mm, allowed is 0 mm or more"),
        (lambda: Winding(0, 1 * mm, 0.0, 0.0), "winding.turns_per_pole is 0"),
        (
            lambda: Winding(1, 1 * mm, 0.0, 0.0, liner=1e-6),
            "film .* winding.liner is 0.001 mm, allowed is 0 or 0.05 mm",
        ),
        (lambda: Winding(1, 1 * mm, 0.0, 0.0, wire_diameter=0.0), "winding.wire_diameter is 0 m"),
        (lambda: Winding(1, 1 * mm, 0.0, 0.0, most_fill=1.2), "winding.most_fill is 1.2"),
    ],
)
def test_wrong_words_are_refused_at_the_door(make: Callable[[], object], sentence: str) -> None:
    with pytest.raises(InvalidValue, match=sentence):
        make()


def test_a_value_may_differ_from_side_to_side() -> None:
    assert both(1.0) == (1.0, 1.0) and both((1.0, 2.0)) == (1.0, 2.0)
    assert with_fields(Pole(arc=0.5, taper=(0.0, 0.1)), {"taper.1": 0.2}).taper == (0.0, 0.2)


def test_a_pole_cannot_be_changed_in_place() -> None:
    with pytest.raises(FrozenInstanceError):
        PLAIN.arc = 1.0  # type: ignore[misc]

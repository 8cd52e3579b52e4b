"""Colours of pictures and pages: told apart by all eyes, in print, and against what they stand on.

Colour blindness is simulated by the matrices of G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, IEEE Trans. Vis.
Comput. Graph. 15 (2009) 1291-1298, for its full degree, on linear sRGB (from memory; rows sum to 1). Contrast is that
of the Web Content Accessibility Guidelines 2.1, whose level AA asks for 4.5 (from memory).
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from polefem.report import page
from polefem.report.style import KINDS, field_colours

Array = NDArray[np.float64]
SEEN_BY = {
    "all cones": np.eye(3),
    "no red cones": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "no green cones": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.01182, 0.04294, 0.968881],
    ],
    "no blue cones": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.3039],
    ],
}
CSS = (Path(page.__file__).parent / "templates" / "page.css").read_text("utf-8")


def linear(colours: Sequence[str]) -> Array:
    """Linear sRGB of colours such as "#1d3557" (IEC 61966-2-1), shape (n, 3)."""
    coded = np.array([[int(c[k : k + 2], 16) / 255 for k in (1, 3, 5)] for c in colours])
    return np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)


def lab(light: Array) -> Array:
    """CIELAB (CIE 15, white point D65) of linear sRGB, shape (n, 3)."""
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    xyz = light @ to_xyz.T / [0.9505, 1.0, 1.089]
    f = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.column_stack([116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])])


def of_map(count: int) -> Array:
    """CIELAB of the colours of a field."""
    rgb = field_colours()(np.linspace(0, 1, count))[:, :3]
    return lab(np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4))


def falls_evenly(lightness: Array) -> bool:
    """Whether lightness falls all the way, in steps much alike."""
    steps = np.diff(lightness)
    return bool((steps < 0).all() and steps.std() < 0.35 * abs(steps.mean()))


def looks_even(colours: Array) -> bool:
    """Whether neighbours are all about as far apart in CIELAB."""
    steps = np.linalg.norm(np.diff(colours, axis=0), axis=1)
    return bool(steps.max() < 1.2 * steps.min())


def test_field_colours_are_perceptually_uniform_and_fall_in_lightness_for_all_eyes() -> None:
    assert falls_evenly(of_map(256)[:, 0])
    assert looks_even(of_map(256))


def test_a_rainbow_does_not() -> None:
    x = np.linspace(0, 1, 256)
    rainbow = np.clip(np.column_stack([abs(4 * x - 3) - 1, 2 - abs(4 * x - 2), 2 - abs(4 * x - 1)]), 0, 1)
    assert not falls_evenly(lab(rainbow)[:, 0])
    assert not looks_even(lab(rainbow))


def told_apart(colours: Sequence[str], by: Array, least: float) -> bool:
    """Whether any two colours are some CIELAB apart for eyes of a kind."""
    seen = lab(np.clip(linear(colours) @ np.asarray(by).T, 0.0, 1.0))
    return all(np.linalg.norm(a - b) > least for a, b in itertools.combinations(seen, 2))


@pytest.mark.parametrize("by", SEEN_BY.values(), ids=SEEN_BY)
def test_kinds_are_told_apart_by_all_eyes(by: Array) -> None:
    assert told_apart(KINDS[:4], by, 20.0)  # as many as most machines have phases
    assert told_apart(KINDS, by, 8.0)  # with a line style each


def test_a_red_and_a_green_as_light_as_each_other_are_not() -> None:
    pair = ("#c8553d", "#8a7a35")
    assert told_apart(pair, SEEN_BY["all cones"], 20.0)
    assert not told_apart(pair, SEEN_BY["no green cones"], 8.0)


def test_kinds_stand_out_from_paper() -> None:
    assert (lab(linear(KINDS))[:, 0] < 70).all()


def contrast(one: str, other: str) -> float:
    """Of two colours, from 1 to 21."""
    low, high = sorted(float(light @ [0.2126, 0.7152, 0.0722]) for light in linear([one, other]))
    return (high + 0.05) / (low + 0.05)


def colour(name: str) -> str:
    """A colour of the page's style, six digits."""
    found = re.search(rf"--{name}: #(\w+);", CSS)
    assert found is not None
    digits = found[1] if len(found[1]) == 6 else "".join(2 * digit for digit in found[1])
    return f"#{digits}"


@pytest.mark.parametrize("on", ["paper", "tint"])
@pytest.mark.parametrize("text", ["ink", "soft", "link", "warm", "mark"])
def test_text_on_a_page_stands_out(text: str, on: str) -> None:
    assert contrast(colour(text), colour(on)) >= 4.5


def test_pale_text_does_not() -> None:
    assert contrast(colour("line"), colour("paper")) < 4.5
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)

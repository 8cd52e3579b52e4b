"""Random machines over the whole family of shapes, as hypothesis strategies: sizes first, poles in parts of them.

A draw is a call without arguments that makes the machine, or raises what its parameters refuse.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial
from typing import Any

from hypothesis import strategies as st

from polefem.materials import Steel
from polefem.params import (
    AxialMachine,
    Barrier,
    CoilStep,
    FreeFace,
    Hole,
    Machine,
    Notch,
    OuterRotorMachine,
    Pole,
    RadialMachine,
    RoundFace,
    Shoe,
    SlopedFace,
    Winding,
)

__all__ = ["axial_machines", "machines", "outer_rotor_machines", "poles", "radial_machines"]

Draw = Callable[[], Machine]
STEEL = Steel.linear(1000)
SHAFT = Steel.linear(300)
#: Stator poles, rotor poles.
COMBINATIONS = [(4, 2), (6, 4), (8, 6), (10, 8), (12, 8), (12, 10), (6, 8), (6, 10)]


def parts(low: float, high: float) -> st.SearchStrategy[float]:
    """A number between two bounds, neither too long to read."""
    return st.integers(0, 1000).map(lambda k: low + (high - low) * k / 1000)


def sides(value: st.SearchStrategy[float]) -> st.SearchStrategy[float | tuple[float, float]]:
    return value | st.tuples(value, value)


def seldom(value: st.SearchStrategy[Any], otherwise: Any) -> st.SearchStrategy[Any]:
    return st.just(otherwise) | st.just(otherwise) | value


@st.composite
def faces(draw: st.DrawFn, arc: float, width: float, radius: float, out: float, gap: float) -> Any:
    kind = draw(st.sampled_from(["sloped", "round", "free"]))
    if kind == "sloped":
        rise = draw(sides(parts(0.0, 2 * gap)).filter(lambda r: any(r) if isinstance(r, tuple) else r))
        return SlopedFace(rise, draw(sides(parts(-0.1, 0.4).map(lambda x: x * arc))))
    if kind == "round":
        bend = draw(parts(0.5, 1.2))  # over the gap's own curvature
        return RoundFace(radius * bend if out > 0 else radius / bend, draw(parts(-0.3, 0.3)) * arc)
    return draw(free_faces(gap))


@st.composite
def free_faces(draw: st.DrawFn, gap: float) -> FreeFace:
    """Two to 24 stations, evenly or unevenly apart; heights that fall from one to another, or that bend evenly."""
    if draw(st.booleans()):
        last = draw(st.integers(1, 23))
        stations = [2 * k / last - 1 for k in range(last)]
    else:
        inner = st.lists(st.integers(-24, 24), max_size=22, unique=True).map(sorted)
        stations = [-1.0, *(k / 25 for k in draw(inner))]
    stations.append(1.0)
    if draw(st.booleans()):
        top, most = draw(parts(-1.0, 1.0)), draw(parts(0.0, gap))
        rises = [most * (x - top) ** 2 for x in stations]
    else:
        rises = draw(st.lists(parts(0.0, 2 * gap), min_size=len(stations), max_size=len(stations)))
    return FreeFace(tuple(stations), tuple(rises))


@st.composite
def tips(draw: st.DrawFn, length: float) -> dict[str, Any]:
    """What is cut off at the edges of a face: nothing, the same on both sides, or something else on either."""
    names = ["tip_chamfer", "tip_fillet"]
    size = parts(0.01, 0.15).map(lambda x: x * length)
    return draw(st.just({}) | st.just({}) | ends(names, size, size))


@st.composite
def roots(draw: st.DrawFn, length: float, height: float) -> dict[str, Any]:
    """How flanks meet the yoke."""
    names = ["root_fillet", "flank_length"]
    sizes = parts(0.0, 0.3).map(lambda x: x * length), parts(0.0, 0.8).map(lambda x: x * height)
    return draw(seldom(ends(names, *sizes), {}))


@st.composite
def ends(
    draw: st.DrawFn, names: list[str], first: st.SearchStrategy[float], second: st.SearchStrategy[float]
) -> dict[str, Any]:
    """One of two fields for both sides of a pole, or one for each side."""
    if draw(st.integers(0, 3)):
        name, value = draw(st.sampled_from(list(zip(names, (first, second), strict=True))))
        return {name: draw(sides(value))}
    one, other = draw(first), draw(second)
    return {names[0]: (one, 0.0), names[1]: (0.0, other)}


@st.composite
def poles(draw: st.DrawFn, pitch: float, radius: float, height: float, out: float, gap: float) -> Pole:
    """A pole on a face of a radius (m), `height` (m) tall, `out` 1 or -1 as `Seat.out` has it."""
    arc = pitch * draw(parts(0.3, 0.55))
    width = arc * radius
    length = min(width, height)
    notch = st.builds(
        Notch,
        at=st.integers(-4, 4).map(lambda k: k / 10 * arc),
        width=parts(0.03, 0.12).map(lambda x: x * width),
        depth=parts(0.02, 0.25).map(lambda x: x * length),
        form=st.sampled_from(["rectangular", "v", "round"]),
    )
    hole = st.builds(
        Hole,
        depth=parts(0.2, 0.8).map(lambda x: x * height),
        diameter=parts(0.05, 0.25).map(lambda x: x * length),
        offset=parts(-0.3, 0.3).map(lambda x: x * width),
    )
    barrier = st.builds(
        Barrier,
        depth=parts(0.2, 0.8).map(lambda x: x * height),
        length=parts(0.2, 0.4).map(lambda x: x * length),
        width=parts(0.05, 0.15).map(lambda x: x * length),
        tilt=parts(-2.0, 2.0),
        offset=parts(-0.3, 0.3).map(lambda x: x * width),
    )
    shoe = st.builds(
        Shoe,
        overhang=sides(parts(0.02, 0.2).map(lambda x: x * width)),
        tip=sides(parts(0.05, 0.2).map(lambda x: x * length)),
        neck=sides(parts(0.05, 0.3).map(lambda x: x * length)),
    )
    return Pole(
        arc,
        taper=draw(seldom(sides(parts(-0.1, 0.25)), 0.0)),
        shoe=draw(seldom(shoe, None)),
        notches=tuple(draw(seldom(st.lists(notch, max_size=3, unique_by=lambda n: n.at), []))),
        holes=tuple(draw(seldom(st.lists(hole, max_size=2), []))),
        barriers=tuple(draw(seldom(st.lists(barrier, max_size=2), []))),
        face=draw(seldom(faces(arc, width, radius, out, gap), None)),
        web=min(0.35e-3, draw(parts(0.01, 0.05)) * width),
        **draw(tips(length)),
        **draw(roots(length, height)),
    )


def _rows(draw: st.DrawFn, pole: st.SearchStrategy[Pole], count: int) -> Pole | tuple[Pole, ...]:
    return draw(seldom(st.tuples(pole, pole), None)) or draw(pole) if count > 2 else draw(pole)


def _winding(draw: st.DrawFn, slot: float, height: float, back: float = 0.0) -> Winding:
    step = st.builds(
        CoilStep, parts(0.05, 0.3).map(lambda x: x * height), parts(0.1, 0.4).map(lambda x: x * slot)
    )
    return Winding(
        turns_per_pole=draw(st.integers(1, 300)),
        coil_width=slot * draw(parts(0.1, 0.4)),
        face_inset=height * (back + draw(parts(0.02, 0.2))),
        yoke_clearance=height * draw(parts(0.05, 0.3)),
        liner=draw(st.sampled_from([0.0, 0.1e-3, 0.3e-3])),
        steps=tuple(draw(seldom(st.lists(step, max_size=2), []))),
    )


def _outside(draw: st.DrawFn, radius: float) -> dict[str, Any]:
    """What lies within and without the yokes of a round machine."""
    return {
        "shaft_steel": draw(seldom(st.just(SHAFT), None)),
        "surrounding_air": draw(seldom(parts(0.1, 1.0).map(lambda x: x * radius), 0.0)),
    }


def _size(draw: st.DrawFn) -> tuple[float, float]:
    """A rotor radius from 10 to 500 mm and an air gap from 0.1 to 3 mm that is no more than a tenth of it."""
    radius = 10e-3 * 50 ** draw(parts(0, 1))
    return radius, min(0.1e-3 * 30 ** draw(parts(0, 1)), radius / 10)


@st.composite
def radial_machines(draw: st.DrawFn) -> Draw:
    stator_poles, rotor_poles = draw(st.sampled_from(COMBINATIONS))
    radius, gap = _size(draw)
    bore, stator_pitch, rotor_pitch = radius + gap, 2 * math.pi / stator_poles, 2 * math.pi / rotor_poles
    height, depth = bore * draw(parts(0.3, 0.8)), radius * draw(parts(0.2, 0.5))
    yoke = bore * draw(parts(0.15, 0.4))
    return partial(
        RadialMachine,
        stator_poles=stator_poles,
        rotor_poles=rotor_poles,
        stator_outer_radius=bore + height + yoke,
        rotor_outer_radius=radius,
        air_gap=gap,
        stator_yoke_thickness=yoke,
        rotor_yoke_radius=radius - depth,
        shaft_radius=(radius - depth) * draw(parts(0.2, 0.7)),
        stack_length=radius,
        stator_pole=_rows(draw, poles(stator_pitch, bore, height, -1.0, gap), stator_poles),
        rotor_pole=_rows(draw, poles(rotor_pitch, radius, depth, 1.0, gap), rotor_poles),
        winding=_winding(draw, stator_pitch * bore / 2, height),
        steel=STEEL,
        must_start=False,
        **_outside(draw, radius),
    )


@st.composite
def outer_rotor_machines(draw: st.DrawFn) -> Draw:
    stator_poles, rotor_poles = draw(st.sampled_from(COMBINATIONS))
    radius, gap = _size(draw)
    stator_pitch, rotor_pitch = 2 * math.pi / stator_poles, 2 * math.pi / rotor_poles
    height, depth = radius * draw(parts(0.2, 0.5)), radius * draw(parts(0.1, 0.3))
    yoke = radius * draw(parts(0.1, 0.3))
    return partial(
        OuterRotorMachine,
        stator_poles=stator_poles,
        rotor_poles=rotor_poles,
        rotor_outer_radius=radius + gap + depth + yoke,
        stator_outer_radius=radius,
        air_gap=gap,
        rotor_yoke_thickness=yoke,
        stator_yoke_radius=radius - height,
        shaft_radius=(radius - height) * draw(parts(0.2, 0.7)),
        stack_length=radius,
        stator_pole=_rows(draw, poles(stator_pitch, radius, height, 1.0, gap), stator_poles),
        rotor_pole=_rows(draw, poles(rotor_pitch, radius + gap, depth, -1.0, gap), rotor_poles),
        winding=_winding(draw, stator_pitch * (radius - height) / 2, height, 0.15),
        steel=STEEL,
        must_start=False,
        **_outside(draw, radius),
    )


@st.composite
def axial_machines(draw: st.DrawFn) -> Draw:
    stator_poles, rotor_poles = draw(st.sampled_from(COMBINATIONS))
    outer, gap = _size(draw)
    inner = outer * draw(parts(0.4, 0.7))
    mean = (inner + outer) / 2
    stator_pitch, rotor_pitch = 2 * math.pi / stator_poles, 2 * math.pi / rotor_poles
    height, depth = mean * draw(parts(0.2, 0.6)), mean * draw(parts(0.1, 0.4))
    build = draw(st.sampled_from(["one gap", "two rotors", "two stators"]))
    through = draw(st.booleans())
    yokes = {name: mean * draw(parts(0.1, 0.3)) for name in ("stator", "rotor")}
    if through and build != "one gap" and draw(st.booleans()):
        yokes["stator" if build == "two rotors" else "rotor"] = 0.0
    return partial(
        AxialMachine,
        stator_poles=stator_poles,
        rotor_poles=rotor_poles,
        inner_radius=inner,
        outer_radius=outer,
        air_gap=gap,
        stator_pole_height=height,
        rotor_pole_height=depth,
        stator_yoke_thickness=yokes["stator"],
        rotor_yoke_thickness=yokes["rotor"],
        stator_pole=_rows(draw, poles(stator_pitch, mean, height, -1.0, gap), stator_poles),
        rotor_pole=_rows(draw, poles(rotor_pitch, mean, depth, 1.0, gap), rotor_poles),
        winding=_winding(draw, stator_pitch * inner / 2, height),
        steel=STEEL,
        stator_flanks=draw(st.sampled_from(["radial", "radial", "parallel", "round"])),
        rotor_flanks=draw(st.sampled_from(["radial", "radial", "parallel", "round"])),
        build=build,
        through_flux=through,
        cuts=draw(st.integers(1, 4)),
        must_start=False,
    )


def machines() -> st.SearchStrategy[Draw]:
    """Any machine of any build."""
    return radial_machines() | outer_rotor_machines() | axial_machines()

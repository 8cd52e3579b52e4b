"""Machines whose poles carry every kind of dimension that a slope can be taken in."""

from __future__ import annotations

from dataclasses import replace

from polefem.materials import Steel
from polefem.params import (
    AxialMachine,
    Barrier,
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
)
from polefem.params.winding import CoilStep
from polefem.units import deg, mm
from tests.field.built_machines import axial, half_turn, outer_rotor

__all__ = ["SHAPED"]


def shod() -> RadialMachine:
    """Shoes, notches and unlike tips on the stator; a free face, openings and scooped valleys on the rotor."""
    base = half_turn()
    notches = (
        Notch(at=-5 * deg, width=1.0 * mm, depth=0.8 * mm, form="v"),
        Notch(at=4 * deg, width=1.2 * mm, depth=1.0 * mm, form="round"),
    )
    stator = Pole(
        arc=31 * deg,
        taper=(0.02, 0.05),
        shoe=Shoe(overhang=1.5 * mm, tip=1.2 * mm, neck=2.2 * mm),
        notches=notches,
        tip_chamfer=(0.3 * mm, 0.0),
        tip_fillet=(0.0, 0.4 * mm),
        root_fillet=1.0 * mm,
    )
    rotor = Pole(
        arc=32 * deg,
        taper=0.05,
        face=FreeFace((-1.0, -0.3, 0.2, 1.0), (0.1 * mm, 0.02 * mm, 0.03 * mm, 0.15 * mm)),
        holes=(Hole(depth=4 * mm, diameter=1.5 * mm, offset=1 * mm),),
        barriers=(Barrier(depth=7 * mm, length=3 * mm, width=1 * mm, tilt=0.3, offset=-2 * mm),),
        flank_length=5 * mm,
    )
    return replace(
        base,
        stacking_factor=0.95,
        rotor_stacking_factor=0.94,
        shaft_steel=Steel.named("M330-50A"),
        surrounding_air=8 * mm,
        stator_pole=stator,
        rotor_pole=rotor,
        winding=replace(base.winding, coil_width=5 * mm, steps=(CoilStep(length=4 * mm, width=3 * mm),)),
    )


def sloped() -> RadialMachine:
    """A slope and a rectangular notch on the stator, a round face with rounded tips on the rotor."""
    stator = Pole(
        arc=31 * deg,
        face=SlopedFace(rise=(0.0, 0.2 * mm), start=(0.0, 2 * deg)),
        notches=(Notch(at=-5 * deg, width=1.2 * mm, depth=1.0 * mm),),
    )
    rotor = Pole(arc=33 * deg, face=RoundFace(radius=28 * mm, at=2 * deg), tip_fillet=0.5 * mm)
    return replace(half_turn(), stator_pole=stator, rotor_pole=rotor)


def outside() -> OuterRotorMachine:
    """The rotor outside, with chamfers."""
    base = outer_rotor()
    return replace(base, rotor_pole=replace(base.rotor_pole, tip_chamfer=0.4 * mm))


def disc() -> AxialMachine:
    """Round cores that flux goes straight through, without a yoke, between two rotors."""
    return replace(
        axial(),
        build="two rotors",
        stator_yoke_thickness=0.0,
        stator_flanks="round",
        rotor_flanks="parallel",
        stator_pole=Pole(arc=30 * deg),
        rotor_pole=Pole(arc=33 * deg, face=SlopedFace(rise=0.3 * mm, start=5 * deg)),
    )


def one_gap() -> AxialMachine:
    """One axial gap, with fillets at the roots."""
    return replace(axial(), stator_pole=Pole(arc=31 * deg, root_fillet=1 * mm))


SHAPED: dict[str, Machine] = {
    "shod": shod(),
    "sloped": sloped(),
    "outer rotor": outside(),
    "two rotors": disc(),
    "one gap": one_gap(),
}

"""Machines of every build, with every curve that a part can have: made up for these tests."""

from __future__ import annotations

from dataclasses import replace

from polefem.materials import Steel
from polefem.params import (
    AxialMachine,
    Barrier,
    Hole,
    Machine,
    Notch,
    OuterRotorMachine,
    Pole,
    RadialMachine,
    Shoe,
    Winding,
)
from polefem.units import deg, mm

__all__ = ["AXIAL", "MACHINES", "OUTER", "PLAIN", "RICH"]

WINDING = Winding(turns_per_pole=100, coil_width=5 * mm, face_inset=2 * mm, yoke_clearance=3 * mm)
PLAIN = RadialMachine(
    stator_poles=6,
    rotor_poles=4,
    stator_outer_radius=60 * mm,
    rotor_outer_radius=30 * mm,
    air_gap=0.4 * mm,
    stator_yoke_thickness=11 * mm,
    rotor_yoke_radius=19 * mm,
    shaft_radius=10 * mm,
    stack_length=60 * mm,
    stator_pole=Pole(arc=30 * deg),
    rotor_pole=Pole(arc=32 * deg),
    winding=WINDING,
    steel=Steel.linear(1000),
)
#: Rounded roots, shoes, notches, a hole and a barrier; two kinds of rotor pole in turn.
RICH = replace(
    PLAIN,
    stator_pole=Pole(
        arc=30 * deg, root_fillet=1.5 * mm, shoe=Shoe(overhang=(1.5 * mm, 0.0), tip=1 * mm, neck=2 * mm)
    ),
    rotor_pole=(
        Pole(arc=32 * deg, notches=(Notch(4 * deg, 2 * mm, 1 * mm, "round"),), tip_fillet=0.5 * mm),
        Pole(
            arc=32 * deg,
            holes=(Hole(5 * mm, 3 * mm),),
            barriers=(Barrier(3 * mm, 2 * mm, 0.8 * mm, 0.5, -4 * mm),),
            taper=(2 * deg, 6 * deg),
        ),
    ),
)
OUTER = OuterRotorMachine(
    stator_poles=6,
    rotor_poles=8,
    rotor_outer_radius=70 * mm,
    stator_outer_radius=50 * mm,
    air_gap=0.5 * mm,
    rotor_yoke_thickness=8 * mm,
    stator_yoke_radius=25 * mm,
    shaft_radius=12 * mm,
    stack_length=40 * mm,
    stator_pole=Pole(arc=20 * deg),
    rotor_pole=Pole(arc=21 * deg, root_fillet=1 * mm),
    winding=replace(WINDING, face_inset=4 * mm),
    steel=Steel.linear(1000),
)
AXIAL = AxialMachine(
    stator_poles=6,
    rotor_poles=4,
    inner_radius=45 * mm,
    outer_radius=80 * mm,
    air_gap=0.6 * mm,
    stator_pole_height=25 * mm,
    rotor_pole_height=15 * mm,
    stator_yoke_thickness=10 * mm,
    rotor_yoke_thickness=9 * mm,
    stator_pole=Pole(arc=30 * deg),
    rotor_pole=Pole(arc=32 * deg, notches=(Notch(0.0, 2 * mm, 1 * mm, "round"),)),
    winding=WINDING,
    steel=Steel.linear(1000),
    cuts=2,
)
MACHINES: dict[str, Machine] = {
    "plain": PLAIN,
    "rich": RICH,
    "outer rotor": OUTER,
    "axial": AXIAL,
    "axial, parallel flanks": replace(AXIAL, stator_flanks="parallel", rotor_flanks="parallel"),
    "axial, round cores between two rotors": replace(
        AXIAL,
        stator_flanks="round",
        stator_pole=Pole(arc=26 * deg),
        build="two rotors",
        stator_yoke_thickness=0.0,
        must_start=False,
    ),
    "axial, two stators": replace(AXIAL, build="two stators", through_flux=False),
}

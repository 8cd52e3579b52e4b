"""Four machines of our own dimensions that between them use every kind of section and most kinds of pole."""

from reference_machines import smooth

from polefem.params import AxialMachine, Machine, Notch, OuterRotorMachine, Pole, RadialMachine, Shoe, Winding
from polefem.units import deg, mm

__all__ = ["FOUR"]


def inner() -> RadialMachine:
    """Six and four plain poles, tapered on the rotor."""
    return RadialMachine(
        stator_poles=6,
        rotor_poles=4,
        stator_outer_radius=62 * mm,
        rotor_outer_radius=32 * mm,
        air_gap=0.45 * mm,
        stator_yoke_thickness=11 * mm,
        rotor_yoke_radius=20 * mm,
        shaft_radius=9 * mm,
        stack_length=55 * mm,
        stator_pole=Pole(arc=31 * deg),
        rotor_pole=Pole(arc=33 * deg, taper=4 * deg),
        winding=Winding(turns_per_pole=90, coil_width=5.5 * mm, face_inset=2 * mm, yoke_clearance=3 * mm),
        steel=smooth(),
    )


def outer() -> OuterRotorMachine:
    """Twelve stator poles inside eight rotor poles."""
    return OuterRotorMachine(
        stator_poles=12,
        rotor_poles=8,
        rotor_outer_radius=95 * mm,
        stator_outer_radius=75 * mm,
        air_gap=0.5 * mm,
        rotor_yoke_thickness=10 * mm,
        stator_yoke_radius=50 * mm,
        shaft_radius=30 * mm,
        stack_length=40 * mm,
        stator_pole=Pole(arc=15 * deg),
        rotor_pole=Pole(arc=16 * deg),
        winding=Winding(turns_per_pole=60, coil_width=3.5 * mm, face_inset=3 * mm, yoke_clearance=3 * mm),
        steel=smooth(),
    )


def flat() -> AxialMachine:
    """One flat section of twelve poles facing eight."""
    return AxialMachine(
        stator_poles=12,
        rotor_poles=8,
        inner_radius=60 * mm,
        outer_radius=90 * mm,
        air_gap=0.6 * mm,
        stator_pole_height=30 * mm,
        rotor_pole_height=14 * mm,
        stator_yoke_thickness=12 * mm,
        rotor_yoke_thickness=12 * mm,
        stator_pole=Pole(arc=15 * deg),
        rotor_pole=Pole(arc=16 * deg),
        winding=Winding(turns_per_pole=70, coil_width=4 * mm, face_inset=3 * mm, yoke_clearance=3 * mm),
        steel=smooth(),
        cuts=1,
    )


def shod() -> RadialMachine:
    """Six stator poles with shoes facing four notched rotor poles."""
    return RadialMachine(
        stator_poles=6,
        rotor_poles=4,
        stator_outer_radius=60 * mm,
        rotor_outer_radius=30 * mm,
        air_gap=0.4 * mm,
        stator_yoke_thickness=10 * mm,
        rotor_yoke_radius=18 * mm,
        shaft_radius=9 * mm,
        stack_length=60 * mm,
        stator_pole=Pole(arc=34 * deg, shoe=Shoe(overhang=2 * mm, tip=1.5 * mm, neck=3 * mm)),
        rotor_pole=Pole(arc=33 * deg, notches=(Notch(at=9 * deg, width=1.5 * mm, depth=1 * mm),)),
        winding=Winding(turns_per_pole=100, coil_width=5 * mm, face_inset=4 * mm, yoke_clearance=3 * mm),
        steel=smooth(),
    )


FOUR: dict[str, Machine] = {
    "radial, rotor inside": inner(),
    "radial, rotor outside": outer(),
    "flat section": flat(),
    "shoes, notches": shod(),
}

"""The machines of the reference files, of our own dimensions, in the closed-form steel sampled densely.

A table of 2000 points leaves nothing to choose between one interpolation and another: `Steel` through it and the law it
was drawn from differ by less than 1e-4 (a test holds this).
"""

from dataclasses import replace

from smooth_steel import SmoothSteel

from polefem.materials import Steel
from polefem.params import Pole, RadialMachine, Winding
from polefem.units import deg, mm

__all__ = ["MACHINES", "eight_six", "joined", "six_four", "smooth", "thin_yoke"]


def smooth() -> Steel:
    """The closed-form steel as a table of 2000 points."""
    return Steel.from_table(*SmoothSteel().table(2000), name="smooth")


def six_four() -> RadialMachine:
    """Six stator and four rotor poles; corners pass each other at 1 and 31 degrees."""
    return RadialMachine(
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
        winding=Winding(
            turns_per_pole=100, coil_width=6 * mm, face_inset=2 * mm, yoke_clearance=3 * mm, liner=0.3 * mm
        ),
        steel=smooth(),
    )


def eight_six() -> RadialMachine:
    """Eight stator and six rotor poles; corners pass each other at 1 and 22 degrees."""
    return RadialMachine(
        stator_poles=8,
        rotor_poles=6,
        stator_outer_radius=75 * mm,
        rotor_outer_radius=38 * mm,
        air_gap=0.5 * mm,
        stator_yoke_thickness=12 * mm,
        rotor_yoke_radius=25 * mm,
        shaft_radius=12 * mm,
        stack_length=50 * mm,
        stator_pole=Pole(arc=21 * deg),
        rotor_pole=Pole(arc=23 * deg),
        winding=Winding(
            turns_per_pole=80, coil_width=5 * mm, face_inset=2.5 * mm, yoke_clearance=3 * mm, liner=0.4 * mm
        ),
        steel=smooth(),
    )


def thin_yoke() -> RadialMachine:
    """The 6/4 machine with a yoke too thin for two phases at once."""
    return replace(
        six_four(),
        stator_outer_radius=54 * mm,
        stator_yoke_thickness=7 * mm,
        winding=Winding(
            turns_per_pole=90, coil_width=5 * mm, face_inset=2 * mm, yoke_clearance=2 * mm, liner=0.3 * mm
        ),
    )


def joined(machine: RadialMachine, alternating: bool) -> RadialMachine:
    """The machine with its coils joined so that neighbouring poles of half a turn have one sign, or opposite signs."""
    half = machine.stator_poles // 2
    signs = [(-1) ** (pole * alternating) for pole in range(half)]
    polarity = (*signs, *(-sign for sign in signs))
    return replace(machine, winding=replace(machine.winding, polarity=polarity))


MACHINES = {"6_4": six_four, "8_6": eight_six}

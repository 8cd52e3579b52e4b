"""Small machines of every symmetry and build, of our own dimensions, for the checks of the field."""

from __future__ import annotations

from dataclasses import replace

from polefem.materials import Steel
from polefem.params import AxialMachine, Machine, MeshSpec, OuterRotorMachine, Pole, RadialMachine, Winding
from polefem.units import deg, mm

__all__ = ["CURRENT", "MACHINES", "ROUGH", "half_turn", "sized", "with_steel"]

STEEL = Steel.named("M330-50A")
#: For what holds on any mesh.
ROUGH = MeshSpec(corner=0.4, face=0.6, iron=0.525, growth=1.0)


def half_turn() -> RadialMachine:
    """6/4: half a turn, antiperiodic. Pole corners pass each other at 0.5 and 31.5 degrees."""
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
        stator_pole=Pole(arc=31 * deg),
        rotor_pole=Pole(arc=32 * deg),
        winding=Winding(turns_per_pole=100, coil_width=6 * mm, face_inset=2 * mm, yoke_clearance=3 * mm),
        steel=STEEL,
    )


def sized(radius: float, gap: float) -> RadialMachine:
    """The 6/4 machine with a rotor of a radius (m), its gap a given one."""
    base, scale = half_turn(), radius / (30 * mm)
    winding = replace(
        base.winding,
        coil_width=6 * mm * scale,
        face_inset=2 * mm * scale,
        yoke_clearance=3 * mm * scale,
        liner=0.3 * mm * scale,
    )
    return replace(
        base,
        stator_outer_radius=60 * mm * scale + gap,
        rotor_outer_radius=radius,
        air_gap=gap,
        stator_yoke_thickness=11 * mm * scale,
        rotor_yoke_radius=19 * mm * scale,
        shaft_radius=10 * mm * scale,
        stack_length=60 * mm * scale,
        stator_pole=Pole(arc=30 * deg),
        winding=winding,
        unusual=gap > radius / 10,
    )


def quarter_turn() -> RadialMachine:
    """12/8: a quarter of a turn, antiperiodic."""
    return RadialMachine(
        stator_poles=12,
        rotor_poles=8,
        stator_outer_radius=75 * mm,
        rotor_outer_radius=42 * mm,
        air_gap=0.4 * mm,
        stator_yoke_thickness=8 * mm,
        rotor_yoke_radius=30 * mm,
        shaft_radius=15 * mm,
        stack_length=50 * mm,
        stator_pole=Pole(arc=15 * deg),
        rotor_pole=Pole(arc=16 * deg),
        winding=Winding(turns_per_pole=60, coil_width=4 * mm, face_inset=2 * mm, yoke_clearance=2 * mm),
        steel=STEEL,
    )


def periodic() -> RadialMachine:
    """12/8 whose stator poles come in pairs of two widths: half a turn, periodic."""
    return replace(quarter_turn(), stator_pole=(Pole(arc=15 * deg), Pole(arc=16 * deg)))


def whole_turn() -> RadialMachine:
    """6/4 whose stator poles come in pairs: no part of it stands for the whole."""
    return replace(half_turn(), stator_pole=(Pole(arc=31 * deg), Pole(arc=32 * deg)))


def axial() -> AxialMachine:
    """6/4 with one axial gap, two cuts."""
    return AxialMachine(
        stator_poles=6,
        rotor_poles=4,
        inner_radius=30 * mm,
        outer_radius=55 * mm,
        air_gap=0.5 * mm,
        stator_pole_height=22 * mm,
        rotor_pole_height=12 * mm,
        stator_yoke_thickness=12 * mm,
        rotor_yoke_thickness=12 * mm,
        stator_pole=Pole(arc=30 * deg),
        rotor_pole=Pole(arc=33 * deg),
        winding=Winding(turns_per_pole=100, coil_width=4 * mm, face_inset=2 * mm, yoke_clearance=2 * mm),
        steel=STEEL,
        cuts=2,
    )


def outer_rotor() -> OuterRotorMachine:
    """6/4 whose rotor runs outside."""
    return OuterRotorMachine(
        stator_poles=6,
        rotor_poles=4,
        rotor_outer_radius=70 * mm,
        stator_outer_radius=50 * mm,
        air_gap=0.5 * mm,
        rotor_yoke_thickness=10 * mm,
        stator_yoke_radius=29 * mm,
        shaft_radius=10 * mm,
        stack_length=40 * mm,
        stator_pole=Pole(arc=31 * deg),
        rotor_pole=Pole(arc=32 * deg),
        winding=Winding(turns_per_pole=100, coil_width=5 * mm, face_inset=5 * mm, yoke_clearance=5 * mm),
        steel=STEEL,
    )


#: Each with how many sectors it falls into and whether the field changes sign from one to the next.
MACHINES: dict[str, tuple[Machine, int, bool]] = {
    "6/4, half a turn": (half_turn(), 2, True),
    "12/8, a quarter": (quarter_turn(), 4, True),
    "12/8, periodic half": (periodic(), 2, False),
    "6/4, whole turn": (whole_turn(), 1, False),
    "6/4, axial": (axial(), 2, True),
    "6/4, outer rotor": (outer_rotor(), 2, True),
}
#: Drives every one of them well into saturation, A.
CURRENT = 15.0


def with_steel(machine: Machine, steel: Steel) -> Machine:
    """The machine made of another steel."""
    return replace(machine, steel=steel)

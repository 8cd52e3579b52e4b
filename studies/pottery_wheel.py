"""Which pole shape turns a pottery wheel most smoothly?

A direct-drive wheel: no belt and no gear, so that whatever the motor does the potter's hands feel. It turns at 20 to
250 revolutions a minute; throwing takes 1 to 3 N m, centring a large lump more. A three-phase 6/4 machine has twelve
torque pulses a turn, at 100 revolutions a minute 20 a second: fingers feel that.

Every shape gets the same copper loss, so that none looks smooth for want of torque. Run it as it is, or

    python studies/pottery_wheel.py --workers 2 --mesh coarse --out somewhere

The same command, run again, goes on where it was stopped and reads what it has already computed.
"""

from polefem import Notch, Pole, RadialMachine, Shoe, Steel, Winding
from polefem.__main__ import run_study
from polefem.params import SquareDrive
from polefem.study import Copper, EqualCopperLoss, Plan, Study, Variant
from polefem.units import W, deg, mm

# M330-50A, 0.5 mm sheet, measured at 50 Hz: the curve reprinted in the Modelica Standard Library's soft magnetic
# materials (J over H there; B = J + mu0 H here), every third point or so.
H = [0, 40, 60, 80, 102, 150, 250, 501, 1000, 2500, 5000, 10000, 19717, 33466]  # A/m
J = [0, 0.139, 0.385, 0.692, 0.926, 1.156, 1.304, 1.404, 1.472, 1.561, 1.647, 1.762, 1.894, 1.964]  # T
SHEET = Steel.from_table(H, [j + 1.25664e-6 * h for h, j in zip(H, J, strict=True)], name="M330-50A")

wheel = RadialMachine(
    stator_poles=6,  # the fewest that start from any position, and coils a person can wind and replace
    rotor_poles=4,
    stator_outer_radius=90 * mm,  # fits under a 300 mm wheel head with room for the splash pan
    rotor_outer_radius=48 * mm,  # about half the stator's radius leaves room for copper
    air_gap=0.5 * mm,  # what a lathe and two ball bearings hold without selecting parts
    stator_yoke_thickness=15 * mm,  # over half a pole's width: half of its flux goes each way
    rotor_yoke_radius=30
    * mm,  # valleys 18 mm deep, 36 air gaps: deeper lowers the unaligned inductance little
    shaft_radius=12.5 * mm,  # a 25 mm shaft carries the wheel head and the clay
    stack_length=80 * mm,
    stator_pole=Pole(arc=30 * deg),  # one stroke: the least that leaves no dead angle
    rotor_pole=Pole(arc=32 * deg),  # a little wider than the stator's
    winding=Winding(
        turns_per_pole=120,
        coil_width=12 * mm,  # neighbours keep 3 mm apart at the bore
        face_inset=4 * mm,
        yoke_clearance=6 * mm,  # the outer corner of a coil side clears the round yoke by 1 mm
        liner=0.4 * mm,
    ),
    steel=SHEET,
)

plan = Plan(
    # Conduct a little longer than a stroke of 30 degrees, so that the next phase takes over while this one still pulls.
    drive=SquareDrive(turn_on=-40 * deg, turn_off=-6 * deg),
    basis=EqualCopperLoss(60 * W),  # what a closed case under a wheel gives off at a 60 K rise or so
    copper=Copper(fill_factor=0.45, temperature=100.0),  # round wire wound by hand, warm
)

SHOE = Shoe(overhang=2.5 * mm, tip=2.5 * mm, neck=4 * mm)
NOTCH = Notch(at=0.0, width=4 * mm, depth=1.5 * mm)

study = Study(
    name="pottery wheel",
    base=wheel,
    plan=plan,
    variants=[
        Variant("parallel"),
        Variant("wide rotor", {"rotor_pole.arc": 38 * deg}),
        Variant("tapered", {"stator_pole.taper": 3 * deg, "rotor_pole.taper": 8 * deg}),
        Variant("shoed", {"stator_pole": Pole(arc=34 * deg, shoe=SHOE)}),
        Variant("notched", {"rotor_pole": Pole(arc=36 * deg, notches=(NOTCH,))}),
        # Faces of 62 degrees at a pitch of 60: neighbours would grow together. It is here to show how that is told.
        Variant("overgrown", {"stator_pole.arc": 62 * deg}),
    ],
)

if __name__ == "__main__":
    raise SystemExit(run_study(study))

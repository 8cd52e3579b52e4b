"""Which pole shape turns a pottery wheel most smoothly?

The wheel of `geometries/pottery_wheel.toml` has no belt and no gear, so that whatever the motor does the potter's hands
feel: at 100 revolutions a minute its twelve strokes a turn make twenty pulses a second, which fingers tell apart.

Every shape gets the same copper loss, so that none looks smooth for want of torque. Run the file as it is, or

    python studies/pottery_wheel.py --workers 2 --mesh coarse --out somewhere

The same command, run again, goes on where it was stopped and reads what it has already computed.
"""

from dataclasses import replace
from pathlib import Path

from polefem import (
    Copper,
    EqualCopperLoss,
    Hearing,
    Notch,
    Plan,
    Pole,
    RectangularCurrent,
    RectangularOperatingPoint,
    Shoe,
    Study,
    SuitedSwitching,
    Variant,
    load_machine,
    main,
)
from polefem.units import W, deg, mm, rpm

# Currents take time to rise and fall, and shapes are judged under such: with ramps most of these have half the ripple
# that currents which step would make, and their order is another. For four degrees the coils ask some 125 V at 100
# revolutions a minute; 48 V give them up to 35.
RAMP = 4 * deg

wheel = load_machine(Path(__file__).parents[1] / "geometries" / "pottery_wheel.toml")

plan = Plan(
    # Each shape gets the angles at which it runs smoothest: angles that one shape likes are a bad turn for another.
    drive=SuitedSwitching(ramp=RAMP),
    basis=EqualCopperLoss(60 * W),  # what a closed case under a wheel sheds at some 60 K over the room
    copper=Copper(fill_factor=0.45, temperature=100.0),  # round wire wound by hand, warm
    operating_points=(
        # Beside it the order under one pair of angles for all, as a controller that is built first would have it: a
        # stroke is 30 degrees, five more let the next phase build up its torque while this one still pulls.
        RectangularOperatingPoint(
            "fixed angles", RectangularCurrent(-38 * deg, -3 * deg, RAMP), EqualCopperLoss(60 * W), 100 * rpm
        ),
    ),
)

study = Study(
    name="pottery wheel",
    base=wheel,
    # And how the pull in the gap squeezes the stator at that speed: fingers tell ripple, ears the rest;
    # and how hard it draws the rotor to the side on which bearings that were bored in two clampings leave it nearer.
    plan=replace(plan, hearing=Hearing(angles=24, offset=0.1 * mm)),
    variants=[
        Variant("parallel"),
        # Full overlap lasts 8 degrees instead of 2, and the next phase's poles meet 3 degrees earlier.
        Variant("wide rotor", {"rotor_pole.arc": 38 * deg}),
        # Wider roots saturate later.
        Variant("tapered", {"stator_pole.taper": 3 * deg, "rotor_pole.taper": 8 * deg}),
        # A face wider than the body, for more overlap without thicker poles; its thin tips saturate softly.
        Variant(
            "shoed",
            {"stator_pole": Pole(arc=34 * deg, shoe=Shoe(overhang=2.5 * mm, tip=2.5 * mm, neck=4 * mm))},
        ),
        # A groove in the middle of the rotor's face moves torque towards its edges.
        Variant(
            "notched",
            {"rotor_pole": Pole(arc=36 * deg, notches=(Notch(at=0.0, width=3 * mm, depth=0.8 * mm),))},
        ),
        # Faces of 62 degrees on a pitch of 60: neighbours would grow together. Here to show how that is told.
        Variant("overgrown", {"stator_pole.arc": 62 * deg}),
    ],
)

if __name__ == "__main__":
    raise SystemExit(main(study))

"""What it costs a pottery wheel to turn both ways: the search of `studies/wheel_slopes.py` for either way at once.

A face that leans is smooth one way and rough the other. Potters throw clockwise in some countries and trim both ways:
here the rotor turns either way, switched by the same angles counted in its direction, and the worse of both counts, in
ripple and in mean torque. Thirteen fields move along the slopes; the face may lean, and comes out as suits both ways.
Start: a face that rises to both of its edges alike.

    python studies/wheel_both_ways.py
"""

from dataclasses import replace

from wheel_slopes import LEAST_TORQUE, STATIONS, STROKE, plan, wheel
from wheel_slopes import study as one_way

from polefem import FreeFace, Limit, RectangularOperatingPoint, main
from polefem.units import mm, rpm

rises = tuple(0.1 * mm * abs(station) for station in STATIONS)
point = RectangularOperatingPoint("either way", plan.drive, plan.basis, 100 * rpm, both_ways=True)

study = replace(
    one_way,
    name="wheel both ways",
    base=replace(wheel, rotor_pole=replace(wheel.rotor_pole, face=FreeFace(STATIONS, rises))),
    plan=replace(plan, operating_points=(point,)),
    objective="either way.ripple",
    limits=(Limit("either way.mean_torque", least=LEAST_TORQUE),),
    linked={
        "drive.turn_off": lambda values: values["drive.turn_on"] + STROKE,
        "operating_points.0.drive.turn_on": lambda values: values["drive.turn_on"],
        "operating_points.0.drive.turn_off": lambda values: values["drive.turn_off"],
    },
)

if __name__ == "__main__":
    raise SystemExit(main(study))

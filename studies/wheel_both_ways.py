"""What it costs a pottery wheel to turn both ways: the search of `studies/wheel_slopes.py` with a face alike to both.

A face that leans is smooth one way and rough the other. Here each height of the rotor's face is tied to the one across
the pole, so that the wheel does the same either way (potters throw clockwise in some countries, and trim both ways):
mirror images of all angles are known, and a map takes half the field solutions. Nine fields move along the slopes.

That is all this study does: a search judges the one way that its drive turns and has no setting for the other, nor does
it refuse a face that leans. The best compromise that leans a little is not looked for.

    python studies/wheel_both_ways.py
"""

from dataclasses import replace

from wheel_slopes import STATIONS, STROKE, plan, ranges, wheel
from wheel_slopes import study as one_way

from polefem import FreeFace, main
from polefem.units import mm

HALF = len(STATIONS) // 2
rises = tuple(0.1 * mm * abs(station) for station in STATIONS)
tied = {
    f"rotor_pole.face.rises.{len(STATIONS) - 1 - k}": lambda values, k=k: values[f"rotor_pole.face.rises.{k}"]
    for k in range(HALF)
}

study = replace(
    one_way,
    name="wheel both ways",
    base=replace(wheel, rotor_pole=replace(wheel.rotor_pole, face=FreeFace(STATIONS, rises))),
    plan=replace(plan, angle_points=31),  # half a pitch
    ranges={name: span for name, span in ranges.items() if name not in tied},
    linked={**tied, "drive.turn_off": lambda values: values["drive.turn_on"] + STROKE},
)

if __name__ == "__main__":
    raise SystemExit(main(study))

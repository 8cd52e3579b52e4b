"""A pottery wheel that is smooth under a current that a bridge can give: one that takes four degrees to rise and fall.

`studies/wheel_slopes.py` and `studies/wheel_strong.py` find shapes that are smooth under a current that steps, with one
phase on at any angle. No bridge gives that current: where the same shapes hand over within four degrees, torque falls
to half. Here the search is asked for what the potter feels. Currents rise and fall over four degrees, phases share one
field while two conduct (summed, their torque would be off by a quarter of the mean), and turn-off is a field of its
own, so that a phase may stay on while the next one takes over. Faces, arcs and flanks of both sides and the width of
the coils are fields as in `wheel_strong.py`, twenty-five in all. It starts from the plain wheel, switched as suits it.

    python studies/wheel_ramped.py                     # at least 3.1 N m
"""

from dataclasses import replace
from pathlib import Path

from wheel_slopes import STATIONS, plan
from wheel_slopes import ranges as of_rotor
from wheel_strong import study as stepped

from polefem import FreeFace, Limit, Range, RectangularCurrent, load_machine, main
from polefem.units import deg, mm

LEAST_TORQUE = 3.1
RAMP = 4 * deg

wheel = load_machine(Path(__file__).parents[1] / "geometries" / "pottery_wheel.toml")
level = FreeFace(STATIONS, (0.01 * mm,) * len(STATIONS))
wheel = replace(
    wheel,
    rotor_pole=replace(wheel.rotor_pole, taper=0.5 * deg, face=level),
    stator_pole=replace(wheel.stator_pole, taper=0.5 * deg, face=level),
)

study = replace(
    stepped,
    name="wheel ramped",
    base=wheel,
    plan=replace(
        plan,
        drive=RectangularCurrent(turn_on=-38 * deg, turn_off=-3 * deg, ramp=RAMP),
        current_points=3,  # on its ramps a current has all values
        coupling="joint",
    ),
    ranges={
        **stepped.ranges,
        **{name: span for name, span in of_rotor.items() if name.startswith("rotor_pole.face")},
        "rotor_pole.arc": Range(30 * deg, 46 * deg),
        "stator_pole.arc": Range(30 * deg, 42 * deg),
        "drive.turn_on": Range(-48 * deg, -28 * deg),
        "drive.turn_off": Range(-14 * deg, 6 * deg),
    },
    limits=(Limit("mean_torque", least=LEAST_TORQUE), Limit("copper_mass", most=1.5)),
    front=(),
    linked={},
    evaluations=18,
)

if __name__ == "__main__":
    raise SystemExit(main(study))

"""How much torque a smooth pottery wheel can have: a front of ripple against mean torque, in one run of one study.

`studies/wheel_slopes.py` gives up mean torque for smoothness. Here coils may grow wider, within the 1.5 kg of copper
that `studies/wheel_search.py` allows, and the faces of rotor and stator are both free, nine heights each: twenty-four
fields move along the slopes, at 60 W in the copper. First the wheel must give 3.4 N m; from what is smoothest there, it
goes on to 3.1 N m. It starts from arcs that a builder might try first, 34 deg and 40 deg, under level faces. What is
found, with all phases in one field too, stands in `docs/studies.md`: it is of a current that steps.

    python studies/wheel_strong.py
"""

from dataclasses import replace

from wheel_slopes import STATIONS, STROKE, plan, ranges, wheel
from wheel_slopes import study as smooth

from polefem import FreeFace, Limit, Range, RectangularCurrent, main
from polefem.units import deg, mm

TURN_ON = -37 * deg
FRONT = (3.4, 3.1)
level = FreeFace(STATIONS, (0.01 * mm,) * len(STATIONS))
wheel = replace(
    wheel,
    rotor_pole=replace(wheel.rotor_pole, arc=40 * deg, taper=0.5 * deg, face=level),
    stator_pole=replace(wheel.stator_pole, arc=34 * deg, face=level),
    winding=replace(wheel.winding, coil_width=13 * mm),
)

study = replace(
    smooth,
    name="wheel strong",
    base=wheel,
    plan=replace(plan, drive=RectangularCurrent(turn_on=TURN_ON, turn_off=TURN_ON + STROKE)),
    ranges={
        **ranges,
        "stator_pole.arc": Range(28 * deg, 42 * deg),
        "stator_pole.taper": Range(0 * deg, 5 * deg),
        **{f"stator_pole.face.rises.{k}": Range(0 * mm, 0.6 * mm) for k in range(len(STATIONS))},
        "winding.coil_width": Range(12 * mm, 14 * mm),
    },
    limits=(Limit("mean_torque", least=min(FRONT)), Limit("copper_mass", most=1.5)),
    front=tuple(Limit("mean_torque", least=torque) for torque in FRONT),
    evaluations=14,
)

if __name__ == "__main__":
    raise SystemExit(main(study))

"""The smoothest pottery wheel that its slopes lead to: both arcs, the rotor's flanks, its face and the switching.

`studies/wheel_search.py` moves four fields and guesses. Here thirteen move together along the exact slopes of the
torque at every angle: pole arcs, taper, nine heights of the rotor's face and the switching angle, with a dwell of one
stroke (one phase conducts at any angle). The wheel turns one way, so the face may lean. Least ripple at 60 W in the
copper, with at least as much mean torque as throwing needs. Start: a face that rises by 0.1 mm from edge to edge.

Slopes are known of single phases, so the plan sums them: as long as one conducts at a time, that is the whole machine.

    python studies/wheel_slopes.py                     # at least 3.1 N m
    python studies/wheel_slopes.py --mesh normal
"""

from dataclasses import replace
from pathlib import Path

from polefem import (
    Copper,
    EqualCopperLoss,
    FreeFace,
    Limit,
    MeshSpec,
    Plan,
    Range,
    RectangularCurrent,
    Search,
    load_machine,
    main,
)
from polefem.units import W, deg, mm

LEAST_TORQUE = 3.1
STATIONS = tuple(-1.0 + k / 4 for k in range(9))
STROKE = 30 * deg

wheel = load_machine(Path(__file__).parents[1] / "geometries" / "pottery_wheel.toml")
leaning = FreeFace(STATIONS, tuple(0.06 * mm + 0.05 * mm * station for station in STATIONS))
wheel = replace(
    wheel,
    stator_pole=replace(wheel.stator_pole, arc=34 * deg),
    rotor_pole=replace(wheel.rotor_pole, arc=40 * deg, taper=2 * deg, face=leaning),
)

plan = Plan(
    drive=RectangularCurrent(turn_on=-36.5 * deg, turn_off=-6.5 * deg),
    basis=EqualCopperLoss(60 * W),
    copper=Copper(fill_factor=0.45, temperature=100.0),
    mesh=MeshSpec.named("coarse"),
    angle_points=61,  # a whole pitch: the poles lean
    current_points=1,
    coupling="summed",  # nothing is left out: one phase conducts at any angle
)

ranges = {
    "stator_pole.arc": Range(30 * deg, 40 * deg),
    "rotor_pole.arc": Range(30 * deg, 46 * deg),
    "rotor_pole.taper": Range(0 * deg, 12 * deg),
    **{f"rotor_pole.face.rises.{k}": Range(0 * mm, 0.6 * mm) for k in range(len(STATIONS))},
    "drive.turn_on": Range(-46 * deg, -20 * deg),
}

study = Search(
    name="wheel by slopes",
    base=wheel,
    plan=plan,
    ranges=ranges,
    objective="ripple",
    limits=(Limit("mean_torque", least=LEAST_TORQUE),),
    linked={"drive.turn_off": lambda values: values["drive.turn_on"] + STROKE},
    evaluations=20,
    method="gradient",
    least_radius=50 * mm,
)

if __name__ == "__main__":
    raise SystemExit(main(study))

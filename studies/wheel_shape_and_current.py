"""Which lever buys a potter more smoothness: the shape of the poles, the form of the current, or both?

A builder may cut the poles until the torque of a plain current is smooth, or leave them as they are and let the
controller follow a form, which asks a bridge for voltage. Three searches along slopes tell, each from the same wheel at
the same 60 W in the copper: the arcs and the rotor's face alone, eleven levels of the current alone, and all of them
together. The page shows the three side by side, with mean torque, copper loss and the highest voltage that a phase
asks for at 30 revolutions a minute, as a potter centres a large lump. All keep to what four lead-acid batteries have,
as in `studies/wheel_at_the_shaft.py`: without that limit the current alone finds a form for a voltage that no bridge
has. The plain current rises and falls over four degrees: one that did so in no time would ask for a voltage without
end.

Phases are summed here, though waveforms overlap: look at what is found once more with all phases in one field before
any steel is cut (`coupling="joint"`).

    python studies/wheel_shape_and_current.py --workers 1
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
    Tracking,
    WaveformOperatingPoint,
    load_machine,
    main,
)
from polefem.units import A, V, W, deg, mm, rpm

STATIONS = (-1.0, -0.75, -0.5, -0.25, 0.0, 0.25, 0.5, 0.75, 1.0)
ANGLES = tuple((-42 + 4 * k) * deg for k in range(11))
PLAIN = (0.05, *(1.0,) * 8, 0.05, 0.0)  # nothing flows before the first angle and after the last

wheel = load_machine(Path(__file__).parents[1] / "geometries" / "pottery_wheel.toml")
wheel = replace(
    wheel, rotor_pole=replace(wheel.rotor_pole, face=FreeFace(STATIONS, (0.05 * mm,) * len(STATIONS)))
)

plan = Plan(
    drive=RectangularCurrent(turn_on=-38 * deg, turn_off=-8 * deg),
    basis=EqualCopperLoss(60 * W),
    copper=Copper(fill_factor=0.45, temperature=100.0),
    mesh=MeshSpec.named("coarse"),
    angle_points=61,  # a whole pitch: the rotor's face may lean
    current_points=3,
    coupling="summed",
    operating_points=(
        WaveformOperatingPoint("form", Tracking(ANGLES, PLAIN), EqualCopperLoss(60 * W), 30 * rpm),
    ),
    map_current=16 * A,  # a form peaks above the rectangular current of the same loss
)

shape = {
    "rotor_pole.arc": Range(30 * deg, 44 * deg),
    "stator_pole.arc": Range(30 * deg, 38 * deg),
    **{f"rotor_pole.face.rises.{k}": Range(0 * mm, 0.4 * mm) for k in range(len(STATIONS))},
}
current = {f"operating_points.0.current.currents.{k}": Range(0.0, 1.0) for k in range(len(ANGLES))}

study = Search(
    name="wheel shape and current",
    base=wheel,
    plan=plan,
    ranges={**shape, **current},
    objective="form.ripple",
    limits=(Limit("form.mean_torque", least=2.65), Limit("form.peak_voltage", most=48 * V)),
    evaluations=45,
    method="gradient",
    least_radius=50 * mm,
    levers={"shape alone": tuple(shape), "current alone": tuple(current), "both": (*shape, *current)},
)

if __name__ == "__main__":
    raise SystemExit(main(study))

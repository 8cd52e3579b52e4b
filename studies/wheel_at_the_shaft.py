"""Does the wheel start under the potter's clay, how flat can the current make its torque, and does it need a sensor?

The first shapes of `studies/pottery_wheel.py`, each on one map, with what a builder asks once the bridge is on the
bench:

- `flat`: the currents of least copper loss that make 1.5 N m flat at 60 revolutions a minute on four lead-acid
  batteries; what is left of the ripple is what the bridge cannot follow;
- `start`: a wheel head and a lump of clay, let go from the rest angle where the torque is lowest;
- `angle`: how far off the angle is that idle phases tell before switching on, where an inductance is known to 3 %.

Shapes are ranked by the copper loss of the flat torque: where the current takes the ripple away, heat is what a shape
is judged by.

    python studies/wheel_at_the_shaft.py --workers 2 --mesh coarse
"""

from dataclasses import replace

from pottery_wheel import plan as rectangular
from pottery_wheel import study as shapes
from pottery_wheel import wheel

from polefem import (
    Bridge,
    Load,
    ReadingOperatingPoint,
    SharedTorqueOperatingPoint,
    StartOperatingPoint,
    Study,
    main,
)
from polefem.units import A, V, deg, rpm

# Capacitors and fields stay charged after switching off, a wheel head at speed holds energy too, and a shaft that is
# let go runs away without its load: guard it, limit the supply's current, and follow local codes.
bridge = Bridge(48 * V, switch_drop=0.1 * V, diode_drop=0.8 * V, source_resistance=0.03)

plan = replace(
    rectangular,
    operating_points=(
        SharedTorqueOperatingPoint("flat", 60 * rpm, bridge, 1.5, current_limit=18 * A),
        StartOperatingPoint(
            "start",
            100 * rpm,
            bridge,
            # A little more than a stroke, so that one phase always pulls before its neighbour lets go.
            turn_on=-37 * deg,
            turn_off=-3 * deg,
            current=10 * A,
            load=Load(friction=0.6, drag=0.05),  # a seal and two bearings; hands on the clay
            inertia=0.12,  # a head of 300 mm and 5 kg of clay
            duration=3.0,
        ),
        ReadingOperatingPoint("angle", current=1.5 * A, error=0.03),
    ),
    map_current=20 * A,
)

study = Study(
    name="wheel at the shaft",
    base=wheel,
    plan=plan,
    variants=shapes.variants[:3],
    objectives=("flat.copper_loss", "start.time_to_speed"),
)

if __name__ == "__main__":
    raise SystemExit(main(study))

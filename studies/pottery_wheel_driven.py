"""Does the pole shape that wins under the ideal current also win under a drive that a workshop has?

The shapes of `studies/pottery_wheel.py`, each on one map, under four drives at the same copper loss or the same torque:

- the ideal rectangular current, which rises and falls in no time;
- `rounded`: a current that rises and falls over six degrees, whatever drives it;
- `centring`: a bridge on four lead-acid batteries at 250 revolutions a minute, the fastest the wheel turns, with the
  angles a person would first set;
- `smoothest`: that bridge with the angles and level that make each shape smoothest at 2 N m, about what hands on the
  clay ask.

One order is printed for each, and where it changes. For the shape that wins under the ideal current `switching.csv`
and `switching.h` are written: turn-on, turn-off and level over speed and torque, as motor and as brake.

    python studies/pottery_wheel_driven.py --workers 2 --mesh coarse
"""

from dataclasses import replace

from pottery_wheel import plan as ramped
from pottery_wheel import study as shapes
from pottery_wheel import wheel

from polefem import (
    BestOperatingPoint,
    Bridge,
    EqualMeanTorque,
    LevelOperatingPoint,
    Study,
    SuitedSwitching,
    SwitchingTable,
    Tracking,
    WaveformOperatingPoint,
    main,
)
from polefem.units import A, V, deg, rpm

# Capacitors and fields stay charged after switching off, and a phase that is opened arcs: local codes and licensed
# practice decide how a bridge is built, even on 48 V.
bridge = Bridge(48 * V, switch_drop=0.1 * V, diode_drop=0.8 * V, source_resistance=0.03)
fast = 250 * rpm

plan = replace(
    ramped,
    drive=SuitedSwitching(),
    operating_points=(
        WaveformOperatingPoint(
            "rounded", Tracking([-40 * deg, -34 * deg, -7 * deg, -1 * deg], [0, 1, 1, 0]), ramped.basis, fast
        ),
        LevelOperatingPoint(
            "centring", fast, bridge, turn_on=-40 * deg, turn_off=-14 * deg, basis=ramped.basis
        ),
        BestOperatingPoint("smoothest", fast, bridge, EqualMeanTorque(2.0, 20 * A), objective="ripple"),
    ),
    map_current=20 * A,  # above what the loss asks for: a bridge that is late catches up with more
)

study = Study(
    name="pottery wheel driven",
    base=wheel,
    plan=plan,
    variants=shapes.variants,
    switching=SwitchingTable(
        bridge, speeds=(60 * rpm, 150 * rpm, 250 * rpm), torques=(-2.0, -1.0, 1.0, 2.0), objective="ripple"
    ),
)

if __name__ == "__main__":
    raise SystemExit(main(study))

"""Which rotor pole lets a mill by a stream charge a battery of 48 V, and from which speed on does it charge at all?

A miller gears a slow wheel up to 150 to 400 revolutions a minute and has the generator of
`geometries/stream_generator.toml` on the bench: two rotor discs, bare cores between them. What the coils may turn into
heat is given, 20 W, and so is the stator. To decide are the rotor's poles, sawn from solid blocks of sheet, and whether
it pays to true the shaft for a smaller gap. Each shape is switched as suits it, past aligned, where its torque brakes.

- The ranking is by what reaches the battery at 350 revolutions a minute: `charging.power_out`.
- `ideal` compares the shapes under the ideal rectangular current, `charging` on the bridge that the mill has.
- For the winner `switching.csv` and `switching.h` hold turn-on, turn-off and level over speed and braking torque, and
  the page shows power and efficiency over speed.

    python studies/stream_generator.py --workers 2 --mesh coarse
"""

from pathlib import Path

from polefem import (
    BestOperatingPoint,
    Bridge,
    EqualCopperLoss,
    Plan,
    Study,
    SuitedSwitching,
    SwitchingTable,
    Variant,
    load_machine,
    main,
)
from polefem.units import A, V, W, deg, mm, rpm

mill = load_machine(Path(__file__).parents[1] / "geometries" / "stream_generator.toml")

# A battery holds the voltage and takes what comes; a phase at current arcs when it is opened, and a rotor that loses
# its load runs away with the water: local codes and licensed practice decide how bridge, fuse and sluice are built.
battery = Bridge(48 * V, switch_drop=0.1 * V, diode_drop=0.8 * V, source_resistance=0.05)
heat = EqualCopperLoss(20 * W)

plan = Plan(
    drive=SuitedSwitching(
        "torque", generating=True
    ),  # each shape past aligned, where its own torque brakes most
    basis=heat,
    angle_points=11,
    current_points=3,  # the cores stay far below saturation
    operating_points=(
        BestOperatingPoint("charging", 350 * rpm, battery, heat, generating=True),  # an ordinary day's water
    ),
    map_current=6 * A,  # above what the heat asks for: a bridge carries it in less time
)

study = Study(
    name="stream generator",
    base=mill,
    plan=plan,
    variants=[
        Variant("as drawn"),
        Variant("narrow", {"rotor_pole.arc": 10 * deg}),  # as wide as a core: parted sooner
        Variant("narrower", {"rotor_pole.arc": 8.5 * deg}),  # less steel, a lower unaligned inductance
        Variant("wide", {"rotor_pole.arc": 12.4 * deg}),  # both arcs together just within the pitch
        Variant("trued shaft", {"air_gap": 0.8 * mm}),  # two days at the lathe
    ],
    objectives=("charging.power_out", "ripple"),
    switching=SwitchingTable(
        battery,
        speeds=(200 * rpm, 250 * rpm, 300 * rpm, 350 * rpm, 400 * rpm),
        torques=(-0.9, -0.6, -0.3),  # N m, below 0: braking
    ),
)

if __name__ == "__main__":
    raise SystemExit(main(study))

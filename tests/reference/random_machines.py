"""Machines drawn at random that can be built: pole combinations, sizes, shapes and steels of all sorts."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from polefem.errors import PolefemError
from polefem.materials import MU0, Steel, steel_names
from polefem.outline import outline_of
from polefem.params import AxialMachine, Machine, Notch, OuterRotorMachine, Pole, RadialMachine, Shoe, Winding

__all__ = ["Draw", "drawn"]

COMBINATIONS = ((6, 4), (8, 6), (12, 8), (6, 8), (10, 8), (6, 10))


@dataclass(frozen=True, eq=False)
class Draw:
    """A machine, a rotor angle (rad) anywhere in a rotor pitch, and a current (A)."""

    machine: Machine
    angle: float
    current: float

    def __str__(self) -> str:
        machine = self.machine
        kind = type(machine).__name__.removesuffix("Machine")
        poles = f"{machine.stator_poles}/{machine.rotor_poles}"
        shapes = [
            word
            for word, there in (
                ("shoe", machine.stator_pattern[0].shoe is not None),
                ("notch", bool(machine.rotor_pattern[0].notches)),
                ("taper", machine.rotor_pattern[0].taper != 0),
            )
            if there
        ]
        where = f"{math.degrees(self.angle):.2f} deg, {self.current:.1f} A"
        return f"{kind} {poles}, {machine.steel.name}, {' '.join(shapes) or 'plain'}, {where}"


def drawn(seed: int) -> Draw:
    """The machine of one seed: tried until the outline's checks let one pass."""
    random = np.random.default_rng(seed)
    while True:
        try:
            machine = _machine(random)
            outline_of(machine)
        except PolefemError:
            continue
        angle = random.uniform(-0.5, 0.5) * machine.rotor_pitch
        # Enough for 0.3 to 2.2 T in an aligned gap if the iron took nothing: from linear to deep in saturation.
        drive = random.uniform(0.3, 2.2) * machine.air_gap / MU0
        return Draw(machine, angle, drive / machine.winding.turns_per_pole)


def _machine(random: np.random.Generator) -> Machine:
    stator_poles, rotor_poles = COMBINATIONS[random.integers(len(COMBINATIONS))]
    pitch = 2 * math.pi / rotor_poles
    stroke = pitch / (stator_poles // math.gcd(stator_poles, rotor_poles))
    arc = stroke * random.uniform(1.0, 1.25)
    radius = random.uniform(20e-3, 60e-3)
    width = 2 * radius * math.sin(arc / 2)
    slot = 2 * math.pi * radius / stator_poles - width
    stator_pole, rotor_pole = _poles(random, arc, stroke, width)
    steels = [name for name in steel_names() if name != "vacuum"]
    common = {
        "stator_poles": stator_poles,
        "rotor_poles": rotor_poles,
        "air_gap": random.uniform(0.25e-3, 0.8e-3),
        "stator_pole": stator_pole,
        "rotor_pole": rotor_pole,
        "winding": Winding(
            turns_per_pole=100,
            coil_width=random.uniform(0.25, 0.4) * slot,
            face_inset=random.uniform(1e-3, 4e-3),
            yoke_clearance=random.uniform(1e-3, 4e-3),
        ),
        "steel": Steel.named(steels[random.integers(len(steels))]),
    }
    yokes = width * random.uniform(0.55, 0.9, 2)
    build = (_radial, _outer, _axial)[random.choice(3, p=(0.6, 0.2, 0.2))]
    return build(random, radius, slot, yokes, common)


def _poles(random: np.random.Generator, arc: float, stroke: float, width: float) -> tuple[Pole, Pole]:
    shoe = None
    body = width
    if random.random() < 0.25:
        tip = random.uniform(1e-3, 2e-3)
        shoe = Shoe(
            overhang=random.uniform(0.05, 0.15) * width, tip=tip, neck=tip + random.uniform(0.5e-3, 2e-3)
        )
        body = width - 2 * float(np.max(shoe.overhang))
    notches = ()
    if random.random() < 0.25:
        notches = (Notch(random.uniform(-0.3, 0.3) * arc, 0.1 * body, random.uniform(0.03, 0.1) * body),)
    taper = random.uniform(0.0, math.radians(6.0)) if random.random() < 0.4 else 0.0
    return Pole(arc=arc, shoe=shoe), Pole(
        arc=arc + random.uniform(0.0, 0.15) * stroke, taper=taper, notches=notches
    )


def _radial(
    random: np.random.Generator, radius: float, slot: float, yokes: np.ndarray, common: dict
) -> RadialMachine:
    yoke_radius = radius * random.uniform(0.6, 0.75)
    return RadialMachine(
        rotor_outer_radius=radius,
        rotor_yoke_radius=yoke_radius,
        shaft_radius=max(yoke_radius - yokes[0], 0.2 * yoke_radius),
        stator_outer_radius=radius * random.uniform(1.5, 1.9) + yokes[1],
        stator_yoke_thickness=yokes[1],
        stack_length=2 * radius,
        **common,
    )


def _outer(
    random: np.random.Generator, radius: float, slot: float, yokes: np.ndarray, common: dict
) -> OuterRotorMachine:
    yoke_radius = radius * random.uniform(0.55, 0.7)
    return OuterRotorMachine(
        stator_outer_radius=radius,
        stator_yoke_radius=yoke_radius,
        shaft_radius=max(yoke_radius - yokes[0], 0.2 * yoke_radius),
        rotor_outer_radius=radius * random.uniform(1.15, 1.3) + yokes[1],
        rotor_yoke_thickness=yokes[1],
        stack_length=radius,
        **common,
    )


def _axial(
    random: np.random.Generator, radius: float, slot: float, yokes: np.ndarray, common: dict
) -> AxialMachine:
    return AxialMachine(
        inner_radius=0.8 * radius,
        outer_radius=1.2 * radius,
        stator_pole_height=random.uniform(0.4, 0.8) * radius,
        rotor_pole_height=random.uniform(0.2, 0.3) * radius,
        stator_yoke_thickness=yokes[0],
        rotor_yoke_thickness=yokes[1],
        cuts=1,
        **common,
    )

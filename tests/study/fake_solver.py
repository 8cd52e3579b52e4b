"""A solver without fields: the straight inductance of the textbooks, its width taken from the machine's arcs.

Special rotor arcs make it misbehave as a process can: die, hang, raise. Every call is noted in the file that the
environment variable FAKE_SOLVER_LOG names, so that tests can count what was computed, in whatever process.
"""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Iterator

import numpy as np
from numpy.typing import ArrayLike

from polefem import FluxMap, Pole, RadialMachine, Steel, Winding
from polefem.errors import MeshFailed
from polefem.field import BuiltMachine, Field, FieldState
from polefem.maps import CoupledMap, linear_map, summed
from polefem.outline import Label
from polefem.params import RectangularCurrent
from polefem.study import EqualCurrent, Plan, Solver
from polefem.units import deg, mm

ALIGNED, UNALIGNED = 60e-3, 6e-3  # H
DIES, HANGS, RAISES, UNMESHED = (k * deg for k in (31.0, 31.1, 31.2, 31.3))

MACHINE = RadialMachine(
    stator_poles=6,
    rotor_poles=4,
    stator_outer_radius=60 * mm,
    rotor_outer_radius=30 * mm,
    air_gap=0.4 * mm,
    stator_yoke_thickness=11 * mm,
    rotor_yoke_radius=19 * mm,
    shaft_radius=10 * mm,
    stack_length=60 * mm,
    stator_pole=Pole(arc=30 * deg),
    rotor_pole=Pole(arc=32 * deg),
    winding=Winding(turns_per_pole=100, coil_width=6 * mm, face_inset=2 * mm, yoke_clearance=3 * mm),
    steel=Steel.linear(1000.0),
)
PLAN = Plan(RectangularCurrent(-30 * deg, 0.0), EqualCurrent(10.0), current_points=1)


def fake_map(whole: BuiltMachine, angles: ArrayLike, currents: ArrayLike) -> FluxMap:
    """Overlap begins where the faces' edges meet, (stator arc + rotor arc) / 2 from aligned."""
    machine = whole.machine
    note(f"{machine.rotor_pole.arc / deg:.6f}")
    time.sleep(float(os.environ.get("FAKE_SOLVER_SECONDS", "0")))
    misbehave(machine.rotor_pole.arc)
    apart = (machine.stator_pole.arc + machine.rotor_pole.arc) / 2
    full = max(abs(machine.stator_pole.arc - machine.rotor_pole.arc) / 2, 1e-3)
    last = float(np.asarray(currents)[-1])
    return linear_map(ALIGNED, UNALIGNED, full=full, apart=apart, current=last)


def fake_coupled_map(
    whole: BuiltMachine,
    angles: ArrayLike,
    currents: ArrayLike,
    *,
    joint_currents: ArrayLike | None = None,
    at_once: int = 3,
) -> CoupledMap:
    """Phases that do not know of each other: the textbooks' machine has no iron to share."""
    return summed(fake_map(whole, angles, currents))


def misbehave(arc: float) -> None:
    """Do what special arcs stand for."""
    if arc == DIES:
        os.kill(os.getpid(), signal.SIGKILL)
    if arc == HANGS:
        time.sleep(600)
    if arc == RAISES:
        raise ZeroDivisionError("no one foresaw this")
    if arc == UNMESHED:
        raise MeshFailed("this shape gives no mesh")


def fake_state(whole: BuiltMachine, angle: float, phase_currents: ArrayLike) -> FieldState:
    """All phases together give 1 % less than apart; the field is two triangles."""
    m = fake_map(whole, [], [100.0])
    currents = np.asarray(phase_currents, dtype=float)
    own = angle - m.stroke * np.arange(m.phases)
    flux, torque, coenergy = m.at(own, currents)
    points = (
        np.array([[0, 0], [1, 0], [1, 1], [0, 1], [0.5, 0], [1, 0.5], [0.5, 0.5], [0.5, 1], [0, 0.5]]) * 0.1
    )
    triangles = np.array([[0, 1, 2, 4, 5, 6], [0, 2, 3, 6, 7, 8]])
    b = np.array([[0.5, 0.0], [1.0, 0.2]])
    labels = (Label("iron", "rotor"), Label("iron", "stator"))
    field = Field(points, triangles, points[:, 0].copy(), b, np.array([0, 1]), labels)
    return FieldState(
        angle, currents, 0.99 * float(torque.sum()), flux, float(coenergy.sum()), field, "made up"
    )


def fake_fields(whole: BuiltMachine, angles: ArrayLike, phase_currents: ArrayLike) -> Iterator[FieldState]:
    """States at angles, one after the other."""
    turned = np.atleast_1d(angles)
    currents = np.broadcast_to(phase_currents, (len(turned), np.shape(phase_currents)[-1]))
    for angle, row in zip(turned.tolist(), currents, strict=True):
        yield fake_state(whole, angle, row)


def note(text: str) -> None:
    """Add a line to the log, if there is one."""
    if path := os.environ.get("FAKE_SOLVER_LOG"):
        with open(path, "a", encoding="utf-8") as file:
            file.write(text + "\n")


FAKE = Solver(fake_map, fake_coupled_map, fake_fields)

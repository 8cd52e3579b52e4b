"""How long an operating point, a run-up and a table of 20 x 20 take: python -m tests.benchmarks.drive_speed
[MAP].

MAP: a saved flux map; else the smooth saturating phase of the tests. Times are of the
processor, so that other work on the computer does not count.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from polefem.drive import angle_table, most_torque, run_free_shaft, steady_state
from polefem.maps import FluxMap
from polefem.params.drive_spec import AverageVoltage, Bridge, Chopping, DriveSpec, Load, SinglePulse, Tracking
from polefem.units import deg
from tests.maps.saturating import sampled

BRIDGE, SAGGING, OHMS = Bridge(48.0, 0.7, 0.8), Bridge(48.0, 0.7, 0.8, 0.1), 0.6
RUNS: dict[str, tuple[Bridge, Any, float, float]] = {
    "single pulse, 60 rad/s": (BRIDGE, SinglePulse(), -15.0, 60.0),
    "modulated, 20 rad/s": (BRIDGE, AverageVoltage(0.3), -12.0, 20.0),
    "level of 8 A, 10 rad/s": (BRIDGE, Tracking.level(8.0), -8.0, 10.0),
    "soft chopping, 10 rad/s": (BRIDGE, Chopping(8.0, 0.8), -8.0, 10.0),
    "hard chopping, 10 rad/s": (BRIDGE, Chopping(8.0, 0.8, hard=True), -8.0, 10.0),
    "single pulse, sagging source": (SAGGING, SinglePulse(), -15.0, 60.0),
    "soft chopping, sagging source": (SAGGING, Chopping(8.0, 0.8), -8.0, 10.0),
}


def median_time(work: Callable[[], object], times: int = 15) -> float:
    """Median over some repetitions, s."""
    taken = []
    for _ in range(times):
        begin = time.process_time()
        work()
        taken.append(time.process_time() - begin)
    return float(np.median(taken))


def run(m: FluxMap, size: int = 20) -> None:
    """Print the figures for a map."""
    begin = time.process_time()
    _ = m.pointwise
    print(f"{m}\npotential, once a map: {1e3 * (time.process_time() - begin):.1f} ms")
    for name, (bridge, control, off, speed) in RUNS.items():
        drive = DriveSpec(bridge, OHMS, -34 * deg, off * deg, control)
        taken = median_time(lambda drive=drive, speed=speed: steady_state(m, drive, speed))
        error = steady_state(m, drive, speed).energy.error
        print(f"operating point, {name}: {1e3 * taken:.1f} ms, energy off by {error:.1e}")
    drive = DriveSpec(BRIDGE, OHMS, -34 * deg, -8 * deg, Chopping(8.0, 0.8))
    begin = time.process_time()
    up = run_free_shaft(m, drive, Load(friction=0.1, drag=0.01), 0.02, 1.0, angle=0.2)
    print(
        f"run-up of 1 s, {up.time.size} steps: {time.process_time() - begin:.2f} s, energy off by {up.energy.error:.1e}"
    )
    most = most_torque(m, BRIDGE, OHMS, 5.0, current_limit=20.0).mean_torque
    speeds, torques = np.linspace(5.0, 100.0, size), np.linspace(-0.9, 0.9, size) * most
    begin = time.process_time()
    table = angle_table(m, BRIDGE, OHMS, speeds, torques, current_limit=20.0)
    print(f"{table}: {time.process_time() - begin:.0f} s")


if __name__ == "__main__":
    run(FluxMap.load(sys.argv[1]) if len(sys.argv) > 1 else sampled(31, 15, 60.0))

"""A local cluster of two workers, one of which is killed: the study goes on, its results are those of one process."""

from __future__ import annotations

import os
import signal
import threading
import time
from pathlib import Path

import pytest
from fake_solver import FAKE, MACHINE, PLAN

from polefem.study import Design, InProcess, Record, Status, Store, run_designs
from polefem.units import deg

distributed = pytest.importorskip("distributed", reason="the optional group `cluster` is not installed")
pytestmark = pytest.mark.filterwarnings("default")  # its own warnings are its own business

DESIGNS = [Design(f"{k / 10} deg", MACHINE, {"rotor_pole.arc": k / 10 * deg}, PLAN) for k in range(320, 344)]


def shown(records: list[Record]) -> list[str]:
    maps = [record.outcome.flux_map for record in records]
    return [
        repr((r.name, r.status, r.figures, m and m.torque.tobytes()))
        for r, m in zip(records, maps, strict=True)
    ]


def test_a_cluster_that_loses_a_worker_gives_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PYTHONPATH", str(Path(__file__).parent))  # where workers find the made-up solver
    monkeypatch.setenv("FAKE_SOLVER_SECONDS", "0.2")
    killed: list[int] = []
    with (
        distributed.LocalCluster(2, threads_per_worker=1, dashboard_address=None, silence_logs=50) as cluster,
        distributed.Client(cluster) as client,
        Store(tmp_path / "cluster") as store,
    ):

        def kill_one() -> None:
            time.sleep(1.0)
            killed.append(client.run(os.getpid).popitem()[1])
            os.kill(killed[0], signal.SIGKILL)

        killer = threading.Thread(target=kill_one)
        killer.start()
        records = run_designs("on a cluster", DESIGNS, store, client.get_executor(), at_once=6, solver=FAKE)
        killer.join()
    assert killed
    assert all(record.status is Status.SOLVED for record in records)
    monkeypatch.setenv("FAKE_SOLVER_SECONDS", "0")
    with Store(tmp_path / "here") as store:
        alone = run_designs("here", DESIGNS, store, InProcess(), solver=FAKE)
    assert shown(records) == shown(alone)

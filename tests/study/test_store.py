"""The store: what was kept is there, what was damaged is noticed, and several processes may write at once."""

from __future__ import annotations

import json
import multiprocessing
import shutil
import sqlite3
import subprocess
import sys
import textwrap
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from polefem.errors import StoreRefused
from polefem.files import this_process
from polefem.maps import CoupledMap, linear_map, summed
from polefem.study import Figures, Outcome, Status, Store, claims, database
from polefem.study import store as store_module
from polefem.study.store import Member
from polefem.units import deg

MAP = summed(linear_map(60e-3, 6e-3, full=2 * deg, apart=30 * deg, current=10.0))


def figures(**changes: float | None) -> Figures:
    values: dict[str, Any] = {name: float(at + 1) for at, name in enumerate(Figures.names())}
    return Figures(**{**values, **changes})


def solved(**changes: float | None) -> Outcome:
    return Outcome(Status.SOLVED, "", figures(**changes), MAP, {"map": 1.5, "overlap": 0.5}, (3.0, 2.0))


def test_what_was_kept_is_there_after_reopening(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        store.keep("a", solved(phase_interaction=None), {"polefem": "1"}, json.dumps({"x": 1}))
        store.keep("b", Outcome(Status.REFUSED, "a sentence"))
    with Store(tmp_path) as store:
        a, b = store.outcome("a"), store.outcome("b")
        assert a is not None and b is not None and store.outcome("c") is None
        assert a.figures is not None and a.flux_map is not None
        assert a.figures.phase_interaction is None
        assert a.figures.values()[:-1] == figures().values()[:-1]
        assert (a.seconds, a.harmonics) == ({"map": 1.5, "overlap": 0.5}, (3.0, 2.0))
        assert np.array_equal(a.flux_map.flux_linkage, MAP.single.flux_linkage)
        assert (b.status, b.reason, b.figures, b.flux_map) == (Status.REFUSED, "a sentence", None, None)
        assert store.versions("a") == {"polefem": "1"}
        assert store.statuses(["a", "b", "c"]) == {"a": Status.SOLVED, "b": Status.REFUSED}


def test_keeping_again_replaces(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        store.keep("a", Outcome(Status.LOST, "its worker died"))
        store.keep("a", solved())
        again = store.outcome("a")
        assert again is not None and again.status is Status.SOLVED


@pytest.mark.parametrize("damage", ["cut", "flipped", "another map", "gone"])
def test_a_damaged_map_is_noticed(tmp_path: Path, damage: str) -> None:
    with Store(tmp_path) as store:
        store.keep("a", solved())
        path = store.map_path("a")
        whole = path.read_bytes()
        if damage == "cut":
            path.write_bytes(whole[: len(whole) // 2])
        elif damage == "flipped":
            path.write_bytes(whole[:200] + bytes([whole[200] ^ 1]) + whole[201:])
        elif damage == "another map":  # sound in itself, but not the one that was kept
            summed(linear_map(50e-3, 6e-3, full=2 * deg, apart=30 * deg, current=10.0)).save(path)
        else:
            path.unlink()
        assert store.outcome("a") is None
        kept = store.outcome("a", with_map=False)
        assert kept is not None and kept.figures == figures()
        store.keep("a", solved())
        mended = store.outcome("a")
        assert mended is not None and isinstance(mended.machine_map, CoupledMap)


def test_a_store_of_another_version_is_refused(tmp_path: Path) -> None:
    Store(tmp_path).close()
    with sqlite3.connect(tmp_path / "designs.sqlite") as db:
        db.execute("PRAGMA user_version = 99")
    db.close()
    with pytest.raises(
        StoreRefused, match=r"a store has a known version: .* is of version 99, allowed is version"
    ):
        Store(tmp_path)


def refused_as_found(folder: Path, match: str) -> bool:
    """Whether a store is refused there, with a way to go on, and nothing of the folder is changed."""
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    with pytest.raises(StoreRefused, match=match) as refused:
        Store(folder)
    assert "give another folder (--store or --out), or move designs.sqlite" in str(refused.value)
    return {path.name: path.read_bytes() for path in folder.iterdir()} == before


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"not a database, but long enough to look at" * 40, "is another kind of file"),
        (b"SQLite format 3\0broken" * 99, "a store must be sound: .* is damaged"),
        (b"", "is empty"),
    ],
)
def test_a_file_that_is_no_store_is_refused(tmp_path: Path, content: bytes, sentence: str) -> None:
    (tmp_path / "designs.sqlite").write_bytes(content)
    assert refused_as_found(tmp_path, sentence)


@pytest.mark.parametrize("journal", ["DELETE", "WAL"])
def test_another_program_s_database_is_refused_and_left_as_it_is(tmp_path: Path, journal: str) -> None:
    with closing(sqlite3.connect(tmp_path / "designs.sqlite")) as db:
        db.execute(f"PRAGMA journal_mode = {journal}")
        db.execute("CREATE TABLE recipes (name TEXT)")
        db.commit()
    assert refused_as_found(tmp_path, "is a database of another program")


def test_a_store_of_an_older_layout_is_refused_with_a_way_to_go_on(tmp_path: Path) -> None:
    with closing(sqlite3.connect(tmp_path / "designs.sqlite")) as db:
        for name in ("about", "designs", "details", "members"):
            db.execute(f"CREATE TABLE {name} (key TEXT)")
        db.execute("PRAGMA user_version = 5")
    assert refused_as_found(tmp_path, "is of version 5, allowed is version [0-9]+: ")


def flip(folder: Path, table: str, column: str, to: str) -> None:
    """Change one value of a row in the file, as a flipped bit would, behind the store's back."""
    with closing(sqlite3.connect(folder / "designs.sqlite")) as db:
        db.execute(f"UPDATE {table} SET {column} = {to}")
        db.commit()


@pytest.mark.parametrize(
    ("table", "column", "to"),
    [
        ("designs", "ripple", "0.13"),
        ("designs", "ripple", "x'00ff'"),
        ("designs", "status", "'failed'"),
        ("designs", "status", "'sol\u00fced'"),
        ("designs", "map_checksum", "NULL"),
        ("designs", "reason", "CAST(x'ff80' AS TEXT)"),
        ("details", "operating_points", "'{'"),
        ("details", "harmonics", "'[3.0,2.5]'"),
    ],
)
def test_a_damaged_row_is_noticed(tmp_path: Path, table: str, column: str, to: str) -> None:
    with Store(tmp_path) as store:
        store.keep("a", solved())
        store.enrol("one", [Member("m", "a", {})])
    flip(tmp_path, table, column, to)
    with Store(tmp_path) as store:
        assert store.outcome("a") is None and store.damaged == {"a"}
        store.keep("a", solved())
        mended = store.outcome("a")
        assert mended is not None and mended.figures == figures() and not store.damaged


def test_a_damaged_layout_is_noticed(tmp_path: Path) -> None:
    Store(tmp_path).close()
    with closing(sqlite3.connect(tmp_path / "designs.sqlite")) as db:
        db.execute("ALTER TABLE designs RENAME COLUMN ripple TO rippme")
        db.commit()
    with pytest.raises(
        StoreRefused, match=r"a store must be sound: .* \(its tables are not as they were made"
    ):
        Store(tmp_path)


def test_a_damaged_list_of_a_study_is_noticed(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        store.keep("a", solved())
        store.enrol("one", [Member("m", "a", {})])
        flip(tmp_path, "members", "name", "'n'")
        with pytest.raises(StoreRefused, match="rows of a store must match their checksums"):
            store.members("one")


@pytest.mark.parametrize("figure", [float("nan"), float("inf"), -0.0, np.float64(0.1), 3, 1e-320])
def test_every_number_survives_its_checksum(tmp_path: Path, figure: float) -> None:
    with Store(tmp_path) as store:
        store.keep("a", solved(ripple=figure))
        assert store.outcome("a") is not None and not store.damaged


def test_what_is_solved_is_never_replaced(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        store.keep("a", solved(ripple=0.5))
        for other in (Outcome(Status.LOST, "died"), Outcome(Status.FAILED, "no"), solved(ripple=0.1)):
            store.keep("a", other)
        kept = store.outcome("a")
        assert kept is not None and kept.figures is not None and kept.figures.ripple == 0.5
        store.keep("b", Outcome(Status.FAILED, "a reason"))
        store.keep("b", Outcome(Status.LOST, "died"))
        assert store.statuses("b") == {"b": Status.FAILED}


def test_a_design_is_claimed_by_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with Store(tmp_path) as one, Store(tmp_path) as other:
        assert one.claim("a") and one.claim("a") and not other.claim("a")
        one.keep("a", solved())
        assert other.claim("a")
        other.unclaim("a")
        assert one.claim("a") and one.claim("b")
        later = time.time() + 61.0
        monkeypatch.setattr(claims.time, "time", lambda: later)
        assert other.claim("a"), "without a sign of life a claim lapses"
        assert not one.claim("a")
    with Store(tmp_path) as one, Store(tmp_path) as other:
        assert one.claim("c")
        with closing(sqlite3.connect(tmp_path / "designs.sqlite")) as db:
            (owner,) = db.execute("SELECT owner FROM claims WHERE key = 'c'").fetchone()
            gone = subprocess.Popen([sys.executable, "-c", ""])
            gone.wait()
            host, _, mark = owner.split()
            db.execute("UPDATE claims SET owner = ?", (f"{host} {gone.pid} {mark}",))
            db.commit()
        assert other.claim("c"), "the process that claimed it is gone"


MOUNTS = """\
22 1 8:1 / / rw,relatime shared:1 - ext4 /dev/sda1 rw
30 22 0:40 / /home rw shared:5 - nfs4 server:/home rw,vers=4.2
31 30 8:2 / /home/local\\040disk rw - xfs /dev/sdb1 rw
"""


@pytest.mark.parametrize(
    ("folder", "network"),
    [("/home/anna/results", True), ("/home/local disk/results", False), ("/srv", False)],
)
def test_a_disk_of_a_network_is_known(tmp_path: Path, folder: str, network: bool) -> None:
    (tmp_path / "mounts").write_text(MOUNTS)
    assert database.on_network(Path(folder), tmp_path / "mounts") is network
    assert not database.on_network(Path(folder), tmp_path / "none")


def test_on_a_disk_of_a_network_one_process_holds_the_store(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(database, "on_network", lambda folder: True)
    monkeypatch.setattr(store_module, "on_network", lambda folder: True)
    monkeypatch.setattr(database, "_HELD", 0.1)
    with Store(tmp_path) as store:
        assert store.claim("a")
        store.keep("a", solved())
        assert not list(tmp_path.glob("*-wal")), "a log in shared memory is not for such a disk"
        with pytest.raises(StoreRefused, match="a disk of a network is for one process at a time"):
            Store(tmp_path)
        assert store.outcome("a") is not None
    with Store(tmp_path) as store:
        assert store.outcome("a") is not None


def test_what_a_killed_process_left_half_written_is_swept(tmp_path: Path) -> None:
    Store(tmp_path).close()
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    host, process = this_process()
    dead = [
        tmp_path / f".part.{host}.{gone.pid}.0.designs.sqlite",
        tmp_path / "maps" / f".part.{host}.{gone.pid}.1.a",
    ]
    lives = [tmp_path / f".part.{host}.{process}.0.x", tmp_path / f".part.elsewhere.{gone.pid}.0.x"]
    for path in (*dead, *lives):
        path.touch()
    Store(tmp_path).close()
    assert not any(path.exists() for path in dead) and all(path.exists() for path in lives)


def test_a_folder_that_cannot_be_made_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(StoreRefused, match="a store must be readable and have room to write"):
        Store(tmp_path / "file" / "store")


def test_a_study_s_designs_are_listed_in_order(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        for at, ripple in enumerate((0.5, 0.2, 0.9)):
            store.keep(f"k{at}", solved(ripple=ripple))
        store.keep("k3", Outcome(Status.REFUSED, "no"))
        store.enrol("one", [Member(f"m{at}", f"k{at}", {"arc": at}) for at in range(4)])
        store.enrol("other", [Member("same", "k1", {})])
        assert [member.name for member in store.members("one")] == ["m0", "m1", "m2", "m3"]
        assert store.members("one")[2] == Member("m2", "k2", {"arc": 2})
        assert [member.key for member in store.members("other")] == ["k1"]
        assert store.members("nothing") == ()


def keep_many(folder: Path, prefix: str, count: int) -> None:
    with Store(folder) as store:
        for at in range(count):
            store.keep(f"{prefix}{at}", solved(ripple=at / count))
            store.keep("shared", solved(ripple=0.25))


def test_processes_write_at_once_and_nothing_is_lost(tmp_path: Path) -> None:
    context = multiprocessing.get_context("spawn")
    writers = [context.Process(target=keep_many, args=(tmp_path, prefix, 40)) for prefix in "abc"]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    assert [writer.exitcode for writer in writers] == [0, 0, 0]
    with Store(tmp_path) as store:
        outcomes = [store.outcome(f"{prefix}{at}") for prefix in "abc" for at in range(40)]
        assert all(outcome is not None and outcome.flux_map is not None for outcome in outcomes)
        assert store.outcome("shared") is not None
    assert len(list((tmp_path / "maps").iterdir())) == 121


def test_a_full_disk_is_told_and_what_was_kept_stays(tmp_path: Path) -> None:
    # A limit on the size of any file, set in a process of its own, is met by writing as a full disk is.
    script = f"""
        import resource, signal, sys
        sys.path[:0] = {sys.path!r}
        from pathlib import Path
        from test_store import Store, StoreRefused, solved
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, 200_000))
        kept = 0
        try:
            with Store(Path({str(tmp_path)!r})) as store:
                while True:
                    store.keep(f"k{{kept}}", solved())
                    kept += 1
        except StoreRefused as refused:
            sys.stderr.write(str(refused))
            sys.stdout.write(str(kept))
    """
    done = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(script)], capture_output=True, text=True, timeout=120
    )
    assert "a store must be readable and have room to write" in done.stderr
    kept = int(done.stdout)
    assert kept > 5
    with Store(tmp_path) as store:
        assert len(store.statuses(f"k{at}" for at in range(kept + 1))) == kept
        assert all(store.outcome(f"k{at}") is not None for at in range(kept))
        store.keep(f"k{kept}", solved())


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 300 kB, where this process may mount one."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=300k", "tmpfs", str(disk)]
    if shutil.which("mount") is None or subprocess.run(mount, capture_output=True).returncode != 0:
        pytest.skip("only root may mount a small disk")
    yield disk
    subprocess.run(["umount", str(disk)], check=True)


def test_a_disk_that_is_full_for_real(small_disk: Path, tmp_path: Path) -> None:
    kept = 0
    with Store(small_disk / "store") as store, pytest.raises(StoreRefused, match="room to write"):
        while True:
            store.keep(f"k{kept}", solved())
            kept += 1
    assert kept > 3
    shutil.copytree(small_disk / "store", tmp_path / "store")  # onto a disk with room: it goes on
    with Store(tmp_path / "store") as store:
        assert all(store.outcome(f"k{at}") is not None for at in range(kept))
        assert store.outcome(f"k{kept}") is None
        store.keep(f"k{kept}", solved())
        assert store.outcome(f"k{kept}") is not None

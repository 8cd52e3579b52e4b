"""Hostile input at the doors: machine files, curves, map files, names. Each must end in a sentence or a value."""

from __future__ import annotations

import random
import signal
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np

from polefem.errors import PolefemError
from polefem.files import file_name
from polefem.maps import FluxMap, files, linear_map
from polefem.materials import Steel
from polefem.params.toml import load_machine
from polefem.study import Variant
from polefem.units import deg

ROOT = Path(__file__).parents[2]
HOSTILE = [
    *(
        "true",
        '"x"',
        '""',
        "[]",
        "[1]",
        "[[1]]",
        "{}",
        "{a = 1}",
        "nan",
        "inf",
        "-inf",
        "-1",
        "0",
        "1e-320",
        "1e308",
    ),
    *(
        "1e400",
        "9" * 400,
        "-" + "9" * 5000,
        "0x10",
        "1979-05-27",
        "'''\n'''",
        '"\\u0000"',
        '"\\u001b[2J"',
        "[1, 'x']",
    ),
    *("[" * 3000 + "]" * 3000, "5", "[true, 2]", "[nan, 1]"),
]
CELLS = [
    "",
    "x",
    "nan",
    "1e999",
    "-1",
    "0",
    "9" * 400,
    "1,5",
    "1;2",
    "\x00",
    "\u0661",
    "0x1",
    "1_0",
    "=1",
    " ",
    "#",
]
ENCODINGS = ["utf-16", "utf-16-le", "latin-1", "utf-8-sig", "utf-32", "cp037"]
MARKS = [b"\xff\xfe", b"\xfe\xff", b"\xef\xbb\xbf", b"\x00", b"\xff", b"\x1f\x8b", b"PK\x03\x04"]
CURVE = "H [A/m]; J [T]\n" + "\n".join(
    f"{h}; {j}" for h, j in [(0, 0), (50, 0.5), (100, 0.9), (500, 1.3), (5000, 1.6)]
)
SECONDS = 20  # an input may take

Input = tuple[str, Callable[[], Any]]


def machine_files(rng: random.Random, folder: Path, count: int) -> Iterator[Input]:
    """Geometries with one value, one line or some bytes made hostile."""
    texts = [path.read_text("utf-8") for path in sorted((ROOT / "geometries").glob("*.toml"))]
    for at in range(count):
        text = rng.choice(texts)
        lines = text.splitlines()
        which = rng.choice([k for k, line in enumerate(lines) if "=" in line.split("#")[0]])
        key = lines[which].partition("=")[0]
        way = rng.randrange(5)
        if way < 3:
            lines[which] = f"{key}= {rng.choice(HOSTILE)}"
        elif way == 3:
            lines.insert(
                which, rng.choice([f"{key.strip()}x = 1", lines[which], f"[{key.strip()}]", "[winding]", "="])
            )
        path = folder / f"{at}.toml"
        path.write_bytes(_rewritten(rng, "\n".join(lines)))
        yield f"{key.strip()} in {path.name}", lambda path=path: load_machine(path)
    yield "a folder", lambda: load_machine(folder)
    yield "a name with a zero byte", lambda: load_machine("a\0b")
    yield "a device without end", lambda: load_machine("/dev/zero")


def curves(rng: random.Random, folder: Path, count: int) -> Iterator[Input]:
    """Measured curves with a cell, the header or some bytes made hostile."""
    for at in range(count):
        rows = [line.split(";") for line in CURVE.splitlines()]
        row = rng.randrange(len(rows))
        rows[row][rng.randrange(2)] = rng.choice(CELLS)
        if rng.random() < 0.3:
            rng.shuffle(rows)
        path = folder / f"{at}.csv"
        path.write_bytes(_rewritten(rng, "\n".join(";".join(cells) for cells in rows)))
        yield path.name, lambda path=path: Steel.from_csv(path)


def map_files(rng: random.Random, folder: Path, count: int) -> Iterator[Input]:
    """Map files with flipped bits, cut short, too large, or sound in form with contents that are no map."""
    known = linear_map(60e-3, 6e-3, full=2 * deg, apart=30 * deg, current=10.0)
    good = folder / "good.npz"
    known.save(good)
    contents = files.read(good)
    whole = good.read_bytes()
    odd = [None, np.zeros(0), np.zeros((2, 3)), np.nan, "text", ("a",), -1, 10**9]
    odd += [np.full(4, np.inf), np.zeros(1, bool)]
    for at in range(count):
        path, way = folder / f"{at}.npz", rng.randrange(4)
        if way == 0:
            bits = bytearray(whole)
            for _ in range(rng.randint(1, 4)):
                bits[rng.randrange(len(bits))] ^= 1 << rng.randrange(8)
            path.write_bytes(bits)
        elif way == 1:
            path.write_bytes(
                rng.choice([whole[: rng.randrange(len(whole))], rng.randbytes(300), b"", b"\x80\x04."])
            )
        else:
            changed = {**contents, rng.choice(sorted(contents)): rng.choice(odd)}
            if rng.random() < 0.2:
                del changed[rng.choice(sorted(changed))]
            files.write(path, changed)
        yield path.name, lambda path=path: FluxMap.load(path)
    bomb = folder / "bomb.npz"
    np.savez_compressed(bomb, angles=np.zeros(80_000_000))
    yield "a file that unpacks to 640 MB", lambda: FluxMap.load(bomb)


def names(rng: random.Random, folder: Path, count: int) -> Iterator[Input]:
    """Names of any characters: refused, or harmless as those of files."""
    parts = [
        "..",
        "/",
        "\\",
        "\0",
        "\n",
        "\x1b[31m",
        "=",
        "@",
        "\u202e",
        "\ud800",
        "CON",
        "~",
        "$(x)",
        " ",
        "é",
    ]
    parts.append("a" * 300)

    def used(name: str) -> None:
        Variant(name)
        path = folder / file_name(name)
        assert path.parent == folder and path.name not in {"", ".", ".."}, name
        path.touch()

    for _ in range(count):
        name = "".join(rng.choice(parts) for _ in range(rng.randint(0, 4)))
        yield ascii(name), lambda name=name: used(name)


KINDS: dict[str, tuple[Callable[[random.Random, Path, int], Iterator[Input]], int]] = {
    "machine files": (machine_files, 900),
    "curves in CSV": (curves, 500),
    "map files": (map_files, 400),
    "names": (names, 200),
}


def ends(call: Callable[[], Any]) -> str:
    """How a call ends: "a value", "a sentence", or what must not be: an error as Python tells it, or no end."""

    def late(*_: object) -> None:
        raise TimeoutError(f"no end within {SECONDS} s")

    before = signal.signal(signal.SIGALRM, late)
    signal.alarm(SECONDS)
    try:
        call()
        return "a value"
    except PolefemError as error:
        sentence = str(error)
        plain = sentence.replace("\t", " ").isprintable() and len(sentence) < 20_000
        return "a sentence" if plain else f"a sentence that cannot be printed: {ascii(sentence)[:200]}"
    except BaseException as error:
        return f"{type(error).__name__}: {str(error)[:200]}"
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def tried(kind: str, folder: Path, seed: int = 18, part: float = 1.0) -> tuple[Counter[str], list[str]]:
    """How many inputs of a kind ended in what, and those that ended otherwise."""
    inputs, count = KINDS[kind]
    folder.mkdir(parents=True, exist_ok=True)
    counts, faults = Counter[str](), []
    for name, call in inputs(random.Random(seed), folder, round(count * part)):
        end = ends(call)
        counts[end if end in ("a value", "a sentence") else "otherwise"] += 1
        if end not in ("a value", "a sentence"):
            faults.append(f"{name}: {end}")
    return counts, faults


def _rewritten(rng: random.Random, text: str) -> bytes:
    """Text as bytes: mostly as it is, else in another encoding, with a mark before it, cut, or with a flipped bit."""
    way = rng.randrange(10)
    if way == 0:
        return text.encode(rng.choice(ENCODINGS), "replace")
    data = bytearray(text.encode("utf-8"))
    if way == 1:
        data[:0] = rng.choice(MARKS)
    elif way == 2:
        del data[rng.randrange(len(data)) :]
    elif way == 3:
        data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
    return bytes(data)

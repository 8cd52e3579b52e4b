"""Rows of a store, each with a checksum over all it holds: a bit that flipped on a disk makes no other figure."""

from __future__ import annotations

import hashlib
import json
import math
import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from polefem.ring import RingWaves
from polefem.study.record import Figures, Outcome, Status, point_figures

__all__ = ["LAYOUT", "SCHEMA", "design_row", "detail_row", "outcome_of", "signed", "sound", "text_of"]

SCHEMA = 12
"""Version of the layout of a store; one of another version is refused, never guessed at."""

_FIGURES = ", ".join(f"{name} REAL" for name in Figures.names())
LAYOUT = f"""
CREATE TABLE about (name TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE designs (
    key TEXT PRIMARY KEY, status TEXT NOT NULL, reason TEXT NOT NULL, {_FIGURES},
    map_checksum TEXT, map_key TEXT, seconds REAL NOT NULL, made REAL NOT NULL, checksum TEXT NOT NULL
) WITHOUT ROWID;
CREATE TABLE details (
    key TEXT PRIMARY KEY, harmonics TEXT NOT NULL, operating_points TEXT NOT NULL, stages TEXT NOT NULL,
    versions TEXT NOT NULL, sound TEXT NOT NULL, errors TEXT NOT NULL, inputs TEXT NOT NULL, trace TEXT NOT NULL,
    checksum TEXT NOT NULL
) WITHOUT ROWID;
CREATE TABLE members (
    study TEXT NOT NULL, name TEXT NOT NULL, position INTEGER NOT NULL, key TEXT NOT NULL, changes TEXT NOT NULL,
    checksum TEXT NOT NULL, PRIMARY KEY (study, name)
) WITHOUT ROWID;
CREATE TABLE claims (key TEXT PRIMARY KEY, owner TEXT NOT NULL, beat REAL NOT NULL) WITHOUT ROWID;
CREATE INDEX statuses ON designs (status);
CREATE INDEX map_keys ON designs (map_key)
"""


def design_row(
    key: str, outcome: Outcome, checksum: str | None, map_key: str, made: float
) -> tuple[Any, ...]:
    """The row of a design; checksum: of its map's file."""
    figures = outcome.figures.values() if outcome.figures else (None,) * len(Figures.names())
    plain = (_plain(figure) for figure in figures)
    seconds = float(sum(outcome.seconds.values()))
    return signed(
        (key, outcome.status.value, outcome.reason, *plain, checksum, map_key or None, seconds, made)
    )


def detail_row(key: str, outcome: Outcome, versions: Mapping[str, str], inputs: str) -> tuple[Any, ...]:
    """The row of what is rarely asked of a design."""
    points = outcome.figures.operating_points.items() if outcome.figures else ()
    parts = (
        list(outcome.harmonics),
        {name: asdict(point) for name, point in points},
        dict(outcome.seconds),
        dict(versions),
        {name: asdict(waves) for name, waves in outcome.sound.items()},
        dict(outcome.errors),
    )
    return signed((key, *map(text_of, parts), inputs, outcome.trace))


def signed(row: Sequence[Any]) -> tuple[Any, ...]:
    """A row with its checksum at its end."""
    return (*row, _digest(row))


def sound(row: Sequence[Any] | sqlite3.Row) -> bool:
    """Whether a row is as it was written: it ends with its checksum."""
    *values, checksum = tuple(row)
    return bool(checksum == _digest(values))


def outcome_of(design: sqlite3.Row, details: sqlite3.Row) -> Outcome | None:
    """The outcome that two rows tell, without its map; None where one is damaged."""
    if not sound(design) or not sound(details):
        return None
    try:
        return Outcome(
            Status(design["status"]),
            design["reason"],
            _figures(design, json.loads(details["operating_points"])),
            None,
            json.loads(details["stages"]),
            tuple(json.loads(details["harmonics"])),
            details["trace"],
            sound={name: RingWaves.of(waves) for name, waves in json.loads(details["sound"]).items()},
            errors={name: float(error) for name, error in json.loads(details["errors"]).items()},
        )
    except (ValueError, TypeError, KeyError, AttributeError):  # made to look sound, and is not
        return None


def text_of(value: Any) -> str:
    """A value as JSON, short."""
    return json.dumps(value, separators=(",", ":"))


def _figures(row: sqlite3.Row, points: Mapping[str, Mapping[str, Any]]) -> Figures | None:
    if row["status"] != Status.SOLVED:
        return None
    kept = {name: point_figures(point) for name, point in points.items()}
    return Figures(**{name: row[name] for name in Figures.names()}, operating_points=kept)


def _plain(figure: float | None) -> float | None:
    """A figure as SQLite gives it back: no NaN, no zero with a sign."""
    return None if figure is None or math.isnan(figure) else float(figure) + 0.0


def _digest(values: Sequence[Any]) -> str:
    return hashlib.sha256(repr(tuple(values)).encode("utf-8", "surrogatepass")).hexdigest()[:32]

"""A study's results as files: the ranking as text and CSV, every record as JSON."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path
from typing import Any

from polefem.errors import StoreRefused, refusal
from polefem.files import write_text
from polefem.ranking import Ranking, csv_text
from polefem.study import Record

__all__ = ["write_results"]


def write_results(folder: Path, study: str, ranking: Ranking, text: str) -> None:
    """Write `ranking.txt` (the text), `ranking.csv` and `records.json`; raises StoreRefused where there is no room."""
    everything = [*ranking.ordered, *(record for record, _ in ranking.infeasible), *ranking.unsolved]
    whole = {
        "study": study,
        "basis": ranking.basis,
        "by": ranking.by,
        "records": [_plain(r) for r in everything],
    }
    try:
        write_text(folder / "ranking.txt", text)
        write_text(folder / "ranking.csv", csv_text(ranking))
        write_text(folder / "records.json", json.dumps(whole, indent=1))
    except OSError as error:
        sentence = refusal(
            "results need room to write", str(folder), f"not so ({error})", "a folder on a sound disk"
        )
        raise StoreRefused(sentence) from error


def _plain(record: Record) -> dict[str, Any]:
    outcome = record.outcome
    return {
        "name": record.name,
        "status": record.status.value,
        "reason": record.reason,
        "figures": dataclasses.asdict(record.figures) if record.figures else None,
        "torque_harmonics": list(outcome.harmonics),
        "changes": dict(record.changes),
        "seconds": dict(outcome.seconds),
        "versions": dict(record.versions),
        "map": f"maps/{record.key}.npz" if outcome.flux_map else None,
        "key": record.key,
    }

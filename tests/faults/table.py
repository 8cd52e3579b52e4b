"""Try every fault and print the table that the manual shows. About five minutes:

OMP_NUM_THREADS=1 .venv/bin/python tests/faults/table.py
"""

import sys
import tempfile
import time
from pathlib import Path

from faults import ALL

if __name__ == "__main__":
    print("| tried | times | what happened | must not happen | s |\n| --- | --- | --- | --- | --- |")
    broken = 0
    for fault in ALL:
        begun = time.monotonic()
        with tempfile.TemporaryDirectory() as folder:
            row = fault(Path(folder), 1.0)
        broken += len(row.faults)
        cells = (
            row.what,
            row.times,
            row.found,
            len(row.faults) or "nothing",
            f"{time.monotonic() - begun:.0f}",
        )
        print(f"| {' | '.join(map(str, cells))} |", flush=True)
        print(*row.faults[:10], sep="\n", end="\n" * bool(row.faults), file=sys.stderr)
    raise SystemExit(broken > 0)

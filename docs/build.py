"""Make the manual: `python docs/build.py [FOLDER]`, into build/manual if not said.

Draws the pictures and runs the tutorial, lets Sphinx put the pages together (a warning is an error), then follows
every link. Needs the group `docs`. Exit status 0 where all is well.
"""

from __future__ import annotations

import shutil
import sys
from collections.abc import Sequence
from pathlib import Path

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent), str(HERE.parent / "studies")]

from links import dead_links, from_outside  # noqa: E402  the folder goes on the path first
from made import make_pages  # noqa: E402
from sphinx.cmd.build import build_main  # noqa: E402

__all__ = ["main"]


def main(arguments: Sequence[str]) -> int:
    """Make it; returns the exit status."""
    out = Path(arguments[0]) if arguments else HERE.parent / "build" / "manual"
    shutil.rmtree(out, ignore_errors=True)
    make_pages(HERE / "made")
    status = build_main(
        ["-q", "-W", "--keep-going", "-b", "html", "-d", str(out / ".kept"), str(HERE), str(out)]
    )
    faults = [f"leads nowhere: {link}" for link in dead_links(out)]
    faults += [f"needs the network: {address}" for address in from_outside(out)]
    for fault in faults:
        print(fault, file=sys.stderr)
    if not status and not faults:
        print(f"The manual is in {out / 'index.html'}")
    return 1 if status or faults else 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))

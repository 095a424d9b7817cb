"""Draws the pictures of `frame-and-signs.md` from the geometry itself, so that they cannot disagree with it.

Run `python -m docs.draw_signs` in the project's folder: it writes the SVG files into `docs/drawings`, or into
the folder that is named behind it. Angles and gaps are drawn larger than life by a factor that each drawing
names; everything else is in proportion.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

from docs.draw_pins import axes, bend, cant, clock, seat, sweep, trim
from docs.draw_stances import camber, drift, height, rail, roll, steer
from docs.drawing_paper import Sheet

__all__ = ["DRAWINGS", "main"]

DRAWINGS: dict[str, Callable[[], Sheet]] = {
    draw.__name__: draw
    for draw in (axes, cant, sweep, bend, clock, camber, steer, height, roll, drift, rail, seat, trim)
}


def main(folder: Path) -> None:
    """Write every drawing into a folder."""
    for name, draw in DRAWINGS.items():
        (folder / f"{name}.svg").write_text(draw().svg(), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent / "drawings")

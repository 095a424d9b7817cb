"""Make the demo club's season again, after a change of the bench's advice or of the log's format.

Run it with `python -m docs.make_season`, then `python -m docs.make`, and read the difference.
"""

from __future__ import annotations

from pathlib import Path

from rollwright.workbench.season import season, season_text

FILE = Path(__file__).parent.parent / "src" / "rollwright" / "scenario" / "files" / "season.jsonl"


def main() -> None:
    """Write the season's export into the package."""
    FILE.write_text(season_text(season()), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()

"""Regression: the demo club's season is what its generator makes from its seed, byte for byte.

It follows the bench's own advice, so that it changes when the advice does: then make it again with
`python -m docs.make_season`, and read the difference.
"""

from __future__ import annotations

from rollwright.scenario.club import SEASON, file_text
from rollwright.workbench.season import season, season_text


def test_the_season_is_made_again_byte_for_byte() -> None:
    made, shipped = season_text(season()).splitlines(), file_text(SEASON).splitlines()
    # Where the two part is worth more than half a megabyte of both.
    parted = next((pair for pair in zip(made, shipped, strict=False) if pair[0] != pair[1]), None)
    assert parted is None
    assert len(made) == len(shipped)
    assert season_text(season()) == file_text(SEASON)

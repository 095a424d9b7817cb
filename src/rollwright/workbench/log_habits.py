"""What a builder's other cars in the log teach about the builder's hand."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rollwright.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rollwright.bench import Recorded, Store
    from rollwright.setup.learnt import Achieved

__all__ = ["habits_from"]

_CARS = 3
"""So many of the cars started last are asked: older habits may be another hand's by now."""
_ENTRIES = 300
"""A car with a longer log is not asked, so that the answer comes soon [entries]."""


def habits_from(store: Store, entries: Sequence[Recorded]) -> list[Achieved]:
    """Return what the moves on other cars achieved beside what was asked.

    Args:
        store: the log.
        entries: the entries of the car that is asked for; the author of the last one is the builder.

    Returns:
        The moves that this builder made on the other cars that were started last, as far as they were
        measured or read afterwards. A car whose entries do not add up teaches nothing.
    """
    from rollwright.bench import Adjustment  # noqa: PLC0415 - only this needs it
    from rollwright.bench.fold import fold  # noqa: PLC0415 - brings numpy

    car, author = entries[0].car, entries[-1].author
    found: list[Achieved] = []
    asked = 0
    for other in reversed([name for name in store.cars() if name != car]):
        if asked == _CARS:
            break
        log = list(store.events(other))
        by_author = {
            entry.seq for entry in log if entry.author == author and isinstance(entry.event, Adjustment)
        }
        # A body that was drilled off and never moved teaches nothing.
        if len(log) > _ENTRIES or not by_author:
            continue
        asked += 1
        try:
            found += [move for move in fold(log).achieved if move.entry in by_author]
        except InputError:
            continue
    return found

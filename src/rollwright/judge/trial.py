"""Times taken on a track: which car or set-up, in which lane, in which heat, in which order."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from rollwright.errors import OutOfRange, echo

__all__ = ["MOST_CONFIGURATIONS", "MOST_LANES", "Times", "check_risk", "labels"]

MOST_CONFIGURATIONS = 60
"""More cars and set-ups than this in one trial are more likely a wrong column."""
MOST_LANES = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Times:
    """Times of many runs, a column for each thing that is known of them.

    Columns that nobody wrote down are empty; every other one has an entry for each run.

    Attributes:
        configurations: what ran: a car, or a car in one set-up.
        times: finish times [s].
        lanes: name of the lane.
        heats: what names a heat; runs of one heat ran side by side at the same time.
        order: place in the order of running, any rising numbers.
        days: what names the day.
        rows: row of the file, or 1, 2, 3 and so on; for messages.
    """

    configurations: tuple[str, ...]
    times: tuple[float, ...]
    lanes: tuple[str, ...] = ()
    heats: tuple[str, ...] = ()
    order: tuple[float, ...] = ()
    days: tuple[str, ...] = ()
    rows: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        """Refuse columns of different lengths, times that are none, and far too many names.

        Raises:
            OutOfRange: a column is longer or shorter, a time is not positive, or there are too many names.
        """
        runs = len(self.times)
        for name in ("configurations", "lanes", "heats", "order", "days", "rows"):
            found = len(getattr(self, name))
            if found != runs and (found or name == "configurations"):
                raise OutOfRange(
                    f"{found} entries for {runs} times", mend="give one for each time, or none", key=name
                )
        for time in self.times:
            if not 0.0 < time < math.inf:
                raise OutOfRange(
                    f"{time:g} s is no finish time", mend="give seconds, more than 0", key="times"
                )
        for name, most in (("configurations", MOST_CONFIGURATIONS), ("lanes", MOST_LANES)):
            found = len(set(getattr(self, name)))
            if found > most:
                raise OutOfRange(
                    f"{found} different {name} are more than {most}",
                    mend="check which column that is",
                    key=name,
                )
        if not self.rows:
            object.__setattr__(self, "rows", tuple(range(1, runs + 1)))

    def kept(self, keep: Sequence[int]) -> Times:
        """Return some of the runs.

        Args:
            keep: their places, from 0.

        Returns:
            Their times with all that is known of them.
        """
        return Times(
            configurations=tuple(self.configurations[i] for i in keep),
            times=tuple(self.times[i] for i in keep),
            lanes=tuple(self.lanes[i] for i in keep) if self.lanes else (),
            heats=tuple(self.heats[i] for i in keep) if self.heats else (),
            order=tuple(self.order[i] for i in keep) if self.order else (),
            days=tuple(self.days[i] for i in keep) if self.days else (),
            rows=tuple(self.rows[i] for i in keep),
        )


def labels(column: Sequence[str]) -> tuple[str, ...]:
    """Return the different entries of a column in the order in which they first come."""
    return tuple(dict.fromkeys(column))


def check_risk(risk: float) -> None:
    """Refuse a risk that is none.

    Args:
        risk: probability of being wrong.

    Raises:
        OutOfRange: it is not between 0.001 and 0.5.
    """
    if not 0.001 <= risk <= 0.5:
        raise OutOfRange(
            f"{echo(risk)} is no risk to take",
            mend="give one from 0.001 to 0.5, as in 0.1 for nine in ten",
            key="risk",
        )

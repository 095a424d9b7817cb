"""Use case: is my jig any good? A batch of drilled bodies from a file or from the bench log, judged."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from rollwright.car.file import load_toml, parse_car
from rollwright.car.model import Car
from rollwright.car.table import nearest
from rollwright.car.toml_file import parse_toml
from rollwright.errors import InputError, MissingReference, OutOfRange, WrongType, echo
from rollwright.judge.batch import Batch, Cause, JudgedHole, judge_batch
from rollwright.judge.batch_capability import Capability, Ranged
from rollwright.judge.batch_chart import Wander, WanderKind
from rollwright.judge.batch_compare import Changed, changed, difference_of_shares
from rollwright.judge.batch_counts import CONFIDENCE, MoreNeeded
from rollwright.judge.batch_data import Direction, Hole
from rollwright.workbench.batch_file import Drilled, SetAside, parse_batch
from rollwright.workbench.batch_json import batch_json

__all__ = [
    "CONFIDENCE",
    "Batch",
    "Capability",
    "Cause",
    "Changed",
    "Direction",
    "Found",
    "Hole",
    "JudgedHole",
    "MoreNeeded",
    "Ranged",
    "SetAside",
    "Wander",
    "WanderKind",
    "batch",
    "batch_in_log",
    "judged",
]

_MOST_GOOD = 10_000
_LONGEST_HINT = 120


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A batch, judged, and beside it the one it is compared with.

    Attributes:
        drilled: what was read, of all set-ups.
        batch: the set-up that is looked at.
        versus: the one that it is compared with, or None.
        changes: how each hole changed from that one, where both tell.
        share_change: how the share accepted changed, or None.
        set_ups: names of all set-ups, in the order of drilling, with how many bodies each has.
        good: good bodies that were asked for; None: nobody asked.
        set_aside: bodies that do not count, and why.
    """

    drilled: Drilled
    batch: Batch
    versus: Batch | None
    changes: Mapping[Hole, Changed]
    share_change: Ranged | None
    set_ups: Mapping[str, int]
    good: int | None
    set_aside: tuple[SetAside, ...] = field(default=())

    def as_json(self) -> dict[str, object]:
        """Return it as plain data in SI units."""
        return batch_json(self)


def batch(
    path: str | os.PathLike[str],
    *,
    car: str | os.PathLike[str] | None = None,
    set_up: str | None = None,
    versus: str | None = None,
    good: int | None = None,
) -> Found:
    """Judge the jig of a batch file.

    Args:
        path: the batch file.
        car: car file with the tolerances and what the holes are meant to be; None takes the one that the
            batch file names, beside it.
        set_up: which set-up; None takes the one that was drilled last.
        versus: set-up to compare it with, or None.
        good: good bodies wanted in all, or None.

    Returns:
        The judgement.

    Raises:
        InputError: a file cannot be used, or there is no such set-up; the message names the mend.
    """
    text = load_toml(path, what="batch file")
    file = Path(path).name
    described = _car(car) if car is not None else _named_car(text, path)
    drilled = parse_batch(text, file=file, car=described)
    try:
        return judged(drilled, set_up=set_up, versus=versus, good=good)
    except InputError as error:
        raise error.at(file=file) from None


def batch_in_log(
    log: str | os.PathLike[str],
    *,
    car: str | os.PathLike[str] | None = None,
    set_up: str | None = None,
    versus: str | None = None,
    good: int | None = None,
) -> Found:
    """Judge the jig of the bodies in a bench log.

    Args:
        log: path of the log.
        car: car file with the tolerances; None takes those of the cars in the log.
        set_up: which set-up, as the drillings name their jig; None takes the one that was drilled last.
        versus: set-up to compare it with, or None.
        good: good bodies wanted in all, or None.

    Returns:
        The judgement.

    Raises:
        InputError: the log or the car file cannot be used, or there is no such set-up.
    """
    from rollwright.workbench.batch_log import drilled_in  # noqa: PLC0415 - brings the whole bench

    drilled = drilled_in(log, car=None if car is None else _car(car))
    try:
        return judged(drilled, set_up=set_up, versus=versus, good=good)
    except InputError as error:
        raise error.at(file=Path(log).name) from None


def _car(path: str | os.PathLike[str]) -> Car:
    return parse_car(load_toml(path, what="car file"), file=Path(path).name)


def _named_car(text: str, path: str | os.PathLike[str]) -> Car | None:
    """Return the car that a batch file names, looked for beside it; None where it names none."""
    file = Path(path).name
    name = parse_toml(text, file=file).get("car")
    if name is None:
        return None
    if not isinstance(name, str) or not name.strip() or not name.isprintable():
        raise WrongType(
            f"{echo(name)} is no file",
            mend='write it in quotes, as in car = "lark.toml"',
            file=file,
            key="car",
        )
    return _car(Path(path).parent / name)


def judged(
    drilled: Drilled, *, set_up: str | None = None, versus: str | None = None, good: int | None = None
) -> Found:
    """Judge one set-up of drilled bodies, and compare it with another.

    Args:
        drilled: the bodies.
        set_up: which set-up; None takes the one that was drilled last.
        versus: set-up to compare it with, or None.
        good: good bodies wanted in all, or None.

    Returns:
        The judgement.

    Raises:
        InputError: nothing is known of any body, there is no such set-up, or no such number can be wanted.
    """
    if not drilled.bodies:
        raise WrongType("nothing was read of any body", mend="enter what was read of their holes")
    if good is not None and not 1 <= good <= _MOST_GOOD:
        raise OutOfRange(
            f"{good} good bodies cannot be wanted", mend=f"ask for 1 to {_MOST_GOOD}", key="--good"
        )
    counts: dict[str, int] = {}
    for body in drilled.bodies:
        counts[body.set_up] = counts.get(body.set_up, 0) + 1
    this = drilled.bodies[-1].set_up if set_up is None else _known(set_up, list(counts), "--set-up")
    other = None if versus is None else _known(versus, list(counts), "--vs")
    if other == this:
        raise WrongType(
            f"{echo(this)} is compared with itself",
            mend="name two set-ups with --set-up and --vs",
            key="--vs",
        )
    first = _one(drilled, this, good)
    second = None if other is None else _one(drilled, other, None)
    changes = {}
    if second is not None:
        for hole in first.holes:
            before = second.hole(hole.hole)
            if hole.fit is not None and before is not None and before.fit is not None:
                changes[hole.hole] = changed((hole.fit, hole.kept), (before.fit, before.kept))
    return Found(
        drilled=drilled,
        batch=first,
        versus=second,
        changes=changes,
        share_change=None if second is None else difference_of_shares(first.share, second.share),
        set_ups=counts,
        good=good,
        set_aside=drilled.set_aside,
    )


def _one(drilled: Drilled, set_up: str, good: int | None) -> Batch:
    bodies = [body for body in drilled.bodies if body.set_up == set_up]
    return judge_batch(bodies, tolerances=drilled.tolerances, good=good, idle=drilled.idle)


def _known(name: str, names: Sequence[str], option: str) -> str:
    for known in names:
        if known.casefold() == name.strip().casefold():
            return known
    hint = nearest(name, names)
    raise MissingReference(
        f"no body was drilled with a set-up named {echo(name)}",
        mend=hint if len(hint) < _LONGEST_HINT else "give one that the bodies name",
        key=option,
    )

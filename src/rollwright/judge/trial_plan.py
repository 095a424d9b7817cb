"""A plan of heats: every car in every lane equally often, the order drawn by lot."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass

from rollwright.errors import OutOfRange, echo
from rollwright.judge.trial import MOST_CONFIGURATIONS, MOST_LANES

__all__ = ["Heat", "TrialPlan", "plan_trial"]

_MOST_RUNS = 10_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Heat:
    """One heat.

    Attributes:
        number: from 1, in the order of running.
        cars: what stands in each lane; an empty text leaves the lane empty.
    """

    number: int
    cars: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialPlan:
    """Which car runs when and where.

    Attributes:
        configurations: what runs.
        lanes: names of the lanes.
        runs: of each; a whole number of rounds through all lanes.
        alone: whether one car runs at a time.
        heats: in the order of running.
    """

    configurations: tuple[str, ...]
    lanes: tuple[str, ...]
    runs: int
    alone: bool
    heats: tuple[Heat, ...]


def plan_trial(
    configurations: Sequence[str], *, lanes: Sequence[str], runs: int, seed: int, alone: bool = False
) -> TrialPlan:
    """Return a plan of heats in which every car runs in every lane equally often.

    Side by side, a round is a cyclic Latin square (cars by heats, entries lanes; with more cars than lanes,
    heats by lanes, entries cars) whose rows, columns and order are drawn by lot. Alone, a round has each car
    once in each lane; the cars take turns, and every second turn goes backwards, so that a steady drift
    falls on all alike (R. A. Fisher, The Design of Experiments (1935), chapter V).

    Args:
        configurations: names of the cars or set-ups, at least two, all different.
        lanes: names of the lanes, all different.
        runs: of each, at least; made up to whole rounds.
        seed: of the lot.
        alone: whether only one car runs at a time, as where one car is changed back and forth.

    Returns:
        The plan.

    Raises:
        OutOfRange: there are too few or too many of something, or a name stands twice.
    """
    _check(configurations, lanes, runs, alone=alone)
    lot = random.Random(seed)  # noqa: S311 - a lot, no secret
    rounds = -(-runs // len(lanes))
    rows: list[tuple[str, ...]] = []
    if alone:
        rows = _alone(configurations, len(lanes), rounds, lot)
    else:
        for number in range(rounds):
            some = _square if len(configurations) <= len(lanes) else _cyclic
            rows += some(configurations, len(lanes), lot, first=number == 0)
    return TrialPlan(
        configurations=tuple(configurations),
        lanes=tuple(lanes),
        runs=rounds * len(lanes),
        alone=alone,
        heats=tuple(Heat(number=number, cars=cars) for number, cars in enumerate(rows, start=1)),
    )


def _check(configurations: Sequence[str], lanes: Sequence[str], runs: int, *, alone: bool) -> None:
    for key, names, least, most in (
        ("configurations", configurations, 2, MOST_CONFIGURATIONS),
        ("lanes", lanes, 1, MOST_LANES),
    ):
        if not least <= len(names) <= most:
            raise OutOfRange(f"{len(names)} {key} cannot be planned", mend=f"give {least} to {most}", key=key)
        for name in names:
            if names.count(name) > 1 or not name.strip():
                raise OutOfRange(
                    f"{echo(name)} stands twice" if name.strip() else "one has no name",
                    mend="give each a name of its own",
                    key=key,
                )
    if not 1 <= runs <= _MOST_RUNS:
        raise OutOfRange(f"{runs} runs of each cannot be planned", mend=f"give 1 to {_MOST_RUNS}", key="runs")
    if len(lanes) == 1 and not alone:
        raise OutOfRange("on one lane nothing runs side by side", mend="add --alone", key="lanes")


def _square(cars: Sequence[str], lanes: int, lot: random.Random, *, first: bool) -> list[tuple[str, ...]]:
    """Return a round of as many heats as lanes, all cars in each."""
    del first
    starts = lot.sample(range(lanes), len(cars))
    shown = lot.sample(range(lanes), lanes)
    rows = []
    for heat in lot.sample(range(lanes), lanes):
        row = [""] * lanes
        for car, start in zip(cars, starts, strict=True):
            row[shown[(start + heat) % lanes]] = car
        rows.append(tuple(row))
    return rows


def _cyclic(cars: Sequence[str], lanes: int, lot: random.Random, *, first: bool) -> list[tuple[str, ...]]:
    """Return a round of as many heats as cars, all lanes taken in each."""
    drawn = lot.sample(list(cars), len(cars))
    # Neighbours in the first round tie all cars together through shared heats.
    steps = list(range(lanes)) if first else lot.sample(range(len(cars)), lanes)
    shown = lot.sample(steps, lanes)
    return [
        tuple(drawn[(heat + step) % len(cars)] for step in shown)
        for heat in lot.sample(range(len(cars)), len(cars))
    ]


def _alone(cars: Sequence[str], lanes: int, rounds: int, lot: random.Random) -> list[tuple[str, ...]]:
    """Return turns of one car at a time, each turn in one lane, every second one backwards."""
    turns = [lane for _ in range(rounds) for lane in lot.sample(range(lanes), lanes)]
    rows = []
    order = list(cars)
    for number, lane in enumerate(turns):
        order = order[::-1] if number % 2 else lot.sample(list(cars), len(cars))
        for car in order:
            row = [""] * lanes
            row[lane] = car
            rows.append(tuple(row))
    return rows

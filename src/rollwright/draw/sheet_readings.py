"""The table of readings on a set-up sheet: what is wanted, how far off is still good, and room to write."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from rollwright.car.model import Car, Target
from rollwright.draw.drawing import Anchor, Circle, Layer, Line, Mark, Pen, Polyline, Text
from rollwright.draw.paper import SCALE_BAR, SCALE_BOX
from rollwright.draw.printer import Factors
from rollwright.draw.sheet_words import fitted
from rollwright.geometry import Stance
from rollwright.geometry.ledger import ledger_of
from rollwright.units import FACTORS, Kind, System, show, show_sided

__all__ = ["READINGS_TALL", "Row", "readings_rows", "readings_table"]

READINGS_TALL = SCALE_BOX[1] + 20.0
"""How tall the table is with its title, the bar under it and the words about both [mm]."""

_HEAD = 5.0
_COLUMNS = (27.5, 57.5, 75.0, 92.5, 100.0)
_WORDS, _SMALL = 3.2, 2.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A reading: `what` it is, `how` it is meant, what is `wanted`, a `limit`, and the `unit` to write."""

    what: str
    how: str
    wanted: str
    limit: str
    unit: str


def _amount(length: float, system: System, like: float) -> str:
    shown = show(length, kind=Kind.LENGTH, system=system, like=like)
    number = shown.number
    return number.rstrip("0").rstrip(".") if "." in number else number


def _unit(system: System, *lengths: float) -> str:
    return show(max(map(abs, lengths)), kind=Kind.LENGTH, system=system).unit


def _span(target: Target, system: System) -> tuple[str, str]:
    """Return a target with its tolerance, both in the unit of the larger and to the same place."""
    like = max(abs(target.value), target.tolerance)
    unit = _unit(system, like)
    parts = (abs(target.value), target.tolerance)
    places = max(len(_amount(part, system, like).partition(".")[2]) for part in parts)
    if target.value == 0.0:
        return f"0 ± {_amount(target.tolerance, system, like)} {unit}", unit
    factor = float(FACTORS[unit][1])
    value, within = (f"{part / factor:.{places}f}" for part in parts)
    return f"{value} ± {within} {unit}", unit


def readings_rows(
    car: Car, found: Stance, *, system: System, drift_spread: float | None = None
) -> tuple[Row, ...]:
    """Return the readings of a car's sheet.

    Args:
        car: the car.
        found: its stance.
        system: what numbers are written in.
        drift_spread: standard uncertainty of the drift by the file [m]; None: not written.

    Returns:
        Level, drift, rail, raise, mass and balance, in the order in which a bench takes them.
    """
    targets, words = car.targets, car.dominant.words
    level, level_unit = _span(targets.height_difference, system)
    rise = targets.height_difference.value
    drift, drift_unit = _span(targets.drift, system)
    side = "" if targets.drift.value == 0.0 else " left" if targets.drift.value > 0.0 else " right"
    rail, rail_unit = _span(targets.rail_offset, system)
    stands = targets.rail_offset.value
    board = found.drift.distance
    over = f"{_amount(board, system, board)} {_unit(system, board)}"
    raised = car.raised
    hangs = found.stations[raised].hanging_clearance
    ledger = ledger_of(car)
    mass, ahead = ledger.mass, ledger.centre[0]
    weighs = show(mass.value, kind=Kind.MASS, system=system, uncertainty=mass.uncertainty)
    balance = show(ahead.value, kind=Kind.LENGTH, system=system, uncertainty=ahead.uncertainty)
    clear = show(max(hangs, 0.0), kind=Kind.LENGTH, system=system)
    up = "" if rise == 0.0 else " nose high" if rise > 0.0 else " nose low"
    off = "" if stands == 0.0 else " off" if stands > 0.0 else " in"
    lateral = found.drift.lateral
    sided = "turns back" if lateral is None else show_sided(lateral, system=system, uncertainty=drift_spread)
    return (
        Row(
            what="level",
            how="front against rear",
            wanted=level,
            limit=up.strip() or "nose high or low",
            unit=level_unit,
        ),
        Row(
            what="drift",
            how=f"over {over}",
            wanted=f"{drift}{side}",
            limit=f"by the file {sided}",
            unit=drift_unit,
        ),
        Row(
            what="rail",
            how=f"{words} wheel",
            wanted=f"{rail}{off}",
            limit="off the rail, or into it",
            unit=rail_unit,
        ),
        Row(
            what="raise",
            how=f"under {raised.words}",
            wanted="clear of the ground",
            limit=f"by the file {clear}",
            unit=clear.unit,
        ),
        Row(
            what="mass", how="ready to race", wanted="limit", limit=f"by the file {weighs}", unit=weighs.unit
        ),
        Row(
            what="balance",
            how="ahead of rear holes",
            wanted="wish",
            limit=f"by the file {balance}",
            unit=balance.unit,
        ),
    )


def readings_table(
    rows: tuple[Row, ...], *, left: float, top: float, factors: Factors | None = None
) -> Iterator[Mark]:
    """Return the table, whose frame is the scale box.

    Args:
        rows: the readings.
        left: its left edge [mm].
        top: the top of its title [mm].
        factors: those that put the printer right, told below; None: not told.

    Returns:
        The marks: title, frame of 100 by 50 mm, rows, bar of 4 in, and words that say how to prove the print.
    """
    wide, high = SCALE_BOX
    yield Text(at=(left, top - 3.2), text="Read and write down", height=3.8, strong=True)
    yield Text(
        at=(left + wide, top - 3.2),
        text="fill the ring when it is inside",
        height=_SMALL,
        anchor=Anchor.END,
    )
    roof = top - 5.5
    floor = roof - high
    yield Polyline(
        points=((left, floor), (left + wide, floor), (left + wide, roof), (left, roof)),
        closed=True,
        pen=Pen.SCALE,
    )
    for start, head in zip((0.0, *_COLUMNS), ("reading", "wanted", "read", "again"), strict=False):
        yield Text(at=(left + start + 1.5, roof - 3.6), text=head, height=_SMALL)
    tall = (high - _HEAD) / len(rows)
    for x in _COLUMNS[:-1]:
        yield Line(start=(left + x, roof), end=(left + x, floor), pen=Pen.HAIR)
    for number, row in enumerate(rows):
        y = roof - _HEAD - number * tall
        yield Line(start=(left, y), end=(left + wide, y), pen=Pen.HAIR)
        yield from _row(row, left=left, top=y, tall=tall)
    yield from _proof(left=left, top=floor, factors=factors)


def _row(row: Row, *, left: float, top: float, tall: float) -> Iterator[Mark]:
    upper, lower = top - 3.2, top - tall + 1.2
    first = _COLUMNS[0] - 2.5
    second = _COLUMNS[1] - _COLUMNS[0] - 2.5
    yield fitted(row.what, at=(left + 1.5, upper), room=first, height=_WORDS, strong=True)
    yield fitted(row.how, at=(left + 1.5, lower), room=first, height=_SMALL)
    x = left + _COLUMNS[0] + 1.5
    yield fitted(row.wanted, at=(x, upper), room=second, height=_WORDS)
    if row.wanted in {"limit", "wish"}:
        # What no file says is written in by hand.
        yield Line(start=(x + 9.0, upper - 0.6), end=(x + second - 5.5, upper - 0.6), pen=Pen.HAIR)
        yield Text(at=(x + second, upper), text=row.unit, height=_SMALL, anchor=Anchor.END)
    yield fitted(row.limit, at=(x, lower), room=second, height=_SMALL)
    for edge in _COLUMNS[2:4]:
        yield Text(at=(left + edge - 1.0, lower), text=row.unit, height=_SMALL, anchor=Anchor.END)
    middle = left + (_COLUMNS[3] + _COLUMNS[4]) / 2.0
    yield Circle(centre=(middle, top - tall / 2.0), radius=1.9)


def _proof(*, left: float, top: float, factors: Factors | None) -> Iterator[Mark]:
    def words(right: float, down: float, text: str, *, strong: bool = False) -> Text:
        return Text(
            at=(left + right, top - down),
            text=text,
            height=_SMALL,
            strong=strong,
            pen=Pen.SCALE,
            layer=Layer.SCALE,
        )

    yield words(
        0.0, 3.6, "Measure the frame of this table: 100 mm across, 50 mm up; the bar is 4 in.", strong=True
    )
    yield words(
        0.0, 7.0, "Off? Print at 100 %, fit to page turned off. Still off? Draw again with --printer."
    )
    if factors is not None and factors != Factors():
        printed = f"printed with the factors {factors.x:.4f} across, {factors.y:.4f} up"
        yield replace(words(SCALE_BAR - 2.0, 11.0, printed), anchor=Anchor.END)
    bar = top - 12.0
    yield Line(start=(left, bar), end=(left + SCALE_BAR, bar), pen=Pen.SCALE)
    for x in (left, left + SCALE_BAR):
        yield Line(start=(x, bar - 1.5), end=(x, bar + 1.5), pen=Pen.SCALE)
    yield words(2.0, 11.0, "4 in (101.6 mm)")

"""The board scale: a rule across the end of the tuning board, in drift and in degrees of steer."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from rollwright.car.assumed import assumed_for_stance, assumed_for_targets
from rollwright.car.model import Car
from rollwright.draw.drawing import Anchor, Drawing, Line, Mark, Pen, Text, Tone
from rollwright.draw.gauge_board_rolling import Rolling
from rollwright.draw.gauge_marks import box, nameplate
from rollwright.draw.gauge_words import (
    AT_THE_CUTTER,
    MM,
    angle_text,
    assumed_keys_note,
    length_text,
    system_of,
)
from rollwright.errors import OutOfRange
from rollwright.units import Kind, System, show, show_sided

__all__ = ["board_scale"]

_MARGIN, _HIGH, _ENDS = 6.0, 46.0, 14.0
_FOOT, _HEAD = 11.5, 12.5
"""What graduations and numbers take of its height, at the lower and the upper edge [mm]."""
_BEYOND = 1.35
"""How far the scale goes past the farther end of the target band, as a share of it [1]."""
_NEARLY = 1.05
"""How far it goes at least where going farther would take a second page [1]."""
_PAGE = 259.4
"""What both A4 and Letter have inside their margins along their long edge, the least of the two [mm]."""
_LEAST, _MOST = 0.060, 0.400
_TENTH = math.radians(0.1)


def board_scale(car: Car, *, units: str = "mm") -> Drawing:
    """Return the scale that is laid across the end of a car's tuning board.

    Drawn as it lies before someone who stands behind the car: left of nothing is left of the car, positive;
    right of it is negative. The upper edge has the drift, the lower one the steer of the dominant wheel that
    gives it.

    Args:
        car: the car, with its board and its drift target.
        units: what numbers are written in, `mm` or `in`.

    Returns:
        The drawing, at true scale. Steer and drift belong together by `geometry.drift`, exactly, with the
        contacts and the rear pair's heading that the car has as it is described.

    Raises:
        OutOfRange: the units are not known, or the target is more than 400 mm from the middle.
        CarCannotRest: no three wheels hold the centre of mass between them.
        DriftUndefined: the steered wheel touches beside the rear pair.
    """
    system = system_of(units)
    rolling, target = Rolling.of(car), car.targets.drift
    unit = 0.010 if system is System.METRIC else 0.0254
    farthest = max(abs(target.low), abs(target.high))
    if farthest > _MOST:
        raise OutOfRange(
            f"a drift target that ends {length_text(farthest, system=system)} from the middle does not fit "
            "on a scale",
            mend="400 mm either way is the most; check targets.drift",
            key="targets.drift",
        )
    reach = _reach(farthest, unit)
    width = 2.0 * reach * MM + 2.0 * _ENDS
    scale = _Scale(middle=_MARGIN + 0.5 * width, reach=reach, system=system)
    return Drawing(
        name="board-scale",
        title=f"Tuning-board scale for {car.name}",
        width=width + 2.0 * _MARGIN,
        height=_HIGH + 2.0 * _MARGIN,
        marks=(
            box(
                (scale.at(target.high), _MARGIN + _FOOT),
                (scale.at(target.low), _MARGIN + _HIGH - _HEAD),
                pen=Pen.HAIR,
                tone=Tone.BAND,
            ),
            box((_MARGIN, _MARGIN), (_MARGIN + width, _MARGIN + _HIGH), pen=Pen.CUT_OUTER),
            *scale.drifts(),
            *scale.steers(rolling),
            *scale.words(car),
        ),
        notes=_notes(car, rolling, system),
        cautions=(AT_THE_CUTTER,),
    )


def _reach(farthest: float, unit: float) -> float:
    """Return how far the scale goes either way [m]: in whole units, on one page if the target lets it."""
    wanted = math.ceil(max(_LEAST, _BEYOND * farthest) / unit - 1e-9)
    fits = math.floor((0.5 * _PAGE - _ENDS - 1.0) / MM / unit + 1e-9)
    least = math.ceil(max(_LEAST, _NEARLY * farthest) / unit - 1e-9)
    return (min(wanted, fits) if fits >= least else wanted) * unit


@dataclass(frozen=True, slots=True, kw_only=True)
class _Scale:
    """The scale on the sheet: where nothing lies [mm], how far it goes either way [m], and its units."""

    middle: float
    reach: float
    system: System

    def at(self, drift: float) -> float:
        """Return the sheet's place of a drift: left is to the left [mm]."""
        return self.middle - drift * MM

    def drifts(self) -> Iterator[Mark]:
        step, per = (0.001, 10) if self.system is System.METRIC else (0.0254 / 8.0, 8)
        top = _MARGIN + _HIGH
        count = round(self.reach / step)
        for number in range(-count, count + 1):
            x, whole = self.at(number * step), number % per == 0
            size = 7.0 if whole else 5.0 if number % (per // 2) == 0 else 3.0
            yield Line(start=(x, top - size), end=(x, top), pen=Pen.SCORE)
            if whole:
                text = str(abs(number) if self.system is System.METRIC else abs(number) // per)
                yield Text(at=(x, top - 10.5), text=text, height=3.2, anchor=Anchor.MIDDLE)

    def steers(self, rolling: Rolling) -> Iterator[Mark]:
        first, last = (rolling.steer(drift) / _TENTH for drift in (-self.reach, self.reach))
        for number in range(math.ceil(first), math.floor(last) + 1):
            x, half = self.at(rolling.drift(number * _TENTH)), number % 5 == 0
            yield Line(start=(x, _MARGIN), end=(x, _MARGIN + (6.0 if half else 3.5)), pen=Pen.SCORE)
            if half:
                text = f"{abs(number) / 10:.1f}°"
                yield Text(at=(x, _MARGIN + 7.3), text=text, height=3.2, anchor=Anchor.MIDDLE)

    def words(self, car: Car) -> Iterator[Mark]:
        target = car.targets.drift
        unit = "mm" if self.system is System.METRIC else "in"
        left, right = self.middle - self.reach * MM, self.middle + self.reach * MM
        # The words go to the side on which nothing is hatched.
        free, anchor = (left, Anchor.START) if target.value <= 0.0 else (right, Anchor.END)
        middle = _MARGIN + 0.5 * _HIGH
        low, high = _MARGIN + _FOOT, _MARGIN + _HIGH - _HEAD
        yield Line(start=(self.middle, low), end=(self.middle, high), pen=Pen.CENTRE)
        yield from nameplate(
            car,
            "board scale",
            "Across the board's end: read at the front hole line",
            at=(free, middle + 3.5),
            anchor=anchor,
            height=3.2,
            room=self.reach * MM - 4.0,
        )
        goal = show_sided(target.value, system=self.system)
        either = show(target.tolerance, kind=Kind.LENGTH, system=self.system, like=target.value)
        yield Text(
            at=(free, middle - 5.5),
            text=f"target {goal} ± {either}",
            height=2.6,
            anchor=anchor,
        )
        for x, side, end in ((left, "left", Anchor.END), (right, "right", Anchor.START)):
            aside = -2.0 if end is Anchor.END else 2.0
            yield Text(at=(x + aside, _MARGIN + _HIGH - 6.0), text=side, height=3.0, anchor=end, strong=True)
            yield Text(at=(x + aside, _MARGIN + _HIGH - 16.0), text=unit, height=3.0, anchor=end)
            yield Text(at=(x + aside, _MARGIN + 3.0), text="steer", height=3.0, anchor=end)


def _notes(car: Car, rolling: Rolling, system: System) -> tuple[str, ...]:
    target = car.targets.drift
    ends = sorted((rolling.steer(target.low), rolling.steer(target.high)), key=abs)
    keys = (*assumed_for_stance(car), *assumed_for_targets(car))
    sides = ["left" if steer > 0.0 else "right" for steer in ends]
    between = " and ".join(
        f"{angle_text(abs(steer))} {side}" for steer, side in zip(ends, sides, strict=True)
    )
    straight = rolling.drift(0.0)
    return (
        (
            f"Lay it square across the board, {length_text(rolling.board, system=system)} from where the "
            "front hole line starts, with nothing on the line that the car is aimed along; left and right "
            "are the car's."
        ),
        "Read where the middle of the body is at the front hole line, not the nose.",
        f"Inside the hatched band the dominant wheel steers between {between}.",
        *(
            (
                (
                    f"With no steer at all the car drifts {show_sided(straight, system=system)}: its rear "
                    "wheels head that way."
                ),
            )
            if abs(straight) > 0.0005
            else ()
        ),
        (
            "The degrees hold for this car and this board only; another wheelbase, rear pair or board needs "
            "its own scale."
        ),
        *assumed_keys_note(keys),
    )

"""The wedge of a height comparator on its sheet: outline, lines, numbers and target band."""

from __future__ import annotations

from dataclasses import dataclass

from rollwright.draw.drawing import Anchor, Line, Mark, Pen, Point, Polyline, Text, Tone
from rollwright.draw.gauge_words import MM
from rollwright.units import System

__all__ = ["HANDLE_HIGH", "HANDLE_LONG", "MARGIN", "NUMBERS", "SLOPE", "STEPS", "Wedge"]

SLOPE = 20.0
"""How far the wedge runs for each unit that it rises [1]."""
MARGIN = 6.0
HANDLE_LONG, HANDLE_HIGH = 78.0, 24.0
_SHOULDER = 5.0
NUMBERS = MARGIN + 3.0
"""How high on the sheet the numbers end [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GraduationSteps:
    """Graduation: finest line, every how many a middle and a long one, and the least reach either way [m]."""

    line: float
    middle: int
    long: int
    reach: float


STEPS = {
    System.METRIC: GraduationSteps(line=0.00005, middle=2, long=10, reach=0.0015),
    System.INCH: GraduationSteps(line=0.0000508, middle=5, long=10, reach=0.001524),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Wedge:
    """The wedge between two heights [m], on the sheet [mm]."""

    base: float
    top: float
    system: System

    @property
    def end(self) -> float:
        """How far from the thin end the handle begins [mm]."""
        return (self.top - self.base) * MM * SLOPE + _SHOULDER

    def at(self, height: float) -> float:
        """Return how far right on the sheet the line for a height [m] stands [mm]."""
        return MARGIN + (height - self.base) * MM * SLOPE

    def edge(self, height: float) -> Point:
        """Return where on the sheet the wedge is as high as that [mm]."""
        return self.at(height), MARGIN + height * MM

    def outline(self) -> Mark:
        """Return the outline of wedge and handle."""
        shoulder = self.top + _SHOULDER / SLOPE / MM
        right = MARGIN + self.end + HANDLE_LONG
        return Polyline(
            points=(
                (MARGIN, MARGIN),
                (right, MARGIN),
                (right, MARGIN + HANDLE_HIGH),
                (MARGIN + self.end, MARGIN + HANDLE_HIGH),
                self.edge(shoulder),
                self.edge(self.base),
            ),
            closed=True,
            pen=Pen.CUT_OUTER,
        )

    def band(self, low: float, high: float) -> tuple[Mark, ...]:
        """Return the hatched band between two heights [m]."""
        left, right = self.edge(low), self.edge(high)
        return (
            Polyline(
                points=((left[0], NUMBERS), (right[0], NUMBERS), right, left),
                closed=True,
                pen=Pen.HAIR,
                tone=Tone.BAND,
            ),
        )

    def lines(self, steps: GraduationSteps) -> tuple[Mark, ...]:
        """Return the lines of all steps, with the numbers of the long ones."""
        marks: list[Mark] = []
        for number in range(round((self.top - self.base) / steps.line) + 1):
            height = self.base + number * steps.line
            x, y = self.edge(height)
            long, middle = number % steps.long == 0, number % steps.middle == 0
            size = min(3.0 if long else 1.8 if middle else 1.0, 0.5 * height * MM)
            marks.append(Line(start=(x, y - size), end=(x, y), pen=Pen.SCORE))
            # The first and last number would hang over the ends.
            if long and 0 < height - self.base < self.top - self.base:
                marks.append(self.number(height))
        return tuple(marks)

    def number(self, height: float) -> Mark:
        """Return the number that stands below the line for a height [m]."""
        text = f"{height * MM:.1f}" if self.system is System.METRIC else f"{height / 0.0000254:.0f}"
        return Text(at=(self.at(height), MARGIN + 0.7), text=text, height=2.2, anchor=Anchor.MIDDLE)

"""What a plan trades off, as a picture: wood, and room for drift and nose, against the bend; SVG."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rollwright.setup.plan import TradePoint
    from rollwright.workbench.planning import Planned

__all__ = ["picture"]

_WIDTH = 760
_LEFT, _RIGHT = 40, 720
_BEGIN, _END = _LEFT + 52, _RIGHT - 150
_TALL = 130
_APART = 17.0
_LEAST = 0.005
_TIED = "\N{NO-BREAK SPACE}"
_MM = 1e3

_STYLE = """
  :root { --ground: #f6f1e4; --ink: #1d1b18; --soft: #6d675c; --hair: #d9d0bb; --next: #b3401c; }
  @media (prefers-color-scheme: dark) {
    :root { --ground: #23282b; --ink: #e9e6dc; --soft: #a3a69f; --hair: #3d4447; --next: #f08a5d; }
  }
  .ground { fill: var(--ground); }
  text { fill: var(--ink); font: 15px system-ui, "Segoe UI", "Helvetica Neue", Arial, sans-serif;
         font-variant-numeric: tabular-nums; }
  .title { font-size: 22px; font-weight: 600; }
  .head { font-size: 17px; font-weight: 600; }
  .soft { fill: var(--soft); font-size: 14px; }
  .hair { stroke: var(--hair); stroke-width: 1; }
  .line { stroke: var(--ink); stroke-width: 1.2; fill: none; }
  .curve { stroke: var(--ink); stroke-width: 2.2; fill: none; }
  .other { stroke: var(--ink); stroke-width: 1.8; stroke-dasharray: 7 4; fill: none; }
  .mark { stroke: var(--next); stroke-width: 1.4; }
  .dot { fill: var(--next); stroke: var(--ground); stroke-width: 1.5; }
  .first { fill: var(--next); font-weight: 600; }
  .shut { fill: var(--hair); opacity: 0.45; }
  .tag { paint-order: stroke; stroke: var(--ground); stroke-width: 5px; stroke-linejoin: round; }
  .end { text-anchor: end; }
  .middle { text-anchor: middle; }
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    """One line of a chart: its points, the angle and the value of each; what is chosen; words and kind."""

    points: list[tuple[float, float]]
    chosen: float
    words: str
    kind: str = "curve"


def picture(found: Planned) -> str:
    """Return what a plan trades off as the text of an SVG file.

    Args:
        found: the plan.

    Returns:
        Charts below each other on one scale of the bend, or of the hole's angle out of square where no axle
        is bent: wood to sand away or washers; then the drift and the nose height that could still be had
        both ways, or the hole's cant and sweep. The chosen plan is marked in all of them, plans that
        need more wood or washers than are allowed lie in a grey band, and a sentence stands above. Colour
        says nothing that words do not.
    """
    sentence = _sentence(found)
    lines = _wrapped(sentence)
    parts = [
        _text(_LEFT, 44, f"{found.car.name}: what the {_axis(found)} trades off", "title"),
        *(_text(_LEFT, 72 + 21 * row, line, "") for row, line in enumerate(lines)),
    ]
    y = 72.0 + 21 * len(lines)
    if len(found.trade) < 2:
        parts.append(_text(_LEFT, y + 6, "Only one plan comes as near as this: nothing to choose.", "soft"))
        y += 34
    else:
        chart = _Chart(found)
        y += 4
        for number, (head, drawn) in enumerate(_charts(found)):
            more, y = chart.draw(y + 20, head, drawn, first=number == 0)
            parts += more
        more, y = chart.scale(y)
        parts += more
    size = f'width="{_WIDTH}" height="{y:.0f}"'
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {y:.0f}" {size} role="img">',
            f"<title>{escape(f'{found.car.name}: {sentence}')}</title>",
            f"<style>{_STYLE}</style>",
            f'<rect class="ground" width="{_WIDTH}" height="{y:.0f}"/>',
            *parts,
            "</svg>",
            "",
        ]
    )


def _axis(found: Planned) -> str:
    return "bend" if found.plan.bent else "slant of the front hole"


def _front(found: Planned, name: str) -> float:
    return found.rounded.value(f"{found.car.dominant.value}.{name}")


def _chosen(found: Planned) -> float:
    """Return where the chosen plan lies on the common scale [rad]."""
    if found.plan.bent:
        return _front(found, "bend")
    cant, sweep = _front(found, "cant"), _front(found, "sweep")
    return math.acos(min(1.0, math.cos(cant) * math.cos(sweep)))


def _trim(relief: float, washer: float) -> float:
    return relief - washer


def _sentence(found: Planned) -> str:
    angle = f"{math.degrees(_chosen(found)):.1f}°"
    trim = _trim(_front(found, "relief"), _front(found, "washer")) * _MM
    wood = f"{trim:.2f}{_TIED}mm of wood to go" if trim > _LEAST else "no wood to go"
    if trim < -_LEAST:
        wood = f"{-trim:.2f}{_TIED}mm of washers"
    for_ = found.plan.wish.preference.words
    if not found.plan.bent:
        return (
            f"Chosen for {for_}: a hole {angle} out of square, with {wood}; a straight axle leaves nothing "
            "to turn."
        )
    room = found.plan.adjustment
    left, right = (f"{part * _MM:.0f}{_TIED}mm" for part in (room.drift_left, room.drift_right))
    up, down = (f"{part * _MM:.2f}{_TIED}mm" for part in (room.height_up, room.height_down))
    return (
        f"Chosen for {for_}: {angle} of bend, with {wood}. It leaves {left} more drift left and {right} "
        f"right, the nose {up} up and {down} down."
    )


def _charts(found: Planned) -> list[tuple[str, list[_Line]]]:
    plan, trade = found.plan, found.trade

    def of(
        get: Callable[[TradePoint], float], *, scale: float = _MM, room: bool = False
    ) -> list[tuple[float, float]]:
        # What could still be had means nothing where the plan itself cannot be.
        return [(math.degrees(at.askew), scale * get(at)) for at in trade if at.allowed or not room]

    trim = _trim(_front(found, "relief"), _front(found, "washer"))
    wood = _Line(points=of(lambda at: _trim(at.relief, at.washer)), chosen=trim * _MM, words="wood")
    low = min(value for _, value in wood.points)
    charts = [(f"wood to sand away, mm{'; below 0: washers' if low < -_LEAST else ''}", [wood])]
    if not plan.bent:
        turned = 180.0 / math.pi
        cant = _Line(
            points=of(lambda at: -at.cant, scale=turned),
            chosen=-_front(found, "cant") * turned,
            words="outer end down",
        )
        sweep = _Line(
            points=of(lambda at: at.sweep, scale=turned),
            chosen=_front(found, "sweep") * turned,
            words="forward",
            kind="other",
        )
        return [*charts, ("how the front hole slants, degrees", [cant, sweep])]
    room = plan.adjustment
    rows: tuple[tuple[Callable[[TradePoint], float], float, str], ...] = (
        (lambda at: at.adjustment.drift_left, room.drift_left, "more left"),
        (lambda at: at.adjustment.drift_right, room.drift_right, "more right"),
        (lambda at: at.adjustment.height_up, room.height_up, "nose up"),
        (lambda at: at.adjustment.height_down, room.height_down, "nose down"),
    )
    lines = [
        _Line(
            points=of(get, room=True),
            chosen=chosen * _MM,
            words=words,
            kind="other" if number % 2 else "curve",
        )
        for number, (get, chosen, words) in enumerate(rows)
    ]
    charts.append(("drift that could still be had, mm", lines[:2]))
    charts.append(("nose height that could still be had, mm", lines[2:]))
    return charts


class _Chart:
    """Charts below each other on one scale."""

    def __init__(self, found: Planned) -> None:
        self.found = found
        self.at = [math.degrees(point.askew) for point in found.trade]
        self.chosen = math.degrees(_chosen(found))
        ends = [*self.at, self.chosen]
        self.low, self.high = min(ends), max(ends)

    def across(self, angle: float) -> float:
        return _BEGIN + (angle - self.low) / max(self.high - self.low, 1e-9) * (_END - _BEGIN)

    def draw(self, top: float, head: str, lines: Sequence[_Line], *, first: bool) -> tuple[list[str], float]:
        """Return one chart and where it ends; the first says which plan is chosen."""
        ceiling = top + (34 if first else 16)
        floor = ceiling + _TALL
        values = [value for line in lines for value in (*(y for _, y in line.points), line.chosen)]
        low, high = min(0.0, *values), max(0.0, *values)
        if high - low < 1e-6:
            high = low + 1.0
        step = _round_step(high - low, 4)
        low, high = step * math.floor(low / step + 1e-9), step * math.ceil(high / step - 1e-9)

        def down(value: float) -> float:
            return floor - (value - low) / (high - low) * _TALL

        parts = [_text(_LEFT, top + 4, head, "soft"), *self._shut(ceiling, floor)]
        digits = max(0, -math.floor(math.log10(step) + 1e-9))
        for number in range(round(low / step), round(high / step) + 1):
            y = down(number * step)
            parts.append(_line(_BEGIN, y, _END, y, "line" if number == 0 else "hair"))
            said = f"{number * step:.{digits}f}".replace("-", "−")
            parts.append(_text(_BEGIN - 8, y + 5, said, "soft end"))
        x = self.across(self.chosen)
        parts.append(_line(x, ceiling, x, floor, "mark"))
        if first:
            parts.append(_text(x, ceiling - 7, f"chosen: {self.chosen:.1f}°", "first tag middle"))
        for line in lines:
            points = " ".join(f"{self.across(angle):.1f},{down(value):.1f}" for angle, value in line.points)
            parts.append(f'<polyline class="{line.kind}" points="{points}"/>')
        if len(lines) > 1:
            parts += self._names(lines, down)
        parts += [
            f'<circle cx="{x:.1f}" cy="{down(line.chosen):.1f}" r="5.5" class="dot"/>' for line in lines
        ]
        return parts, floor + 14

    def _names(self, lines: Sequence[_Line], down: Callable[[float], float]) -> list[str]:
        """Return the lines' names at their right ends, kept apart."""
        ends = sorted(
            (down(line.points[-1][1] if line.points else line.chosen), line.words, line.kind)
            for line in lines
        )
        parts, last = [], -math.inf
        for y, words, kind in ends:
            last = max(y + 5, last + _APART)
            parts.append(_line(_END + 8, last - 5, _END + 34, last - 5, kind))
            parts.append(_text(_END + 40, last, words, "soft"))
        return parts

    def _shut(self, ceiling: float, floor: float) -> list[str]:
        """Return grey bands where plans need more wood or washers than are allowed."""
        parts = []
        trade = self.found.trade
        for number, point in enumerate(trade):
            if point.allowed:
                continue
            begin = self.at[number] if number == 0 else 0.5 * (self.at[number - 1] + self.at[number])
            last = number == len(trade) - 1
            end = self.at[number] if last else 0.5 * (self.at[number] + self.at[number + 1])
            x, far = self.across(begin), self.across(end)
            parts.append(
                f'<rect x="{x:.1f}" y="{ceiling:.1f}" width="{far - x:.1f}" height="{floor - ceiling:.1f}" '
                'class="shut"/>'
            )
        return parts

    def scale(self, y: float) -> tuple[list[str], float]:
        """Return the common scale below the last chart, and where it ends."""
        parts = []
        step = _round_step(self.high - self.low, 6) if self.high - self.low > 1e-6 else 1.0
        digits = max(0, -math.floor(math.log10(step) + 1e-9))
        for number in range(math.ceil(self.low / step - 1e-9), math.floor(self.high / step + 1e-9) + 1):
            x = self.across(number * step)
            parts.append(_line(x, y - 14, x, y - 8, "line"))
            parts.append(_text(x, y + 8, f"{number * step:.{digits}f}", "middle"))
        what = "bend of the front axle" if self.found.plan.bent else "front hole out of square"
        parts.append(_text(_END, y + 32, f"{what}, degrees", "soft end"))
        if all(point.allowed for point in self.found.trade):
            return parts, y + 54
        parts.append(_text(_END, y + 54, "grey: more wood or washers than allowed", "soft end"))
        return parts, y + 76


def _round_step(span: float, count: int) -> float:
    """Return a step of one, two or five tens that gives about so many of them."""
    rough = span / count
    ten: float = 10.0 ** math.floor(math.log10(rough))
    return next(ten * factor for factor in (1.0, 2.0, 5.0, 10.0) if ten * factor >= rough * 0.999)


def _wrapped(text: str) -> list[str]:
    lines = [""]
    for word in text.split(" "):
        if len(lines[-1]) + len(word) > 84:
            lines.append("")
        lines[-1] = f"{lines[-1]} {word}".strip()
    return lines


def _text(x: float, y: float, text: str, kind: str) -> str:
    named = f' class="{kind}"' if kind else ""
    return f'<text x="{x:.1f}" y="{y:.1f}"{named}>{escape(text)}</text>'


def _line(x1: float, y1: float, x2: float, y2: float, kind: str) -> str:
    return f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" class="{kind}"/>'

"""What was typed, said back before it is saved: the size in both units, and what repeats add up to."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, stdev
from typing import TYPE_CHECKING

from rollwright.errors import InputError
from rollwright.units import Kind, System, parse, parse_sided, show_entered
from rollwright.web.asked import BadRequest
from rollwright.web.words import WAYS, told

if TYPE_CHECKING:
    from rollwright.workbench.log_gates import Where

__all__ = ["KINDS", "echo_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Size:
    kind: Kind = Kind.LENGTH
    gate: str = ""
    sided: bool = False


KINDS = {
    "height_difference": _Size(gate="level"),
    "drift": _Size(gate="steer", sided=True),
    "rail_offset": _Size(gate="centre"),
    "length": _Size(),
    "angle": _Size(kind=Kind.ANGLE),
    "mass": _Size(kind=Kind.MASS),
}
"""What can be said back, by what is read or of what sort it is."""

_INCH = re.compile(r"\b(?:thou|in|oz)\b")
_FAR = 5.0
"""Standard uncertainties of what the model expects, beyond which a reading is asked about."""
_MIX_UPS = (
    (25.4, "in inches where millimetres were meant"),
    (1 / 25.4, "in millimetres where inches were meant"),
    (0.0254, "in thou where millimetres were meant"),
    (1 / 0.0254, "in millimetres where thou were meant"),
    (10.0, "with the decimal point a place too far right"),
    (0.1, "with the decimal point a place too far left"),
    (-1.0, "to the wrong side"),
)
_NEAR = 0.35


def echo_of(
    kind: str, values: Sequence[str], *, system: System, where: Where | None = None
) -> dict[str, object]:
    """Return how written sizes are understood.

    Args:
        kind: one of `KINDS`.
        values: the sizes as they were typed.
        system: units of the answer.
        where: how the car stands, to say what is unlikely on it.

    Returns:
        For each size what was understood or why it was not; for several, their mean and scatter; and a
        question where it is far from what the model expects.

    Raises:
        BadRequest: the kind is not known.
    """
    size = KINDS.get(kind)
    if size is None:
        raise BadRequest("this is no kind of size", mend=f"one of {', '.join(KINDS)} is", key="kind")
    found: list[float] = []
    each: list[dict[str, object]] = []
    for written in values:
        try:
            value = parse_sided(written, kind=size.kind) if size.sided else parse(written, kind=size.kind)
        except InputError as error:
            each.append({"written": written, "error": error.problem, "mend": error.mend})
            continue
        found.append(value)
        shown = _entered(value, size, system)
        # A size is said as it was written, so that the other one is that of the other units.
        other = System.METRIC if _INCH.search(shown) else System.INCH
        also = "" if size.kind is Kind.ANGLE else str(told(size.gate, value, system=other, kind=size.kind))
        each.append({"written": written, "shown": shown, "also": also})
    return {
        "values": each,
        "ok": bool(found) and len(found) == len(values),
        "summary": _summary(found, size, system),
        "ask": _unlikely(found, size, system, where) if found else "",
    }


def _entered(value: float, size: _Size, system: System) -> str:
    shown = show_entered(abs(value) if size.gate else value, kind=size.kind, system=system, sided=size.sided)
    if not size.gate or not shown.number.strip("0."):
        return str(shown)
    return f"{shown} {WAYS[size.gate][0 if value > 0.0 else 1]}"


def _summary(found: Sequence[float], size: _Size, system: System) -> str:
    if len(found) < 2:
        return ""
    mean, spread = fmean(found), stdev(found)
    middle = told(size.gate, mean, spread, system=system, kind=size.kind)
    each = f", each ± {middle.spread} {middle.unit}" if middle.spread else ""
    way = f" {middle.way}" if middle.way else ""
    reach = show_entered(max(found) - min(found), kind=size.kind, system=system, sided=size.sided)
    return f"{len(found)} readings: mean {middle.number} {middle.unit}{way}{each}, apart by up to {reach}"


def _unlikely(found: Sequence[float], size: _Size, system: System, where: Where | None) -> str:
    """Return a question about a reading that is far from what the model expects, or empty."""
    if where is None or not size.gate:
        return ""
    now = next((s.now for gate, s in where.found.gates.items() if gate.value == size.gate), None)
    mean = fmean(found)
    if now is None or not now.uncertainty > 0.0 or abs(mean - now.value) <= _FAR * now.uncertainty:
        return ""
    expected = told(size.gate, now.value, now.uncertainty, system=system)
    guess = ""
    for factor, words in _MIX_UPS:
        meant = mean / factor
        if abs(meant - now.value) <= max(_NEAR * abs(now.value), 2.0 * now.uncertainty):
            guess = f" It may be written {words}."
            break
    return f"The model expects {expected}.{guess} Check the digits and the side."

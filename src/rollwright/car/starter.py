"""The commented file that a builder starts from."""

from __future__ import annotations

from collections.abc import Iterable

from rollwright.car.keys import RAISED_STATION_KEYS, TARGETS, WEIGHT_KEYS, WHEEL_KEYS, Key, TargetKey
from rollwright.car.model import Station
from rollwright.car.schema import OTHER_KEYS, SECTIONS, bare
from rollwright.car.table import read_text
from rollwright.car.toml_file import FORMAT
from rollwright.units import Kind

__all__ = ["starter_text"]

_KEYS = {heading: keys for heading, _, keys in SECTIONS}
_DRILLED = frozenset({"hole_height", "cant", "sweep"})
_TRIMMED = frozenset({*_DRILLED, "relief", "washer", "clock"})
_REMARK = 26
"""Column at which the remark behind a key begins."""
_LONGEST_LINE = 110


def starter_text(*, name: str = "My car") -> str:
    """Return the text of a new car file.

    Every key stands in it with its meaning and its default, but behind a `#`: what the builder does not
    fill in stays an assumption and is named as one. The text is a usable car file as it stands.

    Args:
        name: what the car is called.

    Returns:
        TOML text of about ninety lines.

    Raises:
        WrongType: the name is empty, too long or holds characters that cannot be shown.
    """
    called = read_text({"name": name}, "name", at="", default="")
    quoted = called.replace("\\", "\\\\").replace('"', '\\"')
    return "\n".join(
        (
            f"format = {FORMAT}",
            f'name = "{quoted}"',
            "",
            "# Fill in what you know: take the # off a line and write your value.",
            "# A line that keeps its # is assumed, and results say where they rest on it.",
            "# Bare numbers are millimetres, degrees and grams. With a unit, write it in quotes:",
            '#     width = "1 7/8 in"    or    relief = "12 thou"    or    mass = "3.4 oz"',
            "# A value that you measured may carry how well, as a standard uncertainty:",
            '#     width = { value = 48.1, uncertainty = 0.05, from = "measured" }',
            "# Left and right are the driver's. + and - say what a positive and a negative value mean.",
            "",
            *_body_and_parts(),
            *_stations(),
            *_rest(),
        )
    )


def _body_and_parts() -> Iterable[str]:
    yield from ("[body]", *map(_line, _KEYS["body"]), "")
    yield "[wheels.standard]"
    yield from (_line(key) for key in WHEEL_KEYS if key.default is not None)
    yield from (_hint(key) for key in WHEEL_KEYS if key.default is None)
    yield from ("", "# The straight pins, wherever nothing else is said.", "[axles.standard]")
    yield from map(_line, _KEYS["axles.NAME"])
    yield from ("", "# A part named after a wheel's place is that wheel's own: here, the pin that gets bent.")
    own = (key for key in _KEYS["axles.NAME"] if key.name in {"shank", "bend"})
    yield from ("[axles.front_left]", *map(_line, own), "")


def _stations() -> Iterable[str]:
    keys = _KEYS["stations.STATION"]
    yield from ("[stations.rear_left]", *map(_line, keys))
    yield f"#   seat: {OTHER_KEYS['seat']}"
    yield '#   wheel = "NAME", axle = "NAME": which of them is fitted here, if you describe several'
    for station in Station:
        if station is Station.REAR_LEFT:
            continue
        shown = _TRIMMED if station is Station.FRONT_LEFT else _DRILLED
        if station is Station.REAR_RIGHT:
            yield from ("", "# Every key of the rear left wheel serves at the other three as well.")
        else:
            yield ""
        yield f"[stations.{station.value}]"
        raised = station is Station.FRONT_RIGHT
        yield from (
            _line(key, remark=raised and key.name == "hole_height")
            for key in (RAISED_STATION_KEYS if raised else keys)
            if key.name in shown
        )
    yield ""


def _rest() -> Iterable[str]:
    yield "# For each weight a heading of its own, such as [weights.nose], and under it:"
    yield from map(_hint, WEIGHT_KEYS)
    yield from ("", "[setup]")
    yield _commented('dominant = "front_left"', OTHER_KEYS["dominant"])
    yield _commented("bent_axles = true", OTHER_KEYS["bent_axles"])
    for heading in ("rail", "board", "drill"):
        yield from ("", f"[{heading}]", *map(_line, _KEYS[heading]))
    yield from ("", "[targets]")
    for target in TARGETS:
        value, tolerance = bare(target.value, Kind.LENGTH), bare(target.tolerance, Kind.LENGTH)
        pair = f"{{ value = {value:g}, tolerance = {tolerance:g} }}"
        yield _commented(f"{target.name} = {pair}", f"{target.help}; {_signs(target)}")
    yield ""


def _signs(key: Key | TargetKey) -> str:
    return f"+ {key.plus}, - {key.minus}"


def _line(key: Key, *, remark: bool = True) -> str:
    if key.default_point is None:
        value = f"{bare(key.default or 0.0, key.kind):g}"
    else:
        value = "[" + ", ".join(f"{bare(part, key.kind):g}" for part in key.default_point) + "]"
    signed = f"; {_signs(key)}" if key.plus else ""
    return _commented(f"{key.name} = {value}", key.help + signed if remark else "")


def _hint(key: Key) -> str:
    """Return a line for a key without a default: it must not become one by losing its mark."""
    return f"#   {key.name}: {key.help}"


def _commented(assignment: str, remark: str) -> str:
    """Return a key behind its mark with the remark after it, or above it where both are too long."""
    key = f"# {assignment}"
    line = f"{key.ljust(_REMARK)}  # {remark}" if remark else key
    return line if len(line) <= _LONGEST_LINE else f"#   {remark}:\n{key}"

"""Laws that the car file keeps for every car and every text."""

from __future__ import annotations

import string
from fractions import Fraction
from typing import Any

import pytest
import tomlkit
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from rollwright.car.file import parse_car
from rollwright.car.keys import RAISED_STATION_KEYS, STATION_KEYS, Key
from rollwright.car.model import Car, Station
from rollwright.car.schema import SECTIONS, car_schema
from rollwright.car.starter import starter_text
from rollwright.car.write import updated_text
from rollwright.errors import InputError
from rollwright.quantity import Quantity, Source
from rollwright.setup.readings import ReadingKind, parse_readings
from rollwright.units import FACTORS, Kind

UNITS = {
    Kind.LENGTH: ("mm", "cm", "in", "thou", "um"),
    Kind.ANGLE: ("deg", "rad", "arcmin"),
    Kind.MASS: ("g", "oz", "kg"),
    Kind.INERTIA: ("mm2*g", "g*cm2"),
}
KEYS = {heading: keys for heading, _, keys in SECTIONS}
NAMES = st.text(string.ascii_letters + " ._-'\"ü", min_size=1, max_size=12).filter(str.strip)
# Kept apart from their neighbours, so that the car as a whole is possible.
NARROW = {
    "wheelbase": (0.02, 0.4),
    "length": (0.4, 1.5),
    "width": (0.02, 0.5),
    "relief": (-0.005, 0.009),
    "bore": (0.003, 0.03),
    "shank": (0.0003, 0.003),
}


@st.composite
def written(draw: st.DrawFn, key: Key) -> tuple[object, float]:
    """Draw one way of writing an allowed value, and the value it must be read as [SI]."""
    low, high = NARROW.get(key.name, (key.low, key.high))
    bare = float(FACTORS[key.kind.bare][1])
    figure = draw(st.integers(int(low / bare * 1000) + 1, int(high / bare * 1000) - 1))
    exact = Fraction(figure, 1000) * FACTORS[key.kind.bare][1]
    if draw(st.booleans()):
        return figure / 1000, float(exact)
    unit = draw(st.sampled_from(UNITS[key.kind]))
    number = round(float(exact / FACTORS[unit][1]), 6)
    value = float(Fraction(repr(number)) * FACTORS[unit][1])
    assume(low <= value <= high)
    return f"{number:f} {unit}", value


@st.composite
def quantity(draw: st.DrawFn, key: Key) -> tuple[object, float, Source]:
    """Draw a bare value or a table, the value it must have and where it comes from."""
    text, value = draw(written(key))
    source = draw(st.sampled_from([None, *Source]))
    if source is None:
        return text, value, Source.NOMINAL
    return {"value": text, "from": source.value}, value, source


@st.composite
def tables(
    draw: st.DrawFn, keys: tuple[Key, ...]
) -> tuple[dict[str, object], dict[str, tuple[float, Source]]]:
    """Draw a table with some of its keys, and what each must be read as."""
    chosen = draw(st.lists(st.sampled_from(keys), unique_by=lambda key: key.name))
    table: dict[str, object] = {}
    expected: dict[str, tuple[float, Source]] = {}
    for key in chosen:
        if not key.point:
            table[key.name], value, source = draw(quantity(key))
            expected[key.name] = (value, source)
    return table, expected


def check(part: Any, keys: tuple[Key, ...], expected: dict[str, tuple[float, Source]]) -> None:
    for key in keys:
        if key.point:
            continue
        found: Quantity | None = getattr(part, key.name)
        if key.name in expected:
            assert found is not None
            value, source = expected[key.name]
            assert found.value == pytest.approx(value)
            assert found.source is source
        elif found is not None:
            assert (found.value, found.source) == (key.default, Source.ASSUMED)


@given(data=st.data())
@settings(max_examples=60, deadline=None)
def test_what_is_written_is_what_is_read(data: st.DataObject) -> None:
    body, body_expected = data.draw(tables(KEYS["body"]), "body")
    rail, rail_expected = data.draw(tables(KEYS["rail"]), "rail")
    wheel_name, axle_name = data.draw(NAMES, "wheel"), data.draw(NAMES, "axle")
    wheel, wheel_expected = data.draw(tables(KEYS["wheels.NAME"]), "wheel")
    axle, axle_expected = data.draw(tables(KEYS["axles.NAME"]), "axle")
    station = data.draw(st.sampled_from(Station), "station")
    corner, corner_expected = data.draw(tables(STATION_KEYS), "corner")
    # A wide body and a wide bore leave room for any relief and any pin that may be drawn.
    body.setdefault("length", 400)
    wheel.setdefault("bore", 3)
    body_expected.setdefault("length", (0.4, Source.NOMINAL))
    wheel_expected.setdefault("bore", (0.003, Source.NOMINAL))
    text = tomlkit.dumps(
        {
            "format": 1,
            "body": body,
            "rail": rail,
            "wheels": {wheel_name: wheel},
            "axles": {axle_name: axle},
            "stations": {station.value: corner},
        }
    )
    car = parse_car(text)
    check(car.body, KEYS["body"], body_expected)
    check(car.rail, KEYS["rail"], rail_expected)
    check(car.wheels[wheel_name], KEYS["wheels.NAME"], wheel_expected)
    check(car.axles[axle_name], KEYS["axles.NAME"], axle_expected)
    keys = RAISED_STATION_KEYS if station is Station.FRONT_RIGHT else STATION_KEYS
    check(car.corners[station], keys, corner_expected)
    for name, (_, source) in corner_expected.items():
        assert (f"stations.{station.value}.{name}" in car.assumed) == (source is Source.ASSUMED)


PIECES = st.sampled_from(
    [
        *"=[]{},.#\"'\n\r\t \\",
        "format = 1\n",
        "\n[body]\n",
        "\n[wheels.a]\n",
        "\n[stations.front_left]\n",
        "\n[[reading]]\n",
        "\n[hand]\n",
        "[[",
        "true",
        "nan",
        "-inf",
        "0x" + "f" * 400,
        "9" * 5000,
        "1979-05-27T07:32:00Z",
        '"1 3/4 in"',
        "'90 mm right'",
        "{ value = 1, uncertainty = [], from = {} }",
        '"""',
        "\0",
        "\u2028",
        *(key.name for _, _, keys in SECTIONS for key in keys),
        *(kind.value for kind in ReadingKind),
        *car_schema()["properties"],
        *("kind", "value", "values", "trace", "station", "plane", "dimension", "set_up", "seat", "wheel"),
    ]
) | st.text(max_size=6)
VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20) | st.dates(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=8,
)


def only_input_errors(text: str) -> None:
    for read in (parse_car, parse_readings):
        refused: InputError | None = None
        try:
            read(text)
        except InputError as error:
            refused = error
        if refused is not None:
            assert len(str(refused).splitlines()) == 1
            assert len(str(refused)) < 1000
            assert refused.mend


@given(st.lists(PIECES, max_size=30).map("".join))
@example("format = 1\nbody.width." + "a." * 600 + "b = 1")
@example("format = 1\na = " + "[" * 5000 + "]" * 5000)
@example("format = " + "9" * 5000)
@settings(max_examples=300, deadline=None)
def test_no_text_raises_anything_but_an_input_error(text: str) -> None:
    only_input_errors(text)
    only_input_errors("format = 1\n" + text)


@given(
    heading=st.sampled_from(
        [
            "body",
            "wheels.a",
            "axles.a",
            "stations.front_left",
            "weights.a",
            "setup",
            "rail",
            "board",
            "targets",
        ]
    ),
    value=VALUES.filter(lambda value: value is not None),
    data=st.data(),
)
@settings(max_examples=200, deadline=None)
def test_no_value_raises_anything_but_an_input_error(
    heading: str, value: object, data: st.DataObject
) -> None:
    place: dict[str, Any] = {}
    *tables_of, last = heading.split(".")
    inner = place
    for table in tables_of:
        inner = inner.setdefault(table, {})
    names = [key.name for _, _, keys in SECTIONS for key in keys] + ["seat", "wheel", "dominant", "drift"]
    inner[last] = {data.draw(st.sampled_from(names), "key"): value}
    only_input_errors(toml(place))


@given(
    name=st.sampled_from(
        ["value", "values", "trace", "uncertainty", "station", "plane", "dimension", "set_up", "note", "seat"]
    ),
    kind=st.sampled_from(ReadingKind),
    value=VALUES.filter(lambda value: value is not None),
)
def test_no_reading_raises_anything_but_an_input_error(name: str, kind: ReadingKind, value: object) -> None:
    only_input_errors(toml({"reading": [{"kind": kind.value, "value": 1, name: value}]}))


def toml(place: dict[str, Any]) -> str:
    try:
        return str(tomlkit.dumps({"format": 1, **place}))
    except (tomlkit.exceptions.TOMLKitError, ValueError):
        assume(False)  # noqa: FBT003 - hypothesis takes it so
        raise


@given(
    key=st.sampled_from(
        [
            (f"{heading.replace('NAME', 'standard').replace('STATION', 'rear_left')}.{key.name}", key)
            for heading, _, keys in SECTIONS
            for key in keys
            if heading != "weights.NAME" and not key.point
        ]
    ),
    old=st.sampled_from(["bare", "unit", "table", "none"]),
    data=st.data(),
)
@settings(max_examples=150, deadline=None)
def test_what_is_updated_is_read_back(key: tuple[str, Key], old: str, data: st.DataObject) -> None:
    name, entry = key
    first, _ = data.draw(written(entry), "old")
    _, value = data.draw(written(entry), "new")
    heading, _, last = name.rpartition(".")
    lines = {
        "bare": f"{last} = {first!r}",
        "unit": f"{last} = '1 {UNITS[entry.kind][-1]}'" if entry.low < 0 else f"{last} = {first!r}",
        "table": f"{last} = {{ value = {first!r}, uncertainty = 0 }}",
        "none": "# nothing yet",
    }
    other = {
        "axles.standard": "[wheels.standard]\nbore = 30\n",
        "wheels.standard": "[axles.standard]\nshank = 0.3\n",
    }
    text = f"format = 1\n[{heading}]\n{lines[old]}  # remark\n\n# end\n{other.get(heading, '')}"
    # A short wheelbase in a long body leaves room for any length and any wheelbase that may be drawn.
    if last in {"wheelbase", "length"} and heading == "body":
        text = text.replace(
            "[body]", f"[body]\n{'length = 1500' if last == 'wheelbase' else 'wheelbase = 20'}"
        )
    uncertainty = data.draw(st.floats(1e-9, 1e-4), "uncertainty")
    assume(uncertainty < entry.high - entry.low)
    new = Quantity(value=value, uncertainty=uncertainty, source=Source.MEASURED)
    after = updated_text(text, {name: new}, kinds={name: entry.kind})
    found = held(parse_car(after), name)
    bare = float(FACTORS[entry.kind.bare][1])
    assert found.value == pytest.approx(value, abs=1.5e-4 * bare)
    assert found.uncertainty == pytest.approx(uncertainty, rel=0.01)
    assert found.source is Source.MEASURED
    assert "# remark" in after
    assert "# end\n" in after


def held(car: Car, name: str) -> Quantity:
    head, *rest = name.split(".")
    part: Any = car.corners if head == "stations" else getattr(car, head)
    if len(rest) == 2:
        part = part[Station(rest[0]) if head == "stations" else rest[0]]
    found: Quantity = getattr(part, rest[-1])
    return found


@given(NAMES)
def test_every_name_that_can_be_shown_starts_a_file(name: str) -> None:
    assert parse_car(starter_text(name=name)).name == name

"""The published schemas, the reference pages and the reader say the same."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from rollwright.car.file import parse_car
from rollwright.car.keys import TARGETS, Key
from rollwright.car.model import Station
from rollwright.car.schema import SECTIONS, car_schema, json_text, key_table_markdown
from rollwright.car.starter import starter_text
from rollwright.errors import InputError
from rollwright.quantity import Quantity
from rollwright.setup.reading_keys import ReadingKind, keys_of
from rollwright.setup.readings import parse_readings
from rollwright.setup.readings_schema import readings_schema, readings_table_markdown

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"
CAR, READINGS = Draft202012Validator(car_schema()), Draft202012Validator(readings_schema())
F = "format = 1\n"
PLACES = {
    "wheels.NAME": "wheels.disc",
    "axles.NAME": "axles.pin",
    "stations.STATION": "stations.rear_right",
    "weights.NAME": "weights.nose",
}
KEYS = [
    pytest.param(PLACES.get(heading, heading), key, id=f"{heading}.{key.name}")
    for heading, _, keys in SECTIONS
    for key in keys
]
NEEDED = {
    ReadingKind.RAIL_CLEARANCE: 'station = "rear_left"\n',
    ReadingKind.ROLL_CLEARANCE: 'station = "rear_left"\n',
    ReadingKind.DAYLIGHT: 'station = "rear_left"\n',
    ReadingKind.SIZE: 'dimension = "rail.width"\n',
}
RIGHT = {
    "uncertainty": ["0.1", '"2 thou"'],
    "set_up": ['"plate A"'],
    "common": ['0.1\nset_up = "plate A"'],
    "instrument": ['"feeler"'],
    "note": ['""', '"after sanding"'],
    "distance": ["25", '"1 in"'],
    "thickness": ["9", '"9 mm"'],
    "width": ["45"],
    "seat": ['"head"', '"body"', '"middle"'],
    "plane": ['"cant"', '"sweep"'],
    "against": ["-2.5", '"2 deg"', "45"],
}
WRONG = ("true", "[]", "{ }", '""', "[[1]]")


def again(module: str, function: str, path: str) -> str:
    """Return the line that writes a shipped schema afresh."""
    return (
        f'python -c "from pathlib import Path; from rollwright.car.schema import json_text; '
        f"from {module} import {function}; "
        f"Path('src/rollwright/{path}').write_text(json_text({function}()), encoding='utf-8')\""
    )


def blocks(page: str) -> list[str]:
    return re.findall(
        r"^```toml\n(.*?)^```", (DOCS / page).read_text(encoding="utf-8"), re.DOTALL | re.MULTILINE
    )


def examples() -> list[tuple[str, str]]:
    """Return every example file that is shipped, by name."""
    found = [(path.name, path.read_text(encoding="utf-8")) for path in scenario_files()]
    found += [
        (f"{page} {number}", text)
        for page in ("car-file.md", "readings-file.md")
        for number, text in enumerate(blocks(page))
    ]
    found.append(("starter", starter_text()))
    return found


def scenario_files() -> list[Path]:
    tomls = sorted((ROOT / "src/rollwright/scenario/files").glob("*.toml"))
    return [
        path
        for path in tomls
        if path.stem.endswith("readings")
        or re.search(r"^\[body\]", path.read_text(encoding="utf-8"), re.MULTILINE)
    ]


def both_refuse(text: str, *, schema: Draft202012Validator, read: Callable[[str], object]) -> None:
    assert not schema.is_valid(tomllib.loads(text))
    with pytest.raises(InputError):
        read(text)


def both_take(text: str, *, schema: Draft202012Validator, read: Callable[[str], object]) -> None:
    schema.validate(tomllib.loads(text))
    read(text)


@pytest.mark.parametrize(
    ("package", "name", "schema", "module", "function"),
    [
        ("car", "car.schema.json", car_schema(), "rollwright.car.schema", "car_schema"),
        (
            "setup",
            "readings.schema.json",
            readings_schema(),
            "rollwright.setup.readings_schema",
            "readings_schema",
        ),
    ],
)
def test_the_shipped_schema_is_the_made_one(
    package: str, name: str, schema: dict[str, Any], module: str, function: str
) -> None:
    Draft202012Validator.check_schema(schema)
    shipped = files(f"rollwright.{package}").joinpath(name).read_text(encoding="utf-8")
    assert shipped == json_text(schema), f"write it: {again(module, function, f'{package}/{name}')}"
    assert json.loads(shipped) == schema


@pytest.mark.parametrize(
    ("page", "made", "module"),
    [
        ("car-file.md", key_table_markdown(), "rollwright.car.schema.key_table_markdown"),
        (
            "readings-file.md",
            readings_table_markdown(),
            "rollwright.setup.readings_schema.readings_table_markdown",
        ),
    ],
)
def test_the_reference_page_holds_the_made_tables(page: str, made: str, module: str) -> None:
    text = (DOCS / page).read_text(encoding="utf-8")
    assert made in text, f"put the text of {module}() below the page's heading Keys"


def test_there_are_examples_of_both_kinds() -> None:
    assert len(blocks("car-file.md")) >= 3
    assert len(blocks("readings-file.md")) >= 5
    assert len(scenario_files()) >= 2


@pytest.mark.parametrize(("name", "text"), examples(), ids=[name for name, _ in examples()])
def test_examples_are_taken_by_both(name: str, text: str) -> None:
    if "[[reading]]" in text:
        both_take(text, schema=READINGS, read=parse_readings)
    else:
        both_take(text, schema=CAR, read=parse_car)
    assert name


class TestEveryKeyOfTheCar:
    """Each key in every form, right and wrong, is judged alike by the schema and by the reader."""

    def text(self, heading: str, key: Key, written: str) -> str:
        """Return a file that sets one key, with what must stand beside it for the car to be possible."""
        beside = {
            "body.wheelbase": "length = 1500",
            "body.length": "wheelbase = 20",
            "weights.nose.mass": "position = [1, 2, 3]",
            "weights.nose.position": "mass = 4",
            "axles.pin.shank": "[wheels.disc]\nbore = 30",
            "wheels.disc.bore": "[axles.pin]\nshank = 0.3",
            "stations.rear_right.relief": "[body]\nwidth = 500",
        }
        return f"{F}[{heading}]\n{key.name} = {written}\n{beside.get(f'{heading}.{key.name}', '')}\n"

    def number(self, heading: str, key: Key) -> float:
        """Return an allowed bare number, as the schema knows it."""
        schema = schema_of(heading, key)["anyOf"][0]
        inner = schema["items"]["anyOf"][0] if key.point else schema
        assert inner["minimum"] < inner["maximum"]
        number: float = inner["maximum"]
        return number

    def forms(self, key: Key, number: object) -> list[str]:
        unit = key.kind.bare
        parts = [
            f"{number}",
            f'"{number} {unit}"',
            f"{{ value = {number} }}",
            f'{{ value = "{number} {unit}", uncertainty = "0.001 {unit}", from = "measured" }}',
        ]
        if not key.point:
            return parts
        return [f"[{part}, 0, {part}]" for part in parts] + [
            f'{{ value = [{number}, 0, 0], from = "nominal" }}'
        ]

    @pytest.mark.parametrize(("heading", "key"), KEYS)
    def test_in_every_form(self, heading: str, key: Key) -> None:
        for written in self.forms(key, self.number(heading, key)):
            both_take(self.text(heading, key, written), schema=CAR, read=parse_car)

    @pytest.mark.parametrize(("heading", "key"), KEYS)
    def test_just_outside_its_range(self, heading: str, key: Key) -> None:
        beyond = self.number(heading, key) * 1.001
        written = f"[{beyond}, 0, 0]" if key.point else f"{beyond}"
        both_refuse(self.text(heading, key, written), schema=CAR, read=parse_car)

    @pytest.mark.parametrize(("heading", "key"), KEYS)
    @pytest.mark.parametrize(
        "wrong",
        [
            "true",
            "[]",
            "[1, 2]",
            "[true, 0, 0]",
            '""',
            '"much"',
            "{ }",
            "{ uncertainty = 1 }",
            "{ value = true }",
            "{ value = 9, error = 1 }",
            "{ value = 9, uncertainty = -1 }",
            "{ value = 9, uncertainty = false }",
            '{ value = 9, from = "guess" }',
            "{ value = 9, from = [] }",
        ],
    )
    def test_of_a_wrong_type(self, heading: str, key: Key, wrong: str) -> None:
        both_refuse(self.text(heading, key, wrong), schema=CAR, read=parse_car)

    @pytest.mark.parametrize(("heading", "key"), KEYS)
    def test_a_letter_off(self, heading: str, key: Key) -> None:
        text = self.text(heading, key, "1").replace(f"\n{key.name} =", f"\n{key.name}s =")
        both_refuse(text, schema=CAR, read=parse_car)

    @pytest.mark.parametrize(("heading", "key"), KEYS)
    def test_is_described_with_unit_range_and_default(self, heading: str, key: Key) -> None:
        schema = schema_of(heading, key)
        described = schema["description"]
        assert described.startswith(key.help)
        assert f"Unit of a bare number: {key.kind.bare}." in described
        assert f"to {self.number(heading, key):g}." in described
        for meaning in (key.plus, key.minus):
            assert meaning in described
        if "default" not in schema:
            assert "No default." in described
            return
        written = str(schema["default"])
        assert f"Default: {written}." in described
        # What the schema calls the default is what the reader assumes.
        said, left_out = (
            parse_car(f"{F}[{heading}]\n{key.name} = {written}\n"),
            parse_car(f"{F}[{heading}]\n"),
        )
        assert values(said, heading, key) == pytest.approx(values(left_out, heading, key), rel=1e-12)


def schema_of(heading: str, key: Key) -> dict[str, Any]:
    schema: dict[str, Any] = car_schema()
    head, _, name = heading.partition(".")
    part: dict[str, Any] = schema["properties"][head]
    if head == "stations":
        part = schema["$defs"]["station"]
    elif name:
        part = part["additionalProperties"]
    found: dict[str, Any] = part["properties"][key.name]
    return found


def values(car: Any, heading: str, key: Key) -> list[float]:
    head, _, name = heading.partition(".")
    part = car.corners[Station(name)] if head == "stations" else getattr(car, head)
    found: Quantity | tuple[Quantity, ...] = getattr(
        part[name] if name and head != "stations" else part, key.name
    )
    return [one.value for one in (found if isinstance(found, tuple) else (found,))]


@pytest.mark.parametrize(
    "text",
    [
        "",
        "format = 2\n",
        'format = "1"\n',
        F + "colour = 3\n",
        F + "name = 7\n",
        F + 'name = " "\n',
        F + "body = 3\n",
        F + "[wheels]\nbore = 3\n",
        F + "[[weights]]\nmass = 3\n",
        F + "[weights.nose]\nmass = 3\n",
        F + "[stations.left_rear]\n",
        F + '[stations.rear_left]\nseat = "hub"\n',
        F + "[stations.rear_left]\nwheel = 3\n",
        F + '[setup]\ndominant = "rear_left"\n',
        F + '[setup]\nbent_axles = "yes"\n',
        F + "[setup]\ncolour = 1\n",
        F + "[targets]\nspeed = 1\n",
        *(F + f"[targets]\n{target.name} = true\n" for target in TARGETS),
        *(F + f"[targets]\n{target.name} = 70000\n" for target in TARGETS),
        *(F + f"[targets]\n{target.name} = {{ tolerance = 0 }}\n" for target in TARGETS),
        *(F + f"[targets]\n{target.name} = {{ value = 1, error = 2 }}\n" for target in TARGETS),
    ],
)
def test_wrong_cars_are_refused_by_both(text: str) -> None:
    both_refuse(text, schema=CAR, read=parse_car)


class TestEveryReading:
    """The same for the readings file."""

    def text(self, kind: ReadingKind, more: str = "", value: str = "value = 20") -> str:
        return f'{F}[[reading]]\nkind = "{kind.value}"\n{value}\n{NEEDED.get(kind, "")}{more}\n'

    @pytest.mark.parametrize("kind", ReadingKind)
    def test_right_ones(self, kind: ReadingKind) -> None:
        for value in ("value = 20", 'value = "1/2 in"', 'values = [20, "21 mm"]'):
            both_take(self.text(kind, value=value), schema=READINGS, read=parse_readings)
        for key in keys_of(kind):
            for written in RIGHT.get(key.name, []):
                both_take(self.text(kind, f"{key.name} = {written}"), schema=READINGS, read=parse_readings)

    @pytest.mark.parametrize("kind", ReadingKind)
    def test_wrong_ones(self, kind: ReadingKind) -> None:
        refused = [self.text(kind, value=""), self.text(kind, "values = [20]"), self.text(kind, "colour = 3")]
        refused += [self.text(kind, value=f"value = {wrong}") for wrong in WRONG]
        refused += [self.text(kind, value=f"values = {wrong}") for wrong in WRONG]
        refused += [
            self.text(kind, f"{key.name} = {wrong}")
            for key in keys_of(kind)
            for wrong in WRONG
            if key.name in RIGHT and (key.name, wrong) != ("note", '""')
        ]
        if kind in NEEDED:
            refused.append(self.text(kind).replace(NEEDED[kind], ""))
        for text in refused:
            both_refuse(text, schema=READINGS, read=parse_readings)

    @pytest.mark.parametrize(
        "text",
        [
            "",
            F + "colour = 3\n",
            F + "car = 3\n",
            F + '[reading]\nkind = "drift"\nvalue = 3\n',
            F + "[[reading]]\nvalue = 3\n",
            F + '[[reading]]\nkind = "speed"\nvalue = 3\n',
            F + '[[reading]]\nkind = "drift"\ntrace = [[0, 0], [5, 1]]\n',
            F + '[[reading]]\nkind = "size"\ndimension = "body.colour"\nvalue = 3\n',
            F + '[[reading]]\nkind = "rail_offset"\nvalue = 3\nthickness = 9\n',
            F + "[hand]\ncolour = 3\n",
            F + "[hand]\nbend = 0\n",
            F + "[hand]\nbend = true\n",
        ],
    )
    def test_wrong_files(self, text: str) -> None:
        both_refuse(text, schema=READINGS, read=parse_readings)

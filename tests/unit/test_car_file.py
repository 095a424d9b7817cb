"""Reading a car file: every key, defaults, sources, parts, and what is impossible as a whole."""

from __future__ import annotations

import math
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from rollwright.car.file import parse_car, read_car
from rollwright.car.keys import MEASURED, RAISED_STATION_KEYS, STATION_KEYS, Key
from rollwright.car.model import Car, Seat, Station
from rollwright.car.schema import SECTIONS
from rollwright.car.starter import starter_text
from rollwright.errors import InputError, MissingReference, OutOfRange, WrongType
from rollwright.quantity import Quantity, Source
from rollwright.units import FACTORS, Kind

F = "format = 1\n"
MM, DEG, G = 1e-3, math.pi / 180.0, 1e-3
STATIONS = tuple(Station)
HEADINGS = {
    "wheels.NAME": "wheels.disc",
    "axles.NAME": "axles.pin",
    "stations.STATION": "stations.front_right",
    "weights.NAME": "weights.nose",
}


def car(text: str) -> Car:
    return parse_car(F + text)


def held(found: Car, heading: str) -> Any:
    """Return the part of a car that a heading describes."""
    head, _, name = heading.partition(".")
    if head == "stations":
        return found.corners[Station(name)]
    return getattr(found, head)[name] if name else getattr(found, head)


def refusal(text: str, kind: type[InputError] = InputError) -> InputError:
    with pytest.raises(kind) as caught:
        car(text)
    return caught.value


class TestEachKey:
    """Every key of the table is read at its own place, in its own unit, and checked against its range."""

    @pytest.mark.parametrize(
        ("heading", "key"),
        [
            pytest.param(HEADINGS.get(heading, heading), key, id=f"{heading}.{key.name}")
            for heading, _, keys in SECTIONS
            for key in keys
            if heading != "weights.NAME" and not key.point
        ],
    )
    def test_is_read_and_its_limits_are_allowed(self, heading: str, key: Key) -> None:
        factor = float(FACTORS[key.kind.bare][1])
        # The whole-car checks tie some keys to others; these stay far from the limits themselves.
        others = {
            "body.wheelbase": "length = 1500",
            "axles.pin.shank": "[wheels.disc]\nbore = 30",
            "wheels.disc.bore": "[axles.pin]\nshank = 0.3",
            "body.length": "wheelbase = 20",
            "stations.front_right.relief": "[body]\nwidth = 500",
        }
        for limit in (key.low, key.high):
            bare = round(limit / factor, 6)
            text = f"[{heading}]\n{key.name} = {bare!r}\n{others.get(f'{heading}.{key.name}', '')}\n"
            found: Quantity = getattr(held(car(text), heading), key.name)
            assert found.value == pytest.approx(limit, rel=1e-12)
            assert found.source is Source.NOMINAL
            assert found.uncertainty == key.drawing
            assert found.label == f"{heading}.{key.name}"
        outside = round(key.high / factor, 6) * 1.01
        error = refusal(f"[{heading}]\n{key.name} = {outside!r}", OutOfRange)
        assert error.key == f"{heading}.{key.name}"

    def test_units_are_those_of_the_workshop(self) -> None:
        found = car(
            '[body]\nwidth = "1 3/4 in"\nlength = "18 cm"\nmass = "3 oz"\nwheelbase = 120\n'
            "[wheels.a]\ninertia = 350\n[stations.rear_left]\ncant = 2\nrelief = '12 thou'\n"
        )
        assert found.body.width.value == pytest.approx(44.45 * MM, rel=1e-15)
        assert found.body.length.value == pytest.approx(180 * MM, rel=1e-15)
        # One ounce is a sixteenth of 0.45359237 kg (agreement of 1959).
        assert found.body.mass.value == pytest.approx(3 * 0.45359237 / 16, rel=1e-15)
        assert found.body.wheelbase.value == pytest.approx(0.12, rel=1e-15)
        inertia = found.wheels["a"].inertia
        assert inertia is not None
        assert inertia.value == pytest.approx(350 * 1e-3 * 1e-6, rel=1e-15)
        corner = found.corners[Station.REAR_LEFT]
        assert corner.cant.value == pytest.approx(2 * DEG, rel=1e-15)
        assert corner.relief.value == pytest.approx(12 * 25.4e-6, rel=1e-15)

    def test_points_and_weights(self) -> None:
        found = car(
            "[body]\ncentre_of_mass = [50, { value = 1, uncertainty = 0.5 }, '1/2 in']\n"
            '[weights."nose lead"]\nmass = 12\nposition = { value = [96, 0, 8], from = "measured" }\n'
        )
        x, y, z = found.body.centre_of_mass
        assert (x.value, y.value, z.value) == pytest.approx((0.05, 0.001, 0.0127))
        assert (x.source, y.source) == (Source.NOMINAL, Source.MEASURED)
        assert y.uncertainty == pytest.approx(0.5 * MM)
        weight = found.weights["nose lead"]
        assert weight.mass.value == pytest.approx(12 * G)
        assert [part.value for part in weight.position] == pytest.approx([0.096, 0.0, 0.008])
        assert {part.source for part in weight.position} == {Source.MEASURED}

    def test_words_and_flags(self) -> None:
        found = car(
            'name = "Wren"\n[setup]\ndominant = "front_right"\nbent_axles = false\n'
            '[stations.rear_left]\nseat = "head"\n'
        )
        assert found.name == "Wren"
        assert found.dominant is Station.FRONT_RIGHT
        assert found.raised is Station.FRONT_LEFT
        assert not found.bent_axles
        assert found.corners[Station.REAR_LEFT].seat is Seat.HEAD
        assert found.corners[Station.REAR_RIGHT].seat is None


class TestWhatIsLeftOut:
    """What a file does not say is assumed, and named."""

    def test_the_shortest_file_is_all_assumed(self) -> None:
        found = car("")
        for station in STATIONS:
            keys = RAISED_STATION_KEYS if station is Station.FRONT_RIGHT else STATION_KEYS
            for key in keys:
                quantity: Quantity = getattr(found.corners[station], key.name)
                assert quantity.source is Source.ASSUMED
                assert (quantity.value, quantity.uncertainty) == (key.default, key.guess)
                assert f"stations.{station.value}.{key.name}" in found.assumed
        for name in ("body.width", "body.centre_of_mass", "wheels.standard.bore", "axles.standard.shank"):
            assert name in found.assumed
        for name in ("rail.width", "board.length", "setup.dominant", "targets.drift.tolerance"):
            assert name in found.assumed
        assert len(set(found.assumed)) == len(found.assumed)
        assert found.wheels["standard"].inertia is None
        assert not found.weights

    def test_the_wheel_that_should_be_raised_is_assumed_drilled_higher(self) -> None:
        right_raised, left_raised = car(""), car('[setup]\ndominant = "front_right"\n')
        for found in (right_raised, left_raised):
            assert found.corners[found.raised].hole_height.value == pytest.approx(0.011)
            assert found.corners[found.dominant].hole_height.value == pytest.approx(0.009)

    def test_what_is_said_is_not_named(self) -> None:
        found = car('[body]\nwidth = 48\n[setup]\ndominant = "front_left"\n[targets]\ndrift = -60\n')
        for name in ("body.width", "setup.dominant", "targets.drift.value"):
            assert name not in found.assumed
        assert "targets.drift.tolerance" in found.assumed

    def test_what_the_builder_marks_as_assumed_is_named(self) -> None:
        found = car('[rail]\nwidth = { value = 44, from = "assumed" }\n')
        assert found.rail.width.source is Source.ASSUMED
        assert found.rail.width.uncertainty == pytest.approx(0.3 * MM)
        assert "rail.width" in found.assumed
        point = car('[body]\ncentre_of_mass = [50, 0, { value = 10, from = "assumed" }]\n')
        assert "body.centre_of_mass" in point.assumed


class TestSources:
    """How well a value is known follows from what the file says of it."""

    @pytest.mark.parametrize(
        ("written", "source", "uncertainty"),
        [
            ("48", Source.NOMINAL, 0.1 * MM),
            ("{ value = 48 }", Source.NOMINAL, 0.1 * MM),
            ('{ value = 48, from = "nominal" }', Source.NOMINAL, 0.1 * MM),
            ('{ value = 48, from = "measured" }', Source.MEASURED, MEASURED[Kind.LENGTH]),
            ('{ value = 48, from = "assumed" }', Source.ASSUMED, 0.5 * MM),
            ("{ value = 48, uncertainty = 0.07 }", Source.MEASURED, 0.07 * MM),
            ("{ value = 48, uncertainty = '2 thou' }", Source.MEASURED, 2 * 25.4e-6),
            ('{ value = 48, uncertainty = 0.3, from = "nominal" }', Source.NOMINAL, 0.3 * MM),
            ("{ value = 48, uncertainty = 0 }", Source.MEASURED, 0.0),
        ],
    )
    def test_of_a_width(self, written: str, source: Source, uncertainty: float) -> None:
        width = car(f"[body]\nwidth = {written}\n").body.width
        assert width.source is source
        assert width.uncertainty == pytest.approx(uncertainty, rel=1e-12)
        assert width.value == pytest.approx(48 * MM)

    def test_a_measured_value_is_never_known_less_well_than_a_drawing(self) -> None:
        found = car('[axles.a]\nshank = { value = 2.38, from = "measured" }\n')
        assert found.axles["a"].shank.uncertainty == pytest.approx(0.01 * MM)

    def test_a_sub_table_serves_as_well(self) -> None:
        width = car('[body.width]\nvalue = 47\nuncertainty = 0.2\nfrom = "measured"\n').body.width
        assert (width.value, width.uncertainty) == pytest.approx((47 * MM, 0.2 * MM))


class TestTargets:
    """Targets of drift are signed or say the side; the default turns with the dominant wheel."""

    @pytest.mark.parametrize(
        ("written", "value"),
        [
            ("90", 0.09),
            ("-90", -0.09),
            ('"90 mm left"', 0.09),
            ('"90 mm right"', -0.09),
            ('"right 3 in"', -0.0762),
            ('{ value = "90 right", tolerance = 5 }', -0.09),
        ],
    )
    def test_drift_by_sign_or_side(self, written: str, value: float) -> None:
        found = car(f"[targets]\ndrift = {written}\n").targets.drift
        assert found.value == pytest.approx(value, rel=1e-12)
        assert found.tolerance == pytest.approx((5 if "tolerance" in written else 10) * MM)

    def test_default_drift_is_towards_the_rail(self) -> None:
        # The left wheel steers right to meet the rail, the right wheel steers left.
        assert car("").targets.drift.value < 0.0
        assert car('[setup]\ndominant = "front_right"\n').targets.drift.value > 0.0

    def test_a_drift_that_is_said_does_not_turn(self) -> None:
        found = car('[setup]\ndominant = "front_right"\n[targets]\ndrift = -50\n')
        assert found.targets.drift.value == pytest.approx(-0.05)

    def test_limits_lie_either_side(self) -> None:
        found = car("[targets]\nrail_offset = { value = 0.2, tolerance = 0.1 }\n").targets.rail_offset
        assert (found.low, found.high) == pytest.approx((0.1 * MM, 0.3 * MM))

    def test_only_drift_knows_sides(self) -> None:
        error = refusal('[targets]\nrail_offset = "1 mm left"\n')
        assert error.key == "targets.rail_offset"


class TestWhichPartIsFitted:
    """A station's wheel and axle: the one it names, its own, the only other, or the shipped one."""

    def test_the_only_one_is_fitted_everywhere(self) -> None:
        found = car("[wheels.disc]\ndiameter = 31\n")
        assert {corner.wheel for corner in found.corners.values()} == {"disc"}
        assert "standard" not in found.wheels

    def test_one_named_after_the_station_is_its_own(self) -> None:
        names = "\n".join(
            f"[wheels.{station.value}]\ndiameter = {30 + i}" for i, station in enumerate(STATIONS)
        )
        found = car(names)
        assert [found.wheel_at(station).diameter.value for station in STATIONS] == pytest.approx(
            [0.030, 0.031, 0.032, 0.033]
        )
        assert "standard" not in found.wheels

    def test_one_wheels_own_axle_leaves_the_others_with_the_other_one(self) -> None:
        found = car("[axles.pin]\nshank = 2.3\n[axles.front_left]\nbend = 2.5\n")
        bends = [found.axle_at(station).bend.value for station in STATIONS]
        assert bends == pytest.approx([0.0, 0.0, 2.5 * DEG, 0.0])
        assert found.corners[Station.REAR_LEFT].axle == "pin"

    def test_a_single_bent_axle_of_one_wheel_does_not_bend_the_rest(self) -> None:
        found = car("[axles.front_left]\nbend = 2.5\n")
        assert found.axle_at(Station.FRONT_LEFT).bend.value == pytest.approx(2.5 * DEG)
        for station in STATIONS:
            if station is not Station.FRONT_LEFT:
                assert found.axle_at(station).bend.value == 0.0
        assert "axles.standard.bend" in found.assumed

    def test_the_one_that_is_named(self) -> None:
        found = car(
            "[axles.a]\n[axles.b]\n[axles.rear_left]\n"
            + "".join(
                f'[stations.{station.value}]\naxle = "{name}"\n'
                for station, name in zip(STATIONS, ("a", "b", "a", "b"), strict=True)
            )
        )
        assert [found.corners[station].axle for station in STATIONS] == ["a", "b", "a", "b"]

    def test_the_shipped_one_can_be_named(self) -> None:
        found = car('[stations.rear_left]\nwheel = "standard"\n')
        assert found.corners[Station.REAR_LEFT].wheel == "standard"

    def test_one_that_is_not_there_is_named_with_the_nearest(self) -> None:
        error = refusal('[wheels.disc]\n[stations.rear_left]\nwheel = "disk"\n', MissingReference)
        assert error.key == "stations.rear_left.wheel"
        assert 'did you mean "disc"' in error.mend

    def test_several_and_none_named(self) -> None:
        error = refusal("[wheels.fast]\n[wheels.slow]\n", MissingReference)
        assert error.key == "stations.rear_left.wheel"
        assert "fast, slow" in error.mend

    def test_a_name_must_be_a_text(self) -> None:
        assert refusal("[stations.rear_left]\naxle = 3\n", WrongType).key == "stations.rear_left.axle"


class TestTheWholeCar:
    """Values that are possible one by one and impossible together."""

    def test_a_bore_as_wide_as_the_shank_is_the_least(self) -> None:
        assert car("[wheels.a]\nbore = 2.4\n[axles.b]\nshank = 2.4\n").wheels["a"].bore.value == 2.4 * MM
        error = refusal("[wheels.a]\nbore = 2.39\n[axles.b]\nshank = 2.4\n", OutOfRange)
        assert error.key == "wheels.a.bore"
        assert "axles.b.shank" in error.mend

    def test_relief_leaves_wood(self) -> None:
        found = car("[body]\nwidth = 40\n[stations.front_right]\nrelief = 19.9\n")
        assert found.corners[Station.FRONT_RIGHT].relief.value == pytest.approx(19.9 * MM)
        error = refusal("[body]\nwidth = 40\n[stations.front_right]\nrelief = 20\n", OutOfRange)
        assert error.key == "stations.front_right.relief"

    def test_a_class_without_bent_axles(self) -> None:
        error = refusal("[setup]\nbent_axles = false\n[axles.front_left]\nbend = 1\n", OutOfRange)
        assert error.key == "axles.front_left.bend"

    def test_a_bend_that_is_fitted_nowhere_harms_nobody(self) -> None:
        text = "[setup]\nbent_axles = false\n[axles.spare]\nbend = 1\n[axles.a]\n" + "".join(
            f'[stations.{station.value}]\naxle = "a"\n' for station in STATIONS
        )
        assert not car(text).bent_axles

    def test_the_holes_lie_in_the_body(self) -> None:
        assert refusal("[body]\nlength = 150\nwheelbase = 151\n", OutOfRange).key == "body.wheelbase"


class TestTheFile:
    """From a path to a car."""

    def test_is_read_and_named_in_messages(self, tmp_path: Path) -> None:
        path = tmp_path / "wren.toml"
        path.write_text(F + 'name = "Wren"\n', encoding="utf-8")
        assert read_car(path).name == "Wren"
        assert read_car(str(path)).name == "Wren"
        path.write_text(F + "[body]\nwidth = 1e9\n", encoding="utf-8")
        with pytest.raises(OutOfRange) as caught:
            read_car(path)
        assert str(caught.value).startswith("wren.toml: body.width: ")

    @pytest.mark.parametrize("prefix", ["", "\ufeff"])
    @pytest.mark.parametrize("end", ["\n", "\r\n"])
    def test_byte_order_mark_and_line_ends_of_other_systems(
        self, prefix: str, end: str, tmp_path: Path
    ) -> None:
        path = tmp_path / "wren.toml"
        path.write_bytes(f'{prefix}format = 1{end}name = "Zaunkönig"{end}'.encode())
        assert read_car(path).name == "Zaunkönig"

    @pytest.mark.parametrize("path", ["", "a\0b", "no/such/folder/car.toml", "x" * 5000])
    def test_odd_paths_give_one_line(self, path: str) -> None:
        with pytest.raises(InputError) as caught:
            read_car(path)
        assert len(str(caught.value).splitlines()) == 1
        assert len(str(caught.value)) < 200

    def test_reading_a_car_does_not_load_heavy_libraries(self) -> None:
        code = (
            "import sys; from rollwright.car import parse_car; parse_car('format = 1'); "
            "print(sorted({'numpy', 'scipy', 'tomlkit', 'json'} & set(sys.modules)))"
        )
        done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
        assert done.stdout.strip() == "[]"


class TestStarter:
    """The file that a builder starts from."""

    def uncommented(self) -> str:
        lines = starter_text().splitlines()
        keys = [line for line in lines if line.startswith("# ") and _is_key(line[2:])]
        assert len(keys) > 40
        return "\n".join(line[2:] if line in keys else line for line in lines)

    def values(self, found: Car) -> dict[str, object]:
        parts: list[Any] = [found.body, found.rail, found.board, *found.corners.values()]
        parts += [*found.wheels.values(), *found.axles.values()]
        return {
            f"{index}.{name}": _value(getattr(part, name))
            for index, part in enumerate(parts)
            for name in part.__slots__
        }

    def test_is_a_car_that_is_all_assumed(self) -> None:
        found = parse_car(starter_text(name="Wren"))
        assert found.name == "Wren"
        assert set(car("").assumed) <= set(found.assumed)

    def test_stands_for_the_same_car_as_an_empty_file(self) -> None:
        found = self.values(parse_car(starter_text()))
        plain = self.values(car("[axles.standard]\n[axles.front_left]\n"))
        assert found == plain

    def test_taking_every_mark_off_gives_the_same_car(self) -> None:
        before, after = parse_car(starter_text()), parse_car(self.uncommented())
        assert self.values(after) == self.values(before)
        assert (after.targets, after.dominant) == (before.targets, before.dominant)
        said = {name for name in after.assumed if not name.startswith(("stations.", "axles.front_left."))}
        assert said == set()

    def test_names_every_key(self) -> None:
        text = starter_text()
        for _, _, keys in SECTIONS:
            for key in keys:
                assert f"# {key.name} = " in text or f"#   {key.name}: " in text
                assert key.help in text
                for meaning in (key.plus, key.minus):
                    assert meaning in text

    def test_is_short_enough_to_enjoy(self) -> None:
        lines = starter_text().splitlines()
        assert len(lines) <= 100
        assert max(map(len, lines)) <= 120

    @pytest.mark.parametrize("name", ['Two "quotes"', "back\\slash", "Zaunkönig", "[body]", "# no remark"])
    def test_any_name_that_can_be_shown(self, name: str) -> None:
        assert parse_car(starter_text(name=name)).name == name

    @pytest.mark.parametrize("name", ["", "  ", "a\nb", "x" * 81, "\x1b"])
    def test_other_names_are_refused(self, name: str) -> None:
        with pytest.raises(WrongType):
            starter_text(name=name)


def _is_key(line: str) -> bool:
    name, equals, _ = line.partition(" = ")
    return bool(equals) and name.isidentifier()


def _value(held: object) -> object:
    if isinstance(held, Quantity):
        return round(held.value, 15)
    if isinstance(held, tuple):
        return tuple(_value(part) for part in held)
    return held

"""Reading a readings file: every kind, its keys, its defaults, and the hand."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from rollwright.car.dimensions import dimension_names
from rollwright.car.model import Seat, Station
from rollwright.errors import InputError, OutOfRange, ReadingUnusable, WrongType
from rollwright.quantity import Quantity, Source
from rollwright.setup.hand import Hand
from rollwright.setup.reading_keys import HAND_KEYS, KIND_HELP, READING_KEYS, keys_of
from rollwright.setup.readings import (
    DEFAULT_UNCERTAINTY,
    Reading,
    ReadingKind,
    parse_readings,
    read_readings,
)

F = "format = 1\n"
MM, DEG = 1e-3, math.pi / 180.0
NEEDED = {
    ReadingKind.RAIL_CLEARANCE: 'station = "rear_left"\n',
    ReadingKind.ROLL_CLEARANCE: 'station = "rear_left"\n',
    ReadingKind.DAYLIGHT: 'station = "rear_left"\n',
    ReadingKind.SIZE: 'dimension = "rail.width"\n',
}


def one(lines: str) -> Reading:
    (reading,) = parse_readings(f"{F}[[reading]]\n{lines}\n").readings
    return reading


def refusal(lines: str, kind: type[InputError] = InputError) -> InputError:
    with pytest.raises(kind) as caught:
        one(lines)
    return caught.value


@pytest.mark.parametrize("kind", ReadingKind)
class TestEachKind:
    """What all kinds of reading have in common."""

    def test_one_value(self, kind: ReadingKind) -> None:
        reading = one(f'kind = "{kind.value}"\nvalue = 20\nuncertainty = 0.04\n{NEEDED.get(kind, "")}')
        assert reading.kind is kind
        assert reading.quantity.value == pytest.approx(20 * MM, rel=1e-15)
        assert reading.quantity.uncertainty == pytest.approx(0.04 * MM, rel=1e-15)
        assert reading.quantity.source is Source.MEASURED
        assert reading.quantity.repeats == (reading.quantity.value,)
        assert reading.where == f"reading 1 ({kind.words})"
        assert f"{reading.where}.uncertainty" not in reading.assumed

    def test_repeats(self, kind: ReadingKind) -> None:
        reading = one(
            f'kind = "{kind.value}"\nvalues = [20, 21, 22]\nuncertainty = 0.4\n{NEEDED.get(kind, "")}'
        )
        assert reading.quantity.value == pytest.approx(21 * MM)
        # s = 1 mm, three readings, and the gauge's own 0.4 mm that no repeat removes (JCGM 100:2008, 4.2.3).
        assert reading.quantity.uncertainty == pytest.approx(math.hypot(1 / math.sqrt(3), 0.4) * MM)
        assert len(reading.quantity.repeats) == 3

    def test_an_unsaid_uncertainty_is_assumed_and_named(self, kind: ReadingKind) -> None:
        reading = one(f'kind = "{kind.value}"\nvalue = 20\n{NEEDED.get(kind, "")}')
        assert reading.quantity.uncertainty == DEFAULT_UNCERTAINTY[kind]
        assert f"{reading.where}.uncertainty" in reading.assumed

    def test_exactly_one_form(self, kind: ReadingKind) -> None:
        more = NEEDED.get(kind, "")
        assert "no value" in refusal(f'kind = "{kind.value}"\n{more}', ReadingUnusable).problem
        error = refusal(f'kind = "{kind.value}"\nvalue = 20\nvalues = [20]\n{more}', ReadingUnusable)
        assert "exactly one" in error.mend

    def test_its_keys_and_no_others(self, kind: ReadingKind) -> None:
        allowed = {key.name for key in keys_of(kind)}
        for key in READING_KEYS:
            if key.name not in allowed:
                error = refusal(f'kind = "{kind.value}"\nvalue = 20\n{key.name} = 1\n{NEEDED.get(kind, "")}')
                assert error.key == f"reading 1 ({kind.words}).{key.name}"
                assert error.problem == "this key is not known"

    def test_has_words_of_its_own(self, kind: ReadingKind) -> None:
        assert len(KIND_HELP[kind]) > 20


class TestDrift:
    """Drift: signed or by its side, as one number, repeats or a trace."""

    @pytest.mark.parametrize(
        ("written", "value"),
        [("-90", -0.09), ('"90 mm right"', -0.09), ('"3 in left"', 0.0762), ('"right 90"', -0.09)],
    )
    def test_by_sign_or_side(self, written: str, value: float) -> None:
        assert one(f'kind = "drift"\nvalue = {written}').quantity.value == pytest.approx(value)
        repeats = one(f'kind = "drift"\nvalues = [{written}, {written}]').quantity
        assert repeats.value == pytest.approx(value)

    def test_over_the_board_or_over_a_distance(self) -> None:
        assert one('kind = "drift"\nvalue = -60').distance is None
        assert one('kind = "drift"\nvalue = -60\ndistance = "80 cm"').distance == pytest.approx(0.8)
        error = refusal('kind = "drift"\nvalue = -900\ndistance = 800', OutOfRange)
        assert error.key == "reading 1 (drift).value"

    def test_as_a_trace(self) -> None:
        reading = one(
            'kind = "drift"\ntrace = [[0, 2], [300, "5 mm right"], ["0.6 m", -20], [900, -45]]\n'
            "uncertainty = 1"
        )
        expected = ((0.0, 0.002), (0.3, -0.005), (0.6, -0.02), (0.9, -0.045))
        assert [part for point in reading.trace for part in point] == pytest.approx(
            [part for point in expected for part in point]
        )
        assert reading.quantity.value == pytest.approx(-0.045)
        assert reading.quantity.uncertainty == pytest.approx(0.001)

    @pytest.mark.parametrize(
        "trace", ["[]", "[[0, 1], [5, 2]]", "[[0, 1], [5, 2], [5, 3]]", "[[0, 1], [5, 2], [9]]", "[1, 2, 3]"]
    )
    def test_a_trace_needs_three_places(self, trace: str) -> None:
        assert refusal(f'kind = "drift"\ntrace = {trace}', ReadingUnusable).key == "reading 1 (drift).trace"


class TestOtherKinds:
    """What single kinds say of themselves."""

    def test_block_offset(self) -> None:
        plain = one('kind = "block_offset"\nvalue = 0.3')
        assert (plain.width, plain.seat) == (None, None)
        assert plain.thickness == pytest.approx(12 * MM)
        assert "reading 1 (block offset).thickness" in plain.assumed
        full = one('kind = "block_offset"\nvalue = 0.3\nthickness = 9\nwidth = "45.5 mm"\nseat = "head"')
        assert (full.thickness, full.width) == pytest.approx((9 * MM, 45.5 * MM))
        assert full.seat is Seat.HEAD
        assert "reading 1 (block offset).thickness" not in full.assumed

    def test_daylight(self) -> None:
        plain = one('kind = "daylight"\nvalue = 0.3\nstation = "rear_right"')
        assert plain.station is Station.REAR_RIGHT
        assert (plain.plane, plain.against) == ("cant", 0.0)
        assert plain.distance == pytest.approx(30 * MM)
        assert "reading 1 (daylight).distance" in plain.assumed
        full = one(
            'kind = "daylight"\nvalue = 0.3\nstation = "rear_right"\nplane = "sweep"\n'
            "against = -2.5\ndistance = 25"
        )
        assert full.plane == "sweep"
        assert full.against == pytest.approx(-2.5 * DEG)
        assert full.distance == pytest.approx(25 * MM)
        for limit in (45, -45):
            assert abs(one(f'kind = "daylight"\nvalue = 0\nstation = "rear_left"\nagainst = {limit}').against)
        error = refusal('kind = "daylight"\nvalue = 0\nstation = "rear_left"\nagainst = 46', OutOfRange)
        assert error.key == "reading 1 (daylight).against"

    def test_tip_sweep(self) -> None:
        plain = one('kind = "tip_sweep"\nvalue = 1.8')
        assert plain.station is None
        assert "reading 1 (tip sweep).distance" in plain.assumed
        assert one('kind = "tip_sweep"\nvalue = 1.8\nstation = "front_left"').station is Station.FRONT_LEFT
        assert refusal('kind = "tip_sweep"\nvalue = -1.8', OutOfRange).key == "reading 1 (tip sweep).value"

    @pytest.mark.parametrize(
        "needs", [ReadingKind.RAIL_CLEARANCE, ReadingKind.ROLL_CLEARANCE, ReadingKind.DAYLIGHT]
    )
    def test_a_station_where_one_is_needed(self, needs: ReadingKind) -> None:
        error = refusal(f'kind = "{needs.value}"\nvalue = 1', ReadingUnusable)
        assert "station = one of" in error.mend

    @pytest.mark.parametrize("dimension", dimension_names())
    def test_size_of_every_dimension_within_its_range(self, dimension: str) -> None:
        angle = dimension.rpartition(".")[2] in {"cant", "sweep", "clock", "bend"}
        value = (
            2.0 if angle else {"body.wheelbase": 120, "board.length": 900, "body.width": 40}.get(dimension, 5)
        )
        reading = one(f'kind = "size"\ndimension = "{dimension}"\nvalue = {value}')
        assert reading.dimension == dimension
        assert reading.quantity.value == pytest.approx(value * (DEG if angle else MM))
        assert reading.quantity.uncertainty == pytest.approx(0.2 * DEG if angle else 0.02 * MM)
        error = refusal(f'kind = "size"\ndimension = "{dimension}"\nvalue = {181 if angle else 20001}')
        assert error.key == "reading 1 (size).value"

    def test_size_in_inches_by_mistake(self) -> None:
        error = refusal('kind = "size"\ndimension = "body.wheelbase"\nvalues = [4.88, 4.9]', OutOfRange)
        assert '"4.88 in"' in error.mend

    def test_set_ups_and_notes(self) -> None:
        reading = one(
            'kind = "rail_offset"\nvalue = 0.1\nset_up = "plate A"\ncommon = 0.05\nnote = "after sanding"\n'
            'instrument = "feeler"'
        )
        assert reading.set_up == "plate A"
        assert reading.common == pytest.approx(0.05 * MM)
        assert one('kind = "rail_offset"\nvalue = 0.1').set_up == ""
        for name in ("set_up", "instrument", "note"):
            error = refusal(f'kind = "rail_offset"\nvalue = 0.1\n{name} = 5', WrongType)
            assert error.key == f"reading 1 (rail offset).{name}"


class TestTheFile:
    """From a path to readings."""

    def test_order_is_kept_and_counted(self) -> None:
        found = parse_readings(
            F + '[[reading]]\nkind = "drift"\nvalue = -60\n[[reading]]\nkind = "rail_offset"\nvalue = 0\n'
        )
        assert [reading.where for reading in found.readings] == [
            "reading 1 (drift)",
            "reading 2 (rail offset)",
        ]

    def test_none_at_all(self) -> None:
        found = parse_readings(F + 'car = "Wren"\n')
        assert found.readings == ()
        assert found.hand == Hand()

    def test_is_named_in_messages(self, tmp_path: Path) -> None:
        path = tmp_path / "evening.toml"
        path.write_text(F + '[[reading]]\nkind = "drift"\nvalue = "3 g"\n', encoding="utf-8")
        with pytest.raises(InputError) as caught:
            read_readings(path)
        assert str(caught.value).startswith("evening.toml: reading 1 (drift).value: ")
        path.write_text(F + '[[reading]]\nkind = "drift"\nvalue = -60\n', encoding="utf-8")
        assert len(read_readings(path).readings) == 1

    def test_a_missing_file_is_not_offered_a_new_car(self, tmp_path: Path) -> None:
        with pytest.raises(InputError) as caught:
            read_readings(tmp_path / "none.toml")
        assert "rollwright new" not in caught.value.mend

    @pytest.mark.parametrize("heading", ["body", "wheels.a", "axles.a", "stations.rear_left"])
    def test_a_car_file_is_known_as_one(self, heading: str) -> None:
        with pytest.raises(WrongType) as caught:
            parse_readings(f"{F}[{heading}]\n")
        assert "this is a car file" in caught.value.problem


class TestHand:
    """How closely the builder's hand hits what it is asked."""

    def test_keys_are_those_of_the_hand(self) -> None:
        assert (*HAND_KEYS, "factors") == Hand.__slots__

    def test_is_read_and_the_rest_kept(self) -> None:
        hand = parse_readings(F + '[hand]\nbend = 0.2\nrelief = "2 thou"\n').hand
        assert hand.bend == pytest.approx(0.2 * DEG)
        assert hand.relief == pytest.approx(2 * 25.4e-6)
        assert (hand.turn, hand.washer, hand.shim) == (Hand().turn, Hand().washer, Hand().shim)

    @pytest.mark.parametrize("name", list(HAND_KEYS))
    @pytest.mark.parametrize("value", [0, -1, 1e-300, 1e5, "'3 g'", "[1]"])
    def test_is_a_size_that_a_hand_can_have(self, name: str, value: object) -> None:
        with pytest.raises(InputError) as caught:
            parse_readings(f"{F}[hand]\n{name} = {value}\n")
        assert caught.value.key == f"hand.{name}"


@pytest.mark.parametrize(
    ("kind", "written", "millimetres"),
    [
        ("height_difference", "0.2 mm nose low", -0.2),
        ("height_difference", "8 thou nose high", 0.2032),
        ("height_difference", "8 thou high", 0.2032),
        ("height_difference", "1/64 in low", -0.396875),
        ("rail_offset", "0.4 mm off", 0.4),
        ("rail_offset", "16 thou off the rail", 0.4064),
        ("rail_offset", "0.3 mm too far in", -0.3),
        ("rail_offset", "0.3 mm in", -0.3),
        ("block_offset", "1/32 in off", 0.79375),
        # The last word is the unit and no side.
        ("rail_offset", "0.02 in", 0.508),
    ],
)
def test_a_side_may_be_said_in_the_words_that_are_printed(
    kind: str, written: str, millimetres: float
) -> None:
    text = f'format = 1\n[[reading]]\nkind = "{kind}"\nvalue = "{written}"\nuncertainty = 0.04\n'
    (reading,) = parse_readings(text).readings
    assert reading.quantity.value * 1e3 == pytest.approx(millimetres, abs=1e-12)


def test_a_sign_and_a_word_for_it_are_refused() -> None:
    text = 'format = 1\n[[reading]]\nkind = "height_difference"\nvalue = "-0.2 mm nose low"\n'
    with pytest.raises(InputError, match="a sign and a word"):
        parse_readings(text)


def test_the_car_that_the_readings_are_of_is_kept() -> None:
    assert parse_readings('format = 1\ncar = "Wren"\n').car == "Wren"
    assert parse_readings("format = 1\n").car == ""


def test_repeats_that_scatter_far_beyond_their_gauge_count_by_their_scatter() -> None:
    def read(kind: str, values: str) -> Quantity:
        text = f'format = 1\n[[reading]]\nkind = "{kind}"\nvalues = {values}\nuncertainty = 0.02\n'
        return parse_readings(text).readings[0].quantity

    # A standard deviation of 0.1 mm, five times the gauge's.
    wild = read("height_difference", "[0.1, 0.2, 0.3]")
    assert wild.value == pytest.approx(0.2e-3)
    assert wild.uncertainty == pytest.approx(math.hypot(0.1e-3, 0.02e-3))
    # A car does not drift alike twice, so that the mean of many runs is better than one of them.
    drift = read("drift", "[0.1, 0.2, 0.3]")
    assert drift.uncertainty == pytest.approx(math.hypot(0.1e-3 / math.sqrt(3.0), 0.02e-3))

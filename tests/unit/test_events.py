"""Events of the log: what they hold, how they are written, and what they refuse."""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest

from rollwright.bench.codec import GENESIS, body_of, entry_of, event_of, recorded
from rollwright.bench.events import (
    EVENTS,
    Adjustment,
    Bend,
    CarStarted,
    ClassChosen,
    Clearance,
    DaylightCheck,
    Event,
    Fitted,
    HoleDrilled,
    Inspected,
    Note,
    PartFitted,
    PartLeftOff,
    Photo,
    Plane,
    ReadingTaken,
    Retired,
    Sand,
    ScaleReading,
    Seen,
    Shim,
    Size,
    SlowRoll,
    SlowRollSeen,
    StartedFrom,
    Turn,
    Washer,
    Weighed,
    Withdrawn,
)
from rollwright.bench.refusals import EntryUnreadable, NewerEntry
from rollwright.car.model import Seat, Station
from rollwright.errors import InputError
from rollwright.judge.class_rules import Rule
from rollwright.scenario.club import file_text
from rollwright.setup.reading_keys import READING_KEYS, ReadingKind
from rollwright.setup.readings import parse_readings

FRONT = Station.FRONT_LEFT
MM = 1e-3
DEG = math.pi / 180.0
ID = "0123456789abcdef" * 2

# Each beside its written form, worked out by hand from the page on the log's format.
WRITTEN: list[tuple[Event, str]] = [
    (
        CarStarted(source=StartedFrom.PLAN, car_file='name = "Lark"\n', class_name="open"),
        (
            '{"car_file":"name = \\"Lark\\"\\n","class_name":"open","event":"car_started",'
            '"source":"plan","version":1}'
        ),
    ),
    (
        ClassChosen(class_file='name = "open"\n'),
        '{"class_file":"name = \\"open\\"\\n","event":"class_chosen","version":1}',
    ),
    (
        HoleDrilled(station=Station.REAR_LEFT, hole_height=0.009, cant=0.05),
        '{"cant":0.05,"event":"hole_drilled","hole_height":0.009,"station":"rear_left","version":1}',
    ),
    (
        DaylightCheck(
            station=Station.REAR_RIGHT,
            plane=Plane.SWEEP,
            seen=Seen.FEELER,
            size=-0.00015,
            distance=0.03,
            uncertainty=5e-05,
        ),
        (
            '{"distance":0.03,"event":"daylight_check","plane":"sweep","seen":"feeler","size":-0.00015,'
            '"station":"rear_right","uncertainty":5e-05,"version":1}'
        ),
    ),
    (
        PartFitted(
            part=Fitted.WHEEL,
            name="club",
            station=FRONT,
            sizes=(Size(name="diameter", value=0.0321, uncertainty=3e-05),),
        ),
        (
            '{"event":"part_fitted","name":"club","part":"wheel","sizes":[{"name":"diameter",'
            '"uncertainty":3e-05,"value":0.0321}],"station":"front_left","version":1}'
        ),
    ),
    (
        PartLeftOff(part=Fitted.SHIELD, reason="none in this class"),
        '{"event":"part_left_off","part":"shield","reason":"none in this class","version":1}',
    ),
    (
        Bend(station=FRONT, asked=0.01, done=0.0125, uncertainty=0.002, instrument="pliers"),
        (
            '{"asked":0.01,"done":0.0125,"event":"bend","instrument":"pliers","station":"front_left",'
            '"uncertainty":0.002,"version":1}'
        ),
    ),
    (Turn(station=FRONT, asked=-0.1), '{"asked":-0.1,"event":"turn","station":"front_left","version":1}'),
    (Sand(station=FRONT, done=0.0), '{"done":0.0,"event":"sand","station":"front_left","version":1}'),
    (Washer(station=FRONT), '{"event":"washer","station":"front_left","version":1}'),
    (
        Shim(station=Station.REAR_LEFT, done=0.0003, note="card\nboth sides"),
        '{"done":0.0003,"event":"shim","note":"card\\nboth sides","station":"rear_left","version":1}',
    ),
    (
        ReadingTaken(reading=ReadingKind.DRIFT, values=(-0.112, -0.109), written="112 mm right, 109"),
        (
            '{"event":"reading","reading":"drift","values":[-0.112,-0.109],"version":1,'
            '"written":"112 mm right, 109"}'
        ),
    ),
    (
        ScaleReading(where=Weighed.WHOLE, mass=0.1405, uncertainty=0.0001, instrument="scale 2"),
        (
            '{"event":"scale_reading","instrument":"scale 2","mass":0.1405,"uncertainty":0.0001,"version":1,'
            '"where":"whole"}'
        ),
    ),
    (
        SlowRoll(seen=SlowRollSeen.TAIL_LEFT, clearances=(Clearance(station=FRONT, gap=0.0),), lane="lane 3"),
        (
            '{"clearances":[{"gap":0.0,"station":"front_left"}],"event":"slow_roll","lane":"lane 3",'
            '"seen":"tail_left","version":1}'
        ),
    ),
    (
        Inspected(rule=Rule.LENGTH, value=0.171, uncertainty=0.0001, written="171 mm"),
        (
            '{"event":"inspected","rule":"length","uncertainty":0.0001,"value":0.171,"version":1,'
            '"written":"171 mm"}'
        ),
    ),
    (Retired(reason="sold"), '{"event":"retired","reason":"sold","version":1}'),
    (
        Withdrawn(entry=ID, reason="wrong car"),
        f'{{"entry":"{ID}","event":"withdrawn","reason":"wrong car","version":1}}',
    ),
    (Note(text="Ærlig talt – 12 µm"), '{"event":"note","text":"Ærlig talt – 12 µm","version":1}'),
    (
        Photo(sha256="ab" * 32, media_type="image/jpeg"),
        f'{{"event":"photo","media_type":"image/jpeg","sha256":"{"ab" * 32}","version":1}}',
    ),
]


def _reading(**fields: Any) -> ReadingTaken:
    usual: dict[str, Any] = {"reading": ReadingKind.DRIFT, "values": (0.1,)}
    return ReadingTaken(**usual | fields)


def _daylight(**fields: Any) -> DaylightCheck:
    usual: dict[str, Any] = {"station": FRONT, "plane": Plane.CANT, "seen": Seen.NONE}
    return DaylightCheck(**usual | fields)


def _fitted(**fields: Any) -> PartFitted:
    usual: dict[str, Any] = {"part": Fitted.WHEEL, "name": "club", "station": FRONT}
    return PartFitted(**usual | fields)


class TestWrittenForm:
    @pytest.mark.parametrize(("event", "body"), WRITTEN, ids=[event.kind for event, _ in WRITTEN])
    def test_is_the_one_that_the_format_page_lays_down(self, event: Event, body: str) -> None:
        assert body_of(event) == body
        assert event_of(body) == event

    def test_every_kind_stands_in_the_table_above(self) -> None:
        assert {event.kind for event, _ in WRITTEN} == set(EVENTS)

    def test_no_kind_has_a_field_that_would_hide_its_kind_or_version(self) -> None:
        for event in EVENTS.values():
            assert not {"event", "version"} & {field.name for field in dataclasses.fields(event)}

    def test_minus_zero_and_whole_numbers_have_one_form(self) -> None:
        assert body_of(_reading(values=[-0.0, 1])) == body_of(_reading(values=(0.0, 1.0)))

    def test_what_a_file_of_readings_holds_can_be_entered_as_it_was_read(self) -> None:
        for reading in parse_readings(file_text("lark-readings.toml")).readings:
            taken = ReadingTaken(
                reading=reading.kind,
                values=reading.quantity.repeats,
                uncertainty=reading.quantity.uncertainty,
                station=reading.station,
            )
            assert event_of(body_of(taken)) == taken

    def test_every_key_of_a_readings_file_has_a_field(self) -> None:
        # The kind has another name here because every event has a kind, and one value is one of several.
        keys = {key.name for key in READING_KEYS} - {"kind", "value"} | {"reading", "written"}
        assert {field.name for field in dataclasses.fields(ReadingTaken)} == keys

    def test_nothing_can_be_changed(self) -> None:
        with pytest.raises(dataclasses.FrozenInstanceError):
            Note(text="a").text = "b"  # type: ignore[misc]


class TestWhatIsAllowed:
    def test_a_move_whose_amount_nobody_knows(self) -> None:
        for kind in (Bend, Turn, Sand, Washer, Shim):
            event: Adjustment = kind(station=FRONT)
            assert (event.asked, event.done) == (None, None)

    def test_daylight_that_was_only_seen(self) -> None:
        assert _daylight(seen=Seen.SEEN).size is None

    def test_a_trace_without_values(self) -> None:
        trace = ((0.0, 0.0), (0.5, -0.02), (1.0, -0.11))
        assert _reading(values=(), trace=trace).trace == trace

    def test_a_block_reading_says_how_the_wheel_was_held(self) -> None:
        taken = _reading(reading=ReadingKind.BLOCK_OFFSET, values=(MM,), thickness=12 * MM, seat=Seat.HEAD)
        assert event_of(body_of(taken)) == taken

    def test_a_text_as_a_telephone_types_it(self) -> None:
        for text in ("12\u00a0mm", "two\r\nlines\tand a tab", "🛞 holds"):
            assert event_of(body_of(Note(text=text))) == Note(text=text)


REFUSED: list[tuple[str, Callable[[], object], str]] = [
    ("text for a number", lambda: Bend(station=FRONT, asked="1"), "bend.asked: '1' is not a number"),  # type: ignore[arg-type]
    ("yes for a number", lambda: Bend(station=FRONT, asked=True), "bend.asked: True is not a number"),
    ("not a number", lambda: Bend(station=FRONT, done=math.nan), "bend.done: nan is outside"),
    ("endless", lambda: ScaleReading(where=Weighed.FRONT, mass=math.inf), "scale_reading.mass: inf kg"),
    ("a mountain", lambda: _reading(values=(10**400,)), "reading.values[0]: 1000"),
    ("no mass", lambda: ScaleReading(where=Weighed.FRONT, mass=0.0), "more than 0 and at most 100 kg"),
    ("word for a station", lambda: Turn(station="front_left"), "turn.station: 'front_left' is not one"),  # type: ignore[arg-type]
    ("wood that grows", lambda: Sand(station=FRONT, done=-0.1 * MM), "sand.done: -0.0001 m is outside"),
    ("millimetres", lambda: Washer(station=FRONT, asked=0.5), "washer.asked: 0.5 m is outside"),
    ("degrees", lambda: Bend(station=FRONT, asked=5.0), "bend.asked: 5 rad is outside"),
    ("unsure of nothing", lambda: Bend(station=FRONT, uncertainty=0.1), "bend.uncertainty: "),
    ("empty note", lambda: Note(text=" \n"), "note.text: the text is empty"),
    ("long note", lambda: Note(text="x" * 1001), "note.text: the text has 1001 characters"),
    ("bell", lambda: Note(text="ring\a"), "note.text: 'ring\\x07' holds characters"),
    ("half a letter", lambda: Note(text="\ud800"), "note.text: "),
    ("line separator", lambda: Note(text="a\u2028b"), "note.text: "),
    ("two lines in a name", lambda: _fitted(name="a\nb"), "part_fitted.name: "),
    ("bytes", lambda: Note(text=b"x"), "note.text: b'x' is not a text"),  # type: ignore[arg-type]
    ("no list", lambda: _reading(values=0.1), "reading.values: 0.1 is not a list"),
    ("too many", lambda: _reading(values=[0.1] * 1001), "reading.values: 1001 values"),
    ("lone point", lambda: _reading(values=(), trace=((0.0,),)), "reading.trace[0]: 1 values"),
    ("two points", lambda: _reading(values=(), trace=((0.0, 0.0), (1.0, 0.0))), "reading.trace: "),
    ("no number", lambda: _reading(values=()), "reading: a reading has either"),
    ("two numbers", lambda: _reading(trace=((0.0, 0.0), (0.5, 0.0), (1.0, 0.0))), "reading: a reading has"),
    ("drift at a wheel", lambda: _reading(station=FRONT), "reading.station: a reading of drift has no"),
    ("daylight nowhere", lambda: _reading(reading=ReadingKind.DAYLIGHT), "needs its station"),
    ("size of nothing", lambda: _reading(reading=ReadingKind.SIZE), "needs its dimension"),
    ("drift of a size", lambda: _reading(dimension="body.width"), "reading.dimension: only a size"),
    ("shared by nobody", lambda: _reading(common=1e-4), "reading.common: a common uncertainty"),
    ("unmeasured size", lambda: _daylight(seen=Seen.SEEN, size=MM), "daylight_check.size: a size stands"),
    ("measured, no size", lambda: _daylight(seen=Seen.ANGLE), "daylight_check.size: daylight was measured"),
    ("steep", lambda: _daylight(seen=Seen.ANGLE, size=4.0), "daylight_check.size: 4 rad"),
    ("wheel in a pocket", lambda: _fitted(station=None, pocket="nose"), "part_fitted.station: a wheel needs"),
    ("weight at a wheel", lambda: _fitted(part=Fitted.WEIGHT), "part_fitted.pocket: a weight needs"),
    ("bore of an axle", lambda: _fitted(part=Fitted.AXLE, sizes=(Size(name="bore", value=MM),)), "has no"),
    ("same size twice", lambda: _fitted(sizes=(Size(name="bore", value=MM),) * 2), "bore stands twice"),
    ("wheel of no size", lambda: _fitted(sizes=(Size(name="bore", value=0.0),)), "sizes.bore: 0 m"),
    ("half a size", lambda: _fitted(sizes=({"name": "bore"},)), "part_fitted.sizes[0]: "),
    (
        "two gaps at a wheel",
        lambda: SlowRoll(seen=SlowRollSeen.HOLDS, clearances=(Clearance(station=FRONT, gap=MM),) * 2),
        "slow_roll.clearances: a station has two",
    ),
    ("a mass by gauge", lambda: Inspected(rule=Rule.MASS, value=0.1), "inspected.rule: a mass is read by"),
    ("length by eye", lambda: Inspected(rule=Rule.LENGTH, found="long"), "inspected.value: the length is a"),
    ("unseen oil", lambda: Inspected(rule=Rule.LUBRICANT), "inspected.found: lubricant: this is looked at"),
    ("curly", lambda: Inspected(rule=Rule.BENT_AXLES, found="curly"), "inspected.found: 'curly' is not what"),
    ("wheel of none", lambda: Inspected(rule=Rule.WHEEL_DIAMETER, value=MM), "inspected.station: a wheel's"),
    (
        "length of a wheel",
        lambda: Inspected(rule=Rule.LENGTH, value=MM, station=FRONT),
        "inspected.station: a wheel's",
    ),
    (
        "unsure of a look",
        lambda: Inspected(rule=Rule.AERODYNAMIC_PARTS, found="none", uncertainty=0.1),
        "inspected.uncertainty: ",
    ),
    ("short id", lambda: Withdrawn(entry="abc", reason="x"), "withdrawn.entry: 'abc' is not of the right"),
    ("capital id", lambda: Withdrawn(entry=ID.upper(), reason="x"), "withdrawn.entry: "),
    ("a film", lambda: Photo(sha256="ab" * 32, media_type="video/mp4"), "photo.media_type: "),
]


class TestRefusals:
    @pytest.mark.parametrize(("make", "expected"), [row[1:] for row in REFUSED], ids=[r[0] for r in REFUSED])
    def test_one_line_names_the_field_and_the_mend(self, make: Callable[[], object], expected: str) -> None:
        with pytest.raises(InputError) as caught:
            make()
        line = str(caught.value)
        assert expected in line
        assert line.isprintable()
        assert caught.value.mend in line

    def test_only_kinds_of_the_list_can_be_written(self) -> None:
        with pytest.raises(EntryUnreadable, match="Adjustment is no kind of event"):
            body_of(Adjustment(station=FRONT))


UNREADABLE: list[tuple[str, str, type[InputError], str]] = [
    ("newer kind", '{"event":"laser_scan","version":1}', NewerEntry, "update rollwright"),
    ("newer version", '{"event":"note","text":"a","version":2}', NewerEntry, "version 2 of note"),
    ("newer version of other fields", '{"event":"note","mood":1,"version":2}', NewerEntry, "update"),
    ("version zero", '{"event":"note","text":"a","version":0}', EntryUnreadable, "never had a version 0"),
    ("version in words", '{"event":"note","text":"a","version":"1"}', EntryUnreadable, "does not say"),
    ("version of yes", '{"event":"note","text":"a","version":true}', EntryUnreadable, "does not say"),
    ("no kind", '{"text":"a","version":1}', EntryUnreadable, "does not say its kind"),
    (
        "unknown field",
        '{"event":"note","mood":1,"text":"a","version":1}',
        InputError,
        "'mood' is not a field",
    ),
    ("missing field", '{"event":"note","version":1}', EntryUnreadable, "note: text is missing"),
    ("unknown word", '{"event":"turn","station":"middle","version":1}', InputError, "turn.station: 'middle'"),
    ("number for a word", '{"event":"turn","station":3,"version":1}', InputError, "turn.station: 3"),
    ("spaces", '{"event": "note","text":"a","version":1}', EntryUnreadable, "is not as rollwright writes it"),
    ("keys twice", '{"event":"note","text":"a","text":"b","version":1}', EntryUnreadable, "is not as"),
    ("not a number", '{"event":"turn","asked":NaN,"version":1}', EntryUnreadable, "is not as"),
    ("beyond floats", '{"asked":1e999,"event":"turn","version":1}', EntryUnreadable, "is not as"),
    ("digits without end", '{"asked":' + "9" * 5000 + "}", EntryUnreadable, "is not as"),
    ("bottomless", "[" * 100_000, EntryUnreadable, "is not as"),
    ("a list", "[1]", EntryUnreadable, "is not as"),
    ("no JSON", "hello", EntryUnreadable, "is not as"),
    ("half a size", '{"event":"part_fitted","sizes":[3],"version":1}', EntryUnreadable, "3 is not a table"),
    ("sizes of text", '{"event":"part_fitted","sizes":"x","version":1}', InputError, "'x' is not a list"),
]


class TestReading:
    @pytest.mark.parametrize(
        ("body", "reason", "expected"), [row[1:] for row in UNREADABLE], ids=[row[0] for row in UNREADABLE]
    )
    def test_one_line_says_why_a_body_cannot_be_read(
        self, body: str, reason: type[InputError], expected: str
    ) -> None:
        with pytest.raises(reason) as caught:
            event_of(body)
        line = str(caught.value)
        assert expected in line
        assert len(line) < 300
        assert line.isprintable()


def _entry_fields(**fields: Any) -> dict[str, Any]:
    now = datetime(2026, 5, 4, 14, 2, 11, 5, tzinfo=timezone(timedelta(hours=2)))
    return {
        "event_id": ID,
        "car": "LARK",
        "time": now,
        "author": "Ada",
        "device": "tablet",
        "program": "0.1.0",
    } | fields


class TestEnvelope:
    def test_the_line_is_canonical_with_the_hash_behind(self) -> None:
        entry = entry_of(Note(text="a"), **_entry_fields()).sealed(seq=1, previous=GENESIS)
        assert entry.line == (
            '{"author":"Ada","body":{"event":"note","text":"a","version":1},"car":"LARK","device":"tablet",'
            f'"id":"{ID}","offset":7200,"previous":"{GENESIS}","program":"0.1.0","seq":1,'
            f'"time":"2026-05-04T12:02:11.000005Z","hash":"{entry.hash}"}}'
        )
        plain = json.loads(entry.open_line)
        assert entry.open_line == json.dumps(plain, sort_keys=True, separators=(",", ":"))

    def test_the_time_comes_back_with_its_offset(self) -> None:
        for zone in (UTC, timezone(timedelta(hours=-3, minutes=-30)), timezone(timedelta(seconds=12345))):
            time = datetime(2026, 3, 29, 2, 30, 0, 123456, tzinfo=zone)
            back = recorded(entry_of(Note(text="a"), **_entry_fields(time=time)), before="").time
            assert back == time
            assert back.utcoffset() == time.utcoffset()

    @pytest.mark.parametrize(
        ("fields", "expected"),
        [
            ({"event_id": "x"}, "id: 'x' is not of the right form"),
            ({"car": "Lark on tour"}, "car: 'Lark on tour' is not of the right form"),
            ({"car": "-x"}, "car: '-x'"),
            ({"car": "x" * 25}, "car: the text has 25 characters"),
            ({"car": "Ålesund"}, "car: "),
            ({"author": ""}, "author: the text is empty"),
            ({"device": "a\tb"}, "device: "),
            ({"time": datetime(2026, 5, 4, 12, 0)}, "time: 2026-05-04 12:00:00 does not say its offset"),  # noqa: DTZ001
            ({"time": datetime(1969, 12, 31, tzinfo=UTC)}, "time: 1969-12-31"),
            ({"time": datetime.max.replace(tzinfo=timezone(timedelta(hours=-9)))}, "time: 9999-12-31"),
            (
                {"time": datetime(2026, 5, 4, tzinfo=timezone(timedelta(microseconds=1)))},
                "time: the offset from UTC is no whole second",
            ),
        ],
    )
    def test_one_line_says_what_cannot_be(self, fields: dict[str, Any], expected: str) -> None:
        with pytest.raises(InputError) as caught:
            entry_of(Note(text="a"), **_entry_fields(**fields))
        assert str(caught.value).startswith(expected)


class TestFormatPage:
    @pytest.mark.parametrize("kind", EVENTS)
    def test_names_every_kind_and_every_field(self, kind: str) -> None:
        page = (Path(__file__).parents[2] / "docs" / "log-format.md").read_text(encoding="utf-8")
        (row,) = [line for line in page.splitlines() if line.startswith(f"| `{kind}` |")]
        if kind in {"turn", "sand", "washer", "shim"}:
            assert "the same" in row
            return
        for field in dataclasses.fields(EVENTS[kind]):
            assert f"`{field.name}`" in row

"""What the log keeps beside readings and moves: words to SI, and entries that are all or none."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from rollwright.bench import (
    ClassChosen,
    DaylightCheck,
    Event,
    HoleDrilled,
    Inspected,
    PartFitted,
    PartLeftOff,
    Photo,
    Plane,
    ReadingTaken,
    Recorded,
    ScaleReading,
    Seen,
    SlowRoll,
    Store,
    Weighed,
)
from rollwright.bench.fold import Gate
from rollwright.bench.store import LARGEST_PHOTO
from rollwright.car.model import Station
from rollwright.cli.log_part_words import (
    aim_of,
    daylight_of,
    gap_of,
    part_size_of,
    place_of,
    reach_of,
)
from rollwright.errors import FileUnwritable, InputError
from rollwright.judge.class_rules import Rule
from rollwright.scenario.club import file_text
from rollwright.workbench import log, log_entry, log_gates, log_parts, log_past, log_photos
from rollwright.workbench.log_enter import stamps
from rollwright.workbench.log_reading import reading_event

DEG = math.pi / 180.0
MM = 1e-3
OUNCE = 28.349523125e-3
LEFT, RIGHT = Station.FRONT_LEFT, Station.FRONT_RIGHT
REAR_LEFT = Station.REAR_LEFT
JPEG = b"\xff\xd8\xff\xe0" + b"a picture of a car" * 9
_count = 0


def stamp() -> log.Stamp:
    global _count  # noqa: PLW0603 - ids must differ between all entries of a test run
    _count += 1
    return log.Stamp(
        time=datetime(2026, 5, 4, 19, 0, tzinfo=UTC) + timedelta(minutes=_count),
        author="Ada",
        event_id=f"{_count:032x}",
    )


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    for name in ("lark.toml", "bittern.toml", "class-plain.toml", "class-open.toml"):
        (tmp_path / name).write_text(file_text(name), encoding="utf-8")
    path = tmp_path / "bench.log"
    log.start(path, tmp_path / "lark.toml", car=None, stamp=stamp())
    return path


def events(bench: Path, car: str = "lark") -> list[Event]:
    with Store.open(bench) as store:
        return [entry.event for entry in store.events(car)]


def last(bench: Path) -> Any:
    return events(bench)[-1]


@pytest.mark.parametrize(
    ("plane", "written", "seen", "size"),
    [
        ("cant", "none", "none", None),
        ("sweep", "Seen", "seen", None),
        # Outer end up is positive cant, outer end forward positive sweep.
        ("cant", "0.15 mm up", "feeler", 0.15 * MM),
        ("cant", "0.15 mm down", "feeler", -0.15 * MM),
        ("sweep", "6 thou forward", "feeler", 0.1524 * MM),
        ("sweep", "6 thou backward", "feeler", -0.1524 * MM),
        ("cant", "0.4 deg up", "angle", 0.4 * DEG),
        ("sweep", "0,4° backwards", "angle", -0.4 * DEG),
        ("sweep", "24' FORWARD", "angle", 0.4 * DEG),
    ],
)
def test_daylight_has_the_sign_that_its_way_means(
    plane: str, written: str, seen: str, size: float | None
) -> None:
    found = daylight_of(plane, written)
    assert found.seen == seen
    assert found.size == (None if size is None else pytest.approx(size, rel=1e-12))


@pytest.mark.parametrize(
    ("name", "written", "value"),
    [
        ("hole_height", "9.4", 9.4 * MM),
        ("hole_height", "-2 mm", -2 * MM),
        ("cant", "2.5 deg up", 2.5 * DEG),
        ("cant", "2.5 down", -2.5 * DEG),
        ("cant", "-2.5", -2.5 * DEG),
        ("sweep", "1 deg forward", 1.0 * DEG),
        ("sweep", "1 deg backward", -1.0 * DEG),
        ("sweep", "0", 0.0),
    ],
)
def test_an_aim_has_the_sign_of_its_way_or_its_own(name: str, written: str, value: float) -> None:
    assert aim_of(name, written) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("name", "written", "value", "uncertainty"),
    [
        ("diameter", "32.1", 32.1 * MM, None),
        ("diameter", "32.1 ± 0.02 mm", 32.1 * MM, 0.02 * MM),
        ("diameter", "1 1/4 in +/- 2 thou", 31.75 * MM, 0.0508 * MM),
        ("hub_projection", "-0.3 mm ± 0.05", -0.3 * MM, 0.05 * MM),
        ("bend", "2.6 ± 0.2 deg", 2.6 * DEG, 0.2 * DEG),
        ("mass", "1 oz", OUNCE, None),
        ("inertia", "350 mm2*g", 3.5e-7, None),
        ("x", "-20", -20 * MM, None),
    ],
)
def test_a_parts_size_may_say_how_well_it_is_known(
    name: str, written: str, value: float, uncertainty: float | None
) -> None:
    found, spread = part_size_of(name, written)
    assert found == pytest.approx(value, rel=1e-12)
    assert spread == (None if uncertainty is None else pytest.approx(uncertainty, rel=1e-12))


@pytest.mark.parametrize(
    ("written", "station", "gap"),
    [
        ("rear_left 0.4 mm", REAR_LEFT, 0.4 * MM),
        ("Rear left 16 thou", REAR_LEFT, 0.4064 * MM),
        ("front-right 0", RIGHT, 0.0),
    ],
)
def test_a_gap_is_said_with_its_wheel(written: str, station: Station, gap: float) -> None:
    found = gap_of(written)
    assert found[0] is station
    assert found[1] == pytest.approx(gap, rel=1e-12)


@pytest.mark.parametrize(
    ("written", "reach"),
    [("12", 12 * MM), ("-3 mm", -3 * MM), ("3 mm short", -3 * MM), ("3 mm past the line", 3 * MM)],
)
def test_a_reach_is_positive_past_the_line(written: str, reach: float) -> None:
    assert reach_of(written, key="weight behind") == pytest.approx(reach, rel=1e-12)


def test_a_shield_is_at_a_wheel_or_in_a_pocket_and_a_weight_in_a_pocket() -> None:
    assert place_of("shield", "front left") is LEFT
    assert place_of("shield", "tail") == "tail"
    assert place_of("weight", "rear_left") == "rear_left"
    assert place_of("wheel", None) is None
    with pytest.raises(InputError, match="WHERE: 'tail' is not a wheel"):
        place_of("axle", "tail")


@pytest.mark.parametrize(
    ("points", "trace"),
    [
        (
            ["300 mm 4 mm right", "600 12.5 right", "900, 0"],
            ((0.3, -0.004), (0.6, -0.0125), (0.9, 0.0)),
        ),
        (
            ["1 1/2 ft 1/4 in left", "24 in 1/2 in left", "36 in -1 in"],
            ((0.4572, 0.00635), (0.6096, 0.0127), (0.9144, -0.0254)),
        ),
    ],
)
def test_a_trace_is_kept_point_by_point_positive_to_the_left(
    points: Sequence[str], trace: tuple[tuple[float, float], ...]
) -> None:
    found = reading_event("drift", [], {}, trace=points)
    assert found.values == ()
    assert found.written == "; ".join(points)
    for read, wanted in zip(found.trace, trace, strict=True):
        assert read == pytest.approx(wanted, rel=1e-12)


def test_a_drilled_hole_keeps_what_was_aimed_at(bench: Path) -> None:
    log_entry.drill(
        bench, "lark", [LEFT], aims={"cant": 1.0 * DEG}, instrument="jig", remark="new bit", stamp=stamp()
    )
    assert last(bench) == HoleDrilled(station=LEFT, cant=1.0 * DEG, instrument="jig", note="new bit")


def test_all_holes_are_four_entries_with_ids_of_their_own(bench: Path) -> None:
    given = stamp()
    found = log_entry.drill(bench, "LARK", list(Station), stamp=given)
    assert [entry.seq for entry in found.entries] == [2, 3, 4, 5]
    assert [entry.event for entry in found.entries] == [HoleDrilled(station=each) for each in Station]
    assert found.entries[0].id == given.event_id
    assert len({entry.id for entry in found.entries}) == 4
    assert found.last.entry.seq == 5


def test_the_ids_of_one_command_follow_from_its_first() -> None:
    given = stamp()
    assert stamps(given, 1) == [given]
    ids = [each.event_id for each in stamps(given, 3)]
    assert ids == [each.event_id for each in stamps(given, 3)]
    assert ids[1] == hashlib.sha256(f"{given.event_id} 1".encode()).hexdigest()[:32]


def test_entries_of_one_command_are_all_in_or_none(bench: Path) -> None:
    given = stamp()
    taken = stamps(given, 3)[2]
    log.note(bench, "lark", "its id is the third one's", stamp=taken)
    with pytest.raises(InputError):
        log_entry.drill(bench, "lark", list(Station), stamp=given)
    assert len(events(bench)) == 2


def test_a_pin_keeps_gap_distance_and_way(bench: Path) -> None:
    log_entry.pin(
        bench,
        "lark",
        REAR_LEFT,
        Plane.SWEEP,
        Seen.FEELER,
        size=-0.1 * MM,
        distance=40 * MM,
        uncertainty=0.02 * MM,
        written="0.1 mm backward",
        stamp=stamp(),
    )
    assert last(bench) == DaylightCheck(
        station=REAR_LEFT,
        plane=Plane.SWEEP,
        seen=Seen.FEELER,
        size=-0.1 * MM,
        distance=40 * MM,
        uncertainty=0.02 * MM,
        written="0.1 mm backward",
    )


def test_fit_all_enters_what_the_file_lists_once(bench: Path) -> None:
    found = log_parts.fit_all(bench, "lark", stamp=stamp())
    fitted = [(each.event.part.value, each.event.name) for each in parts(found.entries)]
    assert fitted == [
        *[("wheel", "club")] * 4,
        *[("axle", "straight")] * 2,
        *(("axle", "steering"), ("axle", "straight")),
        ("weight", "slug"),
    ]
    assert all(not each.event.sizes for each in parts(found.entries))
    weight = parts(found.entries)[-1].event
    assert (weight.pocket, weight.station) == ("slug", None)
    again = log_parts.fit_all(bench, "lark", stamp=stamp())
    assert again.entries == ()
    assert len(events(bench)) == 1 + len(found.entries)


def parts(entries: Sequence[Recorded]) -> list[Any]:
    assert all(isinstance(each.event, PartFitted) for each in entries)
    return list(entries)


def test_fit_all_adds_washers_where_the_file_has_any(bench: Path) -> None:
    log.start(bench, bench.with_name("bittern.toml"), car=None, stamp=stamp())
    found = log_parts.fit_all(bench, "bittern", stamp=stamp())
    # Bittern's file has a washer at its dominant wheel, the front right one.
    washers = [each.event for each in parts(found.entries) if each.event.part.value == "washer"]
    assert [(each.station, each.sizes) for each in washers] == [(RIGHT, ())]


def test_fit_all_says_the_present_total_of_washers_that_a_hand_changed(bench: Path) -> None:
    log.start(bench, bench.with_name("bittern.toml"), car=None, stamp=stamp())
    filed = log_gates.where(bench, "bittern").found
    thick = filed.known.car.corners[RIGHT].washer.value
    log.did(bench, "bittern", "washer", RIGHT, amount=0.25e-3, stamp=stamp())
    before = log_gates.where(bench, "bittern").found
    fitted = log_parts.fit_all(bench, "bittern", remark="by hand", stamp=stamp())
    (washers,) = [each.event for each in parts(fitted.entries) if each.event.part.value == "washer"]
    assert washers.note == f"by hand; {(thick + 0.25e-3) * 1e3:.2f} mm in all, as changed before"
    # Nothing was measured, so that nothing is known better or worse.
    assert fitted.found is not None
    assert fitted.found.known.prior.mean == pytest.approx(before.known.prior.mean)
    assert fitted.found.known.prior.root.shape == before.known.prior.root.shape


def test_fit_all_leaves_off_washers_that_a_hand_took_out(bench: Path) -> None:
    log.start(bench, bench.with_name("bittern.toml"), car=None, stamp=stamp())
    thick = log_gates.where(bench, "bittern").found.known.car.corners[RIGHT].washer.value
    log.did(bench, "bittern", "washer", RIGHT, amount=-thick, stamp=stamp())
    fitted = log_parts.fit_all(bench, "bittern", stamp=stamp())
    (washers,) = [each.event for each in fitted.entries if isinstance(each.event, PartLeftOff)]
    assert (washers.kind, washers.reason) == ("part_left_off", "taken out before")
    assert fitted.found is not None
    assert fitted.found.gates[Gate.TRIM].passed


def test_fit_all_counts_only_what_still_counts(bench: Path) -> None:
    log_parts.fit(bench, "lark", log_parts.Fitted.WHEEL, where=LEFT, sizes={}, stamp=stamp())
    log_parts.leave_off(bench, "lark", log_parts.Fitted.WEIGHT, where="slug", reason="light", stamp=stamp())
    first = log_parts.fit_all(bench, "lark", stamp=stamp())
    assert len(first.entries) == 7
    assert (log_parts.Fitted.WHEEL, LEFT) not in [
        (each.event.part, each.event.station) for each in parts(first.entries)
    ]
    log_past.undo(bench, "lark", 3, reason="it is in after all", stamp=stamp())
    second = log_parts.fit_all(bench, "lark", stamp=stamp())
    assert [each.event.name for each in parts(second.entries)] == ["slug"]


@pytest.mark.parametrize(
    ("part", "where", "name", "wanted"),
    [
        ("wheel", LEFT, "", "club"),
        ("axle", LEFT, "", "steering"),
        ("axle", RIGHT, "spare 3", "spare 3"),
        ("washer", RIGHT, "", "washers"),
        ("weight", None, "", "slug"),
        ("weight", "slug", "", "slug"),
        ("weight", "nose", "putty", "putty"),
        ("shield", "tail", "", "shield"),
    ],
)
def test_a_part_is_called_as_the_file_calls_it(
    bench: Path, part: str, where: Station | str | None, name: str, wanted: str
) -> None:
    found = log_parts.fit(
        bench, "lark", log_parts.Fitted(part), where=where, name=name, sizes={}, stamp=stamp()
    )
    (fitted,) = parts([found.entry])
    assert fitted.event.name == wanted
    assert fitted.event.pocket == (
        ("slug" if where is None else where) if isinstance(where, str | None) else ""
    )


def test_a_weight_in_a_pocket_of_another_name_must_be_named(bench: Path) -> None:
    with pytest.raises(InputError, match="slug"):
        log_parts.fit(bench, "lark", log_parts.Fitted.WEIGHT, where="nose", sizes={}, stamp=stamp())


def test_a_weight_that_is_left_off_is_named_as_the_file_names_it(bench: Path) -> None:
    for where in ("slug", None):
        log_parts.leave_off(bench, "lark", log_parts.Fitted.WEIGHT, where=where, reason="x", stamp=stamp())
        assert last(bench).name == "slug"
    log_parts.leave_off(bench, "lark", log_parts.Fitted.WHEEL, where=RIGHT, reason="x", stamp=stamp())
    assert last(bench) == PartLeftOff(part=log_parts.Fitted.WHEEL, station=RIGHT, reason="x")


def test_a_mass_of_no_car_is_refused_with_the_unit_that_was_meant(bench: Path) -> None:
    log_entry.weigh(bench, "lark", Weighed.FRONT, 46.2e-3, written="46.2", stamp=stamp())
    assert last(bench) == ScaleReading(where=Weighed.FRONT, mass=46.2e-3, written="46.2")
    with pytest.raises(InputError, match=r"4\.98 oz"):
        log_entry.weigh(bench, "lark", Weighed.WHOLE, 4.98e-3, written="4.98", stamp=stamp())


def test_a_size_in_inches_is_known_for_one(bench: Path) -> None:
    with pytest.raises(InputError, match='if it is in inches write "7 in"'):
        log_entry.inspect(bench, "lark", Rule.LENGTH, value=7 * MM, written="7", stamp=stamp())
    log_entry.inspect(bench, "lark", Rule.WEIGHT_BEHIND, value=-3 * MM, written="-3", stamp=stamp())
    assert last(bench) == Inspected(rule=Rule.WEIGHT_BEHIND, value=-3 * MM, written="-3")


def test_a_slow_roll_keeps_gaps_and_lane(bench: Path) -> None:
    log.roll(bench, "lark", "holds", gaps=[(REAR_LEFT, 1.4 * MM)], lane="lane 2", stamp=stamp())
    found = last(bench)
    assert isinstance(found, SlowRoll)
    assert [(each.station, each.gap) for each in found.clearances] == [(REAR_LEFT, 1.4 * MM)]
    assert found.lane == "lane 2"


def test_a_class_is_kept_whole_and_replaced_by_a_later_one(bench: Path) -> None:
    for name in ("class-plain.toml", "class-open.toml"):
        log_entry.choose_class(bench, "lark", bench.with_name(name), stamp=stamp())
    assert events(bench)[1:] == [
        ClassChosen(class_file=file_text("class-plain.toml")),
        ClassChosen(class_file=file_text("class-open.toml")),
    ]


def test_a_car_may_start_with_its_class(bench: Path) -> None:
    found = log.start(
        bench,
        bench.with_name("lark.toml"),
        car="second",
        class_file=bench.with_name("class-plain.toml"),
        stamp=stamp(),
    )
    started, chosen = events(bench, "second")
    assert started.as_plain()["class_name"] == "Tannery Lane plain-body class"
    assert isinstance(chosen, ClassChosen)
    assert found.chosen is not None
    assert found.as_json()["class_entry"] == found.entry.seq + 1


def test_a_start_with_an_unusable_class_leaves_nothing(bench: Path) -> None:
    bench.with_name("wrong.toml").write_text("format = 1\n", encoding="utf-8")
    new = bench.with_name("new.log")
    with pytest.raises(InputError, match=r"wrong\.toml"):
        log.start(
            new,
            bench.with_name("lark.toml"),
            car=None,
            class_file=bench.with_name("wrong.toml"),
            stamp=stamp(),
        )
    assert not new.exists()


# First bytes as their specifications have them: ITU-T T.81, W3C PNG, GIF89a, RFC 9649, ISO/IEC 23008-12.
PICTURES = {
    "image/jpeg": JPEG,
    "image/png": b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR",
    "image/gif": b"GIF89a\x01\x00\x01\x00",
    "image/webp": b"RIFF\x24\x00\x00\x00WEBPVP8 ",
    "image/heic": b"\x00\x00\x00\x18ftypmif1\x00\x00\x00\x00mif1heic\x00\x00\x00\x00meta",
}


@pytest.mark.parametrize("media_type", PICTURES)
def test_a_photo_is_known_by_its_first_bytes_and_comes_out_as_it_went_in(
    bench: Path, media_type: str
) -> None:
    file = bench.with_name("IMG 1.data")
    file.write_bytes(PICTURES[media_type])
    log_photos.photo(bench, "lark", file, caption="the front axle", stamp=stamp())
    assert last(bench) == Photo(
        sha256=hashlib.sha256(PICTURES[media_type]).hexdigest(),
        media_type=media_type,
        caption="the front axle",
    )
    folder = bench.with_name("out")
    found = log_photos.photos(bench, "lark", folder)
    (name,) = found.written
    assert name.startswith("lark-2.")
    assert (folder / name).read_bytes() == PICTURES[media_type]
    again = log_photos.photos(bench, "lark", folder)
    assert (again.written, again.kept) == ((), (name,))


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"II*\x00 a TIFF",
        b"format = 1\n",
        b"RIFF\x24\x00\x00\x00WAVEfmt ",
        b"\x00\x00\x00\x18ftypmp42\x00\x00\x00\x00mp42isom",
        JPEG + bytes(LARGEST_PHOTO),
    ],
)
def test_what_is_no_photo_is_refused_and_leaves_no_entry(bench: Path, data: bytes) -> None:
    file = bench.with_name("car.jpg")
    file.write_bytes(data)
    with pytest.raises(InputError, match=r"car\.jpg"):
        log_photos.photo(bench, "lark", file, stamp=stamp())
    assert len(events(bench)) == 1


def test_photos_are_never_written_over_a_file(bench: Path) -> None:
    file, folder = bench.with_name("a.jpg"), bench.with_name("out")
    file.write_bytes(JPEG)
    log_photos.photo(bench, "lark", file, stamp=stamp())
    file.write_bytes(JPEG + b"2")
    log_photos.photo(bench, "lark", file, stamp=stamp())
    folder.mkdir()
    (folder / "lark-3.jpg").write_text("my own", encoding="utf-8")
    with pytest.raises(FileUnwritable, match=r"lark-3\.jpg"):
        log_photos.photos(bench, "lark", folder)
    assert [each.name for each in folder.iterdir()] == ["lark-3.jpg"]
    assert (folder / "lark-3.jpg").read_text(encoding="utf-8") == "my own"


def test_a_withdrawn_photo_stays_in_the_log(bench: Path) -> None:
    file = bench.with_name("a.jpg")
    file.write_bytes(JPEG)
    log_photos.photo(bench, "lark", file, stamp=stamp())
    log_past.undo(bench, "lark", 2, reason="blurred", stamp=stamp())
    assert log_photos.photos(bench, "lark", bench.with_name("out")).written == ()
    assert not bench.with_name("out").exists()


def test_a_retired_car_takes_photos_and_nothing_else(bench: Path) -> None:
    log.retire(bench, "lark", "it won", stamp=stamp())
    file = bench.with_name("a.jpg")
    file.write_bytes(JPEG)
    log_photos.photo(bench, "lark", file, stamp=stamp())
    with pytest.raises(InputError, match="retired"):
        log_entry.drill(bench, "lark", list(Station), stamp=stamp())
    with pytest.raises(InputError, match="retired"):
        log_parts.fit_all(bench, "lark", stamp=stamp())


def test_a_readings_trace_and_its_values_exclude_each_other() -> None:
    points = ["300 4 right", "600 12 right", "900 30 right"]
    assert isinstance(reading_event("drift", [], {}, trace=points), ReadingTaken)
    for values, trace in ((["90 mm right"], points), ([], [])):
        with pytest.raises(InputError):
            reading_event("drift", values, {}, trace=trace)

"""The gates that are lists, in one line and line by line: what fails first, then what is still to be read."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from rollwright.bench.events import (
    Bend,
    ClassChosen,
    DaylightCheck,
    Event,
    Fitted,
    HoleDrilled,
    Inspected,
    PartFitted,
    PartLeftOff,
    Plane,
    ReadingTaken,
    ScaleReading,
    Seen,
    Size,
    Weighed,
)
from rollwright.bench.fold import Gate
from rollwright.bench.store import Store
from rollwright.car.model import Station
from rollwright.cli.log_inspect import show_inspection, show_list
from rollwright.cli.log_lists import item_line, list_line
from rollwright.cli.log_page import AGAIN, NEVER, LogPage
from rollwright.judge.class_rules import Rule
from rollwright.setup.reading_keys import ReadingKind
from rollwright.units import System
from tests.unit.fold_bench import DEG, FRONT_LEFT, MM, folded, log

REAR_LEFT = Station.REAR_LEFT
CLASS = ClassChosen(
    class_file="""
format = 1
name = "Sunday class"
[rules.mass]
most = 140
[rules.width]
most = 72
[rules.wheelbase]
least = 110
most = 130
[rules.ground_clearance]
least = 6.2
[rules.bent_axles]
allowed = false
"""
)
SEEN_ALL: list[Event] = [
    CLASS,
    ScaleReading(where=Weighed.WHOLE, mass=0.1376, uncertainty=1e-4),
    Inspected(rule=Rule.WIDTH, value=0.067, uncertainty=1e-4),
    Inspected(rule=Rule.WHEELBASE, value=0.1242, uncertainty=1e-4),
    Inspected(rule=Rule.GROUND_CLEARANCE, value=0.0069, uncertainty=5e-5),
    Inspected(rule=Rule.BENT_AXLES, found="straight"),
]
ASSUMED = " (tolerance assumed: say what your class or plan allows under [drill])"
PASS, FAIL, UNCLEAR = "✓", "⊂", "◐"


def size(plane: str, value: float, station: Station = REAR_LEFT) -> ReadingTaken:
    """Return a sharp reading of a hole [deg]."""
    return ReadingTaken(
        reading=ReadingKind.SIZE,
        dimension=f"{station.value}.{plane}",
        values=(value * DEG,),
        uncertainty=0.05 * DEG,
    )


HOLES: list[Event] = [
    size(plane, 2.5 if plane == "cant" and not station.is_front else 0.0, station)
    for station in (REAR_LEFT, Station.REAR_RIGHT, FRONT_LEFT)
    for plane in ("cant", "sweep")
]
LEFT_OFF: list[Event] = [
    PartLeftOff(part=part, reason="tried without") for part in (Fitted.WHEEL, Fitted.AXLE, Fitted.WEIGHT)
]


def line(gate: Gate, *events: Event, system: System = System.METRIC) -> tuple[str, str]:
    found = folded(*events)
    mark, text = list_line(LogPage(system=system), found.gates[gate], chosen=found.rules is not None)
    return mark, " ".join(text.replace("\N{NO-BREAK SPACE}", " ").split())


def lines(gate: Gate, *events: Event, margin: bool = False, system: System = System.METRIC) -> list[str]:
    page = LogPage(system=system)
    each = [item_line(page, item, margin=margin) for item in folded(*events).gates[gate].items]
    return [f"{mark} {text}".replace("\N{NO-BREAK SPACE}", " ") for mark, text in each]


@pytest.mark.parametrize(
    ("gate", "said"),
    [
        (Gate.DRILL, "drill never read"),
        (Gate.TRIM, "trim nothing entered yet"),
        (Gate.INSPECT, "inspect no class chosen"),
    ],
)
def test_what_nobody_looked_at_is_said_so(gate: Gate, said: str) -> None:
    assert line(gate) == (NEVER, said)


def test_a_class_without_a_reading_is_never_read() -> None:
    assert line(Gate.INSPECT, CLASS) == (NEVER, "inspect never read")


def test_what_is_well_is_counted() -> None:
    # The pair's heading follows from both rear sweeps, and nobody looked at it.
    assert line(Gate.DRILL, *HOLES) == (PASS, "drill holds: 6 of 6 looked at, all inside")
    assert line(Gate.TRIM, *LEFT_OFF) == (PASS, "trim holds: 9 of 9 fitted or left off")
    assert line(Gate.INSPECT, *SEEN_ALL) == (PASS, "inspect holds: 5 of 5 rules kept")


def test_the_list_grows_by_nothing_that_is_entered() -> None:
    said = [line(Gate.DRILL, *HOLES[:count])[1] for count in range(1, len(HOLES))]
    assert [text.split("; ")[0] for text in said] == [
        f"drill {count} of 6 looked at and inside" for count in range(1, len(HOLES))
    ]
    # The file of this car has no washers, so that these are one part more.
    washers = PartFitted(part=Fitted.WASHER, name="washers", station=FRONT_LEFT)
    assert line(Gate.TRIM, washers)[1].startswith("trim 0 of 9, and 1 more fitted or left off; still: ")
    assert line(Gate.TRIM, *LEFT_OFF, washers) == (PASS, "trim holds: 9 of 9, and 1 more fitted or left off")


def test_what_is_predicted_to_hold_is_not_said_to_hold() -> None:
    light = PartFitted(part=Fitted.WASHER, name="washers", station=FRONT_LEFT)
    mark, text = line(Gate.INSPECT, *SEEN_ALL, light)
    assert (mark, text) == (PASS, "inspect predicted to hold: 5 of 5 rules kept")


def test_a_failure_comes_first_with_what_was_found_and_what_is_allowed() -> None:
    mark, text = line(Gate.DRILL, *HOLES[:4], size("cant", 4.0, FRONT_LEFT))
    assert mark == FAIL
    assert text == f"drill front left cant 4.00 ± 0.05° off, up, ± 0.50°{ASSUMED}"
    heavy = ScaleReading(where=Weighed.WHOLE, mass=0.1424, uncertainty=1e-4)
    assert line(Gate.INSPECT, *SEEN_ALL, heavy)[1] == "inspect mass 142.40 ± 0.10 g, at most 140.0 g"
    bent = Inspected(rule=Rule.BENT_AXLES, found="bent")
    assert line(Gate.INSPECT, *SEEN_ALL, bent) == (FAIL, "inspect bent axles: bent")


def test_no_more_than_two_failures_are_named() -> None:
    off = [size("cant", 4.0), size("sweep", 1.0), size("cant", 4.0, Station.REAR_RIGHT)]
    text = line(Gate.DRILL, *off)[1]
    assert text.startswith("drill rear left cant ")
    assert "rear left sweep" in text
    # What is remarked on several is said once.
    assert text.endswith(f"; 1 more{ASSUMED}")


def test_what_must_be_read_again_is_named_with_its_reason() -> None:
    drilled = HoleDrilled(station=FRONT_LEFT)
    mark, text = line(Gate.INSPECT, *SEEN_ALL, drilled)
    assert mark == AGAIN
    assert text == "inspect read again: wheelbase, since the hole drilled at front left (entry 8)"
    bend = Bend(station=FRONT_LEFT, asked=0.1 * DEG)
    shield = PartFitted(part=Fitted.SHIELD, name="fender", station=FRONT_LEFT)
    many = line(Gate.INSPECT, *SEEN_ALL, drilled, bend, shield)[1]
    assert many.endswith("; 3 more")


def test_a_mass_that_is_expected_to_break_the_rule_stands_beside_the_limit() -> None:
    plug = PartFitted(
        part=Fitted.WEIGHT,
        name="plug",
        pocket="nose",
        sizes=(
            Size(name="mass", value=6e-3, uncertainty=1e-4),
            Size(name="x", value=0.05),
            Size(name="y", value=0.0),
        ),
    )
    # 137.6 g and 6 g; two uncertainties of 0.1 g.
    said = "since the weight plug fitted (entry 8), expected 143.60 ± 0.14 g, most 140.0 g"
    assert line(Gate.INSPECT, *SEEN_ALL, plug) == (AGAIN, f"inspect read again: mass, {said}")
    assert lines(Gate.INSPECT, *SEEN_ALL, plug)[0] == f"{AGAIN} mass: read again, {said}"


def test_what_is_still_to_be_read_is_named_and_many_are_counted() -> None:
    mark, text = line(Gate.DRILL, *HOLES[:5])
    assert mark == UNCLEAR
    assert text == "drill 5 of 6 looked at and inside; still: front left sweep"
    one = PartFitted(part=Fitted.WHEEL, name="club", station=REAR_LEFT)
    assert line(Gate.TRIM, one)[1] == (
        "trim 1 of 9 fitted or left off; still: rear left axle, rear right wheel, rear right axle, 5 more"
    )


def test_what_cannot_be_told_yet_says_how_likely_it_is() -> None:
    near = ScaleReading(where=Weighed.WHOLE, mass=0.13995, uncertainty=1e-4)
    mark, text = line(Gate.INSPECT, *SEEN_ALL, near)
    assert mark == UNCLEAR
    assert "mass 139.95 ± 0.10 g, at most 140.0 g: cannot tell yet (69 % inside)" in text
    daylight = DaylightCheck(station=REAR_LEFT, plane=Plane.CANT, seen=Seen.SEEN)
    assert "rear left cant: daylight shows and was not measured" in line(Gate.DRILL, daylight)[1]


def test_every_line_has_its_mark_and_its_entry() -> None:
    found = lines(Gate.DRILL, *HOLES[:2], size("cant", 4.0, FRONT_LEFT))
    assert found[0] == f"{PASS} rear left cant 0.00 ± 0.05° off, ± 0.50° (entry 2)"
    assert found[2] == f"{NEVER} rear right cant: never read"
    assert found[4].startswith(f"{FAIL} front left cant 4.00")
    assert found[4].endswith(f"(entry 4){ASSUMED}")
    raised = lines(Gate.DRILL, size("cant", 4.0, Station.FRONT_RIGHT))[-1]
    assert raised.startswith(f"{NEVER} front right cant 4.00 ± 0.05° off, up, ± 0.50° (entry 2)")
    assert raised.endswith("(bad, but its wheel does not carry)")


def test_what_was_said_of_a_part_is_shown() -> None:
    found = lines(Gate.TRIM, PartFitted(part=Fitted.WHEEL, name="club", station=REAR_LEFT), LEFT_OFF[2])
    assert found[0] == f"{PASS} rear left wheel: fitted: club (entry 2)"
    assert found[1] == f"{NEVER} rear left axle: not entered yet"
    assert found[-1] == f"{PASS} weight slug: left off: tried without (entry 3)"


def test_an_inspection_says_how_far_each_is_from_its_nearer_limit() -> None:
    found = lines(Gate.INSPECT, *SEEN_ALL, margin=True)
    assert found[0] == f"{PASS} mass 137.60 ± 0.10 g, at most 140.0 g (entry 3), 2.4 g inside"
    assert found[2].endswith("110.0 mm to 130.0 mm (entry 5), 5.80 mm inside")
    assert found[3].endswith("at least 6.20 mm (entry 6), 0.70 mm inside")
    assert found[4] == f"{PASS} bent axles: straight (entry 7)"
    heavy = ScaleReading(where=Weighed.WHOLE, mass=0.1424, uncertainty=1e-4)
    assert lines(Gate.INSPECT, *SEEN_ALL, heavy, margin=True)[0].endswith("2.4 g outside")


def test_a_prediction_and_a_stale_line_are_said_as_such() -> None:
    washers = PartFitted(part=Fitted.WASHER, name="washers", station=FRONT_LEFT)
    assert lines(Gate.INSPECT, *SEEN_ALL, washers)[0].endswith("(entry 3), predicted to hold")
    bent = Bend(station=FRONT_LEFT, asked=0.1 * DEG)
    assert lines(Gate.INSPECT, *SEEN_ALL, bent)[-1] == (
        f"{AGAIN} bent axles: read again, since the bend at front left (entry 8)"
    )


def test_sizes_are_in_the_readers_units() -> None:
    (mass, *_) = lines(Gate.INSPECT, *SEEN_ALL, system=System.INCH)
    # 140 g is 4.938 oz (an ounce is 28.349 523 125 g, 1959 agreement).
    assert "oz" in mass
    assert "at most 4.94" in mass


# As commands.


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    return tmp_path / "bench.log"


def write(path: Path, *events: Event) -> str:
    with Store.open(path, create=True, program="0.1.0") as store:
        for entry in log(*events):
            store.append(entry.event, event_id=entry.id, car="lark", time=entry.time, author=entry.author)
    return str(path)


HEAVY = ScaleReading(where=Weighed.WHOLE, mass=0.1424, uncertainty=1e-4)


def test_an_inspection_that_fails_ends_with_1_and_one_that_cannot_tell_with_0(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert show_inspection(write(bench, *SEEN_ALL, HEAVY), "lark", units="mm", as_json=False) == 1
    said = capsys.readouterr().out
    assert said.startswith("Lark. The class's rules: Sunday class")
    assert "2.4 g outside" in " ".join(said.split())
    open_ = write(bench.with_name("open.log"), *SEEN_ALL[:3])
    assert show_inspection(open_, "lark", units="mm", as_json=False) == 0


def test_without_a_class_the_way_to_one_is_said(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert show_inspection(write(bench), "lark", units="mm", as_json=False) == 0
    assert "rollwright log class lark CLASS.toml" in capsys.readouterr().out


def test_a_list_as_json_is_in_si_and_has_every_line(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert show_list(write(bench, *SEEN_ALL, HEAVY), "lark", "inspect", units="in", as_json=True) == 1
    found = json.loads(capsys.readouterr().out)
    assert (found["car"], found["gate"], found["class"]) == ("lark", "inspect", "Sunday class")
    assert (found["standing"], found["state"], found["passed"]) == ("holds", "fail", False)
    mass = found["items"][0]
    assert mass["name"] == "mass"
    assert mass["verdict"]["value"] == pytest.approx(0.1424)
    assert mass["verdict"]["high"] == pytest.approx(0.140)
    assert mass["verdict"]["low"] is None
    assert mass["read_at"] == 8
    axles = found["items"][-1]
    assert (axles["verdict"], axles["found"], axles["passed"]) == (None, "straight", True)


def test_a_drill_list_as_json_has_radians(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    show_list(write(bench, size("cant", 2.6)), "lark", "drill", units="mm", as_json=True)
    (cant, *_) = json.loads(capsys.readouterr().out)["items"]
    assert cant["verdict"]["value"] == pytest.approx(0.1 * DEG)
    assert cant["verdict"]["high"] == pytest.approx(0.5 * DEG)
    assert cant["needed"] is True
    assert MM < cant["verdict"]["high"] < 1.0

"""The parts box: grading, histories, the file, the set and the car that is written with it."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from rollwright.car.file import parse_car
from rollwright.car.model import Station
from rollwright.errors import InputError, OutOfRange
from rollwright.judge.class_file import parse_class
from rollwright.judge.parts import Check, closest_pairs, doubts_of, fit_to_race, grade_axle, grade_wheel
from rollwright.judge.verdict import State
from rollwright.quantity import Quantity
from rollwright.run.track_file import parse_track
from rollwright.scenario.club import file_text
from rollwright.scenario.parts_box import BOX, box_text
from rollwright.setup.parts import Graded, graded, lubricant_of, spin_down_of
from rollwright.setup.parts_set import MatchedSet, matched_set
from rollwright.setup.parts_spread import drawn_in
from rollwright.workbench.parts import Matched, with_parts
from rollwright.workbench.parts_file import parse_parts

MM = 1e-3
LARK = parse_car(file_text("lark.toml"), file="lark.toml")
TRACK = parse_track(file_text("track-tannery.toml"), file="track.toml")


def _q(value: float, spread: float) -> Quantity:
    return Quantity(value=value, uncertainty=spread)


def _wheel_grades(**more: object) -> dict[Check, State | None]:
    given: dict[str, object] = {
        "bore": _q(2.5 * MM, 0.005 * MM),
        "shanks": [_q(2.38 * MM, 0.002 * MM)],
        "diameter": _q(32 * MM, 0.01 * MM),
        "mass": _q(2.7e-3, 1e-5),
        **more,
    }
    return {grade.check: grade.state for grade in grade_wheel(**given)}  # type: ignore[arg-type]  # spelled out above


@pytest.mark.parametrize(
    ("run_out", "state"),
    [(0.02, State.PASS), (0.078, State.UNCLEAR), (0.082, State.UNCLEAR), (0.15, State.FAIL)],
)
def test_run_out_is_judged_with_its_uncertainty(run_out: float, state: State) -> None:
    assert _wheel_grades(run_out=_q(run_out * MM, 0.008 * MM))[Check.RUN_OUT] is state


@pytest.mark.parametrize(
    ("bore", "state"), [(2.39, State.FAIL), (2.41, State.UNCLEAR), (2.5, State.PASS), (2.7, State.FAIL)]
)
def test_a_bore_may_be_neither_tight_nor_wide(bore: float, state: State) -> None:
    assert _wheel_grades(bore=_q(bore * MM, 0.005 * MM))[Check.CLEARANCE] is state


def test_a_bore_is_judged_on_the_pin_that_suits_it_best() -> None:
    pins = [_q(2.38 * MM, 1e-6), _q(2.55 * MM, 1e-6)]
    assert _wheel_grades(bore=_q(2.7 * MM, 1e-6), shanks=pins)[Check.CLEARANCE] is State.PASS


def test_what_nobody_measured_is_doubtful_and_not_unfit() -> None:
    grades = grade_wheel(bore=_q(2.5 * MM, 0), shanks=[], diameter=_q(32 * MM, 0), mass=_q(2.7e-3, 0))
    assert [(grade.check, grade.state) for grade in grades] == [(Check.RUN_OUT, None), (Check.FRICTION, None)]
    assert fit_to_race(grades)
    assert len(doubts_of(grades)) == 2
    assert doubts_of(grade_axle(straightness=_q(0.01 * MM, 0.002 * MM))) == ()
    assert not fit_to_race(grade_axle(straightness=_q(0.1 * MM, 0.002 * MM)))


def test_more_inertia_than_a_hoop_has_cannot_be() -> None:
    hoop = 2.7e-3 * (16 * MM) ** 2
    assert _wheel_grades(inertia=_q(1.2 * hoop, 0.01 * hoop))[Check.INERTIA] is State.FAIL
    assert _wheel_grades(inertia=_q(0.6 * hoop, 0.01 * hoop))[Check.INERTIA] is State.PASS


def test_a_short_hub_lets_a_wheel_wobble() -> None:
    # 0.12 mm over 3 mm is 2.29 degrees; over 8 mm 0.86.
    assert _wheel_grades(hub_length=_q(3 * MM, 0.05 * MM))[Check.WOBBLE] is State.FAIL
    assert _wheel_grades(hub_length=_q(8 * MM, 0.05 * MM))[Check.WOBBLE] is State.PASS


def test_pairs_are_the_closest_first_and_each_wheel_once() -> None:
    sizes = {"a": 32.0, "b": 32.2, "c": 32.01, "d": 32.5, "e": 32.23}
    pairs = closest_pairs({name: _q(size * MM, 0.001 * MM) for name, size in sizes.items()})
    assert [{pair.first, pair.second} for pair in pairs] == [{"a", "c"}, {"b", "e"}]
    assert [pair.state for pair in pairs] == [State.PASS, State.PASS]


HISTORY = """
format = 1
[wheels.one]
diameter = 32
bore = 2.5
mass = 2.7
[[wheels.one.history]]
date = 2026-03-02
what = "spin_down"
friction = { value = 0.11, uncertainty = 0.01 }
lubricant = "dry"
[[wheels.one.history]]
date = "2026-03-01"
what = "polished"
[wheels.two]
diameter = "1.26 in"
bore = 2.5
mass = "0.095 oz"
[[wheels.two.history]]
date = 2026-03-02
what = "spin_down"
friction = { value = 0.12, uncertainty = 0.01 }
lubricant = "oil"
axle = "pin"
[[wheels.two.history]]
date = 2026-03-03
what = "broken_in"
[axles.pin]
shank = 2.38
[washers.thin]
thickness = "10 thou"
count = 3
[weights.disc]
mass = "0.2 oz"
"""


def test_a_box_is_read_with_its_units_and_its_history_in_order() -> None:
    box = parse_parts(HISTORY)
    assert box.wheels["two"].diameter.value == pytest.approx(0.0254 * 1.26)
    assert [each.what for each in box.wheels["one"].history] == ["polished", "spin_down"]
    assert (box.washers[0].count, box.weights[0].count) == (3, 1)
    assert box.washers[0].size.value == pytest.approx(0.254 * MM)
    assert box.axles["pin"].bend.value == 0.0


def test_work_after_a_spin_down_makes_it_of_the_past() -> None:
    box = parse_parts(HISTORY)
    assert spin_down_of(box.wheels["one"], lubricant="dry")[1] is False
    assert spin_down_of(box.wheels["two"], lubricant="oil")[1] is True
    assert spin_down_of(box.wheels["two"], lubricant="dry") == (None, False)
    found = graded(box, lubricant="oil")
    assert found.frictions == {}
    stale = [name for _, name, grade in found.doubtful if grade.stale]
    assert stale == ["two"]


def test_the_lubricant_of_most_spin_downs_counts() -> None:
    box = parse_parts(box_text())
    assert lubricant_of(list(box.wheels.values())) == "dry powder"
    assert lubricant_of([]) == ""
    assert "w12" not in graded(box).frictions
    assert set(graded(box, lubricant="light oil").frictions) == {"w12"}


BAD = [
    ("[wheels.a]\nbore=2.5\nmass=3", "wheels.a.diameter", "diameter = 32.1"),
    ("[wheels.a]\ndiameter=32\nbore=2.5\nmass=3\nrunout=1", "wheels.a.runout", '"run_out"'),
    ('[wheels.a]\ndiameter="32 g"\nbore=2.5\nmass=3', "wheels.a.diameter", "mm"),
    ("[wheels.a]\ndiameter=2.4\nbore=2.5\nmass=3", "wheels.a", ""),
    ("[wheels.a]\ndiameter=32\nbore=2.5\nmass=0", "wheels.a.mass", "weigh"),
    ("[wheels.a]\ndiameter=32\n[wheels.a]\nbore=2", "line", "all its keys under one heading"),
    (
        "[wheels.a]\ndiameter=32\nbore=2.5\nmass=3\n[wheels.A]\ndiameter=32\nbore=2.5\nmass=3",
        "wheels",
        "name of its own",
    ),
    ("[axles.a]\nbend=2", "axles.a.shank", "shank = 2.38"),
    ("[axles.a]\nshank=2.4\n[washers.x]\nthickness=0.2\ncount=1.5", "washers.x.count", "whole number"),
    ("[axles.a]\nshank=2.4\n[washers.x]\ncount=2", "washers.x.thickness", "thickness = 0.2"),
    ("[body]\nlength=10", "", "name the parts file first"),
    ("[washers.x]\nthickness=0.2", "wheels", "[wheels.NAME]"),
    ('[axles.a]\nshank=2.4\nhistory="new"', "axles.a.history", "[[axles.a.history]]"),
    ("[axles.a]\nshank=2.4\n[[axles.a.history]]\nwhat='bent'", "axles.a.history[0].date", "2026-03-14"),
    (
        "[axles.a]\nshank=2.4\n[[axles.a.history]]\ndate='2026-02-30'\nwhat='bent'",
        "axles.a.history[0].date",
        "2026-03-14",
    ),
    (
        "[axles.a]\nshank=2.4\n[[axles.a.history]]\ndate=2026-02-03\nwhat='polishd'",
        "axles.a.history[0].what",
        '"polished"',
    ),
    (
        "[axles.a]\nshank=2.4\n[[axles.a.history]]\ndate=2026-02-03\nwhat='spin_down'",
        "axles.a.history[0].what",
        "under the wheel",
    ),
]
WHEEL = "[wheels.a]\ndiameter=32\nbore=2.5\nmass=3\n[[wheels.a.history]]\ndate=2026-02-03\n"
BAD += [
    (f"{WHEEL}what='spin_down'\nfriction=0.1", "wheels.a.history[0].friction", "uncertainty"),
    (
        f"{WHEEL}what='spin_down'\nfriction={{value=0.1, uncertainty=0}}",
        "wheels.a.history[0].friction",
        "standard uncertainty",
    ),
    (
        f"{WHEEL}what='spin_down'\nfriction={{value=0.1, uncertainty=0.01}}\naxle='x'",
        "wheels.a.history[0].axle",
        "leave axle out",
    ),
    (f"{WHEEL}what='polished'\nfriction={{value=0.1, uncertainty=0.01}}", "wheels.a.history[0].friction", ""),
]


@pytest.mark.parametrize(("text", "key", "mend"), BAD)
def test_a_bad_box_gets_one_clear_line(text: str, key: str, mend: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_parts(f"format = 1\n{text}\n", file="box.toml")
    assert caught.value.file == "box.toml"
    assert caught.value.key.startswith(key)
    assert mend in caught.value.mend
    assert "\n" not in str(caught.value)


def test_the_clubs_box_is_the_one_that_the_seed_makes() -> None:
    assert file_text(BOX) == box_text()
    box = parse_parts(file_text(BOX))
    assert (len(box.wheels), len(box.axles)) == (14, 10)


def test_readings_that_the_gauge_alone_explains_are_drawn_together() -> None:
    noise = drawn_in([_q(value, 1.0) for value in (0.1, -0.3, 0.2, 0.0, -0.1)])
    assert max(abs(noise.values - noise.middle)) < 0.1
    sharp = drawn_in([_q(value, 1e-6) for value in (1.0, 2.0, 4.0)])
    assert sharp.values == pytest.approx([1.0, 2.0, 4.0], abs=1e-5)
    missing = drawn_in([_q(1.0, 0.1), None, _q(2.0, 0.1), _q(3.0, 0.1)])
    assert missing.values[1] == pytest.approx(2.0, abs=0.05)
    assert missing.deviations[1] > 0.8


def _box(change: float = 1.0) -> Graded:
    """Return the club's box, the uncertainty of every friction multiplied."""
    box = parse_parts(box_text())
    wheels = {
        name: replace(
            wheel,
            history=tuple(
                each
                if each.friction is None
                else replace(
                    each, friction=replace(each.friction, uncertainty=change * each.friction.uncertainty)
                )
                for each in wheel.history
            ),
        )
        for name, wheel in box.wheels.items()
    }
    return graded(replace(box, wheels=wheels))


@pytest.fixture(scope="module")
def found() -> MatchedSet:
    return matched_set(LARK, TRACK, _box())


def test_a_set_uses_each_part_once_and_none_that_fails(found: MatchedSet) -> None:
    wheels, axles = zip(*found.fitted.values(), strict=True)
    assert len(set(wheels)) == len(set(axles)) == len(Station)
    assert not {"w09", "a5"} & {*wheels, *axles}
    assert set(found.left_out) == {"wheels.w09", "axles.a5"}
    assert found.exact


def test_the_bent_pin_goes_where_a_pin_is_bent(found: MatchedSet) -> None:
    bent = {station for station, (_, axle) in found.fitted.items() if axle in {"a9", "a10"}}
    assert bent == {Station.FRONT_LEFT}
    assert found.to_be_bent == ()


def test_the_best_wheels_carry_and_the_car_stays_level(found: MatchedSet) -> None:
    carrying = [found.fitted[station][0] for station in found.before.carrying]
    best = sorted(found.wheel_costs, key=lambda name: found.wheel_costs[name].cost)[:4]
    assert set(carrying) <= set(best)
    assert abs(found.after.height_difference) < LARK.targets.height_difference.tolerance
    assert found.after.carrying == found.before.carrying


def test_the_worth_is_told_with_what_leaves_it_open(found: MatchedSet) -> None:
    assert found.told_apart
    assert 0.0 < found.uncertainty < found.worth
    assert found.by_prices == pytest.approx(found.worth, rel=0.05)
    assert {each.what for each in found.left} == {"friction"}
    assert math.fsum(each.share for each in found.left) < 1.0
    assert len(found.rivals) == 3
    assert all(rival.behind >= 0.0 for rival in found.rivals)


def test_poor_readings_are_worth_less_and_at_last_tell_nothing(found: MatchedSet) -> None:
    poorer = matched_set(LARK, TRACK, _box(3.0))
    assert poorer.worth < found.worth
    none = matched_set(LARK, TRACK, _box(20.0))
    assert not none.told_apart


def test_a_class_keeps_wheels_off_that_may_not_conform() -> None:
    rules = parse_class('format=1\nname="x"\n[rules.wheel_diameter]\nleast=32.05\nmost=32.6\n')
    found = matched_set(LARK, TRACK, _box(), rules=rules)
    box = _box().box
    for wheel, _ in found.fitted.values():
        assert box.wheels[wheel].diameter.value > 32.05 * MM
    assert "wheels.w10" in found.left_out
    with pytest.raises(OutOfRange, match="fewer than four"):
        matched_set(
            LARK,
            TRACK,
            _box(),
            rules=parse_class('format=1\nname="x"\n[rules.wheel_diameter]\nleast=32.5\n'),
        )


def _resized(change: dict[int, float]) -> Graded:
    """Return the club's box with some wheels' diameters changed [m]."""
    box = _box().box
    wheels = {
        name: replace(wheel, diameter=replace(wheel.diameter, value=wheel.diameter.value + change[number]))
        if number in change
        else wheel
        for number, (name, wheel) in enumerate(box.wheels.items())
    }
    return graded(replace(box, wheels=wheels))


def test_wheels_of_two_makes_are_not_mixed_where_the_car_stands() -> None:
    box = _resized(dict.fromkeys(range(9), -3 * MM))
    found = matched_set(LARK, TRACK, box)
    sizes = {
        box.box.wheels[found.fitted[station][0]].diameter.value > 31 * MM for station in found.before.carrying
    }
    assert len(sizes) == 1
    assert abs(math.sin(found.after.roll)) * LARK.body.width.value < LARK.targets.height_difference.tolerance


def test_wheels_that_cannot_keep_the_car_level_are_refused() -> None:
    with pytest.raises(OutOfRange, match="keeps the car level"):
        matched_set(LARK, TRACK, _resized({number: 2 * MM * number for number in range(14)}))


def test_a_car_that_is_not_level_is_not_asked_to_be() -> None:
    target = replace(LARK.targets.height_difference, value=5 * MM, tolerance=1e-4)
    found = matched_set(replace(LARK, targets=replace(LARK.targets, height_difference=target)), TRACK, _box())
    assert found.after.height_difference >= found.before.height_difference - 1e-5


def test_the_car_is_written_with_its_remarks_and_reads_as_the_set(found: MatchedSet) -> None:
    text = file_text("lark.toml")
    new = with_parts(text, Matched(graded=_box(), car=LARK, found=found))
    for line in text.splitlines():
        remark = line.partition("#")[2]
        assert remark in new
    car = parse_car(new, file="new.toml")
    for station, (wheel, axle) in found.fitted.items():
        assert (car.corners[station].wheel, car.corners[station].axle) == (wheel, axle)
        assert car.wheel_at(station).diameter.value == pytest.approx(
            _box().box.wheels[wheel].diameter.value, abs=1e-9
        )
    assert car.axle_at(Station.FRONT_LEFT).bend.value > 0.0


@pytest.mark.parametrize("name", ["heron", "bittern"])
def test_the_other_cars_are_written_as_well(name: str) -> None:
    text = file_text(f"{name}.toml")
    car = parse_car(text, file=f"{name}.toml")
    found = matched_set(car, TRACK, _box())
    new = parse_car(with_parts(text, Matched(graded=_box(), car=car, found=found)), file="new.toml")
    assert {station: corner.wheel for station, corner in new.corners.items()} == {
        station: wheel for station, (wheel, _) in found.fitted.items()
    }

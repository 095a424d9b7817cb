"""The drill gate: holes against what was meant, from what pin, straight-edge and caliper say of them."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rollwright.bench.drilled import drill_items
from rollwright.bench.events import (
    DaylightCheck,
    Event,
    HoleDrilled,
    Plane,
    ReadingTaken,
    Seen,
    Withdrawn,
)
from rollwright.bench.fold import Gate, Standing, State
from rollwright.bench.gates import GateState, Item
from rollwright.car.dimensions import dimension_names
from rollwright.car.file import parse_car
from rollwright.car.model import Car, Station
from rollwright.geometry.stance import stance
from rollwright.scenario.club import file_text
from rollwright.setup.reading_keys import ReadingKind
from tests.unit.cars import changed, mirrored
from tests.unit.fold_bench import DEG, FRONT_LEFT, FRONT_RIGHT, MM, folded, ident, log, started

REAR_LEFT, REAR_RIGHT = Station.REAR_LEFT, Station.REAR_RIGHT
TEXT = file_text("lark.toml")
LARK = parse_car(TEXT)
MEANT = {REAR_LEFT: 2.5, REAR_RIGHT: 2.5, FRONT_LEFT: 0.0, FRONT_RIGHT: 0.0}
"""Cants of Lark's file [deg]; its sweeps are none."""
CARRYING = (REAR_LEFT, REAR_RIGHT, FRONT_LEFT)


def size(name: str, value: float, uncertainty: float, *, common: float | None = None) -> ReadingTaken:
    """Return the size of a hole [deg, or mm for its height]."""
    scale = MM if name.endswith("height") else DEG
    return ReadingTaken(
        reading=ReadingKind.SIZE,
        dimension=name,
        values=(value * scale,),
        uncertainty=uncertainty * scale,
        common=None if common is None else common * scale,
        set_up="" if common is None else "block",
    )


def feeler(station: Station, plane: Plane, gap: float, *, at: float = 30.0) -> DaylightCheck:
    """Return a gap that was felt [mm]."""
    return DaylightCheck(station=station, plane=plane, seen=Seen.FEELER, size=gap * MM, distance=at * MM)


def seen(station: Station, plane: Plane, what: Seen = Seen.SEEN) -> DaylightCheck:
    return DaylightCheck(station=station, plane=plane, seen=what)


def good(off: float = 0.0, *, stations: tuple[Station, ...] = CARRYING) -> list[Event]:
    """Return sharp readings of cant and sweep, all as far off what was meant [deg]."""
    return [
        size(f"{station.value}.{plane}", meant + off, 0.05)
        for station in stations
        for plane, meant in (("cant", MEANT[station]), ("sweep", 0.0))
    ]


def items(*events: Event, car: Car = LARK) -> dict[str, Item]:
    return {item.name: item for item in drill_items(log(*events), car)}


def off(item: Item) -> float:
    """Return how far something is off [deg]."""
    assert item.verdict is not None
    return item.verdict.value / DEG


def spread(item: Item) -> float:
    assert item.verdict is not None
    return item.verdict.uncertainty / DEG


def drill(*events: Event) -> GateState:
    return folded(*events).gates[Gate.DRILL]


def test_a_body_that_nobody_looked_at_waits_for_six_readings() -> None:
    state = drill()
    assert state.standing is Standing.NEVER_READ
    assert not state.passed
    assert [item.name for item in state.items] == [
        f"{place} {plane}"
        for place in ("rear left", "rear right", "front left")
        for plane in ("cant", "sweep")
    ]
    assert {item.standing for item in state.items} == {Standing.NEVER_READ}


def test_three_good_holes_pass_and_the_raised_one_is_not_waited_for() -> None:
    state = drill(*good())
    assert state.passed
    assert state.standing is Standing.HOLDS
    assert state.read_at == 7
    assert "front right cant" not in [item.name for item in state.items]


@pytest.mark.parametrize("missing", range(6))
def test_five_of_six_readings_pass_nothing(missing: int) -> None:
    events = good()
    del events[missing]
    state = drill(*events)
    assert state.verdict is not None
    assert state.verdict.state is State.UNCLEAR
    assert not state.passed
    assert sum(item.state is None for item in state.items) == 1


@pytest.mark.parametrize("bad", range(6))
def test_one_bad_hole_fails_the_body(bad: int) -> None:
    state = drill(*[*good()[:bad], good(0.9)[bad], *good()[bad + 1 :]])
    assert state.verdict is not None
    assert state.verdict.state is State.FAIL
    assert state.verdict.probability < 0.05


def test_a_gauge_too_coarse_for_the_tolerance_cannot_tell() -> None:
    # Half a degree either way is allowed of a cant: two standard deviations of 0.4 degrees do not fit in.
    item = items(size("rear_left.cant", 2.5, 0.4))["rear left cant"]
    assert item.state is State.UNCLEAR
    # Of a normal distribution 78.9 % lies within 1.25 standard deviations.
    assert item.verdict is not None
    assert item.verdict.probability == pytest.approx(0.7887, abs=1e-4)


@pytest.mark.parametrize(("aimed", "error"), [(3.0, -0.5), (2.0, 0.5), (None, 0.0)])
def test_a_hole_is_judged_by_what_was_aimed_at_else_by_the_file(aimed: float | None, error: float) -> None:
    aim = None if aimed is None else aimed * DEG
    found = items(HoleDrilled(station=REAR_LEFT, cant=aim), size("rear_left.cant", 2.5, 0.05))
    assert off(found["rear left cant"]) == pytest.approx(error, abs=1e-12)


def test_an_aim_speaks_for_its_own_hole_and_plane_only() -> None:
    aim = HoleDrilled(station=REAR_LEFT, cant=3.0 * DEG)
    found = items(aim, size("rear_right.cant", 2.5, 0.05), size("rear_left.sweep", 0.1, 0.05))
    assert off(found["rear right cant"]) == pytest.approx(0.0, abs=1e-12)
    assert off(found["rear left sweep"]) == pytest.approx(0.1)


def test_a_hole_that_is_drilled_anew_forgets_what_was_read_of_it_and_nothing_else() -> None:
    before = [*good(), seen(REAR_LEFT, Plane.CANT)]
    found = items(*before, HoleDrilled(station=REAR_LEFT))
    assert found["rear left cant"].state is None
    assert found["rear left sweep"].state is None
    assert found["rear right cant"].state is State.PASS
    # The pair's heading was the heading of the hole that is gone.
    assert "rear pair's heading" in items(*before)
    assert "rear pair's heading" not in found


def test_a_drilling_without_an_aim_forgets_the_aim_of_the_one_before() -> None:
    aimed = HoleDrilled(station=REAR_LEFT, cant=3.0 * DEG)
    found = items(aimed, HoleDrilled(station=REAR_LEFT), size("rear_left.cant", 2.5, 0.05))
    assert off(found["rear left cant"]) == pytest.approx(0.0, abs=1e-12)


def test_daylight_that_nobody_measured_leaves_it_unclear_until_a_feeler_decides() -> None:
    only = items(seen(REAR_LEFT, Plane.SWEEP))["rear left sweep"]
    assert (only.state, only.verdict, only.read_at) == (State.UNCLEAR, None, 2)
    felt = items(seen(REAR_LEFT, Plane.SWEEP), feeler(REAR_LEFT, Plane.SWEEP, 0.01))["rear left sweep"]
    assert felt.state is State.PASS
    # That daylight shows where a gap was felt is no news.
    after = items(feeler(REAR_LEFT, Plane.SWEEP, 0.01), seen(REAR_LEFT, Plane.SWEEP))["rear left sweep"]
    assert after.state is State.PASS
    other = items(seen(REAR_LEFT, Plane.SWEEP), feeler(REAR_LEFT, Plane.CANT, 1.3))["rear left sweep"]
    assert other.state is State.UNCLEAR


NONE, SEEN = seen(REAR_LEFT, Plane.SWEEP, Seen.NONE), seen(REAR_LEFT, Plane.SWEEP)


def sweep(*events: Event) -> Item:
    return items(*events)["rear left sweep"]


def test_daylight_where_none_showed_before_takes_the_pass_away() -> None:
    assert sweep(NONE).state is State.PASS
    for before in ([NONE], [NONE, NONE], [feeler(REAR_LEFT, Plane.SWEEP, 0.1), NONE]):
        now = sweep(*before, SEEN)
        assert (now.state, now.words) == (State.UNCLEAR, "daylight shows and was not measured")
        assert (now.verdict, now.read_at, now.needed) == (None, len(before) + 2, True)
    # The same said by a reading of nothing, and by a protractor that stands as the edge does.
    nothing = ReadingTaken(
        reading=ReadingKind.DAYLIGHT, station=REAR_LEFT, plane=Plane.SWEEP, values=(0.0,), distance=30.0 * MM
    )
    assert sweep(nothing, SEEN).state is State.UNCLEAR
    assert sweep(size("rear_left.sweep", 0.0, 0.05), SEEN).state is State.UNCLEAR
    # At an edge held otherwise daylight must show, and is no news.
    assert sweep(NONE, replace(SEEN, against=2.0 * DEG)).state is State.PASS


def test_a_feeler_that_follows_decides_alone_and_the_look_that_saw_none_is_forgotten() -> None:
    felt = feeler(REAR_LEFT, Plane.SWEEP, 0.12)
    assert sweep(NONE, SEEN, felt).verdict == sweep(felt).verdict
    # Without the daylight in between both looks have their say.
    assert off(sweep(NONE, felt)) == pytest.approx(0.5 * off(sweep(felt)), rel=1e-4)
    assert sweep(NONE, SEEN, NONE).state is State.PASS


def test_unmeasured_daylight_speaks_for_its_own_plane_and_is_gone_with_its_hole() -> None:
    cant = feeler(REAR_LEFT, Plane.CANT, 1.31)
    found = items(NONE, cant, SEEN)
    assert found["rear left cant"].state is State.PASS
    assert "rear pair's heading" not in items(NONE, size("rear_right.sweep", 0.0, 0.05), SEEN)
    assert sweep(NONE, SEEN, HoleDrilled(station=REAR_LEFT), NONE).state is State.PASS
    assert drill(NONE, SEEN, Withdrawn(entry=ident(3), reason="a shadow")) == drill(NONE)


@pytest.mark.parametrize(("apart", "state"), [(2.55, State.PASS), (2.60, State.UNCLEAR)])
def test_readings_that_contradict_each_other_are_not_averaged(apart: float, state: State) -> None:
    # 1 % of a normal distribution lies beyond 2.576 standard deviations (JCGM 100:2008, Table G.1: 99 %), and
    # two readings of 0.1 degrees differ to within 0.1 sqrt(2).
    by = apart * 0.1 * math.sqrt(2.0)
    item = sweep(size("rear_left.sweep", -0.5 * by, 0.1), size("rear_left.sweep", 0.5 * by, 0.1))
    assert item.state is state
    if state is State.UNCLEAR:
        assert item.verdict is None
        assert (item.words, item.read_at) == ("readings 2 and 3 disagree; read it again", 3)


def test_a_contradiction_fails_nothing_either() -> None:
    item = sweep(size("rear_left.sweep", 0.0, 0.05), size("rear_left.sweep", 2.0, 0.05))
    assert item.state is State.UNCLEAR
    state = drill(*good(), size("rear_left.sweep", 2.0, 0.05))
    assert state.verdict is not None
    assert state.verdict.state is State.UNCLEAR
    assert not state.passed
    assert "rear pair's heading" not in [each.name for each in state.items]


def test_what_a_set_up_shares_hides_no_contradiction_within_it_and_explains_one_between_two() -> None:
    def reading(value: float, name: str) -> ReadingTaken:
        return replace(size("rear_left.sweep", value, 0.05, common=0.5), set_up=name)

    assert sweep(reading(-0.15, "one"), reading(0.15, "one")).state is State.UNCLEAR
    assert sweep(reading(-0.15, "one"), reading(0.15, "one")).verdict is None
    # Two set-ups may differ by what each of them shares.
    assert sweep(reading(-0.15, "one"), reading(0.15, "other")).verdict is not None


def test_of_three_the_odd_one_out_is_named_and_taken_back() -> None:
    one, two, three = (size("rear_left.sweep", value, 0.05) for value in (0.0, 1.0, 0.02))
    said = "reading 3 disagrees with 2 and 4; take it back if it is wrong"
    assert sweep(one, two, three).words == said
    back = drill(*good(), two, three, Withdrawn(entry=ident(8), reason="wrong hole"))
    assert back.passed
    # Where any of them could be the wrong one, the two that differ most are named.
    spread_out = [size("rear_left.sweep", value, 0.05) for value in (0.0, 1.0, -1.0, 0.5)]
    assert sweep(*spread_out).words == "readings 3 and 4 disagree; read it again"


def repeated(*gaps: float, uncertainty: float | None = 0.02) -> ReadingTaken:
    """Return a gap that was felt several times [mm], 30 mm out."""
    return ReadingTaken(
        reading=ReadingKind.DAYLIGHT,
        station=REAR_LEFT,
        plane=Plane.SWEEP,
        values=tuple(gap * MM for gap in gaps),
        uncertainty=None if uncertainty is None else uncertainty * MM,
        distance=30.0 * MM,
    )


def test_repeats_that_scatter_far_beyond_their_gauge_count_by_their_scatter() -> None:
    # Mean nothing; squares 0.01 + 0.01 over n - 1 = 2: a standard deviation of 0.1 mm, five gauges.
    wild = sweep(repeated(-0.1, 0.0, 0.1))
    assert spread(wild) == pytest.approx(math.hypot(0.1, 0.02) / 30.0 / DEG, rel=1e-6)
    assert wild.words == "the repeats of entry 2 scatter far beyond the gauge, and that counts"
    # Twice the gauge's, or two repeats only, is no such thing (JCGM 100:2008, 4.2.3).
    calm = sweep(repeated(-0.04, 0.0, 0.04))
    assert spread(calm) == pytest.approx(math.hypot(0.04 / math.sqrt(3.0), 0.02) / 30.0 / DEG, rel=1e-6)
    assert calm.words == ""
    assert sweep(repeated(-0.1, 0.1)).words == ""
    # A feeler that nobody speaks for is good to 0.05 mm.
    assert sweep(repeated(-0.1, 0.0, 0.1, uncertainty=None)).words == ""
    assert sweep(repeated(-0.2, 0.0, 0.2, uncertainty=None)).words != ""


def test_a_bad_hole_whose_wheel_does_not_carry_is_said_and_scraps_nothing() -> None:
    bad = feeler(FRONT_RIGHT, Plane.CANT, 1.5)
    item = items(bad)["front right cant"]
    assert (item.state, item.words) == (None, "bad, but its wheel does not carry")
    assert item.verdict is not None
    assert item.verdict.state is State.FAIL
    assert drill(*good(), bad).passed
    assert drill(*good(), seen(FRONT_RIGHT, Plane.SWEEP)).passed
    daylight = items(seen(FRONT_RIGHT, Plane.SWEEP))["front right sweep"]
    assert daylight.words == "daylight shows and was not measured, but its wheel does not carry"
    # A good one needs no excuse.
    assert items(feeler(FRONT_RIGHT, Plane.CANT, 0.0))["front right cant"].state is State.PASS
    assert items(bad, car=mirrored(LARK))["front right cant"].state is State.FAIL


def test_a_fail_by_a_tolerance_that_nobody_gave_says_so() -> None:
    off_by_one = size("rear_left.cant", 3.5, 0.05)
    assumed = items(off_by_one)["rear left cant"]
    assert assumed.state is State.FAIL
    assert assumed.words == "tolerance assumed: say what your class or plan allows under [drill]"
    given_ = items(off_by_one, car=parse_car(f"{TEXT}\n[drill]\ncant = 0.5\n"))["rear left cant"]
    assert (given_.state, given_.words) == (State.FAIL, "")
    # A pass by it needs no remark.
    assert items(size("rear_left.cant", 2.5, 0.05))["rear left cant"].words == ""


def test_no_daylight_at_a_square_edge_is_a_square_hole_and_no_canted_one() -> None:
    found = items(seen(REAR_LEFT, Plane.SWEEP, Seen.NONE), seen(REAR_LEFT, Plane.CANT, Seen.NONE))
    assert found["rear left sweep"].state is State.PASS
    assert off(found["rear left cant"]) == pytest.approx(-2.5)
    assert found["rear left cant"].state is State.FAIL


def test_a_straight_edge_that_stands_at_the_jigs_angle_is_allowed_for() -> None:
    tilted = ReadingTaken(
        reading=ReadingKind.DAYLIGHT,
        station=REAR_LEFT,
        plane=Plane.CANT,
        values=(0.0,),
        against=2.5 * DEG,
        distance=30.0 * MM,
    )
    assert off(items(tilted)["rear left cant"]) == pytest.approx(0.0, abs=1e-12)
    pinned = replace(seen(REAR_LEFT, Plane.CANT, Seen.NONE), against=2.5 * DEG)
    assert off(items(pinned)["rear left cant"]) == pytest.approx(0.0, abs=1e-12)
    outward = replace(feeler(REAR_LEFT, Plane.CANT, 0.1), against=2.5 * DEG)
    assert 0.15 < off(items(outward)["rear left cant"]) < 0.2


@pytest.mark.parametrize(("tolerance", "state"), [(0.3, State.FAIL), (0.6, State.PASS)])
def test_the_tolerance_is_the_car_files(tolerance: float, state: State) -> None:
    car = parse_car(f"{TEXT}\n[drill]\ncant = {tolerance}\n")
    assert items(size("rear_left.cant", 2.95, 0.05), car=car)["rear left cant"].state is state


def test_readings_of_two_set_ups_narrow_and_those_of_one_share_its_error() -> None:
    apart = items(size("rear_left.cant", 2.5, 0.1), size("rear_left.cant", 2.7, 0.1))["rear left cant"]
    assert off(apart) == pytest.approx(0.1)
    assert spread(apart) == pytest.approx(0.1 / math.sqrt(2.0))
    assert apart.read_at == 3
    one = [size("rear_left.cant", value, 0.1, common=0.2) for value in (2.5, 2.7)]
    # What both share does not shrink by reading twice (JCGM 100:2008, 5.2).
    assert spread(items(*one)["rear left cant"]) == pytest.approx(math.hypot(0.1 / math.sqrt(2.0), 0.2))
    assert spread(items(one[0])["rear left cant"]) == pytest.approx(math.hypot(0.1, 0.2))


def test_the_finer_gauge_has_the_greater_say() -> None:
    found = items(size("rear_left.cant", 2.5, 0.1), size("rear_left.cant", 3.0, 0.2))["rear left cant"]
    # Weights of 100 and 25 for nothing and half a degree off.
    assert off(found) == pytest.approx(0.1)
    assert spread(found) == pytest.approx(math.sqrt(1.0 / 125.0))


@pytest.mark.parametrize(("left", "right"), [(0.2, 0.0), (0.0, 0.2), (0.2, 0.2), (-0.2, 0.2)])
def test_the_rear_pairs_heading_is_the_mean_steer_of_its_wheels(left: float, right: float) -> None:
    heading = items(size("rear_left.sweep", left, 0.05), size("rear_right.sweep", right, 0.05))[
        "rear pair's heading"
    ]
    assert spread(heading) == pytest.approx(0.05 / math.sqrt(2.0))
    # The exact geometry of the same holes; cant makes it differ in the third figure.
    was = stance(LARK).stations
    now = stance(changed(LARK, {"rear_left.sweep": left * DEG, "rear_right.sweep": right * DEG})).stations
    turned = sum(now[station].steer - was[station].steer for station in (REAR_LEFT, REAR_RIGHT)) / 2.0
    assert off(heading) == pytest.approx(turned / DEG, abs=2e-3)


def test_an_outer_end_forward_on_the_left_turns_the_pair_to_the_right() -> None:
    found = items(size("rear_left.sweep", 0.5, 0.05), size("rear_right.sweep", -0.5, 0.05))
    assert off(found["rear pair's heading"]) == pytest.approx(-0.5)
    # Equal toe on both sides heads nowhere.
    toed = items(size("rear_left.sweep", 0.2, 0.05), size("rear_right.sweep", 0.2, 0.05))
    assert off(toed["rear pair's heading"]) == pytest.approx(0.0, abs=1e-12)


def test_heights_are_compared_where_both_were_read() -> None:
    rear = [size("rear_left.hole_height", 9.1, 0.03), size("rear_right.hole_height", 8.95, 0.04)]
    found = items(*rear)
    assert found["rear left against right height"].verdict is not None
    assert found["rear left against right height"].verdict.value == pytest.approx(0.15 * MM)
    assert found["rear left against right height"].verdict.uncertainty == pytest.approx(0.05 * MM)
    assert "front against rear height" not in found
    front = items(*rear, size("front_left.hole_height", 9.4, 0.02))["front against rear height"]
    assert front.verdict is not None
    assert front.verdict.value == pytest.approx(-0.025 * MM)
    assert front.verdict.uncertainty == pytest.approx(math.hypot(0.02, 0.025) * MM)


def test_a_height_that_was_not_read_is_not_waited_for_and_a_bad_one_fails() -> None:
    assert drill(*good()).passed
    assert drill(*good(), size("rear_left.hole_height", 9.05, 0.03)).passed
    state = drill(*good(), size("rear_left.hole_height", 9.5, 0.03))
    assert state.verdict is not None
    assert state.verdict.state is State.FAIL


def _swap(name: str) -> str:
    """Return a name with its sides exchanged."""
    return name.replace("right", "\0").replace("left", "right").replace("\0", "left")


def _mirrored(event: ReadingTaken | DaylightCheck) -> ReadingTaken | DaylightCheck:
    if isinstance(event, ReadingTaken):
        return replace(event, dimension=_swap(event.dimension))
    return replace(event, station=event.station.opposite)


def test_left_and_right_are_each_others_mirror_image() -> None:
    other = mirrored(LARK)
    assert other.dominant is FRONT_RIGHT
    readings: list[ReadingTaken | DaylightCheck] = [
        size("rear_left.cant", 2.7, 0.1),
        size("rear_left.sweep", 0.2, 0.1),
        feeler(REAR_RIGHT, Plane.SWEEP, -0.05),
        feeler(FRONT_LEFT, Plane.CANT, 0.1),
        seen(FRONT_LEFT, Plane.SWEEP),
        size("rear_left.hole_height", 9.1, 0.03),
        size("rear_right.hole_height", 9.0, 0.03),
        size("front_left.hole_height", 9.5, 0.03),
    ]
    here, there = items(*readings), items(*map(_mirrored, readings), car=other)
    assert len(here) == len(there) == 12
    odd = {"rear pair's heading", "rear left against right height"}
    for name, item in here.items():
        mirror = there[name if name in odd or name.startswith("front against") else _swap(name)]
        assert (mirror.state, mirror.needed, mirror.words) == (item.state, item.needed, item.words)
        if item.verdict is not None:
            assert mirror.verdict is not None
            way = -1.0 if name in odd else 1.0
            assert mirror.verdict.value == pytest.approx(way * item.verdict.value, abs=1e-15)
            assert mirror.verdict.uncertainty == pytest.approx(item.verdict.uncertainty)


def test_a_withdrawn_reading_or_drilling_does_not_count() -> None:
    bad = size("rear_left.cant", 4.0, 0.05)
    state = drill(*good(), bad, Withdrawn(entry=ident(8), reason="wrong hole"))
    assert state == drill(*good())
    again = HoleDrilled(station=REAR_LEFT, cant=3.0 * DEG)
    assert drill(*good(), again, Withdrawn(entry=ident(8), reason="another body")) == drill(*good())


def test_the_same_readings_feed_the_estimate() -> None:
    found = folded(size("rear_left.sweep", 0.25, 0.01), feeler(REAR_RIGHT, Plane.CANT, 1.5, at=30.0))
    assert found.estimate is not None
    values = dict(zip(dimension_names(), found.estimate.values, strict=True))
    assert values["rear_left.sweep"] == pytest.approx(0.25 * DEG, abs=0.005 * DEG)
    assert values["rear_right.cant"] > 2.6 * DEG
    read = {item.name: item for item in found.gates[Gate.DRILL].items}
    assert read["rear left sweep"].verdict is not None
    # The gate takes the reading alone; what the file lets expect has no say in it.
    assert read["rear left sweep"].verdict.value == pytest.approx(0.25 * DEG, rel=1e-12)


def test_a_size_of_something_else_is_no_word_on_a_hole() -> None:
    wheel = ReadingTaken(reading=ReadingKind.SIZE, dimension="rear_left.diameter", values=(0.0321,))
    turned = ReadingTaken(reading=ReadingKind.SIZE, dimension="front_left.clock", values=(0.3,))
    assert drill(wheel, turned) == drill()


def test_a_car_whose_file_sets_its_own_aims_is_judged_by_them() -> None:
    swept = TEXT.replace("hole_height = 9.4", "hole_height = 9.4\nsweep = 1.5")
    state = folded(size("front_left.sweep", 1.5, 0.05), start=started(swept)).gates[Gate.DRILL]
    (item,) = [item for item in state.items if item.name == "front left sweep"]
    assert off(item) == pytest.approx(0.0, abs=1e-9)


SOME = [
    *good(0.1),
    size("rear_left.cant", 2.6, 0.08),
    feeler(REAR_RIGHT, Plane.SWEEP, 0.06),
    size("rear_left.hole_height", 9.05, 0.03),
    size("rear_right.hole_height", 9.0, 0.03),
]


@given(st.permutations(SOME))
def test_the_order_of_readings_does_not_matter(events: list[Event]) -> None:
    first, second = items(*SOME), items(*events)
    assert list(first) == list(second)
    for name, item in first.items():
        verdict, other = item.verdict, second[name].verdict
        assert verdict is not None
        assert other is not None
        assert other.value == pytest.approx(verdict.value, abs=1e-15)
        assert other.uncertainty == pytest.approx(verdict.uncertainty, rel=1e-12)
        assert other.state is verdict.state

"""Why a car left the rail or ran with its tail to one side: the cause put in is the one named."""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
import pytest

from rollwright.car import Car, Station
from rollwright.errors import ReadingUnusable
from rollwright.geometry.many import dimension_values, stances
from rollwright.setup.estimate import Estimate, estimate
from rollwright.setup.predict import rolled
from rollwright.setup.roll_cause import SEEN, Cause, causes_of
from rollwright.units import System

from .cars import DEG, MM, aimed, changed, flat_car, known_but_for, lark, mirrored

RL, RR, FL, FR = Station
BOTH = pytest.mark.parametrize("mirror", [False, True], ids=["dominant left", "dominant right"])
TAILS = ("tail_left", "tail_right")


def on_target(spreads: dict[str, float] | None = None) -> Car:
    """Return Lark centred and steered as it stands, exact but for what is given."""
    car = changed(lark(), {"front_left.relief": 0.85 * MM})
    return aimed(known_but_for(car, spreads or {}), drift=float(estimate(car).gates[1]))


def told(car: Car, seen: str, *, mirror: bool = False, system: System = System.METRIC) -> tuple[Cause, ...]:
    """Return the causes; of the car and of what was seen in a mirror, with the sides turned back."""
    if not mirror:
        return causes_of(seen, estimate(car), system=system)
    swap = {"tail_left": "tail_right", "tail_right": "tail_left"}
    return causes_of(swap.get(seen, seen), estimate(mirrored(car)), system=system)


def at(station: Station, *, mirror: bool) -> Station:
    return station.opposite if mirror else station


def one(causes: tuple[Cause, ...], kind: str, station: Station | None = None) -> Cause:
    (found,) = [each for each in causes if each.kind == kind and station in {None, each.station}]
    return found


def moved(found: Estimate, **values: float) -> float:
    """Return how far left the tail stands with other values [m]."""
    car = changed(found.car, {name.replace("__", "."): value for name, value in values.items()})
    return float(rolled(car, dimension_values(car)[None, :], seats=found.seats).tail[0])


# A car that holds, and words that are not seen.


def test_a_car_that_holds_needs_no_cause() -> None:
    assert causes_of("holds", estimate(lark())) == ()


def test_what_cannot_be_seen_is_refused() -> None:
    with pytest.raises(ReadingUnusable, match=r"wobbles.*holds, leaves, tail_left, tail_right"):
        causes_of("wobbles", estimate(lark()))


@pytest.mark.parametrize("seen", SEEN[1:])
@pytest.mark.parametrize("car", [lark(), mirrored(lark()), flat_car()], ids=["left", "right", "flat"])
def test_causes_come_likeliest_first_with_a_sentence_and_a_step(car: Car, seen: str) -> None:
    causes = causes_of(seen, estimate(car))
    assert causes
    chances = [each.probability for each in causes]
    assert chances == sorted(chances, reverse=True)
    assert all(0.05 <= chance <= 1.0 for chance in chances)
    for each in causes:
        for sentence in (each.words, each.step):
            assert sentence.endswith(".")
            assert sentence[0].isupper()
        assert set(each.as_json()) == {"kind", "station", "dimension", "probability", "text", "next"}


# Leaving the rail.


def test_a_good_car_that_leaves_is_not_explained_by_the_model() -> None:
    (cause,) = causes_of("leaves", estimate(on_target()))
    assert cause.kind == "not_in_the_model"
    assert "wobbles" in cause.step


@BOTH
def test_too_little_steer(*, mirror: bool) -> None:
    car = on_target({"front_left.clock": 2.0 * DEG})
    found = estimate(car)
    mean, spread = float(found.gates[1]), float(np.linalg.norm(found.gate_root[1]))
    # A car that drifts too little by as much as the tolerance is wide: a 50 % chance to be short of it.
    short = aimed(car, drift=mean - car.targets.drift.tolerance)
    cause = one(told(short, "leaves", mirror=mirror), "steer_too_little")
    away = NormalDist().cdf(mean / spread)
    assert cause.probability == pytest.approx(0.5 - away, abs=1e-3)
    assert cause.station is at(FL, mirror=mirror)
    assert cause.step.startswith("Read the drift")
    # With twice that and a spread of a tenth there is no doubt, and the wheel is to be steered to its rail.
    sure = aimed(on_target({"front_left.clock": 0.2 * DEG}), drift=mean - 2.0 * car.targets.drift.tolerance)
    (cause,) = told(sure, "leaves", mirror=mirror)
    assert cause.kind == "steer_too_little"
    assert cause.probability > 0.999
    assert ("more to the left" if mirror else "more to the right") in cause.step


@BOTH
def test_steer_to_the_wrong_side(*, mirror: bool) -> None:
    car = changed(on_target({"front_left.clock": 1.0 * DEG}), {"front_left.clock": -22.0 * DEG})
    causes = told(car, "leaves", mirror=mirror)
    assert causes[0].kind == "steers_away"
    assert causes[0].probability > 0.99
    assert ("right" if mirror else "left") in causes[0].words.split("drift is")[1]


@BOTH
def test_a_wheel_that_stands_off(*, mirror: bool) -> None:
    car = on_target({"front_left.hub_projection": 0.1 * MM})
    offset = float(estimate(car).gates[2])
    most = car.targets.rail_offset.tolerance
    # As far off as is allowed, and a tenth more: one deviation beyond.
    beyond = changed(car, {"front_left.relief": 0.85 * MM - (most - offset) - 0.1 * MM})
    cause = one(told(beyond, "leaves", mirror=mirror), "stands_off")
    assert cause.probability == pytest.approx(NormalDist().cdf(1.0), abs=0.01)
    assert "0.30 ± 0.10 mm off the rail" in cause.words
    assert cause.step == "Read the rail offset."


@BOTH
@pytest.mark.parametrize(("lower", "most_likely"), [(0.0, False), (1.0, False), (3.0, True)])
def test_a_raised_wheel_that_hangs_to_the_track(*, mirror: bool, lower: float, most_likely: bool) -> None:
    car = on_target({"front_right.hole_height": 0.1 * MM})
    values = {"front_right.hole_height": (11.0 - lower) * MM}
    causes = told(changed(car, values), "leaves", mirror=mirror)
    found = [each for each in causes if each.kind == "raised_wheel_low"]
    assert bool(found) is most_likely
    if found:
        assert found[0].probability > 0.99
        assert found[0].station is at(FR, mirror=mirror)
        assert "feeler under the front" in found[0].step


def test_a_raised_wheel_at_the_very_track_touches_it_half_the_time() -> None:
    car = on_target({"front_right.hole_height": 0.05 * MM})
    now = stances(car, dimension_values(car)[None, :], seats=estimate(car).seats)
    # It hangs in its bore by the slack, seen along its lean.
    hanging = float(now.clearance[3, 0]) - (2.5 - 2.38) * MM * math.cos(float(now.camber[3, 0]))
    low = changed(car, {"front_right.hole_height": 11.0 * MM - hanging})
    cause = one(causes_of("leaves", estimate(low)), "raised_wheel_low")
    # Lowering it moves the car's mass hardly at all, so the height falls one for one.
    assert cause.probability == pytest.approx(0.5, abs=0.02)


# A tail to one side.


@BOTH
@pytest.mark.parametrize("side", [-1.0, 1.0])
@pytest.mark.parametrize("station", [RL, RR])
def test_the_rear_wheel_that_heads_there_is_named(*, station: Station, side: float, mirror: bool) -> None:
    # Outer end forward turns a left wheel to the right and a right wheel to the left.
    spreads = {"rear_left.sweep": 0.05 * DEG, "rear_right.sweep": 0.05 * DEG}
    car = changed(on_target(spreads), {f"{station.value}.sweep": -station.side * side * 0.5 * DEG})
    seen = "tail_left" if side > 0.0 else "tail_right"
    causes = told(car, seen, mirror=mirror)
    assert causes[0].kind == "rear_heading"
    assert causes[0].station is at(station, mirror=mirror)
    assert causes[0].dimension == f"{at(station, mirror=mirror).value}.sweep"
    assert causes[0].probability > 0.99
    toward = "left" if (side > 0.0) is not mirror else "right"
    assert f"0.50 ± 0.05° {toward}" in causes[0].words
    # Half the base times the angle, for the pair heads the mean.
    arm = 124.2 * MM * math.radians(0.5) / 2.0
    assert f"tail {arm / MM:.2f} ± 0.05 mm {toward}" in causes[0].words
    assert "straight-edge in the" in causes[0].step
    assert "sweep" in causes[0].step


@BOTH
def test_the_place_on_the_rail_is_named(*, mirror: bool) -> None:
    car = known_but_for(lark(), {"rear_left.sweep": 0.02 * DEG, "front_left.relief": 0.05 * MM})
    (cause,) = told(car, "tail_right", mirror=mirror)
    assert cause.kind == "place_on_rail"
    assert cause.probability > 0.99
    assert cause.station is at(FL, mirror=mirror)
    assert "0.85 ± 0.05 mm off the rail" in cause.words
    assert f"0.85 ± 0.05 mm {'left' if mirror else 'right'}" in cause.words
    assert cause.step == "Read the rail offset, then ask for the next move."


def test_two_rear_wheels_alike_are_blamed_alike() -> None:
    spreads = {"rear_left.sweep": 0.3 * DEG, "rear_right.sweep": 0.3 * DEG}
    causes = causes_of("tail_left", estimate(on_target(spreads)))
    assert {each.station for each in causes} == {RL, RR}
    # One half each, but for the draws: 4096, of which a share of one half has a deviation of 0.008.
    assert causes[0].probability == pytest.approx(0.5, abs=0.025)
    assert sum(each.probability for each in causes) == pytest.approx(1.0)


def test_the_hole_that_is_known_less_is_blamed_more() -> None:
    # Errors x and 2 y, x and y alike: 2 y > x where x + 2 y > 0 is what two half planes share, an angle of
    # 2 atan(2) of the half circle.
    spreads = {"rear_left.sweep": 0.2 * DEG, "rear_right.sweep": 0.4 * DEG}
    causes = causes_of("tail_left", estimate(on_target(spreads)))
    (right,) = [each for each in causes if each.station is RR]
    assert right.probability == pytest.approx(2.0 * math.atan(2.0) / math.pi, abs=0.02)


def test_a_side_that_is_hardly_likely_is_drawn_as_finely() -> None:
    # The tail stands two deviations to the right, by the sum of two alike: given that it is left after all,
    # both share it.
    spreads = {"rear_left.sweep": 0.3 * DEG, "rear_right.sweep": 0.3 * DEG}
    lean = 0.3 * math.sqrt(2.0) * DEG
    car = changed(on_target(spreads), {"rear_left.sweep": lean, "rear_right.sweep": -lean})
    causes = causes_of("tail_left", estimate(car))
    assert {each.station for each in causes} == {RL, RR}
    assert causes[0].probability == pytest.approx(0.5, abs=0.025)


def test_a_bent_rear_pin_is_told_from_a_swept_hole() -> None:
    car = changed(on_target({"rear_left.sweep": 0.1 * DEG}), {"rear_left.clock": -90.0 * DEG})
    bent = changed(car, {"rear_left.bend": 0.8 * DEG})
    cause = causes_of("tail_left", estimate(bent))[0]
    assert cause.dimension == "rear_left.bend"
    assert cause.step.startswith("Roll the rear left axle on a plate")
    assert "pin's bend" in cause.words


@pytest.mark.parametrize("seen", TAILS)
def test_a_tail_that_cannot_be_there_sends_the_builder_back_to_look(seen: str) -> None:
    side = 1.0 if seen == "tail_right" else -1.0
    sweeps = {"rear_left.sweep": -side * 0.5 * DEG, "rear_right.sweep": side * 0.5 * DEG}
    car = changed(on_target({"rear_left.sweep": 0.02 * DEG}), sweeps)
    (cause,) = causes_of(seen, estimate(car))
    assert cause.kind == "other_side"
    assert cause.probability > 0.99
    assert ("mm left" if side > 0.0 else "mm right") in cause.words
    assert "look from behind" in cause.step


def test_the_parts_add_up_to_the_tail() -> None:
    car = changed(on_target(), {"rear_left.sweep": -0.4 * DEG, "rear_right.sweep": -0.1 * DEG})
    found = estimate(known_but_for(car, {"rear_left.sweep": 0.1 * DEG, "rear_right.sweep": 0.1 * DEG}))
    causes = causes_of("tail_left", found)
    left = one(causes, "rear_heading", RL)
    # Taken away, the tail falls back by what it was said to take.
    part = moved(found) - moved(found, rear_left__sweep=0.0)
    assert part == pytest.approx(124.2 * MM * math.radians(0.4) / 2.0, rel=0.15)
    assert f"tail {124.2 * math.radians(0.4) / 2.0:.2f} ±" in left.words


# Units.


def test_in_inches_lengths_are_in_thousandths() -> None:
    spreads = {"rear_right.sweep": 0.1 * DEG}
    car = changed(on_target(spreads), {"rear_right.sweep": 0.5 * DEG})
    cause = causes_of("tail_left", estimate(car), system=System.INCH)[0]
    assert "thou left" in cause.words
    assert "mm" not in cause.words
    # Half a degree of one wheel over half the base: 0.542 mm are 21 thousandths.
    assert "21 ± 4 thou" in cause.words

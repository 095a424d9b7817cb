"""What a fit says it found and what it cannot tell, and what of its file is refused, and how."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from rollwright.car import Car, Station, parse_car
from rollwright.car.toml_file import parse_toml
from rollwright.errors import InputError, MissingReference, OutOfRange
from rollwright.quantity import Quantity, Source
from rollwright.run.losses import losses_of
from rollwright.run.track import LaneChange, Track
from rollwright.run.track_file import parse_track
from rollwright.scenario.club import file_text
from rollwright.setup.run_fits import fit_coast_down, fit_losses, fit_spin_down
from rollwright.setup.run_fits_blocks import coast_block, spin_block
from rollwright.setup.run_fits_data import CoastDown, SpinDown, TimedRun, pooled_scatter, with_scatter
from rollwright.setup.run_fits_decay import coast_time, time_between
from rollwright.setup.run_fits_file import FitFile, fit_file
from rollwright.setup.run_fits_flat import flat_model
from rollwright.setup.run_fits_solve import Block
from rollwright.setup.run_fits_tell import doubt_words
from rollwright.setup.run_fits_timed import timed_block
from tests.unit.run_bench import laid_out, plain_car

SPEEDS = np.array([150.0, 120.0, 90.0, 60.0, 30.0, 10.0])
ALL = ("bearing_friction", "rolling", "drag_area")


def a_spin_down(
    *, linear: float = 0.0, quadratic: float = 0.0, noise: float = 0.01, seed: int = 1, **more: Any
) -> SpinDown:
    draw = np.random.default_rng(seed)
    times = time_between(start=SPEEDS[0], speeds=SPEEDS, terms=np.array([9.0, linear, quadratic])).values
    return SpinDown(
        car=plain_car(),
        station=Station.REAR_LEFT,
        times=tuple(times + draw.normal(0.0, noise, len(SPEEDS))),
        speeds=tuple(SPEEDS),
        time_uncertainty=noise,
        **more,
    )


def a_coast_down(*, start: float = 2.2, fall: float = 0.0, back: bool = False, **more: Any) -> CoastDown:
    car, track = plain_car(), laid_out()
    flat = flat_model(car, track, losses=losses_of({})).at({}, names=[])
    lines = np.arange(0.0, 11.0, 2.0)
    sign = 1.0 if back else -1.0
    terms = np.array([flat.constant + sign * fall * flat.downhill, 0.0, flat.quadratic])
    return CoastDown(
        car=car,
        track=track,
        times=tuple(coast_time(start=start, distances=lines, terms=terms).values),
        distances=tuple(lines),
        time_uncertainty=0.001,
        back=back,
        **more,
    )


def _known_bearing(coast: CoastDown) -> CoastDown:
    return replace(coast, track=replace(coast.track, losses={"bearing_friction": Quantity(value=0.1)}))


# What is said.


def test_a_coast_down_cannot_tell_bearing_from_rolling_but_a_spin_down_can() -> None:
    coasts = [a_coast_down(start=3.4), a_coast_down(start=1.6, back=True)]
    alone = fit_losses(ALL, coast_downs=coasts)
    (doubt,) = alone.doubts
    assert doubt_words(doubt) == (
        "These readings cannot tell bearing friction from rolling resistance; "
        "a spin-down of a wheel on its pin would."
    )
    assert alone.of("drag_area").known
    assert alone.singular_values[-1] < 1e-6 * alone.singular_values[0]
    open_one = alone.directions[-1]
    assert abs(open_one["drag_area"]) < 1e-6
    assert open_one["rolling"] * open_one["bearing_friction"] < 0.0
    both = fit_losses(ALL, coast_downs=coasts, spin_downs=[a_spin_down()])
    assert both.doubts == ()
    assert both.of("rolling").uncertainty < 0.7 * alone.of("rolling").uncertainty
    assert all(each.known for each in both.found)


def test_what_readings_do_not_show_keeps_its_prior() -> None:
    coasts = [a_coast_down(start=3.4), a_coast_down(start=1.6, back=True)]
    found = fit_losses(("hub_friction", "drag_area"), coast_downs=coasts)
    hub = found.of("hub_friction")
    assert hub.prior is not None
    assert (hub.value, hub.uncertainty) == pytest.approx(hub.prior, rel=0.02)
    assert not hub.known
    (doubt,) = found.doubts
    assert doubt.names == ("hub_friction",)
    assert doubt.helps == "cant"


def test_the_parts_of_a_spin_down_that_are_seen_are_named() -> None:
    assert fit_spin_down(a_spin_down(terms=("linear",))).seen == ("constant",)
    assert fit_spin_down(a_spin_down(linear=0.05, terms=("linear",))).seen == ("constant", "linear")
    both = fit_spin_down(a_spin_down(linear=0.1, quadratic=1e-3, noise=0.001))
    assert both.seen == ("constant", "linear", "quadratic")
    assert both.tied == ()
    cannot = fit_spin_down(a_spin_down(linear=0.02, noise=0.06, seed=3))
    assert cannot.seen == ("constant",)
    assert cannot.tied == ("linear", "quadratic")


def test_a_guessed_inertia_is_named_as_what_is_left_open() -> None:
    car = parse_car(file_text("lark.toml"))
    spin = replace(a_spin_down(), car=car)
    found = fit_losses(["bearing_friction"], spin_downs=[spin]).of("bearing_friction")
    assert found.largest_input == "wheel_inertia_factor"
    assert found.largest_share > 0.5
    known = fit_losses(["bearing_friction"], spin_downs=[a_spin_down()]).of("bearing_friction")
    assert known.uncertainty < found.uncertainty


def test_running_both_ways_takes_the_floors_fall_out() -> None:
    there, back = (_known_bearing(a_coast_down(fall=4e-4, back=back)) for back in (False, True))
    first = fit_losses(("rolling",), coast_downs=[there])
    both = fit_losses(("rolling",), coast_downs=[there, back])
    assert both.pulls["floor: fall"] == pytest.approx(4e-4 / 0.3e-3, rel=0.05)
    assert both.of("rolling").uncertainty < first.of("rolling").uncertainty
    assert both.of("rolling").value == pytest.approx(0.002, abs=0.2 * first.of("rolling").uncertainty)
    assert first.of("rolling").value < 0.002 - 0.2 * first.of("rolling").uncertainty


def test_a_coefficient_that_wants_to_drive_the_car_stops_at_nothing() -> None:
    driven = replace(_known_bearing(a_coast_down(fall=0.006)), fall=Quantity(value=0.0))
    found = fit_losses(("rolling",), coast_downs=[driven], priors={"rolling": (0.002, 0.05)})
    assert found.of("rolling").at_bound
    assert found.of("rolling").value >= 0.0
    assert found.misfit_probability < 0.01


def test_readings_that_scatter_more_than_they_say_are_a_misfit() -> None:
    good = a_coast_down()
    bad = replace(good, times=tuple(time + 0.01 * (-1) ** k for k, time in enumerate(good.times)))
    assert fit_losses(ALL, coast_downs=[good]).misfit_probability > 0.5
    assert fit_losses(ALL, coast_downs=[bad]).misfit_probability < 1e-6
    assert fit_coast_down(bad).misfit_probability < 1e-6


def test_off_the_rail_neither_rail_nor_scrub_brakes() -> None:
    lark = parse_car(file_text("lark.toml"))
    track = parse_track(file_text("track-tannery.toml"))
    on = replace(a_coast_down(), car=lark, track=track)
    off = replace(on, on_rail=False)
    fitted = ("rolling", "rail_friction")
    start = {"rolling": 0.002, "rail_friction": 0.2}
    block, _ = coast_block(on, fitted=fitted, start=start, number=1)
    assert "rail_friction" in block.names
    block, _ = coast_block(off, fitted=fitted, start=start, number=1)
    assert "rail_friction" not in block.names
    assert not any("tread" in name or "sweep" in name for name in block.names)


# Derivatives, against differences.


def _differences(block: Block, values: np.ndarray[Any, Any], steps: np.ndarray[Any, Any]) -> None:
    _, slopes = block.rows(values)
    for column, step in enumerate(steps):
        up, down = values.copy(), values.copy()
        up[column] += step
        down[column] -= step
        difference = (block.rows(up)[0] - block.rows(down)[0]) / (2.0 * step)
        assert slopes[:, column] == pytest.approx(difference, rel=2e-4, abs=2e-4 * np.abs(difference).max())


def test_the_derivatives_of_the_blocks_are_those_of_their_residuals() -> None:
    spin = a_spin_down(linear=0.02, quadratic=1e-4)
    block, unknowns = spin_block(replace(spin, car=parse_car(file_text("lark.toml"))), number=1)
    sizes = np.array([0.01, *(each.size for each in unknowns)])
    start = np.array([0.12, *(each.start + 0.3 * each.size for each in unknowns)])
    _differences(block, start, 1e-3 * sizes)

    wanted = ("rolling", "drag_area")
    given = {"rolling": 0.0021, "drag_area": 7e-4}
    coast, unknowns = coast_block(a_coast_down(), fitted=wanted, start=given, number=1)
    sizes = np.array([1e-4, 1e-4, *(each.size for each in unknowns)])
    start = np.array([*given.values(), *(each.start + 0.3 * each.size for each in unknowns)])
    _differences(coast, start, 1e-2 * sizes)

    track = replace(
        laid_out(),
        losses={"rolling": Quantity(value=0.002)},
        lanes={"a": LaneChange(finish=Quantity(value=0.0), factors={"rolling": Quantity(value=1.4)})},
    )
    timed, unknowns = timed_block(
        [TimedRun(car=plain_car(), track=track, lane="a", times=(2.5,), uncertainty=0.001)],
        fitted=wanted,
        start=given,
    )
    start = np.array([*given.values(), *(0.1 for _ in unknowns)])
    _differences(timed, start, np.array([1e-5, 1e-5, *(0.01 for _ in unknowns)]))


# Timed runs.


def _timed(*times: float, **more: Any) -> TimedRun:
    return TimedRun(car=plain_car(), track=laid_out(), times=times, **more)


def test_repeats_tell_their_scatter_all_together() -> None:
    # Worked by hand: squares 2 and 2 about means 2 and 12 with 2 and 2 degrees of freedom.
    runs = [_timed(1.0, 2.0, 3.0), _timed(11.0, 12.0, 13.0), _timed(5.0, uncertainty=0.1)]
    scatter, dof = pooled_scatter(runs)
    assert scatter == pytest.approx(1.0)
    assert dof == 4
    told = with_scatter(runs)
    assert [each.uncertainty for each in told] == [pytest.approx(math.sqrt(2.0))] * 2 + [0.1]


def test_too_few_repeats_are_refused() -> None:
    with pytest.raises(OutOfRange, match="too few"):
        with_scatter([_timed(1.0, 2.0)])
    with pytest.raises(OutOfRange, match="all repeats are alike"):
        with_scatter([_timed(*[2.5] * 5)])


def test_a_timer_that_starts_late_is_allowed_for_in_all_lines() -> None:
    block, _ = timed_block(
        [_timed(2.5, uncertainty=0.001, timer=0.0005)], fitted=("rolling",), start={"rolling": 0.002}
    )
    assert any(name.endswith(": timer") for name in block.names)
    block, _ = timed_block([_timed(2.5, uncertainty=0.001)], fitted=("rolling",), start={"rolling": 0.002})
    assert not any(name.endswith(": timer") for name in block.names)


def test_a_car_that_stalls_at_the_start_of_the_fit_is_refused() -> None:
    with pytest.raises(OutOfRange, match="comes to rest"):
        fit_losses(["rolling"], timed_runs=[_timed(2.5, uncertainty=0.01)], priors={"rolling": (0.3, 0.1)})


# What is refused in Python.


def test_unknown_and_missing_coefficients_are_refused() -> None:
    with pytest.raises(MissingReference, match="no loss coefficient 'drag'"):
        fit_losses(["drag"], coast_downs=[a_coast_down()])
    with pytest.raises(OutOfRange, match="no coefficient is to be found"):
        fit_losses([], coast_downs=[a_coast_down()])
    with pytest.raises(OutOfRange, match="nothing to fit"):
        fit_losses(["rolling"])
    with pytest.raises(OutOfRange, match="spin-down tells of bearing_friction"):
        fit_losses(["rolling"], spin_downs=[a_spin_down()])
    with pytest.raises(OutOfRange, match="no reading shows drag_area_per_pitch"):
        fit_losses(["bearing_friction", "drag_area_per_pitch"], spin_downs=[a_spin_down()])


# The file.

GOOD = """
format = 1
car = "lark.toml"
track = "track-tannery.toml"

[[spin_down]]
wheel = "rear_left"
times = [0, 2, 4.1, "6400 ms", 9]
speeds = [24, "1200 rpm", "100 rad/s", 12, 8]
time_uncertainty = 0.05

[[coast_down]]
distances = [0, "2 m", 4000, 6000]
times = [0, 0.7, 1.5, 2.4]
time_uncertainty = 0.002
fall = { value = 0.4, uncertainty = 0.1 }

[[timed_run]]
lane = "left"
times = [2.61, 2.62]
uncertainty = 0.002
[timed_run.splits]
"half the flat" = [1.97]
"""


def _car(name: str) -> Car:
    return parse_car(file_text(name), file=name)


def _track(name: str) -> Track:
    return parse_track(file_text(name), file=name)


def _file(text: str) -> FitFile:
    top: Mapping[str, Any] = parse_toml(text, file="fit.toml")
    return fit_file(top, car_of=_car, track_of=_track)


def test_a_fit_file_is_read_in_si() -> None:
    found = _file(GOOD)
    (spin,), (coast,), (timed,) = found.spin_downs, found.coast_downs, found.timed_runs
    assert found.fitted == ALL
    assert spin.times == (0.0, 2.0, 4.1, 6.4, 9.0)
    assert spin.speeds == pytest.approx((48 * math.pi, 40 * math.pi, 100.0, 24 * math.pi, 16 * math.pi))
    assert spin.name == "spin-down 1"
    assert coast.distances == (0.0, 2.0, 4.0, 6.0)
    assert (coast.fall.value, coast.fall.uncertainty) == (0.4e-3, 0.1e-3)
    assert timed.lane == "left"
    assert timed.splits == {"half the flat": (1.97,)}


def test_priors_of_a_file_take_the_place_of_the_shipped_ranges() -> None:
    found = _file(GOOD + "\n[prior]\nrolling = { value = 0.003, uncertainty = 0.0002 }\n")
    assert found.priors == {"rolling": (0.003, 0.0002)}


WRONG: tuple[tuple[str, str, str], ...] = (
    ("format = 1", "format = 2", "format"),
    ('car = "lark.toml"\n', "", "car: no car is named"),
    ('track = "track-tannery.toml"\n', "", "track: no track is named"),
    ('car = "lark.toml"', "car = 7", "car: 7 is not a text"),
    ("[[spin_down]]", "[spin_down]", "spin_down: this is no list of tables"),
    ("[[spin_down]]", "[[spindown]]", 'did you mean "spin_down"?'),
    ('wheel = "rear_left"', 'wheel = "left"', "spin_down[1].wheel: 'left' is not a wheel"),
    ('wheel = "rear_left"\n', "", "spin_down[1].wheel: no wheel is named"),
    ("times = [0, 2, 4.1", "times = [0, 5, 4.1", "spin_down[1].times: 4.1 s comes after 5 s"),
    ('"6400 ms"', '"6400 mm"', "spin_down[1].times[3]: '6400 mm' is not a time"),
    ('"1200 rpm"', '"1200 mph"', "spin_down[1].speeds[1]: '1200 mph' is not a turning speed"),
    ('"1200 rpm"', "30", "spin_down[1].speeds: a speed of 188.496 comes after 150.796"),
    ("12, 8]", "12]", "5 times stand beside 4 speeds"),
    ("time_uncertainty = 0.05", "", "spin_down[1]: nothing says how well it was read"),
    ("time_uncertainty = 0.05", "time_uncertainty = 0", "spin_down[1].time_uncertainty: an uncertainty of 0"),
    ("time_uncertainty = 0.05", "time_uncertainty = true", "spin_down[1].time_uncertainty: True is not"),
    (
        "time_uncertainty = 0.05",
        "time_uncertainty = 0.05\nspeed_uncertainty = 1",
        "spin_down[1]: both a time_uncertainty and a speed_uncertainty",
    ),
    ("time_uncertainty = 0.05", 'time_uncertainty = 0.05\nterms = ["air"]', "spin_down[1].terms"),
    ("time_uncertainty = 0.05", "time_uncertainty = 0.05\nsteps = 1", "spin_down[1].steps"),
    ("times = [0, 2, 4.1", "times = [[0], 2, 4.1", "spin_down[1].times[0]: [0] is not a time"),
    ("times = [0, 0.7, 1.5, 2.4]", "times = 3", "coast_down[1].times: 3 is not a list"),
    ("times = [0, 0.7, 1.5, 2.4]", "times = []", "coast_down[1].times: the list is empty"),
    (
        "distances = [0,",
        "distances = [3000,",
        "coast_down[1].distances: a line at 2 m comes after one at 3 m",
    ),
    ('"2 m"', '"2 s"', "coast_down[1].distances[1]"),
    ('distances = [0, "2 m", 4000, 6000]', "", "coast_down[1]: neither distances nor speeds"),
    ("fall = {", "speeds = [3, 2, 2, 1]\nfall = {", "coast_down[1]: both distances and speeds"),
    (
        "time_uncertainty = 0.002",
        "speed_uncertainty = 0.002",
        "coast_down[1].speed_uncertainty: lines are passed at times",
    ),
    ("times = [2.61, 2.62]", "times = [1e300]", "timed_run[1].times[0]: 1e+300 is too large"),
    ("4000, 6000]", "4000, 1e200]", "coast_down[1].distances[3]: 1e+200 is too large"),
    (
        "time_uncertainty = 0.05",
        "time_uncertainty = 1e-200",
        "spin_down[1].time_uncertainty: 1e-200 is finer",
    ),
    ("fall = { value = 0.4", "fall = { value = 400", "coast_down[1].fall: a floor that falls by 400 mm"),
    ("fall = { value = 0.4,", "fall = {", "coast_down[1].fall: the value is missing"),
    ("uncertainty = 0.1 }", "uncertainty = -0.1 }", "coast_down[1].fall.uncertainty"),
    ("fall = {", 'back = "yes"\nfall = {', "coast_down[1].back: 'yes' is neither true nor false"),
    ('lane = "left"', 'lane = "top"', "there is no lane 'top'"),
    ('"half the flat" = [1.97]', '"half" = [1.97]', "timed_run[1].splits: the track has no timing point"),
    ("times = [2.61, 2.62]", "times = [-2.61]", "timed_run[1].times: a time of -2.61 s cannot be"),
    ("uncertainty = 0.002\n[timed", "uncertainty = -1\n[timed", "timed_run[1].uncertainty"),
    ("format = 1", 'format = 1\nfit = "rolling"', "fit: 'rolling' is no list of coefficients"),
    ("format = 1", 'format = 1\nfit = ["roling"]', 'did you mean "rolling"?'),
    ("format = 1", 'format = 1\nfit = ["rolling", "rolling"]', "fit: a coefficient stands in the list twice"),
    ("[[spin_down]]", "[prior]\nhub_friction = 0.1\n[[spin_down]]", "prior.hub_friction: this is not to be"),
    (
        "[[spin_down]]",
        "[prior]\nrolling = { value = 0.002, uncertainty = 0 }\n[[spin_down]]",
        "prior.rolling: a coefficient without an uncertainty",
    ),
    ("[[spin_down]]", "[profile]\n[[spin_down]]", "this is a track file, not a fit file"),
)


@pytest.mark.parametrize(("old", "new", "said"), WRONG, ids=[said for _, _, said in WRONG])
def test_a_wrong_fit_file_is_refused_in_one_line_that_says_where(old: str, new: str, said: str) -> None:
    assert old in GOOD
    with pytest.raises(InputError) as caught:
        _file(GOOD.replace(old, new, 1))
    message = str(caught.value.at(file="fit.toml"))
    assert said in message
    assert "\n" not in message
    assert caught.value.mend


def test_a_file_without_readings_is_refused() -> None:
    with pytest.raises(InputError, match="nothing was timed"):
        _file("format = 1\n")


def test_the_shipped_coefficients_are_marked_as_measured_once_they_are_found() -> None:
    found = fit_losses(["bearing_friction"], spin_downs=[a_spin_down()]).of("bearing_friction")
    assert found.quantity.source is Source.MEASURED
    assert found.quantity.label == "bearing_friction"

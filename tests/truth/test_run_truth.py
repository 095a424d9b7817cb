"""The run held against closed forms of mechanics and a second, slower way to reckon poses and loads.

The closed forms are those of any dynamics text; the figures of the car are plain, chosen for these checks.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import quad
from scipy.optimize import brentq

from rollwright.car import Car
from rollwright.quantity import Quantity
from rollwright.run.chassis import PARAMETERS, chassis, frame_of
from rollwright.run.forces import Forces, forces
from rollwright.run.inputs import GRAVITY as STANDARD
from rollwright.run.inputs import inputs_of
from rollwright.run.once import run
from rollwright.run.pose import front_breaks, front_piece, nose_at, pose
from rollwright.run.surface import surface_of
from rollwright.run.track import Track, joined
from tests.unit.cars import lark
from tests.unit.run_bench import EFFECTIVE, GRAVITY, MASS, RADIUS, SHANK, laid_out, only, plain_car, straight

SLOPE = math.radians(15.0)


def test_a_car_with_rolling_wheels_on_an_incline() -> None:
    # a = g sin(slope) M / (M + sum I/r^2), t = sqrt(2 s / a): Halliday, Resnick, Fundamentals of Physics,
    # chapter 11 (from memory); the figures reckoned with 30 digits.
    found = run(plain_car(), straight(angle=SLOPE, finish=4.0), losses=only())
    assert found.finish_time == pytest.approx(1.81402982222354, rel=1e-12)
    assert found.finish_speed == pytest.approx(4.41007082793933, rel=1e-12)
    assert found.loss_free_time == found.finish_time


def test_quadratic_drag_on_an_incline() -> None:
    # t = (v_t m / F) acosh(exp(c s / m)), v = v_t sqrt(1 - exp(-2 c s / m)), v_t = sqrt(F / c):
    # J. R. Taylor, Classical Mechanics, section 2.4 (from memory); c = 0.0012 kg/m.
    found = run(plain_car(), straight(angle=SLOPE, finish=4.0), losses=only(drag_area=0.002))
    assert found.finish_time == pytest.approx(1.82385509474746, rel=1e-10)
    assert found.finish_speed == pytest.approx(4.33948501234894, rel=1e-10)


def _rolling(force: float) -> float:
    return force / (MASS * GRAVITY)


def test_coasting_against_a_constant_force_and_drag() -> None:
    # v and t of m v' = -F - c v^2 from v0 = 4 m/s with F = 0.02 N, c = 0.0012 kg/m (textbook, separable).
    found = run(
        plain_car(),
        straight(angle=0.0, finish=5.0),
        losses=only(rolling=_rolling(0.02), drag_area=0.002),
        push=4.0,
    )
    assert found.finish_speed == pytest.approx(3.66809136348934, rel=1e-11)
    assert found.finish_time == pytest.approx(1.30486904876539, rel=1e-11)


@pytest.mark.parametrize(("drag_area", "stop"), [(0.0, 59.176), (0.002, 41.4814189047852)])
def test_a_coasting_car_comes_to_rest_where_it_must(drag_area: float, stop: float) -> None:
    # x = m / (2 c) ln(1 + c v0^2 / F), and v0^2 m / (2 F) without drag (textbook).
    losses = only(rolling=_rolling(0.02), drag_area=drag_area)
    found = run(plain_car(), straight(angle=0.0, finish=80.0), losses=losses, push=4.0)
    assert found.finish_time is None
    assert found.stalled_at is not None
    assert found.stalled_at.distance == pytest.approx(stop, rel=1e-9)
    assert found.stalled_at.place.x == pytest.approx(stop, rel=1e-9)


@pytest.mark.parametrize("short", [1.0, 0.1, 1e-3])
def test_a_car_that_just_reaches_the_finish(short: float) -> None:
    # Constant deceleration: v^2 = v0^2 - 2 a s, t = (v0 - v) / a.
    losses, finish = only(rolling=_rolling(0.02)), 59.176 - short
    slowing = 0.02 / EFFECTIVE
    left = math.sqrt(16.0 - 2.0 * slowing * finish)
    found = run(plain_car(), straight(angle=0.0, finish=finish), losses=losses, push=4.0)
    assert found.finish_time == pytest.approx((4.0 - left) / slowing, rel=1e-10)


def test_bearing_friction_on_an_incline() -> None:
    # The load on all bearings together is M g cos(slope); on the shank's radius it brakes at the tread.
    friction = 0.12
    found = run(plain_car(), straight(angle=SLOPE, finish=4.0), losses=only(bearing_friction=friction))
    pull = MASS * GRAVITY * (math.sin(SLOPE) - friction * (SHANK / 2.0 / RADIUS) * math.cos(SLOPE))
    assert found.finish_time == pytest.approx(math.sqrt(2.0 * 4.0 * EFFECTIVE / pull), rel=1e-12)


def _parameters(car: Car, track: Track) -> dict[str, float]:
    """Return the figures of a car that the motion depends on."""
    losses = only()
    inputs = inputs_of(car, track, losses=losses, gravity=STANDARD)
    rows, _ = chassis(frame_of(car, inputs.names, losses=losses), inputs.values[None])
    return dict(zip(PARAMETERS, rows[0].tolist(), strict=True))


def test_bearing_friction_through_an_arc_grows_with_the_centripetal_load() -> None:
    # A bead that slides down a rough arc of radius R has du/d(angle) + 2 k u = 2 g R (sin - k cos), whose
    # closed form is an integral (textbook). The car is far shorter than the arc; its mass starts behind the
    # gate.
    radius, angle, friction = 200.0, math.radians(20.0), 0.5
    sizes = {"ramp_angle": angle, "ramp_length": 5.0, "arc_radius": radius, "flat_length": 1.0}
    track = laid_out(sizes)
    found = run(plain_car(), track, losses=only(bearing_friction=friction))
    at = _parameters(plain_car(), track)
    back = at["nose_x"] - at["mass_x"]
    share = MASS / EFFECTIVE
    k = friction * SHANK / 2.0 / RADIUS * share
    reach = radius - at["mass_z"]

    def arriving(here: float) -> float:
        """Return what a radian of arc where the surface dips by so much adds to u at the foot."""
        gain = share * math.sin(here) - k * math.cos(here)
        return 2.0 * GRAVITY * reach * gain * math.exp(-2.0 * k * here)

    start = 2.0 * (5.0 + back) * GRAVITY * (share * math.sin(angle) - k * math.cos(angle))
    after = start * math.exp(-2.0 * k * angle) + quad(arriving, 0.0, angle, epsabs=1e-12)[0]
    after -= 2.0 * (1.0 - back) * GRAVITY * k
    assert found.finish_speed is not None
    assert found.finish_speed**2 == pytest.approx(after, rel=1e-4)


def test_without_losses_the_fall_of_the_centre_of_mass_is_all_that_counts() -> None:
    track = laid_out()
    found = run(plain_car(), track, losses=only())
    # On the ramp the centre of mass stands over the surface as it does on the floor.
    at, angle = _parameters(plain_car(), track), track.pieces[0].angle
    back = at["nose_x"] - at["mass_x"]
    fall = track.drop(0.0, track.finish) + back * math.sin(angle) + at["mass_z"] * (math.cos(angle) - 1.0)
    assert found.finish_speed == pytest.approx(math.sqrt(2.0 * MASS * GRAVITY * fall / EFFECTIVE), rel=1e-12)


def test_a_hill_higher_than_the_start_stops_the_car_where_its_mass_is_as_high_as_it_was() -> None:
    down, turn = 0.4, 1.5
    stretches = ((1.0, 0.0), (2.0 * down * turn, 1.0 / turn), (3.0, 0.0))
    track = Track(
        name="dip", pieces=joined(angle=down, stretches=stretches), finish=4.5, air=Quantity(value=1.2)
    )
    found = run(plain_car(), track, losses=only())
    assert found.stalled_at is not None
    at = _parameters(plain_car(), track)
    # Down the slope the mass is behind the nose and higher, up the slope behind it and lower.
    back = at["nose_x"] - at["mass_x"]
    foot = track.at(0.0).z + 2.0 * back * math.sin(down)
    assert found.stalled_at.place.z == pytest.approx(foot, abs=1e-9)
    assert found.stalled_at.place.angle == pytest.approx(-down, abs=1e-12)


def _centre(track: Track, s: float, radius: float) -> NDArray[np.float64]:
    at = track.at(s)
    return np.array([at.x + radius * math.sin(at.angle), at.z + radius * math.cos(at.angle)])


class _Slow:
    """The same car on the same surface, by root finding, differences and one linear system of all forces."""

    def __init__(self, track: Track, figures: dict[str, float]) -> None:
        self.track, self.figures = track, figures
        self.apart = math.hypot(figures["ahead"], figures["front_radius"] - figures["rear_radius"])

    def front(self, s: float) -> float:
        behind = _centre(self.track, s, self.figures["rear_radius"])

        def off(ahead: float) -> float:
            return float(
                np.linalg.norm(_centre(self.track, ahead, self.figures["front_radius"]) - behind) - self.apart
            )

        return float(brentq(off, s + 0.5 * self.apart, s + 1.5 * self.apart, xtol=1e-15, rtol=1e-15))

    def shape(self, s: float) -> NDArray[np.float64]:
        """Return x, z and angle of the body, and how far both wheels have turned, up to constants."""
        rear = _centre(self.track, s, self.figures["rear_radius"])
        ahead = self.front(s)
        front = _centre(self.track, ahead, self.figures["front_radius"])
        rise = self.figures["front_radius"] - self.figures["rear_radius"]
        angle = math.atan2(*(front - rear)[::-1]) - math.atan2(rise, self.figures["ahead"])
        out, up = self.figures["mass_x"], self.figures["mass_z"] - self.figures["rear_radius"]
        turned = [
            rear[0] + out * math.cos(angle) - up * math.sin(angle),
            rear[1] + out * math.sin(angle) + up * math.cos(angle),
            angle,
        ]
        # A wheel on a curve turns by its contact's way over its radius, less what the curve turns.
        for at, radius in ((s, self.figures["rear_radius"]), (ahead, self.figures["front_radius"])):
            place = self.track.at(at)
            turned.append(-(at / radius + place.angle))
        return np.array(turned)

    def loads(self, s: float, u: float, rubs: tuple[float, float] = (0.0, 0.0)) -> tuple[float, ...]:
        """Return the rear centre's acceleration and the axles' loads, at its speed squared.

        The ground holds each axle back by a share of its load besides what spins its wheels.
        """
        step = 2e-4
        ways = np.array([k * step for k in (-2, -1, 0, 1, 2)])
        shapes = np.array([self.shape(s + way) for way in ways])
        first = (shapes[0] - 8.0 * shapes[1] + 8.0 * shapes[3] - shapes[4]) / (12.0 * step)
        second = (-shapes[0] + 16.0 * shapes[1] - 30.0 * shapes[2] + 16.0 * shapes[3] - shapes[4]) / (
            12.0 * step**2
        )
        here = self.track.at(s)
        # From arc length to the centre's way: constant on one piece.
        scale = 1.0 - here.curvature * self.figures["rear_radius"]
        first, second = first / scale, second / scale**2
        mass, inertia, gravity = (self.figures[name] for name in ("mass", "pitch_inertia", "gravity"))
        spins = [
            self.figures["rear_spin"] * self.figures["rear_radius"] ** 2,
            self.figures["front_spin"] * self.figures["front_radius"] ** 2,
        ]
        there = self.track.at(self.front(s))
        centre = shapes[2][:2]
        # Unknown: acceleration, both loads, both pulls of the ground along the surface.
        system, right = np.zeros((5, 5)), np.zeros(5)
        system[:2, 0] = mass * first[:2]
        right[:2] = [-mass * second[0] * u, -mass * (second[1] * u + gravity)]
        system[2, 0] = inertia * first[2] + spins[0] * first[3] + spins[1] * first[4]
        right[2] = -(inertia * second[2] + spins[0] * second[3] + spins[1] * second[4]) * u
        for k, at in enumerate((here, there)):
            normal = np.array([math.sin(at.angle), math.cos(at.angle)])
            tangent = np.array([math.cos(at.angle), -math.sin(at.angle)])
            arm = np.array([at.x, at.z]) - centre
            for column, way in ((1 + k, normal - rubs[k] * tangent), (3 + k, tangent)):
                system[:2, column] = -way
                system[2, column] = -(arm[0] * way[1] - arm[1] * way[0])
            # The ground's pull turns a wheel about its own centre, a radius above the contact.
            radius = self.figures[("rear_radius", "front_radius")[k]]
            system[3 + k, 0] = spins[k] * first[3 + k]
            system[3 + k, 3 + k] = -radius
            right[3 + k] = -spins[k] * second[3 + k] * u
        return tuple(np.linalg.solve(system, right)[:3].tolist())


def _figures() -> tuple[Track, dict[str, float], NDArray[Any]]:
    track = laid_out(keep=False)
    # Wheels of unlike size and a heavier front wheel leave no term of the equations out of sight.
    figures = _parameters(lark(), track) | {"front_radius": 0.013, "front_spin": 0.004}
    return track, figures, np.array([[figures[name] for name in PARAMETERS]])


def _quick(track: Track, rows: NDArray[Any], s: float) -> Forces:
    surface = surface_of(track)
    at = np.array([[s]])
    breaks = front_breaks(surface, rows)
    found = pose(surface, rows, at[..., None], rear=surface.piece_at(at), front=front_piece(breaks, at))
    return forces(rows, found)


@pytest.mark.parametrize("from_arc", [-1.0, -0.06, -0.02, 0.1, 0.3, 0.42, 0.47, 0.6])
@pytest.mark.parametrize("u", [0.0, 9.0])
def test_loads_are_those_of_all_forces_solved_together(from_arc: float, u: float) -> None:
    track, figures, rows = _figures()
    s = track.pieces[1].start + from_arc
    _, *expected = _Slow(track, figures).loads(s, u)
    acts = _quick(track, rows, s)
    found = [float((constant + growing * u)[0, 0, 0]) for constant, growing in acts.loads]
    assert found == pytest.approx(expected, rel=2e-6)


@pytest.mark.parametrize(("from_arc", "close"), [(-1.0, 1e-6), (0.25, 0.15), (0.9, 1e-6)])
def test_braking_leans_the_car_on_its_front_wheels(from_arc: float, close: float) -> None:
    # On a straight the two ways are the same. In an arc ours takes all rubbing to act below both axles alike:
    # here, with ten times the usual rubbing, that is off by less than two thousandths of the weight.
    track, figures, _ = _figures()
    rubs, u = (0.03, 0.2), 4.0
    figures |= {"scrub.rear.rear": rubs[0], "scrub.front.front": rubs[1]}
    s = track.pieces[1].start + from_arc
    slow = _Slow(track, figures)
    speeding, *expected = slow.loads(s, u, rubs)
    acts = _quick(track, np.array([[figures[name] for name in PARAMETERS]]), s)
    found = [float((constant + growing * u)[0, 0, 0]) for constant, growing in acts.axle_loads()]
    free = slow.loads(s, u)[1:]
    assert found[1] > free[1] + 0.01
    shift = [load - unbraked for load, unbraked in zip(expected, free, strict=True)]
    assert [load - unbraked for load, unbraked in zip(found, free, strict=True)] == pytest.approx(
        shift, rel=close, abs=1e-6
    )
    if close < 1e-5:
        still, growing = acts.braking()
        pull = figures["mass"] * figures["gravity"] * math.sin(track.at(s).angle)
        force = float((still + growing * u)[0, 0, 0])
        assert (pull - force) / float(acts.moving[0, 0, 0]) == pytest.approx(speeding, rel=1e-6)


def test_height_and_moving_mass_are_those_of_the_slow_way() -> None:
    track, figures, rows = _figures()
    slow = _Slow(track, figures)
    for from_arc in (-0.05, 0.2, 0.45):
        s = track.pieces[1].start + from_arc
        acts = _quick(track, rows, s)
        assert float(acts.height[0, 0, 0]) == pytest.approx(slow.shape(s)[1], abs=1e-14)
        step = 1e-4
        rate = (slow.shape(s + step) - slow.shape(s - step)) / (2.0 * step)
        rate /= 1.0 - track.at(s).curvature * figures["rear_radius"]
        moving = figures["mass"] * (rate[0] ** 2 + rate[1] ** 2) + figures["pitch_inertia"] * rate[2] ** 2
        moving += figures["rear_spin"] * (rate[3] * figures["rear_radius"]) ** 2
        moving += figures["front_spin"] * (rate[4] * figures["front_radius"]) ** 2
        assert float(acts.moving[0, 0, 0]) == pytest.approx(moving, rel=1e-7)


RUBBING = {"bearing": 0, "hub": 1, "rail": 2, "scrub": 3, "rolling": 4}


@pytest.mark.parametrize("loss", RUBBING)
def test_each_loss_brakes_by_how_far_it_rubs(loss: str) -> None:
    # Pins turn in bores as the wheels do against the body; side forces slide as far as the wheels' centres
    # go; what resists rolling does so along the surface.
    track, figures, _ = _figures()
    figures |= {f"{loss}.rear.rear": 0.01, f"{loss}.front.front": 0.03}
    slow = _Slow(track, figures)
    s, step = track.pieces[1].start + 0.2, 1e-4
    centre = 1.0 - track.at(s).curvature * figures["rear_radius"]
    rate = (slow.shape(s + step) - slow.shape(s - step)) / (2.0 * step) / centre
    ahead = (slow.front(s + step) - slow.front(s - step)) / (2.0 * step) / centre
    if loss in {"bearing", "hub"}:
        ways = [
            (rate[2] - rate[3 + k]) * figures[name] for k, name in enumerate(("rear_radius", "front_radius"))
        ]
    elif loss == "rolling":
        ways = [1.0 / centre, ahead]
    else:
        ways = [1.0, ahead * (1.0 - track.at(slow.front(s)).curvature * figures["front_radius"])]
    acts = _quick(track, np.array([[figures[name] for name in PARAMETERS]]), s)
    for k, found in enumerate((acts.rubbing, acts.rubbing_u)):
        loads = [float(load[k][0, 0, 0]) for load in acts.loads]
        expected = 0.01 * loads[0] * ways[0] + 0.03 * loads[1] * ways[1]
        assert float(found[RUBBING[loss], 0, 0, 0]) == pytest.approx(expected, rel=1e-7)


def test_the_air_brakes_by_the_way_of_the_centre_of_mass() -> None:
    track, figures, _ = _figures()
    figures |= {"air": 7e-4}
    slow = _Slow(track, figures)
    s, step = track.pieces[1].start + 0.2, 1e-4
    rate = (slow.shape(s + step) - slow.shape(s - step))[:2] / (2.0 * step)
    pace = float(np.linalg.norm(rate)) / (1.0 - track.at(s).curvature * figures["rear_radius"])
    assert abs(pace - 1.0) > 1e-3
    acts = _quick(track, np.array([[figures[name] for name in PARAMETERS]]), s)
    # Force c (pace v)^2 over a way of pace for each metre.
    assert float(acts.drag[0, 0, 0]) == pytest.approx(7e-4 * pace**3, rel=1e-7)


@pytest.mark.parametrize("from_arc", [-0.5, 0.0, 0.05, 0.3, 0.6, 3.0])
def test_the_nose_is_on_the_line_when_it_is_said_to_be(from_arc: float) -> None:
    track, figures, rows = _figures()
    line = track.pieces[1].start + from_arc
    surface = surface_of(track)
    s = float(nose_at(surface, rows, front_breaks(surface, rows), line)[0])
    x, z, angle, *_ = _Slow(track, figures).shape(s)
    out, up = figures["nose_x"] - figures["mass_x"], figures["nose_z"] - figures["mass_z"]
    nose = np.array(
        [x + out * math.cos(angle) - up * math.sin(angle), z + out * math.sin(angle) + up * math.cos(angle)]
    )
    at = track.at(line)
    off = nose - [at.x, at.z]
    assert off @ [math.cos(at.angle), -math.sin(at.angle)] == pytest.approx(0.0, abs=1e-13)
    assert 0.0 < off @ [math.sin(at.angle), math.cos(at.angle)] < 0.02


def test_standard_gravity_is_what_it_was_declared_to_be() -> None:
    # 3rd General Conference on Weights and Measures (1901): 9.80665 m/s2.
    assert STANDARD.value == 9.80665

"""The simulated bench, and how honest the advice is when it is tried there.

Counts are judged by exact binomial (or Poisson-binomial) tails at one in a thousand, never by a tolerance.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.stats import binom, binomtest, chi2, kstest

from rollwright.car import Car, Station, parse_car
from rollwright.car.dimensions import dimension_names
from rollwright.geometry.many import dimension_values
from rollwright.scenario.club import SEEDS, file_text
from rollwright.scenario.simulate import GAUGES, SimulatedCar, bench_session, draw_car
from rollwright.setup.estimate import Estimate, Prior, estimate, prior_of
from rollwright.setup.hand import Hand
from rollwright.setup.outcome import MoveKind
from rollwright.setup.plan_moves import Move, Plan, after_moves, plan_moves
from rollwright.setup.readings import ReadingKind, parse_readings

from .cars import DEG, MM, PERFECT, club_car, lark, mirrored, wanted_of

FL, FR = Station.FRONT_LEFT, Station.FRONT_RIGHT
ONE_IN_A_THOUSAND = 1e-3
NORMAL_95 = 1.959963984540054
COLUMN = {name: index for index, name in enumerate(dimension_names())}


# The bench itself.


def a_move(kind: MoveKind, by: float, station: Station = FL) -> Move:
    plan = plan_moves(estimate(lark()))
    return Move(kind=kind, station=station, by=by, to=0.0, ask=by, gate=0, after=plan.outcome)


def test_washers_that_are_all_taken_out_are_out_whatever_they_measured() -> None:
    values = dimension_values(lark())
    values[COLUMN["front_left.washer"]] = 0.53 * MM
    start = SimulatedCar(car=lark(), values=values)
    rng = np.random.default_rng(1)
    all_out = a_move(MoveKind.WASHER, -0.5 * MM)
    some_out = replace(all_out, to=0.1 * MM)
    column = COLUMN["front_left.washer"]
    assert start.after([all_out], rng, hand=Hand()).values[column] == 0.0
    assert start.after([some_out], rng, hand=PERFECT).values[column] == pytest.approx(0.03 * MM)


@pytest.mark.parametrize(
    ("kind", "name", "by", "change"),
    [
        (MoveKind.BEND, "bend", 1.0 * DEG, 1.0 * DEG),
        (MoveKind.BEND, "bend", -9.0 * DEG, -2.6 * DEG),
        (MoveKind.TURN, "clock", -12.0 * DEG, -12.0 * DEG),
        (MoveKind.WASHER, "washer", 0.3 * MM, 0.3 * MM),
        (MoveKind.RELIEF, "relief", 0.4 * MM, 0.4 * MM),
        (MoveKind.SHIM, "hole_height", 0.2 * MM, -0.2 * MM),
    ],
)
def test_a_move_changes_its_own_dimension_and_nothing_else(
    kind: MoveKind, name: str, by: float, change: float
) -> None:
    start = SimulatedCar(car=lark(), values=dimension_values(lark()))
    after = start.after([a_move(kind, by)], np.random.default_rng(0), hand=PERFECT)
    expected = start.values.copy()
    expected[COLUMN[f"front_left.{name}"]] += change
    assert after.values == pytest.approx(expected, abs=1e-8)
    assert start.values == pytest.approx(dimension_values(lark()), rel=0.0, abs=0.0)


def test_a_hand_misses_by_its_own_spread_and_a_bent_axle_goes_back_turned() -> None:
    hand = Hand(bend=0.2 * DEG, turn=2.0 * DEG, relief=0.07 * MM, washer=0.03 * MM, shim=0.02 * MM)
    moves = [a_move(MoveKind.BEND, 1.0 * DEG), a_move(MoveKind.RELIEF, 0.8 * MM)]
    start = SimulatedCar(car=lark(), values=dimension_values(lark()))
    rng = np.random.default_rng(21)
    count = 800
    found = np.array([start.after(moves, rng, hand=hand).values - start.values for _ in range(count)])
    for name, mean, spread in (
        ("bend", 1.0 * DEG, hand.bend),
        ("clock", 0.0, hand.turn),
        ("relief", 0.8 * MM, hand.relief),
    ):
        errors = (found[:, COLUMN[f"front_left.{name}"]] - mean) / spread
        assert kstest(errors, "norm").pvalue > ONE_IN_A_THOUSAND, name


def test_the_gauges_are_off_by_their_own_spread() -> None:
    true = SimulatedCar(car=lark(), values=dimension_values(lark()))
    rng = np.random.default_rng(22)
    gates = true.gates()
    for row, (kind, spread) in enumerate(GAUGES.items()):
        shown = [true.read(rng, kinds=[kind])[0] for _ in range(120)]
        assert {each.kind for each in shown} == {kind}
        assert {each.quantity.uncertainty for each in shown} == {spread}
        errors = [(each.quantity.value - gates[row]) / spread for each in shown]
        assert kstest(errors, "norm").pvalue > ONE_IN_A_THOUSAND, kind


def test_cars_are_drawn_from_their_files_uncertainties() -> None:
    rng = np.random.default_rng(23)
    prior = prior_of(lark())
    drawn = np.array([draw_car(lark(), rng).values for _ in range(400)])
    for name in ("body.width", "front_left.hole_height", "rear_left.cant", "front_left.bend", "rail.width"):
        column = COLUMN[name]
        pulls = (drawn[:, column] - prior.mean[column]) / prior.deviations[column]
        assert kstest(pulls, "norm").pvalue > ONE_IN_A_THOUSAND, name
    for name in ("front_left.washer", "rear_left.play", "rear_left.bend"):
        assert drawn[:, COLUMN[name]].min() >= 0.0


def test_inside_is_inside_of_the_tolerance_either_way() -> None:
    true = SimulatedCar(car=lark(), values=dimension_values(lark()))
    off = np.abs(true.gates() - wanted_of(lark())[0])
    assert true.inside().tolist() == (off <= wanted_of(lark())[1]).tolist()
    assert true.inside().tolist() == [True, False, False]


def test_the_same_seed_gives_the_same_evening() -> None:
    assert bench_session(lark(), 22) == bench_session(lark(), 22)
    assert bench_session(lark(), 22) != bench_session(lark(), 23)


@pytest.mark.parametrize(
    ("name", "length", "drift"),
    [("lark", 0.01 * MM, 1.0 * MM), ("heron", 0.01 * MM, 1.0 * MM), ("bittern", 0.0254 * MM, 25.4 / 16 * MM)],
)
def test_the_clubs_readings_are_those_of_their_seeds(name: str, length: float, drift: float) -> None:
    assert set(SEEDS) == {"lark", "heron", "bittern"}
    shown = bench_session(parse_car(file_text(f"{name}.toml")), SEEDS[name])
    written = parse_readings(file_text(f"{name}-readings.toml")).readings
    assert [each.kind.value for each in written] == list(shown)
    for each in written:
        # Rounded as a builder writes them: hundredths or thousandths, whole millimetres or sixteenths.
        step = drift if each.kind is ReadingKind.DRIFT else length
        assert each.quantity.repeats == pytest.approx(shown[each.kind.value], abs=0.501 * step)


# How honest the advice is.


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """One car: as it truly is, as it was judged, what was asked, and how it was afterwards."""

    true: SimulatedCar
    found: Estimate
    plan: Plan
    after: SimulatedCar
    gates: NDArray[np.float64]
    gates_after: NDArray[np.float64]

    def inside_after(self) -> NDArray[np.bool_]:
        """Return whether each gate truly lies inside its tolerance after the moves."""
        wanted, tolerance = wanted_of(self.true.car)
        inside: NDArray[np.bool_] = np.abs(self.gates_after - wanted) <= tolerance
        return inside


def trials(car: Car, seed: int, count: int) -> list[Trial]:
    found = []
    for number in range(count):
        rng = np.random.default_rng((seed, number))
        true = draw_car(car, rng)
        judged = estimate(car, true.read(rng))
        plan = plan_moves(judged)
        after = true.after(plan.moves, rng, hand=Hand())
        found.append(
            Trial(
                true=true,
                found=judged,
                plan=plan,
                after=after,
                gates=true.gates(),
                gates_after=after.gates(),
            )
        )
    return found


@pytest.fixture(scope="module")
def tried() -> Sequence[Trial]:
    return [*trials(lark(), 31, 150), *trials(mirrored(club_car("bittern")), 32, 70)]


def likely(successes: int, count: int, probability: float) -> bool:
    return float(binomtest(successes, count, probability).pvalue) > ONE_IN_A_THOUSAND


def poisson_binomial_tails(successes: int, probabilities: Sequence[float]) -> float:
    """Return the smaller tail of a count of independent trials with different chances, exactly."""
    chances: NDArray[np.float64] = np.ones(1)
    for probability in probabilities:
        chances = np.convolve(chances, [1.0 - probability, probability])
    return min(float(chances[: successes + 1].sum()), float(chances[successes:].sum()))


def test_the_exact_tails_are_those_of_the_binomial_where_all_chances_are_alike() -> None:
    assert poisson_binomial_tails(3, [0.2] * 40) == pytest.approx(float(binom.cdf(3, 40, 0.2)))
    assert poisson_binomial_tails(15, [0.2] * 40) == pytest.approx(float(binom.sf(14, 40, 0.2)))


@pytest.mark.parametrize("gate", range(3), ids=["level", "drift", "rail"])
def test_the_95_percent_intervals_of_the_gates_hold_the_truth_95_times_in_100(
    tried: Sequence[Trial], gate: int
) -> None:
    held = 0
    for each in tried:
        spread = math.sqrt(each.found.gate_covariance[gate, gate])
        held += abs(float(each.found.gates[gate] - each.gates[gate])) <= NORMAL_95 * spread
    assert likely(held, len(tried), 0.95), f"{held} of {len(tried)}"


@pytest.mark.parametrize(
    "name", ["hole_height", "cant", "sweep", "clock", "bend", "hub_projection", "diameter"]
)
def test_the_95_percent_intervals_of_the_sizes_hold_the_truth_95_times_in_100(
    tried: Sequence[Trial], name: str
) -> None:
    held = 0
    for each in tried:
        column = COLUMN[f"{each.found.car.dominant.value}.{name}"]
        off = abs(float(each.found.values[column] - each.true.values[column]))
        held += off <= NORMAL_95 * float(each.found.deviations[column])
    assert likely(held, len(tried), 0.95), f"{held} of {len(tried)}"


def test_the_chance_of_misfit_is_spread_evenly(tried: Sequence[Trial]) -> None:
    chances = [each.found.misfit_probability for each in tried]
    assert kstest(chances, "uniform").pvalue > ONE_IN_A_THOUSAND
    for below in (0.05, 0.5, 0.95):
        assert likely(sum(chance < below for chance in chances), len(chances), below), below


def test_the_gates_are_off_together_as_their_covariance_says(tried: Sequence[Trial]) -> None:
    distances = []
    for each in tried:
        off = each.found.gates - each.gates
        scale = np.sqrt(np.diag(each.found.gate_covariance))
        correlation = each.found.gate_covariance / np.outer(scale, scale)
        distances.append(float((off / scale) @ np.linalg.solve(correlation, off / scale)))
    assert kstest(distances, chi2(3).cdf).pvalue > ONE_IN_A_THOUSAND


def test_sanding_passes_the_mark_at_most_5_times_in_100(tried: Sequence[Trial]) -> None:
    sanded = [each for each in tried if MoveKind.RELIEF in {move.kind for move in each.plan.moves}]
    assert len(sanded) > 150
    over = sum(float(each.gates_after[2]) < wanted_of(each.true.car)[0][2] for each in sanded)
    assert float(binom.sf(over - 1, len(sanded), 0.05)) > ONE_IN_A_THOUSAND, f"{over} of {len(sanded)}"
    # Stopping short for its own sake would cost the builder another round: some do pass.
    assert over > 0


@pytest.mark.parametrize("gate", range(3), ids=["level", "drift", "rail"])
def test_the_promised_chances_are_kept(tried: Sequence[Trial], gate: int) -> None:
    promised = [each.plan.outcome.probabilities[gate] for each in tried]
    kept = sum(bool(each.inside_after()[gate]) for each in tried)
    assert poisson_binomial_tails(kept, promised) > ONE_IN_A_THOUSAND, f"{kept}, promised {sum(promised):.1f}"


def test_the_promised_chance_of_all_three_is_kept(tried: Sequence[Trial]) -> None:
    promised = [each.plan.outcome.joint for each in tried]
    kept = sum(bool(each.inside_after().all()) for each in tried)
    assert poisson_binomial_tails(kept, promised) > ONE_IN_A_THOUSAND, f"{kept}, promised {sum(promised):.1f}"


def test_the_result_is_off_what_was_predicted_by_its_own_spread(tried: Sequence[Trial]) -> None:
    for gate in range(3):
        pulls = [
            float((each.gates_after - each.plan.outcome.means)[gate] / each.plan.outcome.deviations[gate])
            for each in tried
        ]
        assert kstest(pulls, "norm").pvalue > ONE_IN_A_THOUSAND, gate


def test_taking_the_advice_brings_every_car_nearer(tried: Sequence[Trial]) -> None:
    def off(trial: Trial, gates: NDArray[np.float64]) -> float:
        wanted, tolerance = wanted_of(trial.true.car)
        return float(np.sum(((gates - wanted) / tolerance) ** 2))

    moved = [each for each in tried if each.plan.moves]
    assert len(moved) > 200
    farther = [each for each in moved if off(each, each.gates_after) >= off(each, each.gates)]
    # A hand that misses may spoil a car that was good already, but never one in a hundred.
    assert len(farther) <= 2
    before = sum(bool(each.true.inside().all()) for each in tried)
    after = sum(bool(each.inside_after().all()) for each in tried)
    assert after > 10 * max(1, before)


def test_a_second_round_starts_from_what_the_first_left_known_and_keeps_its_word() -> None:
    promised, kept = [], 0
    for number, each in enumerate(trials(lark(), 33, 25)):
        rng = np.random.default_rng((34, number))
        mean, root = after_moves(each.found, each.plan)
        prior = Prior(mean=mean, root=root, sources=tuple(f"earlier {n}" for n in range(root.shape[1])))
        found = estimate(each.after.car, each.after.read(rng), prior=prior)
        plan = plan_moves(found)
        promised.append(plan.outcome.joint)
        kept += bool(each.after.after(plan.moves, rng, hand=Hand()).inside().all())
    assert poisson_binomial_tails(kept, promised) > ONE_IN_A_THOUSAND, f"{kept}, promised {sum(promised):.1f}"
    assert sum(promised) > 0.7 * len(promised)

"""The time budget and the prices."""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import permutations

import numpy as np
import pytest

from rollwright.quantity import Quantity
from rollwright.run.budget import shares_of
from rollwright.run.inputs import GRAVITY as STANDARD
from rollwright.run.inputs import inputs_of
from rollwright.run.losses import LOSS_NAMES, losses_of
from rollwright.run.once import run, run_many
from rollwright.run.track import Track
from tests.unit.cars import heron, lark
from tests.unit.run_bench import laid_out, only, plain_car


def _times(count: int, time_of: Callable[[frozenset[int]], float]) -> np.ndarray:
    subsets = [frozenset(bit for bit in range(count) if number >> bit & 1) for number in range(2**count)]
    return np.array([time_of(subset) for subset in subsets])


def test_two_losses_that_hide_each_other_share_what_they_cost_together() -> None:
    # Alone 3 and 5, together 6: each comes first in half of the orders, so (3 + 1) / 2 and (5 + 3) / 2.
    times = np.array([10.0, 13.0, 15.0, 16.0])
    assert shares_of((0, 5), times) == {
        "bearing": 2.0,
        "hub": 0.0,
        "rail": 0.0,
        "scrub": 0.0,
        "rolling": 0.0,
        "air": 4.0,
    }


def test_shares_are_the_mean_over_all_orders() -> None:
    weights = (0.3, 0.11, 0.7, 0.05)

    def time_of(acting: frozenset[int]) -> float:
        return 2.0 + math.sqrt(sum(weights[index] for index in acting))

    found = shares_of((0, 1, 2, 3), _times(4, time_of))
    for player, name in enumerate(LOSS_NAMES[:4]):
        parts = []
        for order in permutations(range(4)):
            before = frozenset(order[: order.index(player)])
            parts.append(time_of(before | {player}) - time_of(before))
        assert found[name] == pytest.approx(math.fsum(parts) / len(parts), rel=1e-13)


def test_losses_that_act_alike_get_the_same_and_the_order_does_not_matter() -> None:
    def time_of(acting: frozenset[int]) -> float:
        return 1.0 + math.sqrt(len(acting & {0, 2})) + 0.2 * len(acting)

    found = shares_of((0, 1, 2), _times(3, time_of))
    assert found["bearing"] == pytest.approx(found["rail"], rel=1e-14)
    turned = shares_of((2, 1, 0), _times(3, time_of))
    assert turned == pytest.approx(dict(found), rel=1e-14)


def test_a_runs_budget_sums_to_the_time_lost_to_a_nanosecond() -> None:
    found = run(lark(), laid_out(), prices=False)
    assert found.finish_time is not None
    assert found.loss_free_time is not None
    lost = found.finish_time - found.loss_free_time
    assert math.fsum(found.budget.values()) == pytest.approx(lost, abs=1e-9)
    assert set(found.budget) == set(LOSS_NAMES)
    assert all(part > 0.0 for part in found.budget.values())


def test_one_loss_alone_has_the_whole() -> None:
    found = run(plain_car(), laid_out(), losses=only(rolling=0.003), prices=False)
    assert found.finish_time is not None
    assert found.loss_free_time is not None
    assert found.budget["rolling"] == found.finish_time - found.loss_free_time
    assert sum(part != 0.0 for part in found.budget.values()) == 1


STEP = 2e-5


def _slope(track: Track, name: str, value: float, step: float) -> float:
    """Return a derivative by central differences of fourth order."""
    at = value + step * np.array([-2.0, -1.0, 1.0, 2.0])
    t = run_many(lark(), track, {name: at}).finish_time
    return float((t[0] - 8.0 * t[1] + 8.0 * t[2] - t[3]) / (12.0 * step))


SURVEYED = laid_out(keep=False)


@pytest.mark.parametrize("track", [laid_out(), SURVEYED], ids=["laid out", "surveyed"])
def test_prices_are_the_derivatives_of_the_run(track: Track) -> None:
    found = run(lark(), track)
    inputs = inputs_of(lark(), track, losses=losses_of({}), gravity=STANDARD)
    assert tuple(found.prices) == inputs.names
    checked = 0
    for name, value in zip(inputs.names, inputs.values.tolist(), strict=True):
        step = STEP if name != "losses.creep_stiffness" else 1.0
        step = max(step, 1e-4 * abs(value)) if name.startswith(("profile", "gravity", "finish")) else step
        expected = _slope(track, name, value, step)
        # Differences of times that agree to 1e-15 s know a slope to about that over the step.
        assert found.prices[name] == pytest.approx(expected, rel=1e-6, abs=4e-15 / step), name
        checked += abs(expected) > 1e-3
    assert checked > 50


def test_prices_have_the_signs_that_builders_know() -> None:
    prices = run(lark(), laid_out()).prices
    # Mass at the back starts higher up the ramp.
    assert prices["body.centre_of_mass.x"] > 0.0
    # Spin costs, weight does not; a heavier body is held up less by the air.
    assert prices["wheel_inertia_factor"] > 0.0
    assert prices["weights.slug.mass"] < 0.0
    assert prices["gravity"] < 0.0
    assert prices["profile.flat_length"] > 0.0
    assert prices["board.length"] == 0.0


def test_the_uncertainty_is_that_of_the_inputs_and_names_the_largest() -> None:
    found = run(heron(), laid_out())
    assert found.uncertainty is not None
    square = math.fsum(line.contribution**2 for line in found.contributors)
    assert found.uncertainty == pytest.approx(math.sqrt(square), rel=1e-12)
    assert [line.share for line in found.contributors] == sorted(
        (line.share for line in found.contributors), reverse=True
    )
    assert sum(line.share for line in found.contributors) == pytest.approx(1.0)
    line = next(line for line in found.contributors if line.name == "losses.rolling")
    assert line.contribution == pytest.approx(
        found.prices["losses.rolling"] * (0.004 - 0.0005) / math.sqrt(12.0)
    )


def test_a_measured_coefficient_narrows_it() -> None:
    wide = run(lark(), laid_out()).uncertainty
    narrow = run(
        lark(), laid_out(), losses=losses_of({"bearing_friction": Quantity(value=0.1, uncertainty=0.005)})
    ).uncertainty
    assert wide is not None
    assert narrow is not None
    assert narrow < wide

"""How often the intervals of a drill batch hold what is true: simulated batches; run with `make bench`.

Each case draws batches from known bias and scatter, reads them as the bench does, and counts in how many
the interval holds the truth. Nothing here passes or fails on a time.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from rollwright.judge.batch_capability import capability
from rollwright.judge.batch_chart import wander
from rollwright.judge.batch_compare import changed
from rollwright.judge.batch_counts import clopper_pearson, wilson
from rollwright.judge.batch_data import Off
from rollwright.judge.batch_fit import fit

Array = NDArray[np.float64]
Reader = Callable[[np.random.Generator, Array], list[Off]]

REPEATS = 5000
BODIES = 20
BIAS, SCATTER, TOLERANCE = 0.2, 0.15, 0.4
"""In degrees; the unit does not matter to what is counted."""


def exact(rng: np.random.Generator, true: Array) -> list[Off]:
    """A gauge without error."""
    del rng
    return [Off(low=x, high=x, uncertainty=0.0) for x in true]


def protractor(rng: np.random.Generator, true: Array) -> list[Off]:
    """A protractor whose error is two fifths of the scatter."""
    read = true + 0.06 * rng.standard_normal(len(true))
    return [Off(low=x, high=x, uncertainty=0.06) for x in read]


def looks(rng: np.random.Generator, true: Array) -> list[Off]:
    """Daylight or none, and a feeler that goes and one that does not where there is some."""
    edges = np.array([0.1, 0.2, 0.3, 0.4, 0.6, 1.0])
    found = []
    for x in true:
        if abs(x) < edges[0]:
            found.append(Off(low=-edges[0], high=edges[0], uncertainty=0.0))
        elif rng.random() < 0.1:
            found.append(Off(low=-edges[0], high=edges[0], uncertainty=0.0, outside=True))
        else:
            at = int(np.searchsorted(edges, abs(x)))
            low, high = sorted(math.copysign(float(edge), x) for edge in (edges[at - 1], edges[min(at, 5)]))
            found.append(Off(low=low, high=high, uncertainty=0.0))
    return found


def mixed(rng: np.random.Generator, true: Array) -> list[Off]:
    """Half of the bodies by protractor, half by looks."""
    half = len(true) // 2
    return [*protractor(rng, true[:half]), *looks(rng, true[half:])]


READERS = (exact, protractor, looks, mixed)


@pytest.mark.parametrize("count", [8, BODIES])
@pytest.mark.parametrize("read", READERS)
def test_intervals_of_bias_scatter_cpk_and_share_hold_what_is_true(read: Reader, count: int) -> None:
    rng = np.random.default_rng(5)
    inside = 0.5 * (
        math.erf((TOLERANCE - BIAS) / SCATTER / math.sqrt(2.0))
        + math.erf((TOLERANCE + BIAS) / SCATTER / math.sqrt(2.0))
    )
    cpk = (TOLERANCE - BIAS) / (3.0 * SCATTER)
    held = np.zeros(4)
    for _ in range(REPEATS):
        found = fit(read(rng, BIAS + SCATTER * rng.standard_normal(count)))
        told = capability(found, tolerance=TOLERANCE) if math.isfinite(found.bias) else None
        held += [
            found.bias_low <= BIAS <= found.bias_high,
            found.scatter_low <= SCATTER <= found.scatter_high,
            told is None or told.cpk.low <= cpk <= told.cpk.high,
            told is None or told.inside.low <= inside <= told.inside.high,
        ]
    covered = dict(zip(("bias", "scatter", "cpk", "inside"), held / REPEATS, strict=True))
    print(read.__name__, count, covered)  # noqa: T201 - this is what the page quotes
    assert all(0.88 <= share <= 0.93 for share in covered.values()), covered


@pytest.mark.parametrize("read", READERS)
def test_intervals_of_what_changed_hold_what_is_true(read: Reader) -> None:
    rng = np.random.default_rng(6)
    held = np.zeros(2)
    for _ in range(REPEATS):
        first = read(rng, BIAS + SCATTER * rng.standard_normal(BODIES))
        second = read(rng, 0.1 + 0.1 * rng.standard_normal(12))
        found = changed((fit(first), first), (fit(second), second))
        held += [
            found.bias.low <= BIAS - 0.1 <= found.bias.high,
            found.scatter.low <= SCATTER / 0.1 <= found.scatter.high,
        ]
    covered = dict(zip(("bias", "scatter"), held / REPEATS, strict=True))
    print(read.__name__, covered)  # noqa: T201 - likewise
    assert all(0.88 <= share <= 0.93 for share in covered.values()), covered


def test_the_exact_interval_of_a_share_holds_at_least_as_often_as_it_says() -> None:
    """Clopper and Pearson's covers more, not less: no count has a chance that would let it be exact."""
    shares = np.linspace(0.05, 0.95, 19)
    rng = np.random.default_rng(7)
    for of, low, high in ((clopper_pearson, 0.895, 1.0), (wilson, 0.82, 0.97)):
        found = [of(good=good, drilled=BODIES) for good in range(BODIES + 1)]
        for share in shares:
            goods = rng.binomial(BODIES, share, REPEATS)
            held = np.mean([found[good].low <= share <= found[good].high for good in goods])
            assert low <= held <= high, (of.__name__, share, held)


def test_a_change_is_named_falsely_as_seldom_as_its_chance_says() -> None:
    rng = np.random.default_rng(8)
    found = [wander(list(rng.standard_normal(BODIES))) for _ in range(1000)]
    false = np.mean([[pair[0].chance <= 0.05, pair[1].chance <= 0.05] for pair in found if pair], axis=0)
    print("false changes", false)  # noqa: T201 - likewise
    assert np.all(false <= 0.07)


def test_a_bushing_that_wanders_is_found() -> None:
    """From body 15 of 24 by half a scatter a body: how often it is named, and how near the place is."""
    rng = np.random.default_rng(9)
    drift = 0.5 * np.maximum(0.0, np.arange(24) - 13.0)
    named, near, within = 0, 0, 0
    for _ in range(500):
        pair = wander(list(rng.standard_normal(24) + drift))
        if pair is not None and pair[0].chance <= 0.05 / 12:
            named += 1
            near += abs(pair[0].first - 14) <= 3
            within += pair[0].earliest <= 14 <= pair[0].latest
    print("named", named / 500, "within three", near / named, "in its range", within / named)  # noqa: T201
    assert named > 400
    assert within >= 0.86 * named

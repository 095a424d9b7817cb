"""Readings that contradict each other, or what was known before them: they pass no gate."""

from __future__ import annotations

import math

import pytest
from scipy.stats import chi2

from rollwright.bench.agreed import DOUBTFUL, Doubt
from rollwright.bench.events import Bend, ReadingTaken, Turn
from rollwright.bench.fold import Gate, Standing
from rollwright.judge.verdict import State
from rollwright.setup.reading_keys import ReadingKind
from tests.unit.fold_bench import DEG, FRONT_LEFT, MM, evening, folded, read

HEIGHT, DRIFT, RAIL = ReadingKind.HEIGHT_DIFFERENCE, ReadingKind.DRIFT, ReadingKind.RAIL_OFFSET


@pytest.mark.parametrize(
    ("gate", "kind", "values"),
    [
        (Gate.CENTRE, RAIL, (0.4, -0.4)),
        (Gate.LEVEL, HEIGHT, (0.3, -0.3)),
        (Gate.STEER, DRIFT, (-71.0, -150.0, 10.0)),
    ],
)
def test_readings_that_contradict_each_other_pass_nothing(
    gate: Gate, kind: ReadingKind, values: tuple[float, ...]
) -> None:
    state = folded(*(read(kind, value * MM) for value in values)).gates[gate]
    assert state.standing is Standing.HOLDS
    assert state.verdict is not None
    assert state.verdict.state is State.UNCLEAR
    assert state.doubt is not None
    assert state.doubt.among
    assert sorted(state.doubt.entries) == list(range(2, 2 + len(values)))
    assert not state.passed


def test_a_doubt_stays_with_its_own_gate() -> None:
    level, drift, _ = evening()
    found = folded(level, drift, read(RAIL, 0.4 * MM), read(RAIL, -0.4 * MM))
    assert found.gates[Gate.LEVEL].passed
    assert found.gates[Gate.LEVEL].doubt is None
    assert found.gates[Gate.STEER].passed
    assert found.gates[Gate.CENTRE].doubt is not None


def test_a_third_reading_shows_the_odd_one_out_and_its_withdrawal_settles_it() -> None:
    good = [read(HEIGHT, 0.02 * MM), read(HEIGHT, 0.04 * MM)]
    state = folded(good[0], read(HEIGHT, -0.6 * MM), good[1]).gates[Gate.LEVEL]
    assert state.doubt is not None
    assert state.doubt.entries[-1] == 3
    assert state.doubt.words == "entries 2, 3 and 4 disagree"
    assert folded(*good).gates[Gate.LEVEL].passed


def test_readings_that_agree_are_not_doubted() -> None:
    apart = 2.0 * 0.05 * math.sqrt(2.0)
    state = folded(read(HEIGHT, 0.0, 0.05 * MM), read(HEIGHT, apart * MM, 0.05 * MM)).gates[Gate.LEVEL]
    assert state.doubt is None


@pytest.mark.parametrize("beyond", [False, True])
def test_two_readings_are_doubted_from_where_chi_square_says(*, beyond: bool) -> None:
    # (x - y)^2 / (2 u^2) is chi-square with one degree of freedom; its 1 % point is 6.635 (NIST/SEMATECH
    # e-Handbook of Statistical Methods, 1.3.6.7.4, upper critical values of the chi-square distribution).
    assert chi2.isf(DOUBTFUL, 1) == pytest.approx(6.635, abs=5e-4)
    apart = 0.03 * math.sqrt(2.0 * 6.635) * (1.01 if beyond else 0.99)
    first, second = read(RAIL, 0.0, 0.03 * MM), read(RAIL, apart * MM, 0.03 * MM)
    state = folded(*evening()[:2], first, second).gates[Gate.CENTRE]
    assert (state.doubt is not None) is beyond


def test_an_error_that_two_readings_share_does_not_set_them_apart() -> None:
    def taken(value: float, set_up: str) -> ReadingTaken:
        return ReadingTaken(
            reading=HEIGHT,
            values=(value * MM,),
            uncertainty=0.01 * MM,
            set_up=set_up,
            common=0.2 * MM,
        )

    # Apart by what their own errors do not allow: a common one would move both.
    assert folded(taken(0.0, "plate"), taken(0.1, "plate")).gates[Gate.LEVEL].doubt is not None
    # The same two from different set-ups may each be off by their own.
    assert folded(taken(0.0, "plate"), taken(0.1, "other plate")).gates[Gate.LEVEL].doubt is None


def test_a_reading_far_from_all_that_was_known_passes_nothing_by_its_mean_with_that() -> None:
    # Known to 0.02 mm before a turn that hardly moves the level, and read half a millimetre off after it.
    before = read(HEIGHT, 0.0, 0.02 * MM)
    turned = Turn(station=FRONT_LEFT, asked=1.0 * DEG)
    state = folded(before, turned, read(HEIGHT, 0.2 * MM, 0.04 * MM)).gates[Gate.LEVEL]
    assert state.doubt == Doubt(entries=(4,), among=False)
    assert state.doubt.words == "entry 4 disagrees with what was known before"
    assert not state.passed
    # Read so far off that both together fail too, it fails.
    far = folded(before, turned, read(HEIGHT, 2.0 * MM, 0.02 * MM)).gates[Gate.LEVEL]
    assert far.verdict is not None
    assert far.verdict.state is State.FAIL
    assert far.doubt is None


def test_after_the_next_move_and_a_fresh_reading_the_doubt_is_gone() -> None:
    found = folded(
        read(HEIGHT, 0.3 * MM),
        read(HEIGHT, -0.3 * MM),
        Bend(station=FRONT_LEFT, asked=0.2 * DEG),
        read(HEIGHT, 0.05 * MM, 0.02 * MM),
    )
    assert found.gates[Gate.LEVEL].doubt is None
    assert found.gates[Gate.LEVEL].read_at == 5


def test_a_doubtful_gate_is_never_predicted_to_hold() -> None:
    found = folded(read(HEIGHT, 0.3 * MM), read(HEIGHT, -0.3 * MM), Turn(station=FRONT_LEFT, asked=0.5 * DEG))
    assert found.gates[Gate.LEVEL].standing is Standing.READ_AGAIN


def test_what_contradicts_itself_is_left_out_of_what_is_known_after_a_move() -> None:
    level, drift, _ = evening()
    torn = [read(RAIL, 0.36 * MM, 0.04 * MM), read(RAIL, -0.26 * MM, 0.04 * MM)]
    move = Turn(station=FRONT_LEFT, asked=0.1 * DEG)
    with_them = folded(level, drift, *torn, move).gates[Gate.CENTRE]
    without = folded(level, drift, move).gates[Gate.CENTRE]
    assert with_them.standing is Standing.READ_AGAIN
    assert with_them.now is not None
    assert without.now is not None
    assert with_them.now.value == pytest.approx(without.now.value)
    assert with_them.now.uncertainty == pytest.approx(without.now.uncertainty)

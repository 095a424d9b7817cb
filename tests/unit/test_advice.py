"""The whole answer: its keys, its verdicts, its warnings, and odd cars that must not break it."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from rollwright.car import Car, Seat, Station
from rollwright.car.dimensions import dimension_names, matters
from rollwright.errors import InputError
from rollwright.geometry.stance import stance
from rollwright.judge.verdict import judge
from rollwright.setup.advice import GATES, Advice, advise
from rollwright.setup.hand import Hand
from rollwright.setup.predict import GATE_QUANTITIES
from rollwright.setup.readings import Reading, ReadingKind
from rollwright.units import System

from .cars import (
    DEG,
    MM,
    aimed,
    changed,
    club_car,
    flat_car,
    heron,
    known_but_for,
    lark,
    mirrored,
    reading,
    three_readings,
)

FL, FR = Station.FRONT_LEFT, Station.FRONT_RIGHT
USUAL = three_readings(-0.21 * MM, -0.11, 0.91 * MM)
RAIL = ReadingKind.RAIL_OFFSET


def as_read(advice: Advice) -> dict[str, Any]:
    """Return the advice as another program gets it; anything that is not plain JSON fails here."""
    found: dict[str, Any] = json.loads(json.dumps(advice.as_json(), allow_nan=False))
    return found


def finite(value: object) -> bool:
    if isinstance(value, dict):
        return all(finite(part) for part in value.values())
    if isinstance(value, list):
        return all(finite(part) for part in value)
    return not isinstance(value, float) or math.isfinite(value)


# Keys.


def test_the_estimate_gives_value_and_uncertainty_of_every_dimension_that_matters() -> None:
    advice = advise(lark(), USUAL)
    told = as_read(advice)["estimate"]
    assert set(told) == {name for name in dimension_names() if matters(advice.estimate.car, name)}
    for name, each in told.items():
        assert set(each) == {"value", "uncertainty"}
        assert each["value"] == advice.estimate.dimension(name).value
        assert each["uncertainty"] >= 0.0


def test_the_verdicts_are_those_of_the_estimate_against_the_targets() -> None:
    advice = advise(lark(), USUAL)
    told = as_read(advice)["verdicts"]
    assert tuple(told) == GATES
    spread = np.sqrt(np.diag(advice.estimate.gate_covariance))
    for row, (gate, each) in enumerate(told.items()):
        assert each["quantity"] == GATE_QUANTITIES[row]
        assert each["value"] == pytest.approx(advice.estimate.gates[row])
        assert each["uncertainty"] == pytest.approx(spread[row])
        target = getattr(lark().targets, each["quantity"])
        again = judge(value=each["value"], uncertainty=each["uncertainty"], low=target.low, high=target.high)
        assert (each["state"], each["probability"]) == (again.state.value, pytest.approx(again.probability))
        assert (each["low"], each["high"]) == (target.low, target.high)
        assert each["read"] is True, gate
        assert sum(part["share"] for part in each["budget"]) <= 1.0 + 1e-9


def test_the_moves_carry_their_words_and_signed_amounts() -> None:
    told = as_read(advise(lark(), USUAL))["moves"]
    assert [each["kind"] for each in told] == ["bend", "turn", "relief"]
    for each in told:
        assert each["station"] == "front_left"
        assert each["by"] != 0.0
        assert each["direction"]
        assert each["text"].endswith(".")
        assert each["expected"]["quantity"] in GATE_QUANTITIES
        assert 0.0 <= each["expected"]["probability"] <= 1.0
    assert [each["for"] for each in told] == list(GATES)
    bend, turn, relief = told
    assert (bend["direction"], bend["by"] > 0.0) == ("more", True)
    assert (turn["direction"], turn["by"] < 0.0) == ("counter-clockwise", True)
    assert (relief["direction"], relief["by"] > 0.0) == ("inward", True)


def test_the_prediction_is_that_of_the_plan() -> None:
    advice = advise(lark(), USUAL)
    told = as_read(advice)["predicted"]
    for row, name in enumerate(GATE_QUANTITIES):
        assert told[name]["value"] == pytest.approx(advice.plan.outcome.means[row])
        assert told[name]["uncertainty"] == pytest.approx(advice.plan.outcome.deviations[row])
        assert told[name]["probability"] == pytest.approx(advice.plan.outcome.probabilities[row])
    assert told["joint_probability"] <= min(told[name]["probability"] for name in GATE_QUANTITIES) + 0.01


def test_the_rest_is_there_too() -> None:
    told = as_read(advise(lark(), USUAL))
    assert {"measure_next", "assumed", "cannot", "notes", "warnings", "seats", "misfit_probability"} <= set(
        told
    )
    assert told["measure_next"]["kind"] in {kind.value for kind in ReadingKind}
    assert set(told["seats"]) == {station.value for station in Station}
    # What the file leaves out and what a reading leaves out are both named.
    loose = replace(USUAL[0], assumed=("reading 1 (height difference).uncertainty",))
    named = as_read(advise(lark(), [loose]))["assumed"]
    assert "stations.front_left.sweep" in named
    assert "reading 1 (height difference).uncertainty" in named


def test_the_numbers_are_the_same_whatever_the_words_are_in() -> None:
    metric = as_read(advise(lark(), USUAL))
    inch = as_read(advise(lark(), USUAL, system=System.INCH))
    assert inch["estimate"] == metric["estimate"]
    assert inch["predicted"] == metric["predicted"]
    for one, other in zip(metric["moves"], inch["moves"], strict=True):
        assert one["by"] == other["by"]
    assert "thou" in inch["moves"][2]["text"]
    assert "mm" not in json.dumps([each["text"] for each in inch["moves"]])


# What rests on a reading.


@pytest.mark.parametrize(
    ("readings", "read"),
    [
        ((), (False, False, False)),
        (USUAL[:1], (True, False, False)),
        (USUAL[1:2], (False, True, False)),
        ((reading(ReadingKind.BLOCK_OFFSET, 1.0 * MM),), (False, False, True)),
        ((reading(ReadingKind.SIZE, 48.0 * MM, dimension="body.width"),), (False, False, False)),
    ],
)
def test_it_says_which_gates_a_reading_speaks_for(
    readings: Sequence[Reading], read: tuple[bool, ...]
) -> None:
    assert tuple(advise(lark(), readings).read.values()) == read


def test_what_the_block_was_corrected_by_is_shown() -> None:
    block = reading(ReadingKind.BLOCK_OFFSET, 1.2 * MM, seat=Seat.HEAD, where="reading 3 (block offset)")
    advice = advise(lark(), [*USUAL[:2], block])
    (where,) = advice.block_corrections
    assert where == "reading 3 (block offset)"
    # Reading and correction make the rail offset, as far as the reading decides it.
    spread = math.sqrt(advice.estimate.gate_covariance[2, 2])
    correction, uncertainty = advice.block_corrections[where]
    assert 0.0 < uncertainty < 0.3 * MM
    total = 1.2 * MM + correction
    assert abs(float(advice.estimate.gates[2]) - total) < 3.0 * spread
    assert finite(as_read(advice))


# Warnings.


def test_readings_that_disagree_are_warned_of_by_name() -> None:
    readings = [
        reading(RAIL, value * MM, where=f"reading {number} (rail offset)")
        for number, value in enumerate((0.6, 0.6, 1.6))
    ]
    advice = advise(lark(), readings)
    assert any("disagree" in warning and "reading 2 (rail offset)" in warning for warning in advice.warnings)
    assert not any("disagree" in each for each in advise(lark(), readings[:2]).warnings)


def test_a_dominant_wheel_in_the_air_is_warned_of() -> None:
    lifted = changed(lark(), {"front_right.hole_height": 8.0 * MM})
    advice = advise(lifted)
    assert any("front right wheel carries the car" in warning for warning in advice.warnings)
    assert advice.plan.moves == ()
    assert [each["gate"] for each in as_read(advice)["cannot"]] == ["level"]


def test_a_close_call_of_a_seat_is_warned_of() -> None:
    # Nearly level and nearly straight: slope and toe push about equally hard.
    car = changed(lark(), {"front_left.bend": 0.8 * DEG, "front_left.clock": -45.0 * DEG})
    assert stance(car).stations[FL].seat.close
    assert any(
        warning.startswith("It is not clear where in its play the front left wheel runs")
        for warning in advise(car).warnings
    )
    assert not any("not clear" in warning for warning in advise(lark()).warnings)


# Verdicts and moves go together.


def test_all_inside_is_a_pass_without_a_move() -> None:
    told = as_read(advise(lark(), three_readings(0.0, -0.07, 0.03 * MM, sharpness=4.0)))
    assert {each["state"] for each in told["verdicts"].values()} == {"pass"}
    assert told["moves"] == []
    assert told["cannot"] == []
    for name, gate in zip(GATE_QUANTITIES, GATES, strict=True):
        assert told["predicted"][name]["value"] == pytest.approx(told["verdicts"][gate]["value"])


def test_a_clumsy_hand_is_promised_less() -> None:
    able, clumsy = (
        as_read(advise(lark(), USUAL, hand=hand))["predicted"]["joint_probability"]
        for hand in (Hand(), Hand(bend=0.5 * DEG, turn=3.0 * DEG, relief=0.1 * MM))
    )
    assert clumsy < able


# Odd cars and odd readings: an answer, or one line that says what is wrong.


def odd_cases() -> dict[str, tuple[Car, Sequence[Reading]]]:
    bent = changed(lark(), {"front_left.bend": 11.0 * DEG})
    trace = tuple((0.1 * n, 0.002 * n * n) for n in range(1, 11))
    return {
        "dominant right": (mirrored(lark()), USUAL),
        "dominant wheel in the air": (changed(lark(), {"front_right.hole_height": 8.0 * MM}), USUAL),
        "raised wheel just touches": (changed(lark(), {"front_right.hole_height": 9.16 * MM}), USUAL),
        "large bend": (bent, ()),
        "huge bend": (changed(lark(), {"front_left.bend": 40.0 * DEG}), USUAL),
        "bend pointing up": (changed(lark(), {"front_left.clock": 180.0 * DEG}), USUAL),
        "wheels above the rail": (changed(lark(), {"rail.height": 0.1 * MM}), ()),
        "very short board": (changed(lark(), {"board.length": 60.0 * MM}), ()),
        "very long board": (changed(lark(), {"board.length": 20.0}), ()),
        "one size only": (lark(), [reading(ReadingKind.SIZE, 48.0 * MM, dimension="body.width")]),
        "one trace only": (lark(), [reading(ReadingKind.DRIFT, 0.2, 1.0 * MM, trace=trace)]),
        "twenty readings": (lark(), USUAL * 7),
        "same reading twenty times": (lark(), [USUAL[2]] * 20),
        "absurd readings": (lark(), three_readings(30.0 * MM, 0.9, -40.0 * MM)),
        "contradictions": (lark(), [reading(RAIL, value * MM) for value in (-3.0, 0.0, 3.0)]),
        "shared errors only": (lark(), [reading(RAIL, 0.6 * MM, 0.0, set_up="a", common=0.1 * MM)] * 2),
        "one shared error": (lark(), [reading(RAIL, 0.6 * MM, 0.0, set_up="a", common=0.1 * MM)]),
        "no uncertainty at all": (lark(), [reading(RAIL, 0.6 * MM, 0.0)]),
        "needle-sharp readings": (lark(), three_readings(-0.2 * MM, -0.1, 0.9 * MM, sharpness=1e6)),
        "blunt readings": (lark(), three_readings(-0.2 * MM, -0.1, 0.9 * MM, sharpness=1e-3)),
        "exact car": (known_but_for(lark(), {}), USUAL),
        "exact car, nothing read": (known_but_for(lark(), {}), ()),
        "square car": (flat_car(), USUAL),
        "straight class": (heron(), USUAL),
        "inch car": (club_car("bittern"), three_readings(-0.33 * MM, 0.12, 0.74 * MM)),
        "no play": (changed(lark(), {"front_left.play": 0.0, "rear_left.play": 0.0}), USUAL),
        "hub behind the tread": (changed(lark(), {"front_left.hub_projection": -3.0 * MM}), USUAL),
        "holes below the underside": (
            changed(lark(), {f"{each.value}.hole_height": -3.0 * MM for each in Station}),
            (),
        ),
        "steered by its target to the other side": (aimed(lark(), drift=0.3), USUAL),
        "clearances of every wheel": (
            lark(),
            [reading(ReadingKind.RAIL_CLEARANCE, 1.0 * MM, station=each) for each in Station],
        ),
    }


REFUSED = {
    "huge bend": "cannot show this reading",
    "wheels above the rail": "above the rail",
    "very long board": "too sharply for the board",
    "shared errors only": "share their whole error",
    "no uncertainty at all": "without any uncertainty",
}


@pytest.mark.parametrize("name", [name for name in odd_cases() if name not in REFUSED])
def test_an_odd_case_gets_a_whole_answer(name: str) -> None:
    told = as_read(advise(*odd_cases()[name]))
    assert finite(told)
    assert all(each["uncertainty"] >= 0.0 for each in told["estimate"].values())
    assert all(told["estimate"][f"{each.value}.bend"]["value"] >= 0.0 for each in Station)
    states = {each["state"] for each in told["verdicts"].values()}
    # No moves and no word on why would leave a builder guessing.
    assert told["moves"] or told["notes"] or told["cannot"] or states == {"pass"}
    for each in told["moves"]:
        assert each["by"] != 0.0


@pytest.mark.parametrize("name", REFUSED)
def test_what_cannot_be_answered_is_refused_in_one_line_with_its_mend(name: str) -> None:
    with pytest.raises(InputError, match=REFUSED[name]) as caught:
        advise(*odd_cases()[name])
    assert "\n" not in str(caught.value)
    assert caught.value.mend

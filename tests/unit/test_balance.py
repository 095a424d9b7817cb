"""Weight and balance: the ledger adds up, the scale corrects it, and impossible readings are refused."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest

from rollwright.car import Station, parse_car
from rollwright.cli.app import _run
from rollwright.errors import OutOfRange, ReadingUnusable
from rollwright.geometry.ledger import ledger_of
from rollwright.geometry.stance import stance
from rollwright.quantity import Quantity
from rollwright.scenario.club import club_files, file_text
from rollwright.setup.balance import Balance, Discord, Pan, ScaleReading, balance_of, discord_of
from rollwright.workbench.weigh import weigh

LARK = parse_car(file_text("lark.toml"))
STANCE = stance(LARK)
LEDGER = ledger_of(LARK)


def shown(pan: Pan, grams: float, spread: float = 0.1) -> ScaleReading:
    return ScaleReading(pan=pan, mass=Quantity(value=grams * 1e-3, uncertainty=spread * 1e-3))


def balance(*readings: ScaleReading) -> Balance:
    return balance_of(LEDGER, STANCE, readings)


def test_the_ledger_is_the_sum_of_its_items() -> None:
    assert LEDGER.mass.value == pytest.approx(sum(item.mass.value for item in LEDGER.items), rel=1e-12)
    assert LEDGER.mass.value * 1e3 == pytest.approx(93.4 + 4 * (2.7 + 0.6) + 31.0)
    assert [part.value for part in LEDGER.centre] == pytest.approx(STANCE.centre_of_mass, abs=1e-5)


def test_the_ledgers_spread_is_that_of_drawn_cars() -> None:
    rng = np.random.default_rng(3)
    masses = np.array([item.mass.value for item in LEDGER.items])
    spreads = np.array([item.mass.uncertainty for item in LEDGER.items])
    places = np.array([[part.value for part in item.position] for item in LEDGER.items])
    blur = np.array([[part.uncertainty for part in item.position] for item in LEDGER.items])
    drawn = rng.normal(masses, spreads, (40_000, len(masses)))
    at = places + blur * rng.standard_normal((40_000, *places.shape))
    centres = np.einsum("ni,nij->nj", drawn, at) / drawn.sum(axis=1)[:, None]
    # Standard deviations of 40,000 draws are good to 0.35 %; four times that is allowed.
    assert centres.std(axis=0) == pytest.approx([part.uncertainty for part in LEDGER.centre], rel=0.015)
    assert drawn.sum(axis=1).std() == pytest.approx(LEDGER.mass.uncertainty, rel=0.015)


def test_without_a_scale_the_ledger_speaks_alone() -> None:
    found = balance()
    assert found.mass.value == pytest.approx(LEDGER.mass.value)
    assert found.mass.uncertainty == pytest.approx(LEDGER.mass.uncertainty)
    assert found.misfit_probability == 1.0


def test_a_sharp_scale_is_believed() -> None:
    found = balance(shown(Pan.WHOLE, 138.4, 1e-4), shown(Pan.FRONT, 46.0, 1e-4))
    assert found.mass.value * 1e3 == pytest.approx(138.4, abs=1e-3)
    assert found.loads[Station.FRONT_LEFT].value * 1e3 == pytest.approx(46.0, abs=1e-3)
    assert sum(load.value for load in found.loads.values()) == pytest.approx(found.mass.value)


def test_the_scale_narrows_what_it_sees_and_leaves_the_height_alone() -> None:
    before, after = balance(), balance(shown(Pan.WHOLE, 138.0), shown(Pan.REAR, 91.6))
    assert after.mass.uncertainty < before.mass.uncertainty
    assert after.centre[0].uncertainty < before.centre[0].uncertainty
    assert after.centre[2].value == pytest.approx(before.centre[2].value, abs=2e-4)


def test_each_wheel_weighed_apart_tells_the_side() -> None:
    found = balance(shown(Pan.REAR_LEFT, 45.0), shown(Pan.REAR_RIGHT, 46.8), shown(Pan.FRONT_LEFT, 46.2))
    assert found.mass.value * 1e3 == pytest.approx(138.0, abs=0.2)
    assert found.centre[1].uncertainty < 0.1e-3


def test_a_scale_that_contradicts_the_file_is_noticed() -> None:
    assert balance(shown(Pan.WHOLE, 158.0)).misfit_probability < 1e-6


def test_a_wheel_in_the_air_cannot_be_weighed() -> None:
    with pytest.raises(ReadingUnusable, match="front right wheel does not carry"):
        balance(shown(Pan.FRONT_RIGHT, 5.0))


DOUBTFUL = 0.01
LOADS = {station: load.value * 1e3 for station, load in balance().loads.items()}
"""What Lark's wheels press with by its ledger [g]."""
WHEELS = {
    Pan.REAR_LEFT: LOADS[Station.REAR_LEFT],
    Pan.REAR_RIGHT: LOADS[Station.REAR_RIGHT],
    Pan.FRONT_LEFT: LOADS[Station.FRONT_LEFT],
}


def discord(*readings: ScaleReading) -> Discord | None:
    return discord_of(LEDGER, STANCE, readings, doubtful=DOUBTFUL)


def test_figures_that_agree_are_no_discord() -> None:
    assert discord() is None
    assert discord(shown(Pan.WHOLE, 138.0)) is None
    assert discord(*(shown(pan, grams) for pan, grams in WHEELS.items()), shown(Pan.WHOLE, 137.7)) is None


@pytest.mark.parametrize(("off", "odd"), [(2.55, False), (2.60, True), (-2.60, True)])
def test_a_whole_car_that_the_parts_do_not_add_to_is_named_with_both_figures(
    off: float,
    odd: bool,  # noqa: FBT001 - from the table above
) -> None:
    # Ledger: 0.3 g of wood, four wheels of 0.1 g, four axles of 0.05 g, a weight of 0.5 g; beside it the
    # scale's 0.1 g. Of a normal distribution 1 % lies beyond 2.576 standard deviations.
    deviation = math.sqrt(0.3**2 + 4 * 0.1**2 + 4 * 0.05**2 + 0.5**2 + 0.1**2)
    found = discord(shown(Pan.WHOLE, 137.6 + off * deviation))
    assert (found is not None) is odd
    if found is not None:
        assert (found.pan, found.against) == (Pan.WHOLE, ())
        assert found.shown * 1e3 == pytest.approx(137.6 + off * deviation)
        assert found.expected * 1e3 == pytest.approx(137.6)
        assert found.pull == pytest.approx(abs(off))
        assert found.probability == pytest.approx(math.erfc(abs(off) / math.sqrt(2.0)))


def test_a_wheel_far_from_what_the_parts_press_with_is_the_one_that_is_named() -> None:
    found = discord(shown(Pan.WHOLE, 137.6), shown(Pan.REAR_LEFT, WHEELS[Pan.REAR_LEFT] + 30.0))
    assert found is not None
    assert (found.pan, found.against) == (Pan.REAR_LEFT, ())
    assert found.expected * 1e3 == pytest.approx(WHEELS[Pan.REAR_LEFT])


def test_wheels_that_do_not_add_up_to_the_whole_are_named_before_any_part() -> None:
    readings = [shown(pan, grams - 1.0) for pan, grams in WHEELS.items()]
    found = discord(*readings, shown(Pan.WHOLE, 137.6))
    assert found is not None
    assert found.pan is Pan.WHOLE
    assert set(found.against) == set(WHEELS)
    assert found.expected * 1e3 == pytest.approx(137.6 - 3.0)
    # Four readings of 0.1 g each.
    assert found.pull == pytest.approx(3.0 / 0.2)


def test_ends_wheels_and_whole_are_held_against_each_other() -> None:
    rear = WHEELS[Pan.REAR_LEFT] + WHEELS[Pan.REAR_RIGHT]
    front = WHEELS[Pan.FRONT_LEFT]
    ends = discord(shown(Pan.FRONT, front), shown(Pan.REAR, rear), shown(Pan.WHOLE, 140.0))
    assert ends is not None
    assert (ends.pan, ends.against) == (Pan.WHOLE, (Pan.FRONT, Pan.REAR))
    pair = discord(
        shown(Pan.REAR, rear + 2.0),
        *(shown(pan, WHEELS[pan]) for pan in (Pan.REAR_LEFT, Pan.REAR_RIGHT)),
    )
    assert pair is not None
    assert (pair.pan, pair.against) == (Pan.REAR, (Pan.REAR_LEFT, Pan.REAR_RIGHT))
    # On three wheels the front end is the one front wheel.
    same = discord(shown(Pan.FRONT, front), shown(Pan.FRONT_LEFT, front + 2.0))
    assert same is not None
    assert {same.pan, *same.against} == {Pan.FRONT, Pan.FRONT_LEFT}


def test_repeats_of_one_thing_are_held_against_the_rest_by_their_mean() -> None:
    found = discord(shown(Pan.WHOLE, 150.0, 0.1), shown(Pan.WHOLE, 151.0, 0.2))
    assert found is not None
    # Weights of 100 and 25.
    assert found.shown * 1e3 == pytest.approx(150.2)


def test_a_wheel_in_the_air_has_no_discord_either() -> None:
    with pytest.raises(ReadingUnusable, match="front right wheel does not carry"):
        discord(shown(Pan.FRONT_RIGHT, 5.0))


@pytest.fixture
def lark(tmp_path: Path) -> Path:
    target = tmp_path / "lark.toml"
    target.write_text(club_files()["lark.toml"], encoding="utf-8")
    return target


def test_the_room_left_is_under_the_limit_with_95_percent(lark: Path) -> None:
    found = weigh(lark, {"whole": 0.138}, scale=0.2e-3, limit=0.140)
    assert found.room is not None
    spread = found.balance.mass.uncertainty
    over = 0.5 * math.erfc((0.140 - found.balance.mass.value - found.room) / spread / math.sqrt(2.0))
    assert over == pytest.approx(0.05, abs=1e-9)


@pytest.mark.parametrize(
    ("limit", "code", "said"), [("140", 0, "under"), ("137", 1, "over"), ("138", 0, "cannot tell")]
)
def test_the_command_judges_the_limit(
    lark: Path, limit: str, code: int, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert _run(["balance", str(lark), "--whole", "138 g", "--limit", limit]) == code
    assert said in capsys.readouterr().out


def test_the_command_prints_json_in_kilograms(lark: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert _run(["balance", str(lark), "--whole", "4.87 oz", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["mass"]["value"] == pytest.approx(4.87 * 0.028349523125, rel=1e-3)
    assert set(found["loads"]) == {"rear_left", "rear_right", "front_left"}


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--whole", "12 mm"], "--whole"),
        (["--whole", "0"], "more than zero"),
        (["--wheel", "front_right", "12"], "does not carry"),
        (["--wheel", "front", "12"], "not a wheel"),
        (["--limit", "heavy"], "--limit"),
    ],
)
def test_a_wrong_word_is_answered_in_one_line(
    lark: Path, arguments: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert _run(["balance", str(lark), *arguments]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert said in captured.err
    assert captured.err.count("\n") == 1


def test_a_mass_of_nothing_is_refused(lark: Path) -> None:
    with pytest.raises(OutOfRange, match="more than zero"):
        weigh(lark, {"front": 0.0})

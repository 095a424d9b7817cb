"""The demo club's season can be believed: gates, habit, hidden truth, and nothing of anybody real."""

from __future__ import annotations

import math
import re
import struct
import zlib
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import binom

from rollwright.bench import (
    EVENTS,
    Adjustment,
    CarStarted,
    ClassChosen,
    HoleDrilled,
    Note,
    Photo,
    Recorded,
    Retired,
    SlowRoll,
    SlowRollSeen,
    StartedFrom,
    Store,
    import_lines,
)
from rollwright.bench.fold import Gate, fold
from rollwright.car import parse_car
from rollwright.geometry.ledger import ledger_of
from rollwright.scenario.club import SEASON, club_files, file_text
from rollwright.setup.hand import Hand
from rollwright.setup.learnt import learnt
from rollwright.workbench.log_enter import folded
from rollwright.workbench.season import BUILDERS, season

FINISHED = {"lark", "heron", "bittern", "dunlin", "whimbrel"}
"""Names of the cars that come good; the redshank is not finished, and one heron is given up."""

TRADE = {"mm": (177.8, 111.1, 69.85, 44.45, 31.75), "g": (141.7,)}
"""Sizes and a mass that are usual in the trade (common practice, no source): none may stand in the demo."""

INVENTED = {
    "Tannery",
    "Lane",
    "Gravity",
    "Club",
    "Lark",
    "Heron",
    "Bittern",
    "Dunlin",
    "Whimbrel",
    "Redshank",
}
"""The only names of anything that the season's texts may hold, beside those of its builders."""


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    path: Path = tmp_path_factory.mktemp("season") / "season.log"
    with Store.open(path, create=True) as opened:
        import_lines(opened, file_text(SEASON).splitlines())
        yield opened


@pytest.fixture(scope="module")
def logs(store: Store) -> dict[str, list[Recorded]]:
    return {car: list(store.events(car)) for car in store.cars()}


def _name(log: list[Recorded]) -> str:
    start = log[0].event
    assert isinstance(start, CarStarted)
    return parse_car(start.car_file).name.lower()


def _retired(log: list[Recorded]) -> str:
    last = log[-1].event
    return last.reason if isinstance(last, Retired) else ""


def _raced_or_ready(logs: dict[str, list[Recorded]]) -> dict[str, list[Recorded]]:
    return {car: log for car, log in logs.items() if _name(log) in FINISHED and not _retired(log)}


def test_it_is_a_sound_log_of_a_few_hundred_entries_that_imports_whole(store: Store) -> None:
    assert store.check() == ()
    assert 200 <= store.head()[0] <= 400
    assert SEASON in club_files()


def test_it_takes_four_months_of_evenings(store: Store) -> None:
    times = [entry.time for entry in store.events()]
    assert times == sorted(times)
    assert timedelta(days=90) < times[-1] - times[0] < timedelta(days=135)
    assert {time.year for time in times} == {2026}
    assert all(19 <= time.hour < 23 for time in times)
    # The clocks go forward in the night to 29 March.
    summer = {time.date() >= date(2026, 3, 29): time.utcoffset() for time in times}
    assert summer == {False: timedelta(hours=1), True: timedelta(hours=2)}


def test_every_kind_of_entry_is_in_it(store: Store) -> None:
    assert {entry.event.kind for entry in store.events()} == set(EVENTS)


def test_its_entries_do_not_change_with_a_release(store: Store) -> None:
    assert {entry.program for entry in store.events()} == {"demo"}


def test_seven_cars_of_three_builders_go_beyond_the_drill(logs: dict[str, list[Recorded]]) -> None:
    beyond = [log for log in logs.values() if any(isinstance(entry.event, ClassChosen) for entry in log)]
    assert len(beyond) == 7
    assert {entry.author for log in beyond for entry in log} == {builder.name for builder in BUILDERS}
    assert {_name(log) for log in beyond} == FINISHED | {"redshank"}


def test_about_one_drilled_body_in_four_is_good(logs: dict[str, list[Recorded]]) -> None:
    drilled = [log for log in logs.values() if any(isinstance(entry.event, HoleDrilled) for entry in log)]
    off = [log for log in drilled if _retired(log).startswith("drilled off: ")]
    assert len(drilled) == len(logs)
    assert 0.2 <= 1.0 - len(off) / len(drilled) <= 0.4


def test_every_finished_car_has_passed_every_gate(store: Store, logs: dict[str, list[Recorded]]) -> None:
    finished = _raced_or_ready(logs)
    assert {_name(log) for log in finished.values()} == FINISHED
    assert len(finished) == len(FINISHED)
    for car, log in finished.items():
        gates = folded(store, log).gates
        assert {gate for gate, state in gates.items() if not state.passed} == set(), car


def test_one_car_is_given_up_and_one_is_not_finished(store: Store, logs: dict[str, list[Recorded]]) -> None:
    given_up = [car for car, log in logs.items() if _retired(log).startswith("will not come good: ")]
    assert [_name(logs[car]) for car in given_up] == ["heron"]
    (waiting,) = [log for log in logs.values() if _name(log) == "redshank" and not _retired(log)]
    gates = folded(store, waiting).gates
    assert gates[Gate.DRILL].passed
    assert not gates[Gate.INSPECT].passed
    assert not all(gates[gate].passed for gate in (Gate.LEVEL, Gate.STEER, Gate.CENTRE))


def test_a_recipe_a_race_an_early_roll_and_a_picture_are_in_it(
    store: Store, logs: dict[str, list[Recorded]]
) -> None:
    starts = [log[0].event for log in logs.values()]
    sources = {s.source_car for s in starts if isinstance(s, CarStarted) and s.source is StartedFrom.RECIPE}
    assert len(sources) == 1
    assert sources <= set(logs)
    notes = [entry.event.text for entry in store.events() if isinstance(entry.event, Note)]
    assert any(text.startswith("Raced ") for text in notes)
    rolls = [entry.event for entry in store.events() if isinstance(entry.event, SlowRoll)]
    assert any(roll.seen is SlowRollSeen.TAIL_LEFT and roll.clearances for roll in rolls)
    (photo,) = [entry.event for entry in store.events() if isinstance(entry.event, Photo)]
    data = store.photo(photo.sha256)
    assert len(data) < 400
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    width, height = struct.unpack(">II", data[16:24])
    (length,) = struct.unpack(">I", data[33:37])
    assert data[37:41] == b"IDAT"
    assert len(zlib.decompress(data[41 : 41 + length])) == height * (1 + width // 8)


def test_the_habit_of_the_hand_that_bends_too_far_is_learnt(logs: dict[str, list[Recorded]]) -> None:
    for builder in BUILDERS:
        moves = [
            move
            for log in logs.values()
            if log[0].author == builder.name and any(isinstance(entry.event, Adjustment) for entry in log)
            for move in fold(log).achieved
        ]
        factor = learnt(Hand(), moves).factor("bend")
        if builder.bends == 1.0:
            # Also where nothing was bent: a hand that taught nothing has no habit.
            assert abs(factor.value - 1.0) <= 2.0 * factor.uncertainty, builder.name
            continue
        assert factor.moves >= 3
        assert abs(factor.value - builder.bends) <= 2.0 * factor.uncertainty, builder.name
        assert factor.value - 2.0 * factor.uncertainty > 1.0, builder.name


def test_the_estimates_cover_the_hidden_truth() -> None:
    # Level, drift and rail at the end of each evening. They are not independent from one evening to the
    # next, so that the exact bounds of the binomial distribution at 99 % are, if anything, too narrow.
    made = season()
    inside = count = 0
    for evening in made.evenings:
        log = [entry for entry in made.of(evening.car) if entry.seq <= evening.seq]
        found = fold(log, habits=evening.habits).estimate
        assert found is not None
        deviations = np.sqrt(np.diag(found.gate_covariance))
        scores = (found.gates - np.array(evening.gates)) / deviations
        inside += int(np.sum(np.abs(scores) < 1.96))
        count += len(scores)
    low, high = binom.interval(0.99, count, 0.95)
    assert count > 50
    assert low <= inside <= high


def _texts(entry: Recorded) -> Iterator[str]:
    """Return what a builder wrote in an entry; files of cars and classes are looked at by themselves."""
    for name, value in entry.event.as_plain().items():
        if isinstance(value, str) and name not in {"car_file", "class_file", "entry", "sha256"}:
            yield value


def test_nothing_in_it_names_a_maker_a_club_a_race_or_a_person(store: Store) -> None:
    builders = {builder.name for builder in BUILDERS}
    for entry in store.events():
        assert entry.author in builders
        assert entry.device == ""
        for text in _texts(entry):
            # A capital inside a sentence is a name.
            names = re.findall(r"(?<![.:!?] )(?<!^)\b[A-Z]\w+", text)
            assert set(names) <= INVENTED | builders, text


def test_its_cars_are_metric_and_not_of_the_trades_usual_sizes(logs: dict[str, list[Recorded]]) -> None:
    for log in logs.values():
        start = log[0].event
        assert isinstance(start, CarStarted)
        # The visitor's car is written in inches, and its sizes are nobody's either.
        assert (' in"' in start.car_file) == (_name(log) == "bittern")
        car = parse_car(start.car_file)
        sizes = [
            *(car.body.length, car.body.width, car.body.wheelbase, car.rail.width),
            *(wheel.diameter for wheel in car.wheels.values()),
        ]
        for size in sizes:
            assert all(not math.isclose(size.value * 1e3, usual, abs_tol=0.1) for usual in TRADE["mm"])
        (mass,) = TRADE["g"]
        assert ledger_of(car).mass.value * 1e3 < mass - 1.0

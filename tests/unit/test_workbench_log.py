"""The bench log's use cases: what is refused leaves no trace, and the gates stand as the work says."""

from __future__ import annotations

import math
import shlex
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from rollwright.bench import Store
from rollwright.bench.fold import Gate, Standing
from rollwright.car.model import Station
from rollwright.cli.log_words import amount_of, station_of
from rollwright.errors import InputError, RollwrightError
from rollwright.judge.class_rules import Rule
from rollwright.scenario.club import file_text
from rollwright.setup.readings import parse_readings
from rollwright.units import System
from rollwright.workbench import log, log_entry, log_files, log_gates, log_parts, log_past
from rollwright.workbench.log_reading import read, reading_event

DEG = math.pi / 180.0
LEFT = Station.FRONT_LEFT
_count = 0


def stamp(author: str = "Ada") -> log.Stamp:
    global _count  # noqa: PLW0603 - ids must differ between all entries of a test run
    _count += 1
    return log.Stamp(
        time=datetime(2026, 5, 4, 19, 0, tzinfo=UTC) + timedelta(minutes=_count),
        author=author,
        event_id=f"{_count:032x}",
    )


@pytest.fixture
def lark(tmp_path: Path) -> Path:
    target = tmp_path / "lark.toml"
    target.write_text(file_text("lark.toml"), encoding="utf-8")
    return target


@pytest.fixture
def bench(lark: Path) -> Path:
    path = lark.with_name("bench.log")
    log.start(path, lark, car=None, stamp=stamp())
    return path


@pytest.fixture
def read_once(bench: Path) -> Path:
    read(bench, "lark", "height_difference", ["-0.21"], {"uncertainty": "0.04"}, stamp=stamp())
    read(bench, "lark", "drift", ["112 mm right", "109 mm right", "111 mm right"], {}, stamp=stamp())
    read(bench, "lark", "rail_offset", ["0.91"], {"uncertainty": "0.04"}, stamp=stamp())
    return bench


def did(bench: Path, move: str, amount: float, station: Station = LEFT) -> log.Entered:
    return log.did(bench, "lark", move, station, amount=amount, stamp=stamp())


def standing(bench: Path) -> dict[str, Standing]:
    return {gate.value: state.standing for gate, state in log_gates.where(bench, "lark").found.gates.items()}


@pytest.mark.parametrize(
    ("name", "car"),
    [
        ("Lark", "lark"),
        ("Grey Wren 2", "grey-wren-2"),
        ("Åsa's Föhn!", "asa-s-fohn"),
        ("_x_", "x"),
        ("A very long name that no label has the room for", "a-very-long-name-that-no"),
        ("烏", ""),
    ],
)
def test_an_id_is_made_of_safe_characters(name: str, car: str) -> None:
    assert log.id_from(name) == car


def test_a_start_makes_the_log_once_and_keeps_the_whole_file(lark: Path) -> None:
    path = lark.with_name("new.log")
    first = log.start(path, lark, car=None, stamp=stamp())
    second = log.start(path, lark, car="lark-2", stamp=stamp())
    assert (first.made, second.made) == (True, False)
    assert first.entry.event.as_plain()["car_file"] == lark.read_text(encoding="utf-8")
    assert [entry.car for entry in log_past.history(path).entries] == ["lark", "lark-2"]


def test_a_new_log_in_a_synced_folder_is_told_once(lark: Path) -> None:
    folder = lark.parent / "Dropbox"
    folder.mkdir()
    path = folder / "bench.log"
    assert log.start(path, lark, car="one", stamp=stamp()).synced is not None
    assert log.start(path, lark, car="two", stamp=stamp()).synced is None


@pytest.mark.parametrize(
    ("text", "car", "author"),
    [
        ("format = 2\n", None, "Ada"),
        ("not toml", None, "Ada"),
        (None, "no good", "Ada"),
        (None, None, ""),
        ("rolls over", None, "Ada"),
    ],
)
def test_a_start_that_is_refused_makes_no_log(lark: Path, text: str | None, car: str, author: str) -> None:
    if text == "rolls over":
        text = file_text("lark.toml").replace("[47, 0, 11]", "[470, 0, 11]")
    if text is not None:
        lark.write_text(text, encoding="utf-8")
    path = lark.with_name("new.log")
    with pytest.raises(InputError):
        log.start(path, lark, car=car, stamp=stamp(author))
    assert sorted(file.name for file in lark.parent.iterdir()) == ["lark.toml"]


def test_a_cars_id_is_found_whatever_its_capitals(bench: Path) -> None:
    assert log.note(bench, "LARK", "hello", stamp=stamp()).entry.car == "lark"
    with pytest.raises(InputError, match='did you mean "lark"'):
        log.note(bench, "larc", "hello", stamp=stamp())


def test_a_log_that_is_not_there_is_not_made_by_a_reading(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="rollwright log start"):
        read(tmp_path / "bench.log", "lark", "drift", ["3"], {}, stamp=stamp())
    assert list(tmp_path.iterdir()) == []


def test_a_reading_means_what_it_means_in_a_readings_file() -> None:
    event = reading_event("Drift", ["97 mm right", "95 mm right"], {"uncertainty": "2.5", "distance": "900"})
    text = (
        'format = 1\n[[reading]]\nkind = "drift"\nvalues = ["97 mm right", "95 mm right"]\n'
        "uncertainty = 2.5\ndistance = 900\n"
    )
    (filed,) = parse_readings(text).readings
    assert event.values == filed.quantity.repeats == pytest.approx((-0.097, -0.095))
    assert event.distance == filed.distance
    assert event.uncertainty == pytest.approx(2.5e-3)
    assert event.written == "97 mm right, 95 mm right"


def test_what_a_reading_does_not_say_stays_unsaid() -> None:
    event = reading_event("block-offset", ["0.4"], {})
    assert set(event.as_plain()) == {"reading", "values", "written"}


def test_a_size_and_its_uncertainty_have_the_unit_of_the_dimension() -> None:
    angle = reading_event("size", ["2.4"], {"dimension": "front_left.bend", "uncertainty": "0.1"})
    length = reading_event("size", ["2.4"], {"dimension": "rear_left.bore", "uncertainty": "0.1"})
    assert (*angle.values, angle.uncertainty) == pytest.approx((2.4 * DEG, 0.1 * DEG))
    assert (*length.values, length.uncertainty) == pytest.approx((2.4e-3, 0.1e-3))


@pytest.mark.parametrize(
    ("kind", "values", "keys", "said"),
    [
        ("drit", ["3"], {}, 'did you mean "drift"'),
        ("drift", ["97", "mm", "right"], {}, "in quotes"),
        ("drift", ["97 mm rigt"], {}, "unknown unit"),
        ("drift", ["3", "x1"], {}, "drift, value 2: 'x1'"),
        ("drift", ["3"], {"thickness": "12"}, "--thickness"),
        ("drift", ["3"], {"uncertainty": "-1"}, "--uncertainty"),
        ("drift", ["3"], {"set_up": ""}, "--set-up"),
        ("drift", ["3"], {"common": "1"}, "--set-up"),
        ("drift", ["1100 mm left"], {"distance": "1000"}, "drifts no less than it runs"),
        ("daylight", ["0.1"], {}, "--station"),
        ("daylight", ["0.1"], {"station": "nose"}, "--station"),
        ("daylight", ["0.1"], {"station": "rear left", "plane": "up"}, "--plane"),
        ("size", ["3"], {}, "--dimension"),
        ("size", ["3"], {"dimension": "rear_left.bor"}, 'did you mean "rear_left.bore"'),
        ("size", ["3000"], {"dimension": "rear_left.bore"}, "size"),
        ("rail_offset", ["5 m"], {}, "more than 100"),
        ("drift", ["3\x00"], {}, "drift"),
        ("drift", ["3"], {"note": "\x07"}, "note"),
        ("drift", ["3"], {"note": "x" * 2000}, "--note"),
    ],
)
def test_a_reading_that_cannot_be_read_names_its_place_and_the_mend(
    kind: str, values: list[str], keys: dict[str, str], said: str
) -> None:
    with pytest.raises(InputError) as caught:
        reading_event(kind, values, keys)
    assert said in str(caught.value)
    assert "reading 1" not in str(caught.value)
    assert "readings.toml" not in str(caught.value)


def test_a_reading_passes_its_gate_and_no_other(bench: Path) -> None:
    read(bench, "lark", "height_difference", ["0.01"], {}, stamp=stamp())
    found = standing(bench)
    assert list(found) == ["drill", "level", "trim", "steer", "centre", "roll", "inspect"]
    assert found.pop("level") is Standing.HOLDS
    assert set(found.values()) == {Standing.NEVER_READ}


def test_a_move_makes_stale_what_it_moved_and_says_so(read_once: Path) -> None:
    found = did(read_once, "turn", -14.5 * DEG).found
    assert found is not None
    steer = found.gates[Gate.STEER]
    assert steer.standing is Standing.READ_AGAIN
    assert [change.words for change in steer.reasons] == ["turn at front left"]
    assert steer.shift is not None
    # Counter-clockwise on the left carries the bend backward: the wheel heads more to the left.
    assert steer.shift > 0.02


def test_an_undo_brings_back_exactly_what_was(read_once: Path) -> None:
    before = log_gates.where(read_once, "lark").as_json()
    did(read_once, "bend", 1.25 * DEG)
    undone = log_past.undo(read_once, "lark", None, reason="only tried", stamp=stamp())
    assert undone.about is not None
    assert undone.about.event.kind == "bend"
    assert log_gates.where(read_once, "lark").as_json() == before
    shown = log_past.history(read_once, "lark")
    assert shown.withdrawn == {undone.about.seq: undone.entry.seq}
    assert len(shown.entries) == 6


def test_undo_after_undo_goes_back_one_entry_at_a_time(bench: Path) -> None:
    for text in ("one", "two"):
        log.note(bench, "lark", text, stamp=stamp())
    gone = [log_past.undo(bench, "lark", None, reason="x", stamp=stamp()).about for _ in range(2)]
    assert [about.event.as_plain()["text"] for about in gone if about] == ["two", "one"]
    with pytest.raises(InputError, match="nothing to undo"):
        log_past.undo(bench, "lark", None, reason="x", stamp=stamp())


@pytest.mark.parametrize(
    ("number", "said"),
    [(1, "never undone"), (2, "withdrawn already, by entry 3"), (3, "cannot be undone"), (4, "no entry of")],
)
def test_what_cannot_be_undone_says_why(bench: Path, number: int, said: str) -> None:
    log.note(bench, "lark", "a remark", stamp=stamp())
    log_past.undo(bench, "lark", 2, reason="x", stamp=stamp())
    with pytest.raises(InputError, match=said):
        log_past.undo(bench, "lark", number, reason="x", stamp=stamp())
    assert len(log_past.history(bench).entries) == 3


def test_another_cars_entry_cannot_be_undone(bench: Path, lark: Path) -> None:
    log.start(bench, lark, car="other", stamp=stamp())
    log.note(bench, "other", "mine", stamp=stamp())
    with pytest.raises(InputError, match="no entry of this car"):
        log_past.undo(bench, "lark", 3, reason="x", stamp=stamp())


def test_a_retired_car_takes_remarks_only_until_that_is_undone(bench: Path) -> None:
    log.retire(bench, "lark", "split", stamp=stamp())
    with pytest.raises(InputError, match="retired"):
        read(bench, "lark", "drift", ["3"], {}, stamp=stamp())
    log.note(bench, "lark", "a pity", stamp=stamp())
    assert log_gates.where(bench, "lark").step.kind == "none"
    log_past.undo(bench, "lark", 2, reason="glued", stamp=stamp())
    read(bench, "lark", "drift", ["3"], {}, stamp=stamp())


def test_a_reading_of_a_car_that_cannot_be_told_is_refused_and_leaves_no_trace(bench: Path) -> None:
    did(bench, "bend", 40 * DEG)
    assert log_gates.where(bench, "lark").found.trouble
    with pytest.raises(InputError):
        read(bench, "lark", "drift", ["3"], {}, stamp=stamp())
    assert len(log_past.history(bench).entries) == 2
    with pytest.raises(InputError, match="log where lark"):
        log_gates.next_moves(bench, "lark")
    log_past.undo(bench, "lark", None, reason="a slip", stamp=stamp())
    assert not log_gates.where(bench, "lark").found.trouble


FIRST = {"height_difference": "-0.25 mm", "drift": "111 mm right", "rail_offset": "0.91 mm"}
KINDS = {"height_difference": Gate.LEVEL, "drift": Gate.STEER, "rail_offset": Gate.CENTRE}


LOOKED = {
    Rule.LENGTH: "186",
    Rule.WIDTH: "67",
    Rule.WHEELBASE: "124.2",
    Rule.GROUND_CLEARANCE: "6.9",
    Rule.WHEEL_DIAMETER: "32.1",
    Rule.WEIGHT_BELOW: "-2",
    Rule.LUBRICANT: "dry powder",
}
"""What Lark shows at an inspection [mm]."""


def inspected(bench: Path, words: list[str]) -> None:
    """Enter what an inspection shows of one rule."""
    rule = Rule(words[4])
    said = LOOKED[rule]
    log_entry.inspect(
        bench,
        "lark",
        rule,
        value=float(said) * 1e-3 if rule.is_size else None,
        found="" if rule.is_size else said,
        station=station_of(words[7]) if "--station" in words else None,
        stamp=stamp(),
    )


def obey(bench: Path, found: log_gates.Where) -> None:
    """Do what the next step says, as a builder whose car is as the model expects."""
    words = shlex.split(found.step.command)
    if found.step.kind == "read":
        state = found.found.gates[KINDS[words[4]]]
        value = FIRST[words[4]]
        if state.read_at:
            assert state.now is not None
            value = f"{state.now.value * 1e3:.3f} mm"
        read(
            bench,
            "lark",
            words[4],
            [value],
            {"uncertainty": "2.5" if words[4] == "drift" else "0.04"},
            stamp=stamp(),
        )
    elif found.step.kind == "move":
        station = station_of(words[5])
        amount = amount_of(words[4], words[6], station=station)
        log.did(bench, "lark", words[4], station, amount=amount, stamp=stamp())
    elif found.step.kind == "fit":
        log_parts.fit_all(bench, "lark", stamp=stamp())
    elif found.step.kind == "roll":
        log.roll(bench, "lark", "holds", stamp=stamp())
    elif words[2] == "weigh":
        log_entry.weigh(bench, "lark", log_entry.Weighed(words[4]), 0.1376, stamp=stamp())
    else:
        assert found.step.kind == "inspect"
        inspected(bench, words)


def obeyed(bench: Path) -> tuple[log_gates.Where, list[str]]:
    """Do each next step until there is none; return how the car stands, and the steps."""
    done: list[str] = []
    for _ in range(40):
        found = log_gates.where(bench, "lark")
        if found.step.kind == "none":
            return found, done
        done.append(" ".join(found.step.command.split()[2:5]))
        if done[-1] == "did lark sand":
            # Wood does not come back: nothing stale is left when it goes.
            fresh = {found.found.gates[gate].standing for gate in KINDS.values()}
            assert fresh <= {Standing.HOLDS, Standing.PREDICTED}
        obey(bench, found)
    raise AssertionError(done)


def test_a_builder_who_does_each_next_step_ends_with_every_gate_passed(bench: Path) -> None:
    found, done = obeyed(bench)
    assert done[:5] == [
        "read lark height_difference",
        "fit lark all",
        "read lark drift",
        "read lark rail_offset",
        "did lark bend",
    ]
    assert "did lark turn" in done
    assert "did lark sand" in done
    assert done[-1] == "roll lark holds|leaves|tail_left|tail_right"
    assert len(done) < 20
    # No hole was drilled in this log, and no class was chosen.
    waiting = [gate for gate, state in found.found.gates.items() if not state.passed]
    assert waiting == [Gate.DRILL, Gate.INSPECT]
    assert found.step.command == "rollwright log class lark CLASS.toml"
    chosen = bench.with_name("open.toml")
    chosen.write_text(file_text("class-open.toml"), encoding="utf-8")
    log_entry.choose_class(bench, "lark", chosen, stamp=stamp())
    found, more = obeyed(bench)
    assert more[0] == "weigh lark whole"
    # Ten rules, four wheels; bent axles and shields are allowed and need no look.
    assert len(more) == 11
    assert [gate for gate, state in found.found.gates.items() if not state.passed] == [Gate.DRILL]
    assert found.step.text == "Leave it as it is: every gate but drill is passed."
    assert found.stopping is not None
    assert found.stopping.stop is log_gates.Stop.GOOD_ENOUGH


def test_a_class_that_allows_no_bent_axle_is_where_a_bent_one_is_straightened_first(bench: Path) -> None:
    obeyed(bench)
    chosen = bench.with_name("straight.toml")
    chosen.write_text(file_text("class-straight.toml"), encoding="utf-8")
    log_entry.choose_class(bench, "lark", chosen, stamp=stamp())
    log_entry.inspect(bench, "lark", Rule.BENT_AXLES, found="bent", stamp=stamp())
    found = log_gates.where(bench, "lark").step
    assert found.kind == "move"
    assert found.text.startswith("Straighten the front left axle, or fit a straight one: it is bent by ")
    assert "Tannery Lane straight-axle class" in found.text


def test_a_hole_that_was_drilled_off_is_where_a_body_ends(bench: Path) -> None:
    log_entry.drill(bench, "lark", list(Station), stamp=stamp())
    first = log_gates.where(bench, "lark").step
    assert first.command.startswith("rollwright log pin lark rear_left cant ")
    log_entry.pin(
        bench,
        "lark",
        Station.REAR_LEFT,
        log_entry.Plane.CANT,
        log_entry.Seen.ANGLE,
        size=4.0 * DEG,
        stamp=stamp(),
    )
    found = log_gates.where(bench, "lark").step
    assert found.kind == "scrap"
    assert "rear left cant is off by 1.50°, and 0.50° is allowed" in found.text
    log_past.undo(bench, "lark", None, reason="wrong body", stamp=stamp())
    assert log_gates.where(bench, "lark").step == first


@pytest.mark.parametrize("system", System)
def test_a_step_that_moves_can_be_entered_as_it_is_told(read_once: Path, system: System) -> None:
    advice = log_gates.next_moves(read_once, "lark").advised.advice
    for move in advice.plan.moves:
        found = log_gates.where(read_once, "lark", system=system).step
        assert found.kind == "move"
        words = shlex.split(found.command)
        assert words[:4] == ["rollwright", "log", "did", "lark"]
        amount = amount_of(words[4], words[6], station=station_of(words[5]))
        assert amount is not None
        assert words[5] == move.station.value
        first = log_gates.next_moves(read_once, "lark").advised.advice.plan.moves[0]
        # Three figures are as fine as a hand is asked.
        assert amount == pytest.approx(first.by, rel=5e-3)
        if first.kind.value == "turn":
            break
        did(read_once, words[4], amount)


def test_advice_from_the_log_is_that_of_the_readings_file(read_once: Path) -> None:
    found = log_gates.next_moves(read_once, "lark")
    kinds = [move.kind.value for move in found.advised.advice.plan.moves]
    assert kinds == ["bend", "turn", "relief"]
    assert found.unread == ()
    assert set(found.advised.advice.read.values()) == {True}


def test_an_export_comes_back_whole_and_only_once(read_once: Path) -> None:
    out, other = read_once.with_name("out.jsonl"), read_once.with_name("other.log")
    assert log_files.export(read_once, out) == 4
    done, made = log_files.bring_in(other, out)
    assert (done.added, done.known, made) == (4, 0, True)
    done, made = log_files.bring_in(other, out)
    assert (done.added, done.known, made) == (0, 4, False)
    assert log_past.history(other) == log_past.history(read_once)
    assert log_files.check(other) == ((), False)


@pytest.mark.parametrize("text", ["", "nothing of ours\n", '{"format":"rollwright-log","version":1}\n'])
def test_an_import_that_is_refused_makes_no_log(tmp_path: Path, text: str) -> None:
    source = tmp_path / "in.jsonl"
    source.write_text(text, encoding="utf-8")
    with pytest.raises(InputError):
        log_files.bring_in(tmp_path / "new.log", source)
    assert [file.name for file in tmp_path.iterdir()] == ["in.jsonl"]


@pytest.mark.parametrize("place", ["gone/new.log", "new.log"])
def test_an_import_from_nowhere_or_to_nowhere_names_the_file_and_makes_nothing(
    tmp_path: Path, place: str
) -> None:
    with pytest.raises(RollwrightError, match="gone"):
        log_files.bring_in(tmp_path / place, tmp_path / "gone.jsonl")
    assert list(tmp_path.iterdir()) == []


def test_a_backup_holds_everything_and_overwrites_nothing(read_once: Path) -> None:
    copy = log_files.backup(read_once, read_once.with_name("copy.log"))
    assert log_past.history(copy) == log_past.history(read_once)
    with pytest.raises(InputError, match="there already"):
        log_files.backup(read_once, copy)


def test_a_file_of_someone_elses_is_left_alone(bench: Path) -> None:
    target = bench.with_name("mine.txt")
    target.write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match="there already"):
        log_files.export(bench, target)
    assert target.read_text(encoding="utf-8") == "mine"


def test_entries_of_two_benches_are_judged_together(bench: Path) -> None:
    with Store.open(bench) as other:
        first = read(bench, "lark", "drift", ["90 mm right"], {}, stamp=stamp("Ada"))
        second = read(bench, "lark", "drift", ["92 mm right"], {}, stamp=stamp("Bo"))
        assert [entry.author for entry in other.events("lark")][1:] == ["Ada", "Bo"]
    assert (first.entry.seq, second.entry.seq) == (2, 3)

"""`rollwright plan` at the terminal: the work in its order, refusals in a line, and the file it leaves."""

from __future__ import annotations

import json
import math
import re
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from rollwright.car import parse_car
from rollwright.car.dimensions import dimension_names, dimension_of
from rollwright.cli import app
from rollwright.geometry.stance import stance
from rollwright.quantity import Source
from rollwright.scenario.club import CLASS_FILES, club_files
from tests.contract.test_docs import _all_keys, _listed

CARS = ("lark", "heron", "bittern")
MM = 1e-3


@dataclass(frozen=True)
class Result:
    code: int
    out: str
    err: str

    @property
    def words(self) -> str:
        """What was printed, with its line breaks taken out."""
        return re.sub(r"\s+", " ", self.out)

    @property
    def data(self) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(self.out)
        return found


Ask = Callable[..., Result]


@pytest.fixture
def run(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Ask:
    for name, text in club_files().items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "78")
    monkeypatch.delenv("ROLLWRIGHT_UNITS", raising=False)

    def run(*words: str) -> Result:
        code = app._run(list(words))
        captured = capsys.readouterr()
        return Result(code, captured.out, captured.err)

    return run


@pytest.fixture
def ask(run: Ask) -> Ask:
    def ask(*options: str, car: str = "lark.toml") -> Result:
        return run("plan", car, *options)

    return ask


def remarks(text: str) -> list[str]:
    return re.findall(r"#.*", text)


def in_order(text: str, *words: str) -> None:
    at = 0
    for word in words:
        found = text.find(word, at)
        assert found >= 0, f"{word!r} is not where it should be"
        at = found + len(word)


def test_the_work_comes_in_its_order(ask: Ask) -> None:
    found = ask("--class", "class-open.toml")
    assert (found.code, found.err) == (0, "")
    in_order(
        found.words,
        "Lark: it can be had. Drill, bend and trim as below.",
        "Steered by the front left axle, for the Tannery Lane open class; chosen for most adjustment.",
        "Drill 1. Both rear holes: 9.00 mm up, canted 2.5°, outer end up.",
        "2. Front left hole, the one that steers: 9.51 mm up, square to the side.",
        "3. Front right hole, of the raised wheel: 11.04 mm up, square to the side.",
        "Bend 4. Bend the front left axle 3.0°, where it leaves the wood.",
        "5. Press it in with its outer end straight down, then turn it 15.3° clockwise, seen from outside "
        "the wheel: its end goes forward.",
        "Trim 6. Sand 0.74 mm off the side beside the front left wheel.",
        "Bushings, in a block 20.00 mm thick",
        "Nearest drill to the pins: No. 42 (2.37 mm).",
        "How it will stand level 0.00 mm",
        "drift 69.9 mm right; wanted 70 ± 10 mm right",
        "rail 0.00 mm, touching; wanted 0 ± 0.2 mm",
        "of a tolerance at most.",
        "Room left once it is drilled - drift:",
        "1° of turn is 4.46 mm.",
        "--json lists them.",
        "Mind - At the drill: glasses on",
        "Next",
        "rollwright draw PLANNED.toml",
        "rollwright log start PLANNED.toml --plan --class class-open.toml",
    )


def test_a_right_hand_car_turns_the_other_way(ask: Ask) -> None:
    # Seen from outside the right side, forward is to the viewer's right.
    assert (
        "counter-clockwise, seen from outside the wheel: its end goes forward"
        in ask(car="bittern.toml").words
    )
    backward = ask("--rear-cant", "2 deg", "--drift", "10 mm left", "--prefer", "least-bend")
    assert "counter-clockwise, seen from outside the wheel: its end goes backward" in backward.words


def test_a_straight_axle_is_drilled_for_its_steer(ask: Ask) -> None:
    found = ask("--class", "class-straight.toml", car="heron.toml")
    assert found.code == 0
    in_order(
        found.words,
        "Steered by the front left hole",
        "canted 2.8°, outer end down and swept 0.76°, outer end forward.",
        "The car file says 9.08 mm for the front left hole: the same hole where the sanded face cuts it.",
        "Bend nothing: the front left axle stays straight.",
        "4. Sand 0.74 mm",
        "drift and nose: none, the hole is all there is. 0.1° of sweep is 9.30 mm of drift.",
        "Your drill may be 0.3° off: 28 mm.",
    )


def test_the_bushing_lies_on_the_line_of_the_hole(ask: Ask) -> None:
    data = ask("--json", "--block", "25 mm", car="heron.toml").data
    sizes = {size["name"]: size["value"] for size in data["sizes"]}
    (bushing,) = (each for each in data["bushings"] if each["station"] == "front_left")
    cant, sweep = sizes["front_left.cant"], sizes["front_left.sweep"]
    # From the sanded face out through the wood that goes and the block.
    out = sizes["front_left.relief"] + 25.0 * MM
    assert bushing["height_at_block"] == pytest.approx(
        sizes["front_left.hole_height"] + out * math.tan(cant) / math.cos(sweep)
    )
    assert bushing["forward_at_block"] == pytest.approx(out * math.tan(sweep))
    assert bushing["drill"]["diameter"] == pytest.approx(2.38 * MM, abs=0.01 * MM)


def test_wishes_go_before_the_files_targets(ask: Ask) -> None:
    data = ask(
        "--json",
        *("--drift", "50 mm right", "--height-difference", "0.1 mm", "--rail-offset", "-0.05"),
        *("--ride-height", "7.2 mm", "--raise", "1.5 mm", "--rear-cant", "3 deg", "--front-cant", "0.5"),
    ).data
    figures, exact = data["figures"], data["exact_figures"]
    assert exact["drift"] == pytest.approx(-50.0 * MM, abs=1e-9)
    assert exact["height_difference"] == pytest.approx(0.1 * MM, abs=1e-9)
    assert exact["rail_offset"] == pytest.approx(-0.05 * MM, abs=1e-9)
    assert exact["ride_height"] == pytest.approx(7.2 * MM, abs=1e-9)
    assert exact["raise_height"] == pytest.approx(1.5 * MM, abs=1e-9)
    assert figures["ride_height"] == pytest.approx(7.2 * MM, abs=0.02 * MM)
    assert max(data["rounding"]["share_of_tolerance"].values()) < 0.1
    at_front = ask("--json", "--ride-height", "7.2 mm", "--at-front", "--height-difference", "0.2 mm").data
    assert at_front["exact_figures"]["front_height"] == pytest.approx(7.2 * MM, abs=1e-9)


def test_what_stands_in_the_way_is_said_first_with_its_mend_and_code_1(ask: Ask) -> None:
    found = ask("--class", "class-straight.toml")
    assert found.code == 1
    in_order(
        found.words,
        "Lark: two things stand in the way. The plan is the nearest.",
        "! The Tannery Lane straight-axle class asks for a length of 182.0 mm at most, and it is 186.0 mm. "
        "Missed by 4.00 mm.",
        "To mend it: cut another body, 4.00 mm less.",
        "Drill",
    )
    wide = ask("--drift", "400 mm right", "--most-bend", "1 deg")
    assert wide.code == 1
    assert "one thing stands in the way" in wide.words
    assert re.search(r"or allow 3\.\d\d°", wide.words)
    assert {each["what"] for each in ask("--class", "class-plain.toml", "--json").data["blocked"]} == {
        "length",
        "wheelbase",
    }


def test_bends_are_used_as_car_and_class_allow_or_as_you_say(ask: Ask) -> None:
    assert ask("--json").data["bent"] is True
    assert ask("--json", "--straight").data["bent"] is False
    assert ask("--json", car="heron.toml").data["bent"] is False
    assert ask("--json", "--bent", car="heron.toml").data["bent"] is True
    refused = ask("--bent", "--class", "class-straight.toml", car="heron.toml")
    assert refused.code == 1
    assert "allows no bent axles" in refused.words


def test_each_preference_is_told(ask: Ask) -> None:
    found = {
        name: ask("--json", "--prefer", name).data
        for name in ("least-bend", "least-relief", "most-adjustment")
    }
    sizes = {name: {size["name"]: size["exact"] for size in data["sizes"]} for name, data in found.items()}
    assert sizes["least-bend"]["front_left.bend"] < sizes["most-adjustment"]["front_left.bend"]
    assert sizes["least-relief"]["front_left.relief"] < sizes["most-adjustment"]["front_left.relief"]


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (("--drift", "foo"), "--drift: 'foo' does not begin with a number"),
        (("--most-bend", "45 deg"), "--most-bend: a most bend of 45.00° is no possible one"),
        (("--ride-height", "7 deg"), "--ride-height: "),
        (("--block", "-1 mm"), "--block: a block of −1.00 mm is no possible one"),
        (("--rail-clearance", "nan"), "--rail-clearance: "),
        (("--class", "gone.toml"), "gone.toml: "),
        (("--class", "lark.toml"), "lark.toml: "),
        (("--plot", "plan.jpg"), "plan.jpg: a picture is written as .svg or .png"),
        (("--prefer", "speed"), "'speed' is not one of"),
        (("--save-as", "heron.toml"), "heron.toml: this file is there already"),
        (("--save-as", "no/such/folder.toml"), "folder.toml: "),
    ],
    ids=lambda part: part if isinstance(part, str) else " ".join(part),
)
def test_bad_input_is_one_line_and_code_2(ask: Ask, options: tuple[str, ...], says: str) -> None:
    found = ask(*options)
    assert found.code == 2
    assert found.out == ""
    assert len(found.err.splitlines()) == 1
    assert says in found.err


def test_a_car_file_that_is_not_there_is_named(ask: Ask) -> None:
    found = ask(car="gone.toml")
    assert found.code == 2
    assert found.err.startswith("rollwright: gone.toml: ")


@pytest.mark.parametrize("units", ["mm", "in"])
@pytest.mark.parametrize("car", CARS)
@pytest.mark.parametrize("columns", [40, 78])
def test_no_line_is_wider_than_the_terminal(
    ask: Ask, monkeypatch: pytest.MonkeyPatch, columns: int, car: str, units: str
) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    for options in ((), ("--class", "class-plain.toml"), ("--save-as", "a-long-name-of-a-planned-car.toml")):
        found = ask(*options, "--units", units, "--force", car=f"{car}.toml")
        assert [line for line in found.out.splitlines() if len(line) > columns] == []


def test_inches_are_told_in_inches(ask: Ask) -> None:
    found = ask("--units", "in", car="bittern.toml")
    assert " mm" not in found.words
    assert "0.0935 in" in found.words
    assert "wanted 2.75 ± 0.375 in left" in found.words
    heights = re.findall(r"(\d\.\d{4}) in up", found.words)
    assert len(heights) == 3
    # Half a thousandth of an inch.
    assert all(height[-1] in "05" for height in heights[1:])


# The file it leaves.


@pytest.mark.parametrize("rules", [None, *CLASS_FILES])
@pytest.mark.parametrize("car", CARS)
def test_the_saved_car_stands_on_its_targets_and_keeps_its_remarks(
    ask: Ask, run: Ask, tmp_path: Path, car: str, rules: str | None
) -> None:
    of_class = () if rules is None else ("--class", rules)
    found = ask(*of_class, "--save-as", "planned.toml", car=f"{car}.toml")
    assert "The car as planned is written to planned.toml." in found.words
    assert "rollwright log start planned.toml --plan" in found.words
    before, after = (
        (tmp_path / name).read_text(encoding="utf-8") for name in (f"{car}.toml", "planned.toml")
    )
    assert remarks(after) == remarks(before)
    was, now = parse_car(before), parse_car(after)
    data = ask(*of_class, "--json", car=f"{car}.toml").data
    planned = {size["name"]: size["value"] for size in data["sizes"]}
    for name in dimension_names():
        wanted = planned.get(name, dimension_of(was, name).value)
        assert dimension_of(now, name).value == pytest.approx(wanted, abs=2e-7), name
        if name in planned and name.partition(".")[2] not in {"clock", "bend"}:
            assert dimension_of(now, name).source is Source.NOMINAL, name
    assert now.bent_axles == data["bent"]
    at, targets = stance(now), was.targets
    assert at.drift.lateral is not None
    assert at.rail_offset is not None
    for reached, target in (
        (at.height_difference, targets.height_difference),
        (at.drift.lateral, targets.drift),
        (at.rail_offset, targets.rail_offset),
    ):
        assert abs(reached - target.value) < 0.1 * target.tolerance
    assert run("stance", "planned.toml").code == 0
    started = run("log", "start", "planned.toml", "--plan", "--log", "club.log", *of_class)
    assert (started.code, started.err) == (0, "")


def test_a_hole_keeps_the_uncertainty_of_a_drawing_or_the_builders_own(ask: Ask, tmp_path: Path) -> None:
    text = (tmp_path / "lark.toml").read_text(encoding="utf-8")
    text = text.replace(
        "hole_height = 9.4", 'hole_height = { value = 9.4, uncertainty = 0.07, from = "nominal" }'
    )
    (tmp_path / "lark.toml").write_text(text, encoding="utf-8")
    ask("--save-as", "planned.toml")
    saved = tomllib.loads((tmp_path / "planned.toml").read_text(encoding="utf-8"))
    assert saved["stations"]["front_left"]["hole_height"]["uncertainty"] == 0.07
    assert saved["stations"]["front_right"]["hole_height"]["uncertainty"] == 0.15
    assert saved["axles"]["steering"]["bend"] == {"value": 3.0, "uncertainty": 0.3, "from": "nominal"}


def test_wished_targets_are_written_with_the_tolerances_that_were_there(
    ask: Ask, run: Ask, tmp_path: Path
) -> None:
    ask("--drift", "50 mm right", "--height-difference", "0.1 mm", "--save-as", "planned.toml")
    saved = tomllib.loads((tmp_path / "planned.toml").read_text(encoding="utf-8"))["targets"]
    assert saved["drift"] == {"value": "50 mm right", "tolerance": 10}
    assert saved["height_difference"]["value"] == pytest.approx(0.1)
    assert run("next", "planned.toml", "--json").data["moves"] == []


def test_a_starter_file_can_be_planned(ask: Ask, run: Ask, tmp_path: Path) -> None:
    run("new", "mine.toml")
    found = ask("--drift", "60 mm left", "--save-as", "planned.toml", car="mine.toml")
    assert found.code == 0
    before, after = ((tmp_path / name).read_text(encoding="utf-8") for name in ("mine.toml", "planned.toml"))
    assert remarks(after) == remarks(before)
    at = stance(parse_car(after))
    assert at.drift.lateral == pytest.approx(60.0 * MM, abs=1.0 * MM)


SHARED = """\
format = 1
name = "Shared"
[axles.all]
shank = 2.38  # every pin
[stations.rear_left]
axle = "all"
[stations.rear_right]
axle = "all"
[stations.front_left]
axle = "all"  # this one too
[stations.front_right]
axle = "all"
"""


def test_a_pin_that_is_shared_gets_a_table_of_its_own_before_it_is_bent(ask: Ask, tmp_path: Path) -> None:
    (tmp_path / "shared.toml").write_text(SHARED, encoding="utf-8")
    assert ask("--save-as", "planned.toml", car="shared.toml").code == 0
    text = (tmp_path / "planned.toml").read_text(encoding="utf-8")
    saved, car = tomllib.loads(text), parse_car(text)
    assert saved["axles"]["all"] == {"shank": 2.38}
    assert saved["axles"]["front_left"]["shank"] == 2.38
    assert saved["axles"]["front_left"]["bend"]["value"] > 0.0
    assert saved["stations"]["front_left"]["axle"] == "front_left"
    assert dimension_of(car, "rear_left.bend").value == 0.0
    assert "# every pin" in text
    assert "# this one too" in text
    assert stance(car).drift.lateral == pytest.approx(-70.0 * MM, abs=1.0 * MM)


def test_a_class_without_bends_is_written_into_the_file(ask: Ask, tmp_path: Path) -> None:
    ask("--straight", "--save-as", "planned.toml")
    saved = tomllib.loads((tmp_path / "planned.toml").read_text(encoding="utf-8"))
    assert saved["setup"] == {"dominant": "front_left", "bent_axles": False}
    ask("--bent", "--save-as", "bent.toml", car="heron.toml")
    assert tomllib.loads((tmp_path / "bent.toml").read_text(encoding="utf-8"))["setup"]["bent_axles"] is True


def test_a_file_that_is_there_stays_unless_forced(ask: Ask, tmp_path: Path) -> None:
    before = (tmp_path / "heron.toml").read_text(encoding="utf-8")
    assert ask("--save-as", "heron.toml").code == 2
    assert (tmp_path / "heron.toml").read_text(encoding="utf-8") == before
    assert ask("--save-as", "heron.toml", "--force").code == 0
    assert (tmp_path / "heron.toml").read_text(encoding="utf-8") != before


@pytest.mark.parametrize(("name", "head"), [("plan.svg", b"<svg"), ("plan.png", b"\x89PNG")])
def test_the_trade_off_is_drawn(ask: Ask, tmp_path: Path, name: str, head: bytes) -> None:
    found = ask("--plot", name)
    assert f"Drawn in {name}." in found.words
    assert (tmp_path / name).read_bytes().startswith(head)
    assert ask("--plot", name).code == 2
    assert ask("--plot", name, "--force").code == 0


def test_the_json_has_the_keys_that_are_listed(ask: Ask) -> None:
    answers = [
        ask("--json", car="lark.toml").data,
        ask("--json", "--class", "class-plain.toml", car="bittern.toml").data,
        ask("--json", "--class", "class-straight.toml", car="heron.toml").data,
    ]
    listed = _listed("plan")
    assert len(set(listed)) == len(listed)
    assert set(listed) == _all_keys(answers)


def test_steer_away_from_the_rail_is_warned_of(run: Ask) -> None:
    away = " ".join(run("plan", "lark.toml", "--drift", "70").out.split())
    assert "! This steers the front left wheel away from the rail" in away
    assert 'Say the side: --drift "... mm right".' in away
    toward = run("plan", "lark.toml", "--drift", "70 mm right").out
    assert "away from the rail" not in " ".join(toward.split())

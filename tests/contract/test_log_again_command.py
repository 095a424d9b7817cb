"""`rollwright log recipe`, `compare` and `start --recipe` as a builder meets them."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from rollwright.cli.app import _run
from rollwright.scenario.club import club_files

DOCS = Path(__file__).parents[2] / "docs"
EVENING = (
    ("start", "lark.toml", "--class", "class-open.toml"),
    ("read", "lark", "height_difference", "-0.21", "--uncertainty", "0.04"),
    ("read", "lark", "drift", "112 mm right", "109 mm right", "111 mm right"),
    ("read", "lark", "rail_offset", "0.91", "--uncertainty", "0.04"),
    ("did", "lark", "bend", "front_left", "1.25 deg more"),
    ("did", "lark", "turn", "front_left", "14.5 deg counter-clockwise"),
    ("read", "lark", "height_difference", "-0.02", "--uncertainty", "0.04"),
    ("read", "lark", "drift", "71 mm right", "72 mm right", "70 mm right"),
    ("did", "lark", "sand", "front_left", "0.46 mm"),
    ("read", "lark", "rail_offset", "0.08", "--uncertainty", "0.04"),
)


@dataclass(frozen=True)
class Result:
    code: int
    out: str
    err: str

    @property
    def said(self) -> str:
        return " ".join(self.out.split())

    @property
    def data(self) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(self.out)
        return found


Run = Callable[..., Result]


@pytest.fixture
def run(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Run:
    for name, text in club_files().items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "78")
    for name in ("ROLLWRIGHT_LOG", "ROLLWRIGHT_UNITS"):
        monkeypatch.delenv(name, raising=False)

    def run(*arguments: str, group: str = "log") -> Result:
        code = _run([group, *arguments] if group else list(arguments))
        captured = capsys.readouterr()
        return Result(code, captured.out, captured.err)

    return run


@pytest.fixture
def evening(run: Run) -> Run:
    for words in EVENING:
        assert run(*words).code == 0, words
    return run


def test_a_recipe_is_a_car_file_that_sits_as_the_car_does(evening: Run, tmp_path: Path) -> None:
    result = evening("recipe", "lark", "next.toml")
    assert result.code == 0, result.err
    # Drill, trim, roll and inspection were not entered.
    assert "Not all its gates are passed: drill, trim, roll and inspect." in result.said
    assert "# as built on Lark, entry 11" in (tmp_path / "next.toml").read_text(encoding="utf-8")
    stood = evening("stance", "next.toml", "--json", group="").data
    gates = evening("where", "lark", "--json").data["gates"]
    assert stood["height"]["difference"] == pytest.approx(gates["level"]["now"]["value"], abs=1e-5)
    assert stood["drift"]["lateral"] == pytest.approx(gates["steer"]["now"]["value"], abs=1e-3)
    assert stood["rail_offset"] == pytest.approx(gates["centre"]["now"]["value"], abs=1e-5)


def test_a_recipe_of_a_car_whose_readings_contradict_each_other_says_so(evening: Run) -> None:
    assert "contradicts" not in evening("recipe", "lark", "first.toml").said
    evening("read", "lark", "rail_offset", "0.95", "--uncertainty", "0.04")
    result = evening("recipe", "lark", "next.toml")
    assert result.code == 0, result.err
    assert "! What was entered of it contradicts itself: entries 11 and 12 disagree on centre." in result.said
    assert evening("recipe", "lark", "third.toml", "--json").data["doubts"] == [
        "entries 11 and 12 disagree on centre"
    ]


def test_a_recipe_is_never_written_over_a_file(evening: Run, tmp_path: Path) -> None:
    before = (tmp_path / "lark.toml").read_text(encoding="utf-8")
    result = evening("recipe", "lark", "lark.toml")
    assert (result.code, result.out) == (2, "")
    assert "lark.toml: this file is there already and stays as it is" in result.err
    assert (tmp_path / "lark.toml").read_text(encoding="utf-8") == before
    assert not list(tmp_path.glob(".*"))


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("recipe", "larc", "next.toml"), 'larc: no such car is in this log; did you mean "lark"?'),
        (("recipe", "lark", "next.toml", "--name", " "), "write a short name"),
        (("compare", "lark", "wren"), "wren: no such car is in this log"),
        (
            ("compare", "lark@3", "lark@x"),
            "lark@x: this is no entry of this car; see: rollwright log show lark",
        ),
        (("compare", "lark@", "lark"), "lark@: this is no entry of this car"),
        (("compare", "lark@900", "lark"), "lark@900: this is no entry of this car"),
        (("compare", "lark@³", "lark"), "this is no entry of this car"),
        (("start",), "--recipe ID"),
        (("start", "lark.toml", "--recipe", "lark"), "not both"),
        (("start", "heron.toml", "--name", "Wren"), "--name goes with --recipe"),
        (("start", "--recipe", "larc"), "no such car is in this log"),
        (("start", "--recipe", "lark", "--as", "lark"), "car lark is in this log already"),
    ],
)
def test_what_is_wrong_is_said_in_one_line_and_enters_nothing(
    evening: Run, tmp_path: Path, words: tuple[str, ...], said: str
) -> None:
    before = evening("show", "--json").out
    result = evening(*words)
    assert (result.code, result.out) == (2, "")
    assert len(result.err.splitlines()) == 1
    assert said in result.err
    assert evening("show", "--json").out == before
    assert not (tmp_path / "next.toml").exists()


def test_a_recipe_needs_a_log(run: Run) -> None:
    result = run("start", "--recipe", "lark")
    assert result.code == 2
    assert "there is no such log" in result.err


def test_a_car_whose_place_cannot_be_told_has_no_recipe(evening: Run) -> None:
    sizes = ("--mass", "500", "--x", "170", "--y", "0", "--z", "10")
    assert evening("fit", "lark", "weight", "nose", "lead", *sizes).code == 0
    result = evening("recipe", "lark", "next.toml")
    assert result.code == 2
    assert "undo or mend" in result.err
    assert "cannot be told" in evening("compare", "lark", "lark@3").err


def test_the_next_car_starts_from_the_first_as_it_was_built(evening: Run, tmp_path: Path) -> None:
    result = evening("start", "--recipe", "lark", "--name", "Wren", "--json").data
    fields = result["fields"]
    assert (result["car"], result["name"]) == ("wren", "Wren")
    assert (fields["source"], fields["source_car"]) == ("recipe", "lark")
    assert fields["class_name"] == "Tannery Lane open class"
    assert result["class_entry"] == result["entry"] + 1
    assert evening("recipe", "lark", "next.toml", "--name", "Wren").code == 0
    assert fields["car_file"] == (tmp_path / "next.toml").read_text(encoding="utf-8")
    # A drawing's tolerance stands about it again, so that nothing of it counts as read.
    gates = evening("where", "wren", "--json").data["gates"]
    assert {gates[gate]["standing"] for gate in ("level", "steer", "centre")} == {"never read"}
    assert gates["steer"]["now"]["uncertainty"] > 10e-3


def test_the_next_cars_are_counted_on(evening: Run) -> None:
    names = [evening("start", "--recipe", "lark", "--json").data["name"] for _ in range(2)]
    assert names == ["Lark 2", "Lark 3"]
    assert evening("start", "--recipe", "lark-2", "--json").data["name"] == "Lark 4"
    again = evening("start", "--recipe", "lark", "--as", "B7", "--json").data
    assert (again["car"], again["name"]) == ("B7", "Lark 5")


def test_a_class_of_its_own_takes_the_place_of_the_first_cars(evening: Run) -> None:
    started = evening("start", "--recipe", "lark", "--class", "class-plain.toml", "--json").data
    assert started["fields"]["class_name"] == "Tannery Lane plain-body class"


def test_two_cars_are_compared_by_what_differs_clearly(evening: Run) -> None:
    evening("start", "bittern.toml")
    result = evening("compare", "lark", "bittern")
    assert result.code == 0, result.err
    starred = re.findall(r"^\* (\w+(?: [a-z_]+)*)  ", result.out, flags=re.MULTILINE)
    assert "front left bend" in starred
    assert "body width" in starred
    assert re.search(r"^  level ", result.out, flags=re.MULTILINE)
    rest = re.search(r"(\d+) others are the same within what is known", result.said)
    data = evening("compare", "lark", "bittern", "--json").data
    named = {"height_difference", "drift", "rail_offset"}
    others = [row for row in data["compared"] if not row["clear"] and row["name"] not in named]
    assert rest is not None
    assert int(rest[1]) == len(others) > 20
    assert "is steered at front left" in result.said


def test_all_is_listed_if_asked_for(evening: Run) -> None:
    shown = evening("compare", "lark@4", "lark", "--all")
    data = evening("compare", "lark@4", "lark", "--json").data
    lines = [line for line in shown.out.splitlines() if re.match(r"[* ] [a-z]", line)]
    assert len([line for line in lines if re.search(r"not touched$|±", line)]) == len(data["compared"])
    assert "others" not in shown.said


def test_one_car_at_two_times_differs_by_what_was_touched(evening: Run) -> None:
    result = evening("compare", "lark@5", "lark")
    starred = re.findall(r"^\* (\w+(?: \w+)*)  ", result.out, flags=re.MULTILINE)
    assert starred[-3:] == ["front left relief", "front left clock", "front left bend"]
    assert "not touched between the two: the same wood and wire" in result.said
    assert "upper bounds" in result.said
    backward = evening("compare", "lark", "lark@5", "--json").data["compared"]
    forward = evening("compare", "lark@5", "lark", "--json").data["compared"]
    assert [row["difference"]["value"] for row in forward] == [
        -row["difference"]["value"] for row in backward
    ]


def test_a_withdrawn_entry_names_no_time(evening: Run) -> None:
    evening("undo", "lark", "10", "--because", "slip")
    result = evening("compare", "lark@10", "lark")
    assert result.code == 2
    assert "lark@10: this entry was withdrawn, by entry 12; name one that counts" in result.err
    # What was taken back never happened, also where it still stood at the time.
    rows = evening("compare", "lark@9", "lark@11", "--json").data["compared"]
    assert not any(row["touched"] for row in rows)


@pytest.mark.parametrize("words", [("compare", "lark@5", "bittern"), ("recipe", "lark", "next.toml")])
@pytest.mark.parametrize("units", ["mm", "in"])
def test_forty_columns_and_plain_letters_will_do(
    evening: Run, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...], units: str
) -> None:
    evening("start", "bittern.toml")
    monkeypatch.setenv("COLUMNS", "40")
    result = evening(*words, "--units", units)
    assert result.code == 0, result.err
    assert max(map(len, result.out.splitlines())) <= 40
    assert (" mm" in result.out) is (units == "mm")


def _listed(heading: str) -> set[str]:
    page = (DOCS / "json-output.md").read_text(encoding="utf-8")
    section = page.partition(f"## `{heading}`")[2].partition("\n## ")[0]
    return set(re.findall(r"^\| `([^`]+)`", section, flags=re.MULTILINE))


def _keys(found: object, path: str = "") -> set[str]:
    if isinstance(found, Mapping):
        return set().union(*(_keys(value, f"{path}.{key}".lstrip(".")) for key, value in found.items()))
    if isinstance(found, list) and found and isinstance(found[0], Mapping):
        return set().union(*(_keys(part, f"{path}[]") for part in found))
    return {path}


def test_the_keys_of_the_json_are_those_that_are_listed(evening: Run) -> None:
    made = _keys(evening("recipe", "lark", "next.toml", "--json").data)
    quantities = "height_difference|drift|rail_offset"
    assert {re.sub(quantities, "<quantity>", key) for key in made} == _listed("rollwright log recipe --json")
    compared = _keys(evening("compare", "lark@5", "lark", "--json").data)
    assert {key.replace("second", "first") for key in compared} == _listed("rollwright log compare --json")

"""`rollwright ballast` at the bench: exit codes, one-line errors, narrow terminals, documented keys."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from rollwright.cli.app import _run
from rollwright.scenario.club import file_text
from tests.contract.test_docs import _all_keys, _listed

AS_TOLD = ("--limit", "140 g", "--without", "slug")


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
def ask(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Ask:
    for name in ("lark.toml", "lark-pockets.toml"):
        (tmp_path / name).write_text(file_text(name), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "78")
    monkeypatch.delenv("ROLLWRIGHT_UNITS", raising=False)

    def ask(*options: str, car: str = "lark.toml", pockets: str = "lark-pockets.toml") -> Result:
        code = _run(["ballast", car, pockets, *options])
        captured = capsys.readouterr()
        return Result(code, captured.out, captured.err)

    return ask


def test_a_plan_says_what_goes_where_and_what_comes_of_it(ask: Ask) -> None:
    found = ask(*AS_TOLD, "--centre", "38 mm", "--whole", "106.7")
    assert found.code == 0
    assert found.err == ""
    assert re.match(r"Lark: \d+ pieces, from 106\.\d+ ± 0\.10 g to 139\.\d+ ± 0\.\d+ g\.", found.words)
    for said in (
        "under: the limit is 140.0 g",
        "to be over it",
        "wanted: 38 ± 1 mm",
        "- tail: ",
        "Room left for trimming",
        "is kept back",
        "on the wheels",
        "Left on the bench",
        "Wash your hands after lead, and never sand, file or drill it.",
        "your club's rules",
    ):
        assert said in found.words, said
    assert "file alone" not in found.words


def test_what_is_said_is_what_the_data_say(ask: Ask) -> None:
    options = (*AS_TOLD, "--centre", "38", "--whole", "106.7")
    words, data = ask(*options).words, ask(*options, "--json").data
    plan = data["plan"]
    assert f"Lark: {plan['pieces']} pieces" in words
    assert f"to {plan['mass']['value'] * 1e3:.2f} ± " in words
    for piece in plan["pockets"]:
        line = re.search(rf"- {piece['pocket']}: ([^;]*);", words)
        assert line is not None
        assert f"{piece['count']} {piece['size']}" in line[1]
    assert sum(piece["count"] for piece in plan["pockets"]) == plan["pieces"]
    left = {each["size"]: each["count"] for each in data["left_over"]}
    assert left.keys() == {"long", "short", "disc"}
    assert sum(left.values()) + plan["pieces"] == 3 + 4 + 6


def test_what_cannot_be_done_leaves_with_one_and_says_why(ask: Ask) -> None:
    heavy = ask("--limit", "130 g")
    assert heavy.code == 1
    assert "cannot be done" in heavy.words
    assert re.search(r"137\.6 ± 0\.6 g: to be under 130\.0 g with 95 %, 8\.6 g must come out", heavy.words)
    behind = ask(*AS_TOLD, "--centre", "30 mm")
    assert behind.code == 1
    assert re.search(
        r"gets no further back than \d+\.\d mm ahead of the rear hole line; wanted: 30 ± 1 mm", behind.words
    )
    assert "What comes nearest" in behind.words
    ahead = ask(*AS_TOLD, "--centre", "60 mm")
    assert ahead.code == 1
    assert "gets no further forward than" in ahead.words


def test_a_car_that_would_lift_a_wheel_is_told_which(ask: Ask) -> None:
    text = file_text("lark.toml").replace("[47, 0, 11]", "[105, 0, 11]")
    Path("nose.toml").write_text(text, encoding="utf-8")
    found = ask(*AS_TOLD, car="nose.toml")
    assert found.code == 1
    assert "the rear left wheel would carry" in found.words
    assert ask(*AS_TOLD, "--json", car="nose.toml").data["obstacle"]["station"] == "rear_left"


def test_two_places_on_either_side_are_both_named(ask: Ask) -> None:
    text = "format = 1\n[pockets.tail]\nx = -10\ny = 0\nz = 8\nmost = 1\n[weights.slug]\nmass = 12\n"
    Path("one.toml").write_text(text, encoding="utf-8")
    found = ask(*AS_TOLD, "--centre", "46", "--within", "0.5 mm", pockets="one.toml")
    assert found.code == 1
    assert re.search(r"its mass comes to lie .* ahead of or .* ahead of the rear hole line", found.words)


@pytest.mark.parametrize("units", ["mm", "in"])
@pytest.mark.parametrize(
    "options",
    [
        (*AS_TOLD,),
        (*AS_TOLD, "--centre", "38"),
        (*AS_TOLD, "--centre", "30"),
        (*AS_TOLD, "--centre", "50.3", "--within", "0.2", "--whole", "108.9"),
        ("--limit", "130"),
    ],
)
def test_forty_columns_will_do(
    ask: Ask, options: tuple[str, ...], units: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    assert max(map(len, ask(*options, "--units", units).out.splitlines())) <= 40


def test_units_change_the_words_and_never_the_data(ask: Ask) -> None:
    assert " oz" in ask(*AS_TOLD, "--units", "in").words
    assert ask(*AS_TOLD, "--units", "in", "--json").data == ask(*AS_TOLD, "--json").data
    in_ounces = ask("--limit", "4.938353286 oz", "--without", "slug", "--json").data
    assert in_ounces["plan"]["pockets"] == ask(*AS_TOLD, "--json").data["plan"]["pockets"]


def test_a_scale_that_contradicts_the_file_is_told(ask: Ask) -> None:
    assert "disagree" in ask(*AS_TOLD, "--whole", "109 g").words
    assert "disagree" not in ask(*AS_TOLD, "--whole", "106.7 g").words


def test_a_better_scale_keeps_less_back(ask: Ask) -> None:
    kept = [
        ask(*AS_TOLD, "--whole", "106.7", "--scale", scale, "--json").data["plan"]["kept_back"]
        for scale in ("0.3", "0.02 g")
    ]
    assert kept[1] < kept[0]


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ((), "--limit"),
        (("--limit", "12 mm"), "--limit"),
        (("--limit", "0"), "more than zero"),
        (("--limit", "140", "--whole", "0"), "more than zero"),
        (("--limit", "140", "--whole", "heavy"), "--whole"),
        (("--limit", "140", "--scale", "-1"), "more than zero"),
        (("--limit", "140", "--centre", "3 g"), "--centre"),
        (("--limit", "140", "--centre", "3 m"), "check the unit"),
        (("--limit", "140", "--centre", "38", "--within", "0"), "--within"),
        (("--limit", "140", "--within", "1"), "--centre"),
        (("--limit", "140", "--without", "slag"), 'did you mean "slug"?'),
    ],
)
def test_a_wrong_word_is_answered_in_one_line(ask: Ask, options: tuple[str, ...], said: str) -> None:
    found = ask(*options)
    assert found.code == 2
    assert found.out == ""
    assert said in found.err
    assert found.err.count("\n") == 1


def test_a_wrong_file_is_answered_in_one_line(ask: Ask) -> None:
    Path("torn.toml").write_text(file_text("lark-pockets.toml").replace("most = 4", "most = 0.5"), "utf-8")
    for found, said in (
        (ask(*AS_TOLD, pockets="gone.toml"), "gone.toml: there is no such file"),
        (ask(*AS_TOLD, pockets="lark.toml"), "car file, not a pockets file"),
        (ask(*AS_TOLD, pockets="torn.toml"), "torn.toml: pockets.middle.most"),
        (ask(*AS_TOLD, car="lark-pockets.toml"), "lark-pockets.toml: "),
    ):
        assert found.code == 2
        assert found.out == ""
        assert said in found.err
        assert found.err.count("\n") == 1


def test_the_keys_of_the_data_are_those_that_are_documented(ask: Ask) -> None:
    answers = [
        ask(*options, "--json").data
        for options in (
            (*AS_TOLD, "--centre", "38", "--whole", "106.7"),
            AS_TOLD,
            (*AS_TOLD, "--centre", "20"),
            ("--limit", "130"),
        )
    ]
    listed = _listed("ballast")
    assert len(set(listed)) == len(listed)
    assert set(listed) == _all_keys(answers)


def test_help_comes_without_heavy_libraries() -> None:
    code = "import sys; from rollwright.cli.app import _run; _run(['ballast', '--help']); print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True, text=True)
    loaded = set(done.stdout.split())
    assert "rollwright.workbench.ballast" in loaded
    assert not loaded & {"numpy", "scipy", "uncertainties", "tomlkit"}

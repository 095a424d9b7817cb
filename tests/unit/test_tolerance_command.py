"""`rollwright tolerance` at the terminal: answers, one-line errors, forty columns, keys, and the picture."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from rollwright.cli import app
from rollwright.scenario.club import file_text
from tests.contract.test_docs import _all_keys, _listed

FEW = ("--runs", "500")


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
    for name in ("lark.toml", "heron.toml", "bittern.toml"):
        (tmp_path / name).write_text(file_text(name), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "78")
    monkeypatch.delenv("ROLLWRIGHT_UNITS", raising=False)

    def ask(*options: str, car: str = "lark.toml") -> Result:
        code = app._run(["tolerance", car, *options])
        captured = capsys.readouterr()
        return Result(code, captured.out, captured.err)

    return ask


def test_the_answer_comes_first(ask: Ask) -> None:
    found = ask(*FEW)
    assert (found.code, found.err) == (0, "")
    assert found.words.startswith(
        "Lark: spend care on the front left sweep, the front left clock and the rear left hole height. "
        "Together they make 67 % of what scatter does to level, steer and centre. "
        "11 % of the bodies pass the drill; the rest fail, mostly for the sweep."
    )


def test_everything_that_is_asked_is_told(ask: Ask) -> None:
    found = ask(*FEW)
    for words in (
        "How far each may be off, alone",
        "front left sweep, scatter 0.30°: 0.11° either way, then it misses steer.",
        "0.1° more drifts 9.0 mm right.",
        "rear left hole height, scatter 0.15 mm: 0.13 mm either way, then it misses level.",
        "of steer: front left sweep 64 %",
        "of 500 bodies share by line",
        "inside all three",
        "once adjusted",
        "Lark itself misses steer and centre",
        "How good a drill that takes",
        "25 % good: 0.41° of cant, 0.25° of sweep and 0.12 mm of hole height, 0.82 times what it is.",
        "For 90 %: 0.22° of cant, 0.13° of sweep and 0.07 mm of hole height, 0.44 times what it is.",
        "No one of them alone would do.",
        "Straight lines are good enough here",
        "One drilled body in four: common practice, no source.",
        "Nobody gave the cant and sweep of some holes",
    ):
        assert words in found.words, words


def test_a_counted_share_has_its_interval(ask: Ask) -> None:
    found = ask(*FEW, "--share", "5 of 20", car="heron.toml")
    assert "5 of 20 good: 0.24° of cant" in found.words
    assert "So few leave room for 9 to 49 % with 95 %: 0.76 to 1.22 times." in found.words
    assert "common practice" not in found.words
    assert "no bent axles, so the drill has to do it" in found.words
    assert "Straight lines miss the limit of the front left cant by more than 5 %" in found.words


def test_none_and_all_good_are_told_too(ask: Ask) -> None:
    none = ask(*FEW, "--share", "0 of 5")
    assert "0 of 5 good: no scatter gives that. So few leave room for 0 to 52 % with 95 %" in none.words
    assert re.search(r"0\.6\d times or more\.", none.words)
    every = ask(*FEW, "--share", "5 of 5")
    assert re.search(r"48 to 100 % with 95 %: 0\.00 to 0\.6\d times\.", every.words)


@pytest.mark.parametrize(
    ("car", "columns", "units"),
    [("lark", 40, "mm"), ("lark", 78, "mm"), ("heron", 40, "in"), ("bittern", 40, "mm")],
)
def test_no_line_is_wider_than_the_terminal(
    ask: Ask, monkeypatch: pytest.MonkeyPatch, car: str, columns: int, units: str
) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    found = ask(*FEW, "--share", "5 of 20", "--units", units, car=f"{car}.toml")
    assert found.code == 0
    assert [line for line in found.out.splitlines() if len(line) > columns] == []


def test_inches_are_for_lengths_alone(ask: Ask) -> None:
    found = ask(*FEW, "--units", "in")
    assert "10 thou more" in found.words
    assert " mm" not in found.words
    assert "0.30°" in found.words


def test_the_json_has_the_keys_that_are_listed(ask: Ask) -> None:
    answers = [
        ask(*FEW, "--share", "5 of 20", "--json", car=car).data
        for car in ("lark.toml", "heron.toml", "bittern.toml")
    ]
    listed = _listed("tolerance")
    assert len(set(listed)) == len(listed)
    assert set(listed) == _all_keys(answers)


def test_the_same_seed_gives_the_same_answer_and_another_another(ask: Ask) -> None:
    first, again, other = (ask(*FEW, "--json", "--seed", seed) for seed in ("4", "4", "5"))
    assert first.out == again.out
    assert first.data["off_the_drill"] != other.data["off_the_drill"]


def test_a_share_that_has_no_scatter_is_null(ask: Ask) -> None:
    found = ask(*FEW, "--share", "0 of 5", "--json").data["observed"]
    assert (found["share"], found["factor"], found["scatter"]) == (0.0, None, None)
    assert found["factor_interval"][1] is None


def test_a_picture_is_drawn_and_never_over_another_unless_forced(ask: Ask, tmp_path: Path) -> None:
    assert "Drawn in care.svg." in ask(*FEW, "--plot", "care.svg").words
    before = (tmp_path / "care.svg").read_text(encoding="utf-8")
    again = ask(*FEW, "--plot", "care.svg", car="heron.toml")
    assert (again.code, again.out) == (2, "")
    assert again.err == (
        "rollwright: care.svg: this file is there already and stays as it is; choose another name, or add "
        "--force to replace it\n"
    )
    assert (tmp_path / "care.svg").read_text(encoding="utf-8") == before
    assert ask(*FEW, "--plot", "care.svg", "--force", car="heron.toml").code == 0
    assert "Heron: where care pays" in (tmp_path / "care.svg").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--share", "some"), "--share: 'some' is no share; write a share such as 0.25"),
        (("--share", "7 of 5"), "--share: 7 of 5 bodies cannot be good"),
        (("--wanted", "1.5"), "--wanted: '1.5' is not between 0 and 1"),
        (("--runs", "5"), "--runs: 5 bodies tell nothing or take too long; ask for 100 to 1000000"),
        (("--seed", "-3"), "--seed: -3 is no seed"),
        (("--plot", "care.gif"), "care.gif: a picture is written as .svg or .png, not .gif"),
        (("--plot", "no/care.svg"), "care.svg: "),
    ],
)
def test_what_is_wrong_is_said_in_one_line(ask: Ask, options: tuple[str, ...], said: str) -> None:
    found = ask(*FEW, *options) if "--runs" not in options else ask(*options)
    assert (found.code, found.out) == (2, "")
    assert found.err.startswith(f"rollwright: {said}")
    assert found.err.count("\n") == 1


def test_a_file_that_is_not_there_is_said_in_one_line(ask: Ask) -> None:
    found = ask(car="wren.toml")
    assert found.code == 2
    assert found.err.startswith("rollwright: wren.toml: ")
    assert found.err.count("\n") == 1

"""`rollwright hold` at the terminal: answers, one-line errors, a picture, the keys of its JSON."""

from __future__ import annotations

import json
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click
import pytest

from rollwright.cli.hold_command import command
from rollwright.errors import RollwrightError
from rollwright.scenario.club import file_text
from tests.contract.test_docs import _all_keys, _listed

TRACK = ("--track", "track-tannery.toml")
LITTLE = ("clock = 22 ", "clock = 2 ")
CURVE = ("--steer-curve", "--lanes", "2")


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
    for name in ("lark.toml", "heron.toml", "track-tannery.toml"):
        (tmp_path / name).write_text(file_text(name), encoding="utf-8")
    (tmp_path / "little.toml").write_text(file_text("lark.toml").replace(*LITTLE), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.delenv("ROLLWRIGHT_UNITS", raising=False)

    def ask(*options: str, car: str = "lark.toml", track: tuple[str, ...] = TRACK) -> Result:
        code, error = 0, ""
        try:
            code = command.main([car, *track, *options], standalone_mode=False) or 0
        except click.exceptions.Exit as left:
            code = left.exit_code
        except RollwrightError as wrong:
            code, error = wrong.exit_code, f"rollwright: {wrong}"
        captured = capsys.readouterr()
        return Result(code, captured.out, captured.err + error)

    return ask


def test_a_car_that_holds_says_so_first(ask: Ask) -> None:
    found = ask()
    assert (found.code, found.err) == (0, "")
    assert found.out.startswith("Lark holds the rail on Tannery Lane hall track")
    for words in ("Longest off it", "No rear wheel touches", "wheels askew", "leans on the rail", "seed 1"):
        assert words in found.words


def test_a_car_with_too_little_steer_does_not_hold_and_fails(ask: Ask) -> None:
    found = ask(car="little.toml")
    assert found.code == 1
    assert "does not hold the rail" in found.words


@pytest.mark.parametrize(("columns", "units"), [(40, "mm"), (40, "in"), (80, "mm")])
def test_no_line_is_wider_than_the_terminal(
    ask: Ask, monkeypatch: pytest.MonkeyPatch, columns: int, units: str
) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    found = ask(*CURVE, "--units", units)
    assert [line for line in found.out.splitlines() if len(line) > columns] == []


def test_a_steer_curve_names_a_band_and_what_it_hangs_on(ask: Ask) -> None:
    found = ask(*CURVE, "--roughness", "0.05 mm")
    for words in ("Best steer", "common practice, no source", "how stiffly the treads grip", "as it is"):
        assert words in found.words


def test_the_json_has_the_keys_that_are_listed(ask: Ask) -> None:
    answers = [
        ask(*CURVE, "--json", "--roughness", "0.05 mm").data,
        ask("--json", "--roughness", "0.9 mm", car="heron.toml").data,
    ]
    listed = _listed("hold")
    assert len(set(listed)) == len(listed)
    assert set(listed) == _all_keys(answers)


def test_the_same_seed_is_the_same_lane_and_another_another(ask: Ask) -> None:
    first, again, other = (ask("--json", "--seed", seed).out for seed in ("4", "4", "5"))
    assert first == again
    assert first != other


def test_a_start_may_be_said_in_words(ask: Ask) -> None:
    left = ask("--json", "--start-offset", "0.4 mm left", "--start-heading", "0.2 deg right").data
    assert left["start_offset"] == pytest.approx(0.4e-3)
    assert left["start_heading"] == pytest.approx(-0.2 * 3.141592653589793 / 180.0)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--roughness", "rough"), "--roughness"),
        (("--roughness", "-1 mm"), "--roughness: a roughness of -0.001 is not 0 or more"),
        (("--start-offset", "9 mm left"), "--start-offset: a start 9.00 mm left of the middle"),
        (("--start-heading", "20 deg"), "--start-heading: a heading of 20.0 deg"),
        (("--tilt", "40 deg"), "--tilt: a lane tilted by 40 deg"),
        (("--seed", "-1"), "--seed: a seed of -1 is negative"),
        (("--steer-curve", "--lanes", "0"), "--lanes: 0 lanes"),
        (("--lane", "far"), "track-tannery.toml"),
    ],
)
def test_wrong_input_is_one_line(ask: Ask, options: tuple[str, ...], words: str) -> None:
    found = ask(*options)
    assert found.code == 2
    assert found.out == ""
    assert len(found.err.splitlines()) == 1
    assert words in found.err


def test_a_picture_is_drawn_and_not_over_another(ask: Ask, tmp_path: Path) -> None:
    assert ask("--plot", "lark.svg", *CURVE).code == 0
    text = (tmp_path / "lark.svg").read_text(encoding="utf-8")
    assert ET.fromstring(text).tag.endswith("svg")  # noqa: S314 - our own drawing
    for words in (
        "Lark holds the rail",
        "times as large sideways",
        "the straight run",
        "Best steer",
        "knocks",
    ):
        assert words in text
    again = ask("--plot", "lark.svg")
    assert again.code == 2
    assert "--force" in again.err
    assert ask("--plot", "lark.png", "--force").code == 0
    assert (tmp_path / "lark.png").read_bytes().startswith(b"\x89PNG")


def test_sideways_is_drawn_to_the_scale_that_is_written(ask: Ask, tmp_path: Path) -> None:
    assert ask("--plot", "one.svg").code == 0
    text = (tmp_path / "one.svg").read_text(encoding="utf-8")
    # The lines at 1 and 2 mm are as far apart as the bar of a millimetre is long.
    ys = sorted(
        {float(y) for y in re.findall(r'<text x="108.0" y="([0-9.]+)" class="soft end">[12] mm</text>', text)}
    )
    bar = re.search(r'<polyline points="722.0,([0-9.]+) 722.0,([0-9.]+)" class="bold"/>', text)
    assert bar is not None
    assert ys[1] - ys[0] == pytest.approx(float(bar[2]) - float(bar[1]), abs=0.2)

"""The command as a builder meets it: exit codes, one-line errors, narrow terminals, plain letters."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from rollwright.car import read_car
from rollwright.cli.app import _run, cli
from rollwright.geometry import stance
from rollwright.scenario.club import club_files

CARS = ("lark", "heron", "bittern")


@dataclass(frozen=True)
class Result:
    code: int
    out: str
    err: str


Run = Callable[..., Result]


@pytest.fixture
def club(tmp_path: Path) -> Path:
    for name, text in club_files().items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    return tmp_path


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    def run(*arguments: str | Path) -> Result:
        code = _run([str(argument) for argument in arguments])
        captured = capsys.readouterr()
        return Result(code, captured.out, captured.err)

    return run


def _process(*arguments: str | Path, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "rollwright", *map(str, arguments)],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, **environment},
        encoding="utf-8",
    )


@pytest.mark.parametrize("car", CARS)
def test_stance_answers_and_leaves_with_zero(run: Run, club: Path, car: str) -> None:
    result = run("stance", club / f"{car}.toml")
    assert result.code == 0
    assert result.err == ""
    assert result.out.splitlines()[1].startswith("level  ")


@pytest.mark.parametrize(("car", "code"), [("lark", 0), ("bittern", 0), ("heron", 1)])
def test_next_leaves_with_one_only_when_a_target_cannot_be_met(
    run: Run, club: Path, car: str, code: int
) -> None:
    result = run("next", club / f"{car}.toml", "-r", club / f"{car}-readings.toml")
    assert result.code == code
    assert ("cannot be met" in result.out) is (code == 1)


@pytest.mark.parametrize("command", ["stance", "next", "demo", "new"])
def test_json_is_one_object_and_nothing_else(run: Run, club: Path, command: str) -> None:
    target = {"demo": club / "folder", "new": club / "fresh.toml"}.get(command, club / "lark.toml")
    result = run(command, target, "--json")
    assert result.code == 0
    assert isinstance(json.loads(result.out), dict)
    assert result.err == ""


def test_json_holds_si_units_whatever_the_words_are_in(run: Run, club: Path) -> None:
    answers = [
        json.loads(run("next", club / "bittern.toml", "--units", units, "--json").out)
        for units in ("mm", "in")
    ]
    assert answers[0]["verdicts"] == answers[1]["verdicts"]
    assert 0.01 < answers[0]["estimate"]["body.width"]["value"] < 0.1


@pytest.mark.parametrize("units", ["mm", "in"])
@pytest.mark.parametrize("car", CARS)
def test_forty_columns_will_do(
    run: Run, club: Path, car: str, units: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    for command in (
        ("stance", club / f"{car}.toml"),
        ("next", club / f"{car}.toml", "-r", club / f"{car}-readings.toml"),
    ):
        result = run(*command, "--units", units)
        assert max(map(len, result.out.splitlines())) <= 40, result.out


def test_output_that_is_not_a_terminal_has_no_colour(run: Run, club: Path) -> None:
    assert "\x1b" not in run("next", club / "lark.toml", "-r", club / "lark-readings.toml").out


def test_a_terminal_that_knows_only_plain_letters_gets_them(club: Path) -> None:
    result = _process("next", club / "lark.toml", "-r", club / "lark-readings.toml", PYTHONIOENCODING="ascii")
    assert result.returncode == 0
    assert result.stdout.isascii()
    assert "+/-" in result.stdout
    assert result.stderr == ""


def test_a_reader_who_stops_early_gets_no_complaint(club: Path) -> None:
    command = f"'{sys.executable}' -m rollwright demo '{club}' | head -n 1"
    result = subprocess.run(command, shell=True, capture_output=True, text=True, check=False)  # noqa: S602
    assert result.stderr == ""
    assert result.stdout.startswith("The Tannery Lane Gravity Club")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("stance",), "Missing argument"),
        (("stanse", "x.toml"), "No such command"),
        (("stance", "x.toml", "--unit", "in"), "--unit"),
        (("stance", "x.toml", "--units", "cm"), "cm"),
        (("next", "x.toml", "--readings"), "--readings"),
        (("stance", "missing.toml"), "there is no such file"),
    ],
)
def test_a_wrong_call_is_answered_in_one_line(run: Run, arguments: tuple[str, ...], said: str) -> None:
    result = run(*arguments)
    assert result.code == 2
    assert result.out == ""
    assert said in result.err
    assert result.err.count("\n") == 1


def test_every_command_and_option_has_help() -> None:
    with cli.make_context("rollwright", ["stance", "x"]) as context:
        for name in cli.list_commands(context):
            command = cli.get_command(context, name)
            assert command is not None
            assert command.help, name
            for parameter in command.params:
                if parameter.param_type_name == "option":
                    assert getattr(parameter, "help", ""), (name, parameter.name)


def test_new_writes_a_file_that_stands_and_never_overwrites(run: Run, tmp_path: Path) -> None:
    target = tmp_path / "grey_wren.toml"
    assert run("new", target).code == 0
    assert read_car(target).name == "Grey wren"
    before = target.read_bytes()
    again = run("new", target)
    assert again.code == 2
    assert "stays as it is" in again.err
    assert target.read_bytes() == before
    assert run("stance", target).code == 0


def test_demo_can_be_repeated_and_keeps_what_was_changed(run: Run, tmp_path: Path) -> None:
    folder = tmp_path / "club"
    assert run("demo", folder).code == 0
    lark = folder / "lark.toml"
    changed = lark.read_text(encoding="utf-8").replace('name = "Lark"', 'name = "Skylark"')
    lark.write_text(changed, encoding="utf-8")
    again = run("demo", folder)
    assert again.code == 0
    assert "Skylark" in again.out
    assert lark.read_text(encoding="utf-8") == changed


def test_save_as_writes_the_car_as_it_will_be(run: Run, club: Path) -> None:
    target = club / "then.toml"
    result = run("next", club / "lark.toml", "-r", club / "lark-readings.toml", "--save-as", target, "--json")
    assert result.code == 0
    text = target.read_text(encoding="utf-8")
    assert "# the club's moulded wheel" in text
    moves = {move["kind"]: move for move in json.loads(result.out)["moves"]}
    then = read_car(target)
    before, corner = read_car(club / "lark.toml"), then.corners[then.dominant]
    was = before.corners[before.dominant]
    bend = before.axles["steering"].bend.value + moves["bend"]["by"]
    assert then.axles["steering"].bend.value == pytest.approx(bend, abs=1e-6)
    assert corner.clock.value == pytest.approx(was.clock.value + moves["turn"]["by"], abs=1e-6)
    assert corner.relief.value == pytest.approx(moves["relief"]["by"], abs=1e-8)
    assert "# fitted so that the car sits as it was read" in text
    # What the readings taught is in the file too: it stands where the advice said that the car would.
    predicted = json.loads(result.out)["predicted"]
    found = stance(then)
    assert found.height_difference == pytest.approx(predicted["height_difference"]["value"], abs=1e-7)
    assert found.drift.lateral == pytest.approx(predicted["drift"]["value"], abs=1e-6)
    assert found.rail_offset == pytest.approx(predicted["rail_offset"]["value"], abs=1e-7)


def test_save_as_writes_inches_into_a_file_in_inches(run: Run, club: Path) -> None:
    target = club / "then.toml"
    run("next", club / "bittern.toml", club / "bittern-readings.toml", "--save-as", target)
    new = [
        line
        for line in target.read_text(encoding="utf-8").splitlines()
        if line.startswith(("hole_height = {", "washer = {"))
    ]
    assert len(new) == 2
    assert all(' in"' in line or ' thou"' in line for line in new)


def test_readings_may_follow_the_car_without_an_option(run: Run, club: Path) -> None:
    plain = run("next", club / "lark.toml", club / "lark-readings.toml", "--json")
    assert plain.out == run("next", club / "lark.toml", "-r", club / "lark-readings.toml", "--json").out


def test_another_cars_readings_are_refused(run: Run, club: Path) -> None:
    text = (club / "lark-readings.toml").read_text(encoding="utf-8")
    (club / "wren.toml").write_text(text.replace("format = 1", 'format = 1\ncar = "Wren"'), encoding="utf-8")
    result = run("next", club / "lark.toml", club / "wren.toml")
    assert result.code == 2
    assert "wren.toml: car: these readings are of 'Wren'" in result.err


def test_save_as_refuses_an_axle_that_several_wheels_share(run: Run, club: Path) -> None:
    text = (club / "bittern.toml").read_text(encoding="utf-8").replace('axle = "straight"', 'axle = "bent"')
    (club / "shared.toml").write_text(text, encoding="utf-8")
    target = club / "then.toml"
    result = run("next", club / "shared.toml", "-r", club / "bittern-readings.toml", "--save-as", target)
    assert result.code == 2
    assert result.err.count("\n") == 1
    assert not target.exists()


def test_readings_of_several_files_are_told_apart(run: Run, club: Path) -> None:
    text = (club / "lark-readings.toml").read_text(encoding="utf-8")
    (club / "again.toml").write_text(text, encoding="utf-8")
    result = run(
        "next", club / "lark.toml", "-r", club / "lark-readings.toml", "-r", club / "again.toml", "--json"
    )
    budget = {part["name"] for part in json.loads(result.out)["verdicts"]["level"]["budget"]}
    assert {"lark-readings reading 1 (height difference)", "again reading 1 (height difference)"} <= budget


def test_what_no_move_touches_is_to_be_left_alone(run: Run, club: Path) -> None:
    lark = run("next", club / "lark.toml", "-r", club / "lark-readings.toml").out
    assert "the front right wheel and both rear axles alone" in " ".join(lark.split())
    heron = run("next", club / "heron.toml", "-r", club / "heron-readings.toml").out
    assert "Leave both front wheels alone" in " ".join(heron.split())


def test_the_version_is_told(run: Run) -> None:
    assert run("--version").out.startswith("rollwright ")


def test_no_words_at_all_shows_the_help(run: Run) -> None:
    result = run()
    assert result.code == 0
    assert "Commands:" in result.out

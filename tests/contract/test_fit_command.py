"""`rollwright fit` at the bench: exit codes, one-line errors, narrow terminals, track files, keys."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from rollwright.cli.app import _run
from rollwright.quantity import Quantity, Source
from rollwright.run.losses import COEFFICIENTS
from rollwright.run.track_file import parse_track
from rollwright.scenario.club import file_text
from rollwright.scenario.timed import COAST, RUNS, TRUTH
from rollwright.setup.run_fits_tell import NAMES
from rollwright.workbench import fitting
from rollwright.workbench.fitting import updated_track_text
from tests.contract.test_docs import _all_keys, _listed
from tests.contract.test_imports import HEAVY, _loaded

TRACK = "track-tannery.toml"


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
    for name in ("lark.toml", TRACK, COAST, RUNS):
        (tmp_path / name).write_text(file_text(name), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "78")

    def ask(*words: str) -> Result:
        code = _run(["fit", *words])
        captured = capsys.readouterr()
        return Result(code, captured.out, captured.err)

    return ask


def test_values_their_uncertainty_and_what_cannot_be_told_are_said(ask: Ask) -> None:
    found = ask(COAST)
    assert (found.code, found.err) == (0, "")
    assert re.search(r"bearing friction +0\.1\d+ ± 0\.01\d* +0\.10 ± 0\.04 +found", found.out)
    for said in (
        "Lark on the hall floor: 21 readings.",
        "hardly show rolling resistance, because the wheels' inertia is not known well",
        "alone it cannot part them",
        "--save-as",
    ):
        assert said in found.words


def test_the_invented_truth_is_found_within_three_standard_uncertainties(ask: Ask) -> None:
    for each in ask(COAST, "--json").data["found"]:
        assert abs(each["value"] - TRUTH[each["name"]]) < 3.0 * each["uncertainty"]


def test_runs_alone_say_what_would_help(ask: Ask) -> None:
    found = ask(RUNS)
    assert found.code == 0
    assert "a coast-down on the flat would" in found.words
    assert "--save-as" not in found.words


def test_a_new_track_file_holds_what_was_found_and_keeps_the_rest(ask: Ask, tmp_path: Path) -> None:
    found = ask(COAST, "--save-as", "hall.toml")
    assert found.code == 0
    assert "Written to hall.toml: bearing friction and drag area." in found.words
    assert "Left as it was: rolling resistance." in found.words
    text = (tmp_path / "hall.toml").read_text(encoding="utf-8")
    old, new = tomllib.loads(file_text(TRACK)), tomllib.loads(text)
    assert new["losses"]["bearing_friction"]["from"] == "measured"
    assert {key: old[key] for key in old if key != "losses"} == {
        key: new[key] for key in new if key != "losses"
    }
    assert new["losses"]["rail_friction"] == old["losses"]["rail_friction"]
    assert "rolling" not in new["losses"]
    assert "# a rail of other plastic" in text
    data = ask(COAST, "--json").data
    written = {each["name"]: each for each in data["found"]}
    for name, quantity in parse_track(text).losses.items():
        if name in {"bearing_friction", "drag_area"}:
            assert quantity.source is Source.MEASURED
            assert quantity.value == pytest.approx(written[name]["value"], abs=0.005 * quantity.uncertainty)
            assert quantity.uncertainty == pytest.approx(written[name]["uncertainty"], rel=0.005)


def test_a_file_that_is_there_stays_as_it_is(ask: Ask, tmp_path: Path) -> None:
    found = ask(COAST, "--save-as", TRACK)
    assert found.code == 2
    assert found.err.count("\n") == 1
    assert "stays as it is" in found.err
    assert (tmp_path / TRACK).read_text(encoding="utf-8") == file_text(TRACK)


def test_nothing_found_writes_nothing(ask: Ask, tmp_path: Path) -> None:
    found = ask(RUNS, "--save-as", "hall.toml")
    assert found.code == 1
    assert "Nothing was found well enough to be written." in found.words
    assert not (tmp_path / "hall.toml").exists()


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('car = "lark.toml"', 'car = "wren.toml"', "wren.toml: there is no such file"),
        ('track = "track-tannery.toml"', 'track = "lark.toml"', "lark.toml: this is a car file"),
        ('wheel = "rear_left"', 'wheel = "rear"', f"{COAST}: spin_down[1].wheel: 'rear' is not a wheel"),
        ("[[spin_down]]", "[[spin_down]", f"{COAST}: line 9"),
        ("speeds = [24", 'speeds = ["x"', f"{COAST}: spin_down[1].speeds[0]: 'x' is not a turning speed"),
    ],
)
def test_wrong_input_is_one_line_with_exit_code_two(
    ask: Ask, tmp_path: Path, old: str, new: str, said: str
) -> None:
    text = file_text(COAST)
    assert old in text
    (tmp_path / COAST).write_text(text.replace(old, new, 1), encoding="utf-8")
    found = ask(COAST, "--json")
    assert (found.code, found.out) == (2, "")
    assert found.err.count("\n") == 1
    assert said in found.err
    assert "Traceback" not in found.err


@pytest.mark.parametrize("columns", ["40", "60", "78"])
def test_no_line_is_wider_than_the_terminal(ask: Ask, monkeypatch: pytest.MonkeyPatch, columns: str) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    for name in (COAST, RUNS):
        assert all(len(line) <= int(columns) for line in ask(name).out.splitlines())


def test_every_key_is_documented(ask: Ask) -> None:
    answers = [
        ask(COAST, "--json").data,
        ask(RUNS, "--json").data,
        ask(COAST, "--json", "--save-as", "h.toml").data,
    ]
    assert set(_listed("fit")) == _all_keys(answers)


def test_matrices_are_those_of_the_coefficients(ask: Ask) -> None:
    data = ask(COAST, "--json").data
    for row, each in enumerate(data["found"]):
        assert data["covariance"][row][row] == pytest.approx(each["uncertainty"] ** 2)
        assert data["correlation"][row][row] == pytest.approx(1.0)
    assert data["singular_values"] == sorted(data["singular_values"], reverse=True)
    for direction in data["directions"]:
        assert sum(part * part for part in direction) == pytest.approx(1.0)


def test_coefficients_have_one_name_in_sentences_and_tables() -> None:
    assert {name: words for name, (words, _, _) in fitting.NAMES.items()} == NAMES
    assert set(NAMES) == set(COEFFICIENTS)


def test_its_help_starts_without_heavy_libraries() -> None:
    assert not _loaded("fit", "--help") & HEAVY


def test_a_track_without_losses_is_given_them() -> None:
    text = "[profile]\nramp_angle = 20\nramp_length = 2000\narc_radius = 1500\nflat_length = 5000\n"
    text = f"format = 1\n{text}"
    new = updated_track_text(
        text, {"rolling": Quantity(value=0.00234567, uncertainty=0.000123456, source=Source.MEASURED)}
    )
    assert tomllib.loads(new)["losses"] == {
        "rolling": {"value": 0.002346, "uncertainty": 0.000123, "from": "measured"}
    }


def test_a_remark_behind_a_loss_stays_with_it() -> None:
    text = file_text(TRACK).replace(
        'rail_friction = { value = 0.18, uncertainty = 0.04, from = "measured" }',
        "rail_friction = 0.18  # by the maker",
    )
    new = updated_track_text(text, {"rail_friction": Quantity(value=0.2, uncertainty=0.01)})
    assert re.search(r"rail_friction = \{value = 0\.2, .*\}  # by the maker", new)

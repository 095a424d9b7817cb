"""`rollwright study` at the terminal: answers, one-line errors, a killed study taken up again, a picture."""

from __future__ import annotations

import json
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from rollwright.cli.app import _run
from rollwright.scenario.club import file_text
from rollwright.setup.study import CHUNK
from tests.contract.test_docs import _all_keys, _listed

TRACK = ("--track", "track-tannery.toml")
FEW = ("--runs", "300")


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
    for name in ("lark.toml", "heron.toml", "bittern.toml", "track-tannery.toml"):
        (tmp_path / name).write_text(file_text(name), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.delenv("ROLLWRIGHT_UNITS", raising=False)

    def ask(*options: str, car: str = "lark.toml", track: tuple[str, ...] = TRACK) -> Result:
        code = _run(["study", car, *track, *options])
        captured = capsys.readouterr()
        return Result(code, captured.out, captured.err)

    return ask


def test_a_study_says_times_gates_and_what_it_rests_on(ask: Ask) -> None:
    found = ask(*FEW)
    assert (found.code, found.err) == (0, "")
    assert re.match(r"Lark on Tannery Lane hall track: 2\.6\d+ s, give or take \d+ ms\.", found.out)
    assert "300 bodies, 85 figures drawn for each, seed 1." in found.words
    for words in ("of them under", "all three", "Every run was worked out in full", "creep stiffness"):
        assert words in found.words


def test_every_question_has_its_answer(ask: Ask) -> None:
    found = ask(*FEW, "--tighten", "--sobol", "--optimum", "--limit", "142 g")
    assert found.code == 0
    for words in (
        "What to tighten first",
        "halve the scatter of the front left sweep",
        "Whose doing the spread of the time is",
        "tread friction",
        "The best design, as far as this model can tell",
        "whether the car holds the rail, and that this model does not know",
    ):
        assert words in found.words, words


@pytest.mark.parametrize(
    ("car", "columns", "units"), [("lark", 40, "mm"), ("lark", 80, "mm"), ("bittern", 40, "in")]
)
def test_no_line_is_wider_than_the_terminal(
    ask: Ask, monkeypatch: pytest.MonkeyPatch, car: str, columns: int, units: str
) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    everything = ("--tighten", "--sobol", "--optimum", "--limit", "142 g")
    found = ask(*FEW, *everything, "--units", units, car=f"{car}.toml")
    assert found.code == 0
    assert [line for line in found.out.splitlines() if len(line) > columns] == []


def test_the_json_has_the_keys_that_are_listed(ask: Ask) -> None:
    everything = ("--tighten", "--sobol", "--optimum", "--limit", "142 g")
    answers = [
        ask(*FEW, *everything, "--json").data,
        ask(*FEW, "--optimum", "--json", car="heron.toml").data,
    ]
    listed = _listed("study")
    assert len(set(listed)) == len(listed)
    assert set(listed) == _all_keys(answers)


def test_the_same_seed_gives_the_same_answer_and_another_another(ask: Ask) -> None:
    first, again, other = (ask(*FEW, "--json", "--seed", seed) for seed in ("4", "4", "5"))
    assert first.out == again.out
    assert first.data["time"]["mean_s"] != other.data["time"]["mean_s"]


def test_a_lane_counts(ask: Ask) -> None:
    left, right = (ask(*FEW, "--json", "--lane", lane).data["time"]["mean_s"] for lane in ("left", "right"))
    assert right > left


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--runs", "3"), "--runs: 3 runs make no study; ask for 100 to 1000000000"),
        (("--seed", "-1"), "--seed: -1 is no seed; give a whole number from 0 up"),
        (("--runs", "many"), "Invalid value for '--runs'"),
        (("--lane", "fourth"), "track-tannery.toml: lanes: there is no lane 'fourth'"),
        (("--plot", "study.jpg"), "study.jpg: a picture is written as .svg or .png, not .jpg"),
        (("--plot", "study"), "study: a picture is written as .svg or .png, not without an ending"),
        (("--limit", "140 g"), "--limit is for --optimum; give both or neither."),
        (("--optimum", "--limit", "heavy"), "--limit: "),
        (
            ("--optimum", "--limit", "90 g"),
            "--limit: the car weighs 137.6 g, over the limit of 90.0 g already",
        ),
        (("--resume", "gone.json"), "gone.json: there is no such file"),
        (("--resume", "lark.toml"), "lark.toml: this is not a file of partial sums"),
        (("--save", "lark.toml"), "lark.toml: this file is there already and holds no study"),
        (("--save", "no/study.json"), "no/study.json: there is no such folder"),
    ],
)
def test_wrong_input_is_one_line(ask: Ask, options: tuple[str, ...], said: str) -> None:
    runs = () if "--runs" in options else FEW
    found = ask(*runs, *options)
    assert (found.code, found.out) == (2, "")
    assert len(found.err.splitlines()) == 1
    assert found.err.startswith(f"rollwright: {said}")


def test_the_track_is_asked_for_and_must_be_one(ask: Ask) -> None:
    assert "Missing option '--track'" in ask(track=()).err
    assert "this is a car file, not a track file" in ask(track=("--track", "lark.toml")).err
    assert ask(car="gone.toml").err.startswith("rollwright: gone.toml: there is no such file")


CHILD = """
import signal, sys, time
from rollwright.workbench import study
# A job in the background of a script inherits that it may not be interrupted.
signal.signal(signal.SIGINT, signal.default_int_handler)
study._SAVE_EVERY = 0.0
asked = study.Asked(runs=int(sys.argv[1]), save="study.json")
study.study("lark.toml", "track-tannery.toml", asked, progress=lambda *_: time.sleep(0.3), workers=1)
"""


def _begun(runs: int, folder: Path, stop: signal.Signals) -> int:
    """Begin a study in another process, stop it after its first chunks, and return how many it has done."""
    child = subprocess.Popen([sys.executable, "-c", CHILD, str(runs)], cwd=folder, stderr=subprocess.DEVNULL)
    saved = folder / "study.json"
    for _ in range(600):
        if saved.exists() and json.loads(saved.read_text(encoding="utf-8"))["chunks"] >= 1:
            break
        time.sleep(0.05)
    child.send_signal(stop)
    child.wait(60)
    done: int = json.loads(saved.read_text(encoding="utf-8"))["chunks"]
    return done


@pytest.mark.parametrize("stop", [signal.SIGKILL, signal.SIGINT])
def test_a_study_that_was_killed_goes_on_as_if_it_had_not(
    ask: Ask, tmp_path: Path, stop: signal.Signals
) -> None:
    # Long enough that a machine which is busy with other tests stops it before it is done.
    chunks = 6
    runs = chunks * CHUNK + 1000
    done = _begun(runs, tmp_path, stop)
    assert 1 <= done < chunks
    resumed = ask("--runs", str(runs), "--resume", "study.json", "--json")
    whole = ask("--runs", str(runs), "--save", "other.json", "--json")
    assert resumed.code == whole.code == 0
    assert resumed.out == whole.out
    files = [(tmp_path / name).read_bytes() for name in ("study.json", "other.json")]
    assert files[0] == files[1]
    assert json.loads(files[0])["chunks"] == chunks


def test_more_runs_can_be_asked_of_a_study_that_is_done(ask: Ask) -> None:
    first, more = str(CHUNK + 500), str(2 * CHUNK)
    assert ask("--runs", first, "--save", "study.json").code == 0
    longer = ask("--runs", more, "--resume", "study.json", "--json")
    assert longer.out == ask("--runs", more, "--json").out
    fewer = ask("--runs", "300", "--resume", "study.json")
    assert fewer.code == 2
    assert fewer.err.startswith(f"rollwright: study.json: this study has {2 * CHUNK} runs already")


@pytest.mark.parametrize("change", ["seed", "car", "lane", "key"])
def test_another_study_is_not_taken_up(ask: Ask, tmp_path: Path, change: str) -> None:
    assert ask(*FEW, "--save", "study.json").code == 0
    options: tuple[str, ...] = ()
    car = "lark.toml"
    if change == "seed":
        options = ("--seed", "2")
    elif change == "lane":
        options = ("--lane", "right")
    elif change == "car":
        car = "heron.toml"
    else:
        text = (tmp_path / "lark.toml").read_text(encoding="utf-8")
        (tmp_path / "lark.toml").write_text(text.replace("cant = 2.5", "cant = 2.4", 1), encoding="utf-8")
    found = ask(*FEW, *options, "--resume", "study.json", car=car)
    assert found.code == 2
    assert len(found.err.splitlines()) == 1
    assert "this study is of another car, track, lane or seed" in found.err


@pytest.mark.parametrize(
    ("key", "wrong", "said"),
    [
        ("version", 2, "saved by another version"),
        ("chunk", 100, "saved by another version"),
        ("chunks", 5, "its chunks and its runs do not agree"),
        ("chunks", "1", "its chunks and its runs do not agree"),
        ("sums", {}, "not the sums of a study"),
        ("sums", [1], "not the sums of a study"),
        ("plan", {"surface": {"power": 1}}, "not how a study is done"),
        ("plan", 3, "not how a study is done"),
    ],
)
def test_a_damaged_file_is_refused_in_one_line(
    ask: Ask, tmp_path: Path, key: str, wrong: object, said: str
) -> None:
    assert ask(*FEW, "--save", "study.json").code == 0
    saved = tmp_path / "study.json"
    saved.write_text(json.dumps({**json.loads(saved.read_text(encoding="utf-8")), key: wrong}))
    found = ask(*FEW, "--resume", "study.json")
    assert found.code == 2
    assert len(found.err.splitlines()) == 1
    assert said in found.err


def test_a_picture_is_drawn(ask: Ask, tmp_path: Path) -> None:
    assert ask(*FEW, "--plot", "study.svg").code == 0
    text = (tmp_path / "study.svg").read_text(encoding="utf-8")
    assert text.startswith("<svg")
    assert "finish time, s" in text


def test_progress_is_one_line_on_a_terminal_and_none_elsewhere(
    ask: Ask, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert ask(*FEW).err == ""
    monkeypatch.setattr("sys.stderr.isatty", lambda: True, raising=False)
    found = ask("--runs", str(2 * CHUNK))
    assert f"\r{CHUNK:,} of {2 * CHUNK:,} bodies".replace(",", " ") in found.err
    assert "\n" not in found.err
    assert found.err.endswith("\r")

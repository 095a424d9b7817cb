"""`rollwright time` as a user meets it: the answer, the other car, what is wrong with the input, the keys."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest

from rollwright.cli.app import _run
from rollwright.scenario.club import club_files

Time = Callable[..., tuple[int, str, str]]
DOCS = Path(__file__).parents[2] / "docs"


@pytest.fixture
def time(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Time:
    for name, text in club_files().items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "78")
    monkeypatch.delenv("ROLLWRIGHT_UNITS", raising=False)

    def time(*arguments: str) -> tuple[int, str, str]:
        code = _run(["time", *arguments])
        said = capsys.readouterr()
        return code, said.out, said.err

    return time


def test_the_bars_sum_to_what_the_losses_cost(time: Time) -> None:
    code, out, err = time("lark.toml", "--track", "track-tannery.toml")
    assert (code, err) == (0, "")
    whole = re.search(r"The other ([\d.]+) ms", out)
    assert whole is not None
    parts = [float(part) for part in re.findall(r"^  \S.*?([\d.]+) ms  █", out, flags=re.MULTILINE)]
    assert len(parts) == 6
    assert sum(parts) == pytest.approx(float(whole[1]), abs=0.4)


def test_a_car_beside_itself_is_as_fast_and_nothing_is_unknown_but_its_own_sizes(time: Time) -> None:
    _, out, _ = time("lark.toml", "--track", "track-tannery.toml", "--vs", "lark.toml", "--json")
    found = json.loads(out)
    assert found["vs"]["faster_by_s"] == 0.0
    assert found["vs"]["time_s"] == found["time_s"]
    # Coefficients cancel: two bodies of one drawing are apart by their sizes alone.
    assert 0.0 < found["vs"]["faster_by_uncertainty_s"] < found["uncertainty_s"]


def test_the_other_way_round_the_difference_turns_its_sign(time: Time) -> None:
    one, other = (
        json.loads(time(first, "--track", "track-tannery.toml", "--vs", second, "--json")[1])["vs"]
        for first, second in (("lark.toml", "heron.toml"), ("heron.toml", "lark.toml"))
    )
    assert one["faster_by_s"] == pytest.approx(-other["faster_by_s"], rel=1e-12)
    assert one["faster_by_uncertainty_s"] == pytest.approx(other["faster_by_uncertainty_s"], rel=1e-9)


def test_a_car_that_stalls_says_where_and_ends_with_one(time: Time, tmp_path: Path) -> None:
    text = (tmp_path / "track-tannery.toml").read_text(encoding="utf-8")
    text = text.replace("flat_length = 5200", "flat_length = 90000").replace(
        "[losses]", "[losses]\nrolling = 0.05"
    )
    text = re.sub(r"\[splits\].*?\n\n", "", text, flags=re.DOTALL)
    (tmp_path / "long.toml").write_text(text, encoding="utf-8")
    code, out, _ = time("lark.toml", "--track", "long.toml")
    assert code == 1
    assert re.match(r"Lark stalls \d+\.\d\d m from the gate on ", out)
    code, out, _ = time("lark.toml", "--track", "long.toml", "--json")
    assert code == 1
    assert json.loads(out)["time_s"] is None


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("lark.toml",), "--track"),
        (("lark.toml", "--track", "none.toml"), "none.toml"),
        (("lark.toml", "--track", "lark.toml"), "car file"),
        (("track-tannery.toml", "--track", "track-tannery.toml"), "track-tannery.toml"),
        (("lark.toml", "--track", "track-tannery.toml", "--lane", "seven"), "lane"),
        (("lark.toml", "--track", "track-tannery.toml", "--vs", "gone.toml"), "gone.toml"),
    ],
)
def test_wrong_input_is_one_line_with_the_mend(time: Time, arguments: tuple[str, ...], said: str) -> None:
    code, out, err = time(*arguments)
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert said in err


def test_a_run_is_drawn_into_a_new_file_and_never_over_one(time: Time, tmp_path: Path) -> None:
    code, out, _ = time("lark.toml", "--track", "track-tannery.toml", "--plot", "run.svg")
    assert code == 0
    assert out.endswith("Drawn in run.svg.\n")
    drawn = ET.fromstring((tmp_path / "run.svg").read_text(encoding="utf-8"))  # noqa: S314 - our own
    words = " ".join(drawn.itertext())
    for word in (
        "Lark on Tannery Lane hall track",
        "bearings",
        "wheels askew",
        "gate 0.00 m",
        "foot of the ramp",
    ):
        assert word in words
    code, _, err = time("lark.toml", "--track", "track-tannery.toml", "--plot", "run.svg")
    assert (code, "there already" in err) == (2, True)
    code, _, err = time("lark.toml", "--track", "track-tannery.toml", "--plot", "run.jpg")
    assert (code, ".svg or .png" in err) == (2, True)
    code, out, _ = time("lark.toml", "--track", "track-tannery.toml", "--plot", "run.svg", "--force")
    assert (code, "Drawn in run.svg" in out) == (0, True)
    code, _, _ = time("lark.toml", "--track", "track-tannery.toml", "--plot", "run.png")
    assert code == 0
    assert (tmp_path / "run.png").read_bytes().startswith(b"\x89PNG")


def test_forty_columns_are_enough(time: Time, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    _, out, _ = time("bittern.toml", "--track", "track-surveyed.toml", "--units", "in", "--vs", "lark.toml")
    assert max(map(len, out.splitlines())) <= 40


def _keys(found: Any, path: str = "") -> set[str]:
    if isinstance(found, dict):
        open_ = {"splits_s": "<point>", "budget_s": "<loss>", "prices": "<name>", "energy_J": "<part>"}
        return {
            key
            for name, value in found.items()
            for key in _keys(value, f"{path}.{open_.get(path, name)}" if path else name)
        }
    if isinstance(found, list) and found and isinstance(found[0], dict):
        return {key for part in found for key in _keys(part, f"{path}[]")}
    return {path}


def test_the_keys_of_the_json_are_those_that_are_listed(time: Time) -> None:
    page = (DOCS / "json-output.md").read_text(encoding="utf-8")
    section = re.split(r"^## ", page.partition("## `rollwright time --json`\n")[2], flags=re.MULTILINE)[0]
    cells = [line.split(" | ")[0].lstrip("| ") for line in section.splitlines() if line.startswith("| `")]
    listed = {key for cell in cells for key in re.findall(r"`([^`]+)`", cell)}
    code, out, _ = time("lark.toml", "--track", "track-tannery.toml", "--vs", "heron.toml", "--json")
    assert code == 0
    found = json.loads(out)
    second = found.pop("vs")
    keys = _keys(found) | {"vs", "vs.faster_by_s", "vs.faster_by_uncertainty_s"}
    assert keys - {"stalled_at"} == listed - {f"stalled_at.{name}" for name in ("distance", "x", "z")}
    assert set(second) == {*found, "faster_by_s", "faster_by_uncertainty_s"}

"""`rollwright trials` at the terminal: answers, one-line errors, narrow terminals, plans and pictures."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import click
import pytest

from rollwright.cli import trials_command
from rollwright.cli.app import _run
from rollwright.scenario.club import club_files
from tests.contract.test_docs import DOCS, _all_keys, _listed, _rows, _sections
from tests.contract.test_imports import HEAVY, _loaded

TIMES = "trials-tannery.csv"

DAYS = """\
date,heat,lane,car,setup,time,temperature
18.4.2031,1,1,Lark,relieved,2.6012,21
18.4.2031,1,2,Heron,as built,2.6110,21
18.4.2031,2,2,Lark,relieved,2.6031,21
18.4.2031,2,1,Heron,as built,2.6105,21
18.4.2031,3,1,Lark,relieved,2.6008,22
18.4.2031,3,2,Heron,as built,2.6101,22
18.4.2031,4,2,Lark,relieved,2.6022,22
18.4.2031,4,1,Heron,as built,
2.4.2031,1,1,Lark,as built,2.5991,17
2.4.2031,1,2,Heron,as built,2.6022,17
2.4.2031,2,2,Lark,as built,2.5984,17
2.4.2031,2,1,Heron,as built,2.6006,17
2.4.2031,3,1,Lark,as built,2.5999,18
2.4.2031,3,2,Heron,as built,2.6013,18
2.4.2031,4,2,Lark,as built,2.5990,18
2.4.2031,4,1,Heron,as built,2.6017,18
"""

CARS = ("Lark", "Heron", "Bittern")
THREE = "heat,lane,car,time\n" + "".join(
    f"{heat},{1 + (heat + at) % 3},{car},{2.6 + 2e-3 * at + 1e-4 * (7 * heat % 5 + heat * at % 4):.4f}\n"
    for heat in range(9)
    for at, car in enumerate(CARS)
)


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
    for name, text in {**club_files(), "days.csv": DAYS, "three.csv": THREE}.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")

    def ask(*words: str) -> Result:
        code = _run(["trials", *words])
        captured = capsys.readouterr()
        return Result(code, captured.out, captured.err)

    return ask


def test_the_answer_comes_first_and_what_was_set_aside_last(ask: Ask) -> None:
    found = ask(TIMES)
    assert (found.code, found.err) == (0, "")
    assert re.match(r"new steer is faster than old steer by \d\.\d ms; 90 % sure it is more than", found.out)
    assert "Set aside: 4 of 40 rows. - row 14: marked 'heat: false start'" in found.words
    assert found.words.endswith("- row 33: '2.6?' is no time ")
    assert ask("compare", TIMES).out == found.out


def test_the_other_way_round_says_the_same(ask: Ask) -> None:
    found = ask(TIMES, "--a", "New Steer", "--b", "old steer")
    assert found.out.startswith(ask(TIMES).out.split(".\n")[0])
    assert "interval: old steer 2.5 ms to 5.2 ms slower" in found.words


def test_unclear_says_how_many_runs_would_settle_it(ask: Ask) -> None:
    head, *rows = Path(TIMES).read_text(encoding="utf-8").splitlines()
    noisy = [row for row in rows if int(row.split(",")[0]) in {1, 2, 3, 8}]
    Path("few.csv").write_text("\n".join([head, *noisy]), encoding="utf-8")
    found = ask("few.csv", "--risk", "0.01")
    assert re.search(r"but that may be chance: .*; about \d+ more runs of each would settle it", found.words)


def test_peeking_costs_width(ask: Ask) -> None:
    plain, often = ask(TIMES, "--json").data["effects"][0], ask(TIMES, "--peek", "--json").data["effects"][0]
    assert often["sure_of_s"] < plain["sure_of_s"]
    assert often["interval_always"] == plain["interval_always"]
    assert "however often you do, at most 10 % of such answers are wrong" in ask(TIMES, "--peek").words


def test_three_are_compared_in_pairs_with_a_word_on_all_at_once(ask: Ask) -> None:
    found = ask("three.csv")
    assert found.out.count("faster than") == 3
    assert "3 pairs" in found.words
    assert "Friedman" in found.words
    assert ask("three.csv", "--a", "Lark").out.count("faster than") == 2


@pytest.mark.parametrize("columns", [40, 80])
def test_no_line_is_wider_than_the_terminal(ask: Ask, monkeypatch: pytest.MonkeyPatch, columns: int) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    forecast = ("--forecast", "lark.toml", "heron.toml", "--track", "track-tannery.toml")
    for words in (
        (TIMES, "--peek", *forecast),
        ("three.csv",),
        (
            "plan",
            "old steer",
            "new steer",
            "--lanes",
            "left,middle,right",
            "--noise",
            TIMES,
            "--matters",
            "2 ms",
        ),
        ("plan", "A", "B"),
        ("season", "days.csv"),
        ("--help",),
        ("plan", "--help"),
    ):
        found = ask(*words)
        assert found.code == 0
        # Click gives its helps 80 columns at least where a name is long.
        room = columns if "--help" not in words else 80
        assert [line for line in found.out.splitlines() if len(line) > room] == []


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("gone.csv",), "gone.csv: there is no such file"),
        ((TIMES, "--a", "Lark"), "--a: 'Lark' is not among them; choose from 'old steer', 'new steer'"),
        ((TIMES, "--a", "steer"), "'steer' fits more than one"),
        ((TIMES, "--a", "old steer", "--b", "old steer"), "cannot be compared with itself"),
        ((TIMES, "--unit", "h"), "'h' is no unit"),
        ((TIMES, "--map", "time"), "--map wants WHAT=COLUMN"),
        ((TIMES, "--map", "time=Zeit"), "there is no column 'Zeit'"),
        ((TIMES, "--matters", "soon"), "--matters: 'soon' is no time"),
        ((TIMES, "--risk", "2"), "2.0 is no risk to take"),
        ((TIMES, "--track", "track-tannery.toml"), "--forecast and --track go together"),
        ((TIMES, "--plot", "a.pdf"), "written as .svg or .png"),
        (("plan", "A"), "1 configurations cannot be planned"),
        (("plan", "A", "B", "--lanes", "1"), "add --alone"),
        (("plan", "A", "B", "--noise", "much"), "there is no such file"),
        (("season", "gone.csv"), "gone.csv: there is no such file"),
    ],
)
def test_an_error_is_one_line_and_exit_code_2(ask: Ask, words: tuple[str, ...], said: str) -> None:
    found = ask(*words)
    assert found.code == 2
    assert found.out == ""
    assert said in found.err
    assert len(found.err.splitlines()) == 1


def test_a_plan_can_be_saved_filled_in_and_read_back(ask: Ask) -> None:
    found = ask("plan", "old, worn", "new", "--lanes", "2", "--runs", "4", "--save", "sheet.csv")
    assert "4 heats: 4 runs of each, twice in every lane." in found.out
    head, *rows = Path("sheet.csv").read_text(encoding="utf-8").splitlines()
    assert head == "order,heat,lane,configuration,time (s),mark,note"
    filled = [row.replace(",,,", f",2.61{number:02d},,") for number, row in enumerate(rows)]
    Path("sheet.csv").write_text("\n".join([head, *filled]), encoding="utf-8")
    answer = ask("sheet.csv", "--json").data
    assert (answer["runs"], answer["heats"], answer["set_aside"]) == (8, 4, [])
    again = ask("plan", "A", "B", "--save", "sheet.csv")
    assert again.code == 2
    assert "stays as it is" in again.err


def test_a_plan_asks_for_the_runs_that_the_noise_needs(ask: Ask) -> None:
    """Two samples, risks of 10 %: about 2 ((1.645 + 1.282) 2)^2 = 68.5 runs for half of the noise."""
    found = ask("plan", "A", "B", "--noise", "2 ms", "--lanes", "4", "--json").data
    assert 69 <= found["runs_needed"] <= 71
    assert found["runs"] == 72
    assert "this is too few: it takes" in ask("plan", "A", "B", "--noise", "2 ms", "--runs", "8").words


def test_a_season_says_what_paid(ask: Ask) -> None:
    found = ask("season", "days.csv")
    assert found.code == 0
    assert "Lark: last good set-up relieved." in found.words
    assert "as built → relieved: paid;" in found.words
    assert "2.4.2031; temperature 17.5" in found.words
    assert "days.csv, row 9 set aside: no time" in found.words


def test_the_run_model_stands_beside_the_stopwatch(ask: Ask) -> None:
    found = ask(TIMES, "--forecast", "lark.toml", "heron.toml", "--track", "track-tannery.toml")
    assert "The run model on Tannery Lane hall track has new steer" in found.words
    assert "the stopwatch" in found.words


@pytest.mark.parametrize("name", ["trial.svg", "trial.png"])
def test_a_picture_is_drawn(ask: Ask, name: str) -> None:
    assert ask(TIMES, "--plot", name).code == 0
    raw = Path(name).read_bytes()
    if name.endswith("png"):
        assert raw.startswith(b"\x89PNG")
    else:
        kinds = [part.get("class") for part in ET.fromstring(raw).iter("{http://www.w3.org/2000/svg}circle")]  # noqa: S314 - our own file
        assert kinds.count("dot") == 36
        assert kinds.count("mean") == 2
    assert ask(TIMES, "--plot", name).code == 2
    assert ask(TIMES, "--plot", name, "--force").code == 0


def test_the_json_has_the_keys_that_are_listed(ask: Ask) -> None:
    forecast = ("--forecast", "lark.toml", "heron.toml", "--track", "track-tannery.toml")
    spoilt = (
        Path(TIMES).read_text(encoding="utf-8").replace("2,middle,", "2,middle,new steer,2.7\n99,middle,", 1)
    )
    Path("spoilt.csv").write_text(spoilt, encoding="utf-8")
    answers = [ask(*words, "--json").data for words in ((TIMES, *forecast), ("three.csv",), ("spoilt.csv",))]
    listed = _listed("trials")
    assert len(set(listed)) == len(listed)
    assert set(listed) == _all_keys(answers)
    plans = [ask("plan", "A", "B", "--json").data]
    assert set(_listed("trials plan")) == _all_keys(plans)
    assert set(_listed("trials season")) == {
        # The effects are those of a trial.
        re.sub(r"^(cars\[\]\.(?:trend|steps\[\]\.effect)).*", r"\1", key)
        for key in _all_keys([ask("season", "days.csv", "--json").data])
    }
    for command in ("trials plan", "trials season"):
        for cells in _rows(_sections(DOCS / "json-output.md")[f"`rollwright {command} --json`"]):
            assert len(cells) == 4
            assert all(cells)


def test_every_option_of_its_commands_is_described() -> None:
    section = _sections(DOCS / "command-line.md")["`rollwright trials`"]
    prose = re.sub(r"^```.*?^```$", "", section, flags=re.DOTALL | re.MULTILINE)
    for name, command in trials_command.command.commands.items():
        assert f"\n$ rollwright trials {name} --help\n" in section
        for parameter in command.params:
            words = (
                parameter.opts if isinstance(parameter, click.Option) else [(parameter.name or "").upper()]
            )
            assert all(f"`{word}" in prose for word in words), words


def test_its_help_starts_without_heavy_libraries() -> None:
    assert not _loaded("trials", "--help") & HEAVY
    assert not _loaded("trials", "compare", "--help") & HEAVY


def test_a_look_on_the_way_gets_the_interval_that_holds_at_all_looks(ask: Ask) -> None:
    effect = json.loads(ask(TIMES, "--peek", "--json").out)["effects"][0]
    low, high = (f"{1e3 * abs(end):.1f} ms" for end in effect["interval_always"])
    plain = ask(TIMES).words
    often = ask(TIMES, "--peek").words
    assert f"90 % interval: new steer {low} to {high} faster." in often
    assert f"90 % interval: new steer {low}" not in plain

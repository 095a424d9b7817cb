"""`rollwright batch` at the terminal: answers, one-line errors, narrow terminals, the log, a picture."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from rollwright.bench.gates import Gate
from rollwright.cli.app import _run
from rollwright.scenario.club import SEASON, file_text
from rollwright.scenario.drilled_batch import BATCH
from rollwright.workbench.log_enter import folded, open_log
from tests.contract.test_docs import _all_keys, _listed

HEAVY = {"numpy", "scipy", "uncertainties", "tomlkit"}
FIRST = ("--set-up", "first bushing")
JIG = "drill press and jig"
CANTS = (*(2.4, 2.6, 2.5, 2.45, 2.55, 2.5, 2.45, 2.6, 2.4, 2.5), *(1.2, 3.8, 1.0, 4.0, 1.1, 3.7, 1.3, 3.9))


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
    for name in ("lark.toml", BATCH, SEASON):
        (tmp_path / name).write_text(file_text(name), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.delenv("ROLLWRIGHT_UNITS", raising=False)

    def ask(*options: str, file: str | None = BATCH) -> Result:
        code = _run(["batch", *([] if file is None else [file]), *options])
        captured = capsys.readouterr()
        return Result(code, captured.out, captured.err)

    return ask


@pytest.fixture
def log(ask: Ask, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> str:
    """Return the path of the club's log of a season."""
    del ask
    assert _run(["log", "import", SEASON, "--log", "bench.log"]) == 0
    capsys.readouterr()
    return str(tmp_path / "bench.log")


def _scattering(folder: Path) -> str:
    """Write a batch whose scatter opens at body 11, with a body of which nothing was read."""
    bodies = "".join(f"[[body]]\nrear_left.cant = {cant}\n" for cant in CANTS)
    text = f'format = 1\ncar = "lark.toml"\n[drill]\ncant = 1\n{bodies}[[body]]\nname = "lost"\n'
    (folder / "loose.toml").write_text(text, encoding="utf-8")
    return "loose.toml"


def test_the_answer_comes_first_then_what_to_do(ask: Ask) -> None:
    found = ask(*FIRST, "--good", "20")
    assert (found.code, found.err) == (0, "")
    assert re.match(r"first bushing: \d+ of 27 bodies pass; \d+ fail, \d+ cannot be told\.\n", found.out)
    for words in (
        "(90 % sure)",
        "! Your rear right cant wanders from body",
        "change bit or bushing before you drill on",
        "! Your rear left cant is biased by +0.",
        "move the jig so that they come down 0.",
        "on 100 mm of jig",
        "the scatter alone would pass",
        "For 20 good ones in all drill",
        "Cpk",
        "Other set-ups: second bushing",
    ):
        assert words in found.words, words
    assert found.out.index("wanders") < found.out.index("biased") < found.out.index("Cpk")


def test_the_set_up_that_was_drilled_last_is_looked_at_if_none_is_named(ask: Ask) -> None:
    assert ask("--json").data["set_up"] == "second bushing"
    assert ask("--json", "--set-up", "First Bushing").data["set_up"] == "first bushing"


def test_two_set_ups_are_compared(ask: Ask) -> None:
    found = ask("--vs", "first bushing")
    assert "Against first bushing" in found.out
    assert "rear right cant: bias moved +0." in found.words
    data = ask("--vs", "first bushing", "--json").data
    turned = ask(*FIRST, "--vs", "second bushing", "--json").data
    for one, other in zip(data["changes"], turned["changes"], strict=True):
        assert one["bias"]["value"] == pytest.approx(-other["bias"]["value"])
        assert one["bias"]["interval"] == pytest.approx([-end for end in reversed(other["bias"]["interval"])])


@pytest.mark.parametrize(("columns", "units"), [(40, "mm"), (80, "mm"), (40, "in")])
def test_no_line_is_wider_than_the_terminal(
    ask: Ask, log: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, columns: int, units: str
) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    found = [
        ask(*FIRST, "--vs", "second bushing", "--units", units),
        ask("--log", log, "--units", units, file=None),
        ask("--units", units, file=_scattering(tmp_path)),
    ]
    for each in found:
        assert each.code == 0
        assert [line for line in each.out.splitlines() if len(line) > columns] == []


def test_the_bodies_of_a_log_are_judged_by_its_drill_gate(ask: Ask, log: str) -> None:
    found = ask("--log", log, "--json", file=None)
    assert found.code == 0
    data = found.data
    assert data["set_up"] == JIG
    states = {body["name"]: body["state"] for body in data["bodies"]}
    assert [body["number"] for body in data["bodies"]] == list(range(1, len(states) + 1))
    with open_log(log) as store:
        for name, state in states.items():
            gate = folded(store, list(store.events(name))).gates[Gate.DRILL].verdict
            assert state == ("unclear" if gate is None else gate.state.value), name
    assert set(states.values()) == {"pass", "fail", "unclear"}
    assert {hole["name"] for hole in data["holes"]} >= {"rear_left.cant", "rear_right.sweep"}


def test_the_json_has_the_keys_that_are_listed(ask: Ask, log: str, tmp_path: Path) -> None:
    answers = [
        ask(*FIRST, "--vs", "second bushing", "--json").data,
        ask("--log", log, "--json", file=None).data,
        ask("--json", file=_scattering(tmp_path)).data,
    ]
    listed = _listed("batch")
    assert len(set(listed)) == len(listed)
    assert set(listed) == _all_keys(answers)


def test_a_jig_that_came_loose_is_named_with_the_body(ask: Ask, tmp_path: Path) -> None:
    found = ask(file=_scattering(tmp_path))
    assert "Your rear left cant scatters more from body 11 on" in found.words
    assert "Set aside: lost; nothing was read of it" in found.words


def test_a_count_alone_is_enough(ask: Ask, tmp_path: Path) -> None:
    bodies = "[[body]]\naccepted = true\n" * 2 + "[[body]]\naccepted = false\n" * 6
    (tmp_path / "count.toml").write_text(f"format = 1\n{bodies}", encoding="utf-8")
    found = ask("--good", "2", file="count.toml")
    assert found.code == 0
    assert "2 of 8 bodies pass; 6 fail." in found.words
    assert "You have the 2 good ones that you asked for." in found.words


@pytest.mark.parametrize(
    ("options", "file", "words"),
    [
        ((), "gone.toml", ("gone.toml", "no such file")),
        ((), "lark.toml", ("lark.toml", "a car file, not a batch file")),
        ((), None, ("Give a batch file, or a log",)),
        (("--log", "bench.log"), BATCH, ("not both",)),
        (("--log", "gone.log"), None, ("gone.log", "no such log")),
        (("--set-up", "third"), BATCH, ("--set-up", "'third'", "first bushing")),
        (("--vs", "frist bushing"), BATCH, ("--vs", 'did you mean "first bushing"')),
        (("--vs", "second bushing"), BATCH, ("compared with itself",)),
        (("--good", "0"), BATCH, ("--good", "0 good bodies", "1 to 10000")),
        (("--good", "many"), BATCH, ("--good", "many")),
        (("--car", "gone.toml"), BATCH, ("gone.toml", "no such file")),
        (("--plot", "jig.gif"), BATCH, ("jig.gif", ".svg or .png")),
    ],
)
def test_what_cannot_be_answered_is_one_line(
    ask: Ask, options: tuple[str, ...], file: str | None, words: tuple[str, ...]
) -> None:
    found = ask(*options, file=file)
    assert (found.code, found.out) == (2, "")
    assert len(found.err.splitlines()) == 1
    for word in words:
        assert word in found.err


def test_a_picture_is_drawn_and_never_over_another_unasked(ask: Ask, tmp_path: Path) -> None:
    assert ask(*FIRST, "--plot", "jig.svg").code == 0
    root = ET.fromstring((tmp_path / "jig.svg").read_text(encoding="utf-8"))  # noqa: S314 - our own file
    space = "{http://www.w3.org/2000/svg}"
    shown = [text.text or "" for text in root.iter(f"{space}text")]
    assert any(text.startswith("Rear right cant wanders from body") for text in shown)
    dots = sum(1 for _ in root.iter(f"{space}circle"))
    points = sum(len(chart["points"]) for chart in ask(*FIRST, "--json").data["chart"])
    assert dots > points > 0
    again = ask("--plot", "jig.svg")
    assert again.code == 2
    assert "--force" in again.err
    assert ask("--plot", "jig.svg", "--force").code == 0
    assert ask("--plot", "jig.png").code == 0
    assert (tmp_path / "jig.png").read_bytes().startswith(b"\x89PNG")


def test_its_help_starts_without_heavy_libraries() -> None:
    code = (
        "import atexit, sys; atexit.register(lambda: sys.stderr.write('\\n'.join(sys.modules)));"
        "from rollwright.cli import main; main(['batch', '--help'])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True, text=True)
    assert "rollwright" in done.stderr
    assert not {name.partition(".")[0] for name in done.stderr.splitlines()} & HEAVY

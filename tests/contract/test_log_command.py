"""`rollwright log` as a builder meets it: words, exit codes, narrow terminals, and no half entries."""

from __future__ import annotations

import json
import os
import re
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click
import pytest

from rollwright.cli.app import _run
from rollwright.cli.log_command import command
from rollwright.scenario.club import club_files

DOCS = Path(__file__).parents[2] / "docs"
HEAVY = {"numpy", "scipy", "uncertainties", "tomlkit"}
EVENING = (
    ("start", "lark.toml"),
    ("read", "lark", "height_difference", "-0.21", "--uncertainty", "0.04"),
    ("read", "lark", "drift", "112 mm right", "109 mm right", "111 mm right"),
    ("read", "lark", "rail_offset", "0.91", "--uncertainty", "0.04"),
    ("did", "lark", "bend", "front_left", "1.25 deg more"),
    ("did", "lark", "turn", "front_left", "14.5 deg counter-clockwise"),
    ("read", "lark", "height_difference", "-0.02", "--uncertainty", "0.04"),
    ("read", "lark", "drift", "71 mm right", "72 mm right", "70 mm right"),
    ("read", "lark", "rail_offset", "0.56", "--uncertainty", "0.04"),
    ("did", "lark", "sand", "front_left", "0.46 mm"),
    ("read", "lark", "rail_offset", "0.08", "--uncertainty", "0.04"),
    ("roll", "lark", "holds"),
    ("fit", "lark", "all"),
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

    def run(*arguments: str) -> Result:
        code = _run(["log", *arguments])
        captured = capsys.readouterr()
        return Result(code, captured.out, captured.err)

    return run


@pytest.fixture
def evening(run: Run) -> Run:
    for words in EVENING:
        assert run(*words).code == 0, words
    return run


def gates(run: Run) -> dict[str, str]:
    return {gate: state["standing"] for gate, state in run("where", "lark", "--json").data["gates"].items()}


def test_an_evening_ends_with_every_gate_passed(evening: Run) -> None:
    found = evening("where", "lark", "--json").data
    passed = [gate for gate, state in found["gates"].items() if state["passed"]]
    # Its holes were never looked at, and no class was chosen to inspect it by.
    assert passed == ["level", "trim", "steer", "centre", "roll"]
    # What was fitted was entered last, so that nobody knows whether it was on the car when that was read.
    assert found["next"]["text"].startswith("Read the drift again: when it was read, this was not entered")
    evening("read", "lark", "drift", "71 mm right")
    evening("read", "lark", "rail_offset", "0.08", "--uncertainty", "0.04")
    assert evening("where", "lark", "--json").data["next"]["kind"] == "none"
    said = evening("where", "lark").out
    assert [
        line[0] for line in said.splitlines() if re.match(r"\S (level|trim|steer|centre|roll)", line)
    ] == ["✓"] * 5


def test_a_start_says_what_it_made_and_what_the_car_is_called(run: Run) -> None:
    first, second = run("start", "lark.toml"), run("start", "heron.toml", "--as", "H-2")
    assert "Made the log bench.log." in first.out
    assert "Lark is in the log as lark." in first.out
    assert "Made" not in second.out
    assert "Heron is in the log as H-2." in second.out


def test_a_log_in_a_synced_folder_is_warned_of_once(run: Run, tmp_path: Path) -> None:
    (tmp_path / "Dropbox").mkdir()
    path = str(tmp_path / "Dropbox" / "bench.log")
    assert "can spoil a log" in run("start", "lark.toml", "--log", path).said
    assert "!" not in run("start", "heron.toml", "--log", path).out


def test_a_reading_is_echoed_as_it_was_understood_and_judged(run: Run) -> None:
    run("start", "lark.toml")
    result = run("read", "lark", "drift", "97 mm right", "95 mm right")
    assert "drift 97.0 mm right, 95.0 mm right" in result.said
    # The mean is 96, and the car file's own word of 90 ± 30 hardly pulls it.
    assert re.search(r"⊂ steer 9[56](\.\d)? ± .{1,4} mm right, outside ", result.said)
    assert "level" not in result.said
    assert "rollwright log undo lark 2" in result.said


@pytest.mark.parametrize(
    ("kind", "written", "understood"),
    [
        ("height_difference", "-0.21", "0.21 mm nose low"),
        ("height_difference", "8.5 thou", "8.5 thou nose high"),
        ("drift", "-97", "97.0 mm right"),
        ("rail_offset", "-0.3 mm", "0.30 mm too far in"),
        ("tip_sweep", "2,7 mm", "tip sweep 2.70 mm"),
        ("level", "-0.21", "height difference 0.21 mm nose low"),
        ("steer", "97 mm right", "drift 97.0 mm right"),
        ("centre", "0.3 mm", "rail offset 0.30 mm off the rail"),
        ("rail", "0.3 mm", "rail offset 0.30 mm off the rail"),
    ],
)
def test_signs_and_units_are_told_in_words(run: Run, kind: str, written: str, understood: str) -> None:
    run("start", "lark.toml")
    result = run("read", "lark", kind, written)
    assert result.code == 0, result.err
    assert understood in result.said


def test_a_reading_that_disagrees_is_taken_and_doubted(evening: Run) -> None:
    result = evening("read", "lark", "drift", "70 mm left")
    assert result.code == 0
    assert "disagrees" in result.said


def test_a_move_says_which_gates_it_made_stale_and_by_how_much(run: Run) -> None:
    for words in EVENING[:4]:
        run(*words)
    result = run("did", "lark", "turn", "front_left", "14.5", "deg", "counter-clockwise")
    assert "turn at front left, 14.50° counter-clockwise, as asked" in result.said
    found = re.search(
        r"◌ steer read again: the turn at front left \(entry 5\) moved it by ([\d.]+) mm to the left",
        result.said,
    )
    assert found, result.out
    assert 20.0 < float(found[1]) < 200.0


def test_what_a_move_hardly_moves_is_predicted_to_hold_with_shift_and_tolerance(evening: Run) -> None:
    said = evening("where", "lark").said
    assert re.search(
        r"✓ level predicted to hold: shifted by .{3,30}, tolerance ± 0.15 mm, since the sanding", said
    )


def test_a_gate_that_failed_is_never_predicted_to_hold(run: Run) -> None:
    run("start", "lark.toml")
    run("read", "lark", "rail_offset", "0.46", "--uncertainty", "0.02")
    run("did", "lark", "sand", "front_left", "0.46 mm", "--measured", "--uncertainty", "0.01")
    assert gates(run)["centre"] == "read again"


def test_a_step_that_can_hurt_says_so_and_what_it_does(run: Run) -> None:
    for words in EVENING[:4]:
        run(*words)
    found = run("where", "lark", "--json").data["next"]
    assert found["kind"] == "move"
    said = run("where", "lark").said
    assert f"Next: {found['text']} {found['effect']} Mind: {found['caution']} {found['command']}" in said
    assert "eye protection" in found["caution"]


def test_an_undo_leaves_both_in_the_history(evening: Run) -> None:
    before = evening("where", "lark", "--json").data["gates"]
    evening("did", "lark", "washer", "front_left", "0.25 mm added")
    assert gates(evening)["centre"] == "read again"
    undone = evening("undo", "lark", "--because", "they fell off")
    assert "Withdrawn: entry 22, washer at front left, 0.25 mm added" in undone.said
    assert evening("where", "lark", "--json").data["gates"] == before
    shown = evening("show", "lark").said
    assert "washer at front left, 0.25 mm added, as asked withdrawn by entry 23" in shown
    assert "undo: they fell off" in shown


def test_a_roll_is_told_in_words_and_goes_stale_with_its_steer(evening: Run) -> None:
    assert "✓ roll holds: it held the rail (entry 12)" in evening("where", "lark").said
    evening("did", "lark", "turn", "front_left", "5 deg clockwise")
    assert "◌ roll read again: it held the rail (entry 12)" in evening("where", "lark").said
    assert "⊂ roll its tail swung to the left" in evening("roll", "lark", "tail_left").said


def test_next_warns_where_nothing_read_still_holds(evening: Run) -> None:
    assert "until you read" not in evening("next", "lark").said
    evening("did", "lark", "bend", "front_left", "1 deg less")
    said = evening("next", "lark").said
    assert "! Level, steer and centre are guesses until you read them again. Sand nothing yet." in said
    assert "the car file alone" not in said


def test_what_was_never_read_is_not_to_be_read_again(run: Run) -> None:
    run("start", "lark.toml")
    run("read", "lark", "level", "-0.02")
    assert "! Steer and centre are guesses until you read them. Sand" in run("next", "lark").said
    run("read", "lark", "steer", "70 mm right")
    assert "! Centre is a guess until you read it. Sand" in run("next", "lark").said


def test_a_retired_car_gets_no_advice_until_that_is_undone(evening: Run) -> None:
    evening("note", "lark", "a remark")
    evening("retire", "lark", "--because", "it split")
    number = evening("show", "lark", "--json").data["entries"][-1]["entry"]
    result = evening("next", "lark")
    assert result.code == 0
    assert result.said == (
        f"lark is retired (entry {number}): it split. No move is due. To work on it again: rollwright log "
        f"undo lark {number} --because TEXT"
    )
    assert f"done. To work on it again: rollwright log undo lark {number}" in evening("where", "lark").said
    assert evening("next", "lark", "--json").data["retired"] == "it split"
    assert evening("undo", "lark", str(number), "--because", "glued").code == 0
    assert "retired" not in evening("next", "lark").said
    assert evening("next", "lark", "--json").data["retired"] is None


def test_every_log_command_takes_units() -> None:
    for name, each in command.commands.items():
        assert any("--units" in parameter.opts for parameter in each.params), name


def test_units_do_no_harm_where_nothing_is_shown(evening: Run) -> None:
    for words in (("note", "lark", "x"), ("export", "out.jsonl"), ("backup", "copy.log"), ("check",)):
        assert evening(*words, "--units", "in").code == 0, words


def test_an_unknown_car_is_answered_with_the_commands_that_list_and_start_one(evening: Run) -> None:
    for words in (
        ("where", "wren"),
        ("read", "wren", "level", "0.1"),
        ("note", "wren", "x"),
        ("show", "wren"),
    ):
        result = evening(*words)
        assert result.code == 2
        assert "known here: lark; list all with: rollwright log show, or start it with" in result.err
        assert "rollwright log start CAR.toml" in result.err


def test_next_leaves_with_one_when_a_target_cannot_be_met(run: Run) -> None:
    run("start", "heron.toml")
    run("read", "heron", "drift", "96 mm right", "99 mm right")
    result = run("next", "heron")
    assert result.code == 1
    assert "cannot be met" in result.out
    assert run("where", "heron").code == 0


def test_the_log_and_the_author_can_be_said(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    run("start", "lark.toml", "--log", "mine.log", "--by", "Ada")
    monkeypatch.setenv("ROLLWRIGHT_LOG", "mine.log")
    run("note", "lark", "first day", "--by", "Åse")
    assert [each["author"] for each in run("show", "--json").data["entries"]] == ["Ada", "Åse"]


def test_a_machine_that_knows_no_login_name_has_someone(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def nobody() -> str:
        raise KeyError("uid not found")

    monkeypatch.setattr("getpass.getuser", nobody)
    assert run("start", "lark.toml", "--json").data["author"] == "someone"


def test_the_log_goes_out_comes_in_and_is_copied(evening: Run) -> None:
    assert "Wrote 21 entries to out.jsonl." in evening("export", "out.jsonl").out
    assert "Made the log new.log. Added 21 entries; 0 there already." in (
        evening("import", "out.jsonl", "--log", "new.log").said
    )
    assert evening("backup", "copy.log").code == 0
    for name in ("bench.log", "new.log", "copy.log"):
        result = evening("check", "--log", name)
        assert (result.code, result.said) == (0, f"{name} is sound.")


def test_two_logs_that_both_went_on_are_named(evening: Run) -> None:
    evening("backup", "other.log")
    evening("note", "lark", "here")
    evening("note", "lark", "there", "--log", "other.log")
    evening("export", "out.jsonl", "--log", "other.log")
    assert "! Both logs had gone on with lark" in evening("import", "out.jsonl").said


def test_a_damaged_log_is_told_by_check_and_what_is_left_can_be_saved(evening: Run) -> None:
    with closing(sqlite3.connect("bench.log", isolation_level=None)) as connection:
        for (trigger,) in connection.execute(
            "SELECT name FROM sqlite_schema WHERE type = 'trigger'"
        ).fetchall():
            connection.execute(f"DROP TRIGGER {trigger}")
        connection.execute("UPDATE entry SET author = 'Eve' WHERE seq = 9")
    result = evening("check")
    assert result.code == 1
    assert "bench.log is not sound." in result.out
    assert "entry 9: it is not as it was written" in result.said
    assert evening("check", "--json").data["sound"] is False
    assert evening("where", "lark").code == 2
    assert evening("export", "out.jsonl").code == 2
    assert "Wrote 8 entries" in evening("export", "out.jsonl", "--rescue").out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("read lark drift 97 mm right", "in quotes"),
        ("read lark drift '97 mm wright'", "unknown unit"),
        ("read lark drit 97", "did you mean"),
        ("read larc drift 97", "did you mean"),
        ("read lark", "Missing argument"),
        ("read lark drift 97 --station front_left", "--station"),
        ("read lark drift 97 --log gone.log", "rollwright log start"),
        ("read lark drift 97 --log lark.toml", "not a rollwright log"),
        ("read lark drift 97 --by ''", "author"),
        ("read lark rail_offset '-5 m'", "more than 100"),
        ("read lark rail_offset nan", "rail offset"),
        ("did lark bend front_left 1.25", "1.25 deg less"),
        ("did lark bend front_left '-1 deg'", "1.25 deg less"),
        ("did lark turn front_left '14 deg'", "seen from outside the wheel"),
        ("did lark washer front_left '0.25 mm'", "removed"),
        ("did lark sand front_left -0.3", "sign"),
        ("did lark sand nose '0.3 mm'", "write one of"),
        ("did lark plane front_left '0.3 mm'", "plane"),
        ("did lark sand front_left '0.3 mm' --uncertainty 0.1", "--measured"),
        ("did lark sand front_left unknown --measured", "--measured"),
        ("did lark bend front_left '1 deg more' --measured --uncertainty fine", "--uncertainty"),
        ("roll lark flies", "tail_left"),
        ("undo lark", "--because"),
        ("undo lark --because x", "nothing to undo"),
        ("undo lark 1 --because x", "never undone"),
        ("undo lark 99 --because x", "no entry of this car"),
        ("undo lark two --because x", "integer"),
        ("note lark ''", "note"),
        ("where", "Missing argument"),
        ("where larc", "did you mean"),
        ("show larc", "did you mean"),
        ("start lark.toml", "already"),
        ("start lark.toml --as LARK", "already"),
        ("start lark.toml --as 'a b'", "letters"),
        ("start gone.toml", "no such file"),
        ("export lark.toml", "there already"),
        ("backup lark.toml", "there already"),
        ("backup gone/copy.log", "folder"),
        ("import lark.toml", "not an exported"),
        ("import gone.jsonl", "gone.jsonl"),
        ("check --log gone.log", "no such log"),
        ("wher lark", "No such command"),
    ],
)
def test_wrong_words_are_answered_in_one_line_and_leave_no_entry(run: Run, words: str, said: str) -> None:
    import shlex  # noqa: PLC0415 - only this test splits words as a shell does

    run("start", "lark.toml")
    result = run(*shlex.split(words))
    assert result.code == 2, result.out
    assert result.out == ""
    assert said in result.err
    assert result.err.count("\n") == 1
    assert len(run("show", "--json").data["entries"]) == 1
    assert run("check").code == 0


@pytest.mark.parametrize("units", ["mm", "in"])
def test_forty_columns_will_do(evening: Run, units: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    printed = [
        evening(*words, "--units", units).out
        for words in (
            ("did", "lark", "bend", "front_left", "0.5 deg less"),
            ("did", "lark", "turn", "front_left", "unknown"),
            ("where", "lark"),
            ("next", "lark"),
            ("undo", "lark", "--because", "a long story about a slip of the pliers"),
            ("read", "lark", "drift", "70 mm left"),
            ("show",),
        )
    ]
    for out in printed:
        assert max(map(len, out.splitlines())) <= 40, out


def test_numbers_in_json_are_si_whatever_the_words_are_in(run: Run) -> None:
    run("start", "lark.toml")
    found = run("read", "lark", "drift", "4 in right", "--units", "in", "--json").data
    assert found["fields"]["values"] == [pytest.approx(-0.1016)]
    assert found["gates"]["steer"]["verdict"]["low"] == pytest.approx(-0.08)


def test_a_terminal_that_knows_only_plain_letters_gets_them(evening: Run) -> None:
    evening("did", "lark", "bend", "front_left", "1 deg less")
    done = _process("log", "where", "lark", PYTHONIOENCODING="ascii")
    assert done.returncode == 0
    assert done.stdout.isascii()
    assert "o level   read again" in done.stdout
    assert done.stderr == ""


def _process(*arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "rollwright", *arguments],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, **environment},
        encoding="utf-8",
    )


@pytest.mark.parametrize(
    "arguments", [("log",), ("log", "--help"), ("log", "read", "--help"), ("log", "show"), ("log", "check")]
)
def test_help_and_history_start_without_heavy_libraries(run: Run, arguments: tuple[str, ...]) -> None:
    run("start", "lark.toml")
    run("read", "lark", "drift", "70 mm right")
    code = (
        "import atexit, sys; atexit.register(lambda: sys.stderr.write('\\n'.join(sys.modules)));"
        "from rollwright.cli import main; main(sys.argv[1:])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments],
        capture_output=True,
        check=True,
        env={**os.environ, "PYTHONIOENCODING": "utf-8"},
        encoding="utf-8",
    )
    loaded = {name.partition(".")[0] for name in done.stderr.splitlines()}
    assert "click" in loaded
    assert not loaded & HEAVY


def _subcommands() -> Mapping[str, click.Command]:
    return command.commands


@pytest.mark.parametrize("name", _subcommands())
def test_every_command_of_the_log_and_its_options_are_described(name: str) -> None:
    page = (DOCS / "command-line.md").read_text(encoding="utf-8")
    each = _subcommands()[name]
    section = re.split(r"^##+ ", page.partition(f"### `rollwright log {name}`\n")[2], flags=re.MULTILINE)[0]
    assert section, name
    help_text = each.help or ""
    assert help_text.split("\n\n")[0]
    for parameter in each.params:
        if isinstance(parameter, click.Option):
            assert parameter.help, parameter.name
            if parameter.name not in {"log", "by", "units", "as_json"}:
                assert f"`{parameter.opts[0]}" in section, parameter.opts
        else:
            metavar = (parameter.metavar or parameter.name or "").strip("[].").upper()
            assert metavar in help_text, metavar
            assert f"`{metavar}`" in section, metavar


def _keys(found: object, path: str = "") -> Iterator[str]:
    if isinstance(found, Mapping):
        for key, value in found.items():
            if path == "fields":
                continue
            shown = {"gates": "<gate>", "hand": "<move>"}.get(path, str(key))
            yield from _keys(value, f"{path}.{shown}" if path else shown)
        if path == "fields":
            yield path
    elif isinstance(found, list) and any(isinstance(part, Mapping) for part in found):
        for part in found:
            yield from _keys(part, f"{path}[]")
    else:
        yield path


def test_the_keys_of_the_json_are_those_that_are_listed(evening: Run) -> None:
    evening("did", "lark", "turn", "front_left", "5 deg clockwise")
    evening("roll", "lark", "tail_left")
    evening("pin", "lark", "rear_left", "sweep", "none")
    evening("class", "lark", "class-open.toml")
    evening("weigh", "lark", "whole", "137 g")
    evening(
        "fit", "lark", "weight", "nose", "bit", "--mass", "1 g", "--x", "90 mm", "--y", "0", "--z", "8 mm"
    )
    evening("weigh", "lark", "front", "90 g")
    gate = evening("gate", "lark", "drill", "--json").data
    assert {*gate} == {"car", "gate", "class", *evening("where", "lark", "--json").data["gates"]["drill"]}
    answers = [
        evening(*words, "--json").data
        for words in (
            ("start", "lark.toml", "--as", "lark-2", "--class", "class-straight.toml"),
            ("where", "lark"),
            ("photos", "lark", "."),
            ("did", "lark", "bend", "front_left", "1 deg less"),
            ("undo", "lark", "--because", "x"),
            ("where", "lark"),
            ("export", "out.jsonl"),
            ("import", "out.jsonl"),
            ("check",),
        )
    ]
    entries = evening("show", "--json").data["entries"]
    assert {key for entry in entries for key in entry} == {
        *("entry", "id", "car", "time", "author", "event", "fields", "withdrawn_by")
    }
    keys = {key for answer in answers for key in _keys(answer)}
    keys = {
        key
        for key in keys - {"findings"}
        if not any(other.startswith((f"{key}[]", f"{key}.")) for other in keys)
    }
    page = (DOCS / "json-output.md").read_text(encoding="utf-8")
    section = re.split(r"^## ", page.partition("## `rollwright log --json`\n")[2], flags=re.MULTILINE)[0]
    listed = set(re.findall(r"^\| `([^`]+)` \|", section, flags=re.MULTILINE))
    keys |= {"gate", "class"}
    assert keys <= listed, keys - listed
    # A sound log has no findings, and the history's keys are looked at above.
    assert listed - keys == {
        *("entries[]", "findings[].level", "findings[].entry", "findings[].problem", "findings[].mend")
    }


def test_a_shim_under_both_rear_axles_is_one_command_and_two_entries(run: Run) -> None:
    run("start", "lark.toml")
    result = run("did", "lark", "shim", "rear", "0.3 mm")
    assert result.code == 0, result.err
    assert "Entry 2: shim at rear left" in result.said
    assert "Entry 3: shim at rear right" in result.said
    for wrong in ("bend", "turn", "sand", "washer"):
        amount = {"bend": "1 deg more", "turn": "5 deg clockwise", "washer": "0.2 mm added"}.get(
            wrong, "0.2 mm"
        )
        assert run("did", "lark", wrong, "rear", amount).code == 2


def test_the_next_moves_say_what_they_are_worth_on_a_track(evening: Run) -> None:
    evening("did", "lark", "turn", "front_left", "15 deg clockwise")
    evening("read", "lark", "drift", "170 mm right", "--uncertainty", "2.5")
    result = evening("next", "lark", "--track", "track-tannery.toml")
    assert re.search(r"On Tannery Lane hall track these moves are worth [\d.]+ ± [\d.]+ ms", result.said)
    worth = evening("next", "lark", "--track", "track-tannery.toml", "--json").data["worth"]
    # A car that drifts too far pushes harder on the rail than it must.
    assert worth["time_s"] > worth["time_after_s"]
    assert "worth" not in evening("next", "lark", "--json").data
    assert evening("next", "lark", "--track", "lark.toml").code == 2


def test_a_scale_that_the_ledger_cannot_be_reconciled_with_is_doubted(run: Run) -> None:
    run("start", "lark.toml")
    assert "disagree" not in run("weigh", "lark", "whole", "137.5 g").said
    said = run("weigh", "lark", "whole", "175 g").said
    # The two readings contradict each other, and the newer one counts.
    both = "! The scale says 175.0 g, the parts add to 137.6 g: weigh again, or correct a part."
    assert both in said
    assert both in run("where", "lark").said
    run("weigh", "lark", "whole", "137.5 g")
    assert "scale says" not in run("where", "lark").said


def test_a_straight_axled_car_whose_steer_cannot_be_met_is_not_sent_shimming(run: Run) -> None:
    run("start", "heron.toml", "--class", "class-straight.toml")
    run("fit", "heron", "all")
    for kind, value in (("height_difference", "-0.35"), ("drift", "20 mm left"), ("rail_offset", "1.1")):
        run("read", "heron", kind, value)
    found = run("where", "heron", "--json").data
    assert found["stop"]["stop"] == "will not come good"
    assert found["next"]["kind"] == "stuck"
    assert "Steer cannot be met" in found["next"]["text"]
    assert "drill the front left hole with a sweep" in found["next"]["text"]


def test_a_plan_is_entered_as_one_and_a_recipe_is_none(run: Run) -> None:
    assert run("start", "lark.toml", "--plan").code == 0
    assert run("show", "--json").data["entries"][0]["fields"]["source"] == "plan"
    assert "start, from a plan" in run("show", "lark").said
    refused = run("start", "--recipe", "lark", "--plan")
    assert (refused.code, refused.err.count("\n")) == (2, 1)


def test_readings_that_contradict_each_other_are_doubted_wherever_the_car_is_looked_at(run: Run) -> None:
    run("start", "lark.toml")
    run("read", "lark", "rail_offset", "0.9", "--uncertainty", "0.04")
    assert "not to be trusted" not in run("where", "lark").said
    run("read", "lark", "rail_offset", "-0.4", "--uncertainty", "0.04")
    assert "not to be trusted" in run("where", "lark").said


def test_washers_that_are_not_there_cannot_come_out(run: Run) -> None:
    run("start", "lark.toml")
    refused = run("did", "lark", "washer", "front_left", "0.3 mm removed")
    assert (refused.code, refused.out) == (2, "")
    assert "0.30 mm of washers cannot come out at front left: 0.00 mm is in there" in refused.err
    assert run("did", "lark", "washer", "front_left", "0.3 mm added").code == 0
    assert run("did", "lark", "washer", "front_left", "0.3 mm removed").code == 0
    assert run("did", "lark", "washer", "front_left", "0.3 mm removed").code == 2

"""What the tab key offers: words, cars and entries; quickly, silently, and with the log left as it was."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest
from click.shell_completion import CompletionItem, ShellComplete

from rollwright.bench.observed import SlowRollSeen
from rollwright.car import Seat, Station, dimension_names
from rollwright.cli.app import _COMMANDS, _run, cli
from rollwright.cli.log_command import command as log_group
from rollwright.errors import InputError
from rollwright.judge.class_rules import Rule
from rollwright.scenario.club import file_text
from rollwright.setup.reading_keys import ReadingKind
from rollwright.workbench.log_past import car_ids, entry_hints

SHELLS = ("bash", "zsh", "fish")
STATIONS = [station.value for station in Station]
HEAVY = frozenset({"numpy", "scipy", "uncertainties", "tomlkit"})
EVENING = (
    ("start", "lark.toml"),
    ("start", "heron.toml"),
    ("did", "lark", "bend", "front_left", "1.25 deg more", "--note", "on the jig:\nwith the long handle"),
    ("read", "lark", "drift", "97 mm right"),
    ("undo", "lark", "--because", "read on the wrong board"),
    ("roll", "lark", "holds"),
)
TAKES_A_CAR = (
    *("class", "drill", "pin", "fit", "leave-off", "read", "did", "weigh", "roll", "inspect"),
    *("where", "gate", "next", "show", "undo", "note", "photo", "photos", "retire"),
)


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Stand in a folder with a log of two cars."""
    for name in ("lark.toml", "heron.toml"):
        (tmp_path / name).write_text(file_text(name), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    for name in ("ROLLWRIGHT_LOG", "ROLLWRIGHT_UNITS"):
        monkeypatch.delenv(name, raising=False)
    for arguments in EVENING:
        assert _run(["log", *arguments]) == 0
    return tmp_path


def items(*words: str) -> list[CompletionItem]:
    """Return what is offered for the last of some words."""
    *before, incomplete = words
    return ShellComplete(cli, {}, "rollwright", "_ROLLWRIGHT_COMPLETE").get_completions(before, incomplete)


def offered(*words: str) -> list[str]:
    return [item.value for item in items(*words)]


def hints(*words: str) -> dict[str, str | None]:
    return {item.value: item.help for item in items(*words)}


def test_commands_and_options_are_completed() -> None:
    assert hints("") == _COMMANDS
    assert offered("bal") == ["balance", "ballast"]
    assert offered("--v") == ["--version"]
    assert set(offered("log", "")) == set(log_group.commands)
    assert offered("log", "wh") == ["where"]
    assert {"--station", "--seat", "--set-up"} <= set(offered("log", "read", "lark", "drift", "--s"))
    assert offered("stance", "lark.toml", "--units", "") == ["in", "mm"]
    assert offered("completion", "") == list(SHELLS)


def test_no_name_of_a_command_imports_one() -> None:
    loaded = _answered("bash", "rollwright ", 1).loaded
    assert "click" in loaded
    assert not {name for name in loaded if name.startswith("rollwright.cli.") and "_command" in name}


@pytest.mark.parametrize(
    "words",
    [
        ("stance", ""),
        ("next", "lark.toml", "-r", ""),
        ("new", ""),
        ("log", "start", ""),
        ("log", "start", "--class", ""),
        ("log", "class", "lark", ""),
        ("log", "photo", "lark", ""),
        ("log", "import", ""),
        ("log", "where", "--log", ""),
    ],
)
def test_files_are_left_to_the_shell(words: tuple[str, ...]) -> None:
    assert [item.type for item in items(*words)] == ["file"]


@pytest.mark.parametrize("command", TAKES_A_CAR)
def test_every_command_of_a_car_completes_it(bench: Path, command: str) -> None:
    assert offered("log", command, "") == ["lark", "heron"]
    assert offered("log", command, "HE") == ["heron"]
    (bench / "bench.log").rename(bench / "club.log")
    assert offered("log", command, "") == []
    assert offered("log", command, "--log", "club.log", "") == ["lark", "heron"]
    assert offered("log", command, "--log=club.log", "") == ["lark", "heron"]


def test_a_recipe_is_of_a_car_of_the_log(bench: Path) -> None:
    assert bench.is_dir()
    assert offered("log", "start", "--recipe", "") == ["lark", "heron"]


def test_the_log_is_the_lines_then_the_environments_then_the_folders(
    bench: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    home = bench / "home"
    home.mkdir()
    wren = home / "wren.log"
    assert _run(["log", "start", "lark.toml", "--as", "wren", "--log", str(wren)]) == 0
    monkeypatch.setenv("ROLLWRIGHT_LOG", str(wren))
    assert offered("log", "where", "") == ["wren"]
    assert offered("log", "where", "--log", "bench.log", "") == ["lark", "heron"]
    monkeypatch.delenv("ROLLWRIGHT_LOG")
    assert offered("log", "where", "") == ["lark", "heron"]
    # A shell hands a ~ and a variable over as they are written.
    monkeypatch.setenv("HOME", str(home))
    monkeypatch.setenv("USERPROFILE", str(home))
    monkeypatch.setenv("CLUB", str(home))
    assert offered("log", "where", "--log", "~/wren.log", "") == ["wren"]
    assert offered("log", "where", "--log", "$CLUB/wren.log", "") == ["wren"]


def test_a_reading_is_completed_word_by_word(bench: Path) -> None:
    assert bench.is_dir()
    assert offered("log", "read", "lark", "") == [kind.value for kind in ReadingKind]
    assert "positive: left" in (hints("log", "read", "lark", "dr")["drift"] or "")
    read = ("log", "read", "lark", "daylight")
    assert offered(*read, "--station", "") == STATIONS
    assert offered(*read, "--station", "Front-l") == ["front_left"]
    assert offered(*read, "--plane", "") == ["cant", "sweep"]
    assert offered(*read, "--seat", "") == [seat.value for seat in Seat]
    assert offered(*read, "--dimension", "") == list(dimension_names())
    assert offered(*read, "--dimension", "body.") == ["body.width", "body.wheelbase"]
    assert offered(*read, "") == []


def test_a_move_is_completed_with_its_directions() -> None:
    did = ("log", "did", "lark")
    assert offered(*did, "") == ["bend", "turn", "sand", "washer", "shim"]
    assert offered(*did, "bend", "rear") == ["rear_left", "rear_right"]
    assert offered(*did, "bend", "front_left", "1.25", "deg", "") == ["more", "less"]
    assert offered(*did, "turn", "front_left", "14.5", "deg", "") == ["clockwise", "counter-clockwise"]
    assert offered(*did, "sand", "front_left", "0.46", "mm", "") == ["off"]
    assert offered(*did, "washer", "front_left", "0.25", "mm", "") == ["added", "removed"]
    assert offered(*did, "shim", "front_left", "0.3", "mm", "r") == ["removed"]
    assert offered(*did, "bend", "front_left", "1.25", "deg", "more", "") == []
    # In quotes the shell takes the amount for one word.
    assert offered(*did, "turn", "front_left", "14.5 deg c") == [
        "14.5 deg clockwise",
        "14.5 deg counter-clockwise",
    ]


def test_a_word_that_stands_alone_is_not_entered_unasked(bench: Path) -> None:
    assert bench.is_dir()
    assert offered("log", "did", "lark", "bend", "front_left", "") == []
    assert offered("log", "did", "lark", "bend", "front_left", "u") == ["unknown"]
    assert offered("log", "did", "lark", "bend", "front_left", "unknown", "") == []
    assert offered("log", "inspect", "lark", "lubricant", "") == []
    assert offered("log", "inspect", "lark", "lubricant", "n") == ["none"]


def test_what_was_drilled_fitted_weighed_and_seen_is_completed() -> None:
    assert offered("log", "drill", "lark", "") == [*STATIONS, "all"]
    assert offered("log", "pin", "lark", "") == STATIONS
    assert offered("log", "pin", "lark", "front_left", "") == ["cant", "sweep"]
    assert offered("log", "pin", "lark", "front_left", "cant", "") == ["none", "seen"]
    assert offered("log", "pin", "lark", "front_left", "cant", "0.15", "mm", "") == ["up", "down"]
    assert offered("log", "pin", "lark", "front_left", "Sweep", "0.15 mm f") == ["0.15 mm forward"]
    parts = ["wheel", "axle", "washer", "weight", "shield"]
    assert offered("log", "fit", "lark", "") == [*parts, "all"]
    assert offered("log", "leave-off", "lark", "") == parts
    assert offered("log", "fit", "lark", "axle", "") == STATIONS
    assert offered("log", "fit", "lark", "weight", "") == []
    assert set(offered("log", "weigh", "lark", "")) == {"whole", "front", "rear", *STATIONS}
    rolled = [seen.value for seen in SlowRollSeen]
    assert hints("log", "roll", "lark", "").keys() == {*rolled}
    assert hints("log", "roll", "lark", "ho") == {"holds": "it held the rail"}
    assert offered("log", "gate", "lark", "") == ["drill", "trim", "inspect"]
    assert offered("balance", "lark.toml", "--wheel", "front") == ["front_left", "front_right"]


def test_an_inspection_is_completed() -> None:
    rules = [rule.value for rule in Rule if rule is not Rule.MASS]
    assert offered("log", "inspect", "lark", "") == rules
    assert offered("log", "inspect", "lark", "bent_axles", "") == ["straight", "bent"]
    assert offered("log", "inspect", "lark", "aerodynamic_parts", "") == ["none", "fitted"]
    assert offered("log", "inspect", "lark", "weight_behind", "3", "mm", "") == ["past", "short"]
    assert offered("log", "inspect", "lark", "wheel_diameter", "30", "--station", "re") == STATIONS[:2]
    assert offered("log", "inspect", "lark", "width", "") == []


def test_the_weights_of_a_car_file_are_completed(bench: Path) -> None:
    assert offered("ballast", "lark.toml", "--without", "") == ["slug"]
    assert offered("ballast", "lark.toml", "pockets.toml", "--without", "s") == ["slug"]
    assert offered("ballast", "gone.toml", "--without", "") == []
    assert offered("ballast", "--without", "") == []
    (bench / "lark.toml").write_text("weights = ", encoding="utf-8")
    assert offered("ballast", "lark.toml", "--without", "") == []


def test_an_undo_offers_what_can_be_undone_newest_first(bench: Path) -> None:
    assert bench.is_dir()
    found = hints("log", "undo", "Lark", "")
    # 1 is the start, 4 was withdrawn by 5.
    assert list(found) == ["6", "3"]
    assert found["6"] == "slow roll: it held the rail"
    assert (found["3"] or "").startswith("bend at front left, 1.25° more, as asked (on the jig: with")
    assert max(len(hint or "") for hint in found.values()) <= 70
    assert offered("log", "undo", "lark", "3") == ["3"]
    assert offered("log", "undo", "heron", "") == []
    assert offered("log", "undo", "gone", "") == []


def test_each_entry_that_is_offered_can_be_undone_and_no_other(bench: Path) -> None:
    hinted = [entry.seq for entry in entry_hints(bench / "bench.log", "lark")]
    for number in (1, 2, 3, 4, 5, 6):
        log = bench / f"{number}.log"
        shutil.copy(bench / "bench.log", log)
        code = _run(["log", "undo", "lark", str(number), "--because", "x", "--log", str(log)])
        assert code == (0 if number in hinted else 2), number


def test_a_log_that_is_not_there_has_no_cars(bench: Path) -> None:
    assert car_ids(bench / "bench.log") == ("lark", "heron")
    with pytest.raises(InputError, match="there is no such log"):
        car_ids(bench / "gone.log")


class Answered:
    """How a process answered a shell."""

    def __init__(self, done: subprocess.CompletedProcess[str]) -> None:
        self.code, self.out = done.returncode, done.stdout
        self.err, _, names = done.stderr.partition("loaded:")
        self.loaded = set(names.split())


def _answered(shell: str, words: str, at: int, **more: str) -> Answered:
    """Ask a fresh interpreter as a shell does, and note what it loaded."""
    tell = (
        "import atexit, sys; atexit.register(lambda: sys.stderr.write('loaded:' + ' '.join(sys.modules))); "
    )
    asked = {"_ROLLWRIGHT_COMPLETE": f"{shell}_complete", "COMP_WORDS": words, "COMP_CWORD": str(at)}
    if shell == "fish":
        asked["COMP_CWORD"] = words.rpartition(" ")[2]
    done = subprocess.run(
        [sys.executable, "-c", f"{tell}from rollwright.cli import main; main()"],
        capture_output=True,
        check=False,
        env={**os.environ, **asked, **more},
        encoding="utf-8",
    )
    return Answered(done)


@pytest.mark.parametrize("shell", SHELLS)
def test_a_shell_is_answered_in_its_own_form(bench: Path, shell: str) -> None:
    assert bench.is_dir()
    found = _answered(shell, "rollwright log undo lark ", 4)
    assert found.code == 0
    assert found.err == ""
    assert not {name.partition(".")[0] for name in found.loaded} & HEAVY
    bend = "bend at front left, 1.25° more, as asked (on the jig: with the ..."
    forms = {
        "bash": ["plain,6", "plain,3"],
        "zsh": ["plain", "6", "slow roll: it held the rail", "plain", "3", bend],
        "fish": ["plain,6\tslow roll: it held the rail", f"plain,3\t{bend}"],
    }
    assert found.out.splitlines() == forms[shell]


@pytest.mark.parametrize(
    "words",
    [
        "rollwright log read lark ",
        "rollwright log read lark size --dimension ",
        "rollwright log inspect lark ",
        "rollwright ballast lark.toml --without ",
    ],
)
def test_nothing_heavy_is_loaded_to_complete(bench: Path, words: str) -> None:
    assert bench.is_dir()
    found = _answered("bash", words, len(words.split()))
    assert found.out.startswith("plain,")
    assert not {name.partition(".")[0] for name in found.loaded} & HEAVY


def _texts(bench: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(bench.iterdir()) if path.is_file()}


def test_a_log_is_only_looked_at(bench: Path) -> None:
    before = _texts(bench)
    offered("log", "where", "")
    offered("log", "undo", "lark", "")
    assert _texts(bench) == before


def _spoilt(bench: Path, how: str) -> None:
    log = bench / "bench.log"
    if how == "cut":
        log.write_bytes(log.read_bytes()[:5000])
    elif how == "empty":
        log.write_bytes(b"")
    elif how == "text":
        log.write_text("not a log\n" * 1000, encoding="utf-8")
    elif how == "gone":
        log.unlink()
    elif how == "folder":
        log.unlink()
        log.mkdir()
    elif how == "foreign":
        log.unlink()
        with closing(sqlite3.connect(log)) as other, other:
            other.execute("CREATE TABLE entry (seq, car)")
            other.execute("INSERT INTO entry VALUES (1, 'lark')")
    elif how == "changed":
        with closing(sqlite3.connect(log)) as other, other:
            for (name,) in other.execute("SELECT name FROM sqlite_schema WHERE type = 'trigger'").fetchall():
                other.execute(f"DROP TRIGGER {name}")
            other.execute("UPDATE entry SET author = 'nobody'")


@pytest.mark.parametrize("how", ["cut", "empty", "text", "gone", "folder", "foreign", "changed"])
def test_trouble_is_silent_and_makes_nothing(
    bench: Path, how: str, capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    _spoilt(bench, how)
    before = _texts(bench)
    capfd.readouterr()
    for name, value in (
        ("_ROLLWRIGHT_COMPLETE", "zsh_complete"),
        ("COMP_WORDS", "rollwright log undo lark "),
        ("COMP_CWORD", "4"),
    ):
        monkeypatch.setenv(name, value)
    with pytest.raises(SystemExit) as left:
        _run([])
    assert left.value.code == 0
    found = capfd.readouterr()
    assert found.out.strip() == ""
    assert found.err == ""
    # The ids are read without a look at the entries.
    assert offered("log", "where", "") == (["lark", "heron"] if how == "changed" else [])
    assert _texts(bench) == before


def test_a_log_that_another_program_keeps_is_not_waited_for(bench: Path) -> None:
    with closing(sqlite3.connect(bench / "bench.log", isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        began = time.monotonic()
        assert offered("log", "where", "") == []
        # A command waits five seconds.
        assert time.monotonic() - began < 4.0
        other.execute("ROLLBACK")
    assert offered("log", "where", "") == ["lark", "heron"]


def test_what_no_command_takes_completes_to_nothing() -> None:
    assert offered("log", "did", "lark", "paint", "front_left", "1", "") == []
    assert offered("log", "pin", "lark", "front_left", "askew", "1", "") == []
    assert offered("log", "inspect", "lark", "colour", "") == []


def test_the_script_is_clicks_and_says_where_it_belongs(capsys: pytest.CaptureFixture[str]) -> None:
    places = {
        "bash": "~/.local/share/bash-completion/completions/rollwright",
        "zsh": "~/.zfunc/_rollwright",
        "fish": "~/.config/fish/completions/rollwright.fish",
    }
    for shell, place in places.items():
        assert _run(["completion", shell]) == 0
        script = capsys.readouterr().out
        assert f"_ROLLWRIGHT_COMPLETE={shell}_complete" in script
        assert f"\n# Turn it on with: rollwright completion {shell} > {place}\n" in script
    assert _run(["completion", "zsh"]) == 0
    # zsh reads the first line of a function's file.
    assert capsys.readouterr().out.startswith("#compdef rollwright\n")
    assert _run(["completion", "csh"]) == 2


def _command(folder: Path) -> dict[str, str]:
    """Return an environment in which a shell finds this very command by its name."""
    there = folder / "bin"
    there.mkdir()
    file = there / "rollwright"
    file.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m rollwright "$@"\n', encoding="utf-8")
    file.chmod(0o755)
    return {**os.environ, "PATH": f"{there}{os.pathsep}{os.environ['PATH']}"}


@pytest.mark.skipif(shutil.which("bash") is None, reason="there is no bash here")
@pytest.mark.skipif(os.name == "nt", reason="its own shells are others")
def test_a_real_bash_completes(bench: Path) -> None:
    asked = """
        source <(rollwright completion bash)
        complete -p rollwright
        for words in 'log undo lark' 'log where' 'log undo gone'; do
            COMP_WORDS=(rollwright $words "") COMP_CWORD=$((${#COMP_WORDS[@]} - 1)) COMPREPLY=()
            _rollwright_completion rollwright
            echo "${COMPREPLY[@]}"
        done
    """
    done = subprocess.run(
        ["bash", "--norc", "-c", asked],  # noqa: S607 - whichever bash there is
        capture_output=True,
        check=True,
        cwd=bench,
        env=_command(bench),
        encoding="utf-8",
    )
    assert done.stderr == ""
    first, *rest = done.stdout.splitlines()
    assert first.endswith("-F _rollwright_completion rollwright")
    assert rest == ["6 3", "lark heron", ""]


@pytest.mark.skipif(shutil.which("zsh") is None, reason="there is no zsh here")
def test_a_real_zsh_takes_the_script(bench: Path) -> None:
    asked = "autoload -U compinit; compinit -D; source <(rollwright completion zsh); echo $_comps[rollwright]"
    done = subprocess.run(
        ["zsh", "-f", "-c", asked],  # noqa: S607 - whichever zsh there is
        capture_output=True,
        check=True,
        cwd=bench,
        env=_command(bench),
        encoding="utf-8",
    )
    assert done.stdout.splitlines()[-1] == "_rollwright_completion"


@pytest.mark.skipif(shutil.which("fish") is None, reason="there is no fish here")
def test_a_real_fish_completes(bench: Path) -> None:
    asked = "rollwright completion fish | source; complete --do-complete 'rollwright log where '"
    done = subprocess.run(
        ["fish", "--no-config", "-c", asked],  # noqa: S607 - whichever fish there is
        capture_output=True,
        check=True,
        cwd=bench,
        env=_command(bench),
        encoding="utf-8",
    )
    assert set(done.stdout.split()) == {"lark", "heron"}

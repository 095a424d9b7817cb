"""The documentation is run: its Python, its commands, its links, its lists of keys and its constants."""

from __future__ import annotations

import contextlib
import doctest
import importlib
import io
import json
import re
import shlex
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import click
import pytest

from rollwright.car import Station, dimension_names
from rollwright.cli.app import _COMMANDS, _run, cli
from rollwright.errors import UnreadableQuantity
from rollwright.judge import State
from rollwright.scenario.club import club_files
from rollwright.units import Kind, parse

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"
PAGES = tuple(sorted(DOCS.glob("*.md")))
DECISIONS = tuple(sorted((DOCS / "decisions").glob("*.md")))
README = ROOT / "README.md"
COLUMNS = 78

BLOCK_READING = """\
format = 1

[[reading]]
kind = "block_offset"
value = 0.7
uncertainty = 0.04
"""


@dataclass(frozen=True)
class Block:
    """A fenced block of a page: the words after its fence, its text, and the line it begins on."""

    words: tuple[str, ...]
    text: str
    line: int

    @property
    def language(self) -> str:
        return self.words[0] if self.words else ""


def blocks(page: Path) -> list[Block]:
    """Return the fenced blocks of a page in order."""
    found, words, inside, start = [], None, [], 0
    for number, line in enumerate(page.read_text(encoding="utf-8").splitlines(), start=1):
        if not line.startswith("```"):
            inside.append(line)
        elif words is None:
            words, inside, start = tuple(line[3:].split()), [], number + 1
        else:
            found.append(Block(words, "\n".join(inside), start))
            words = None
    assert words is None, f"{page.name}: a block is not closed"
    return found


def _prose(page: Path) -> str:
    """Return a page without its fenced blocks."""
    return re.sub(r"^```.*?^```$", "", page.read_text(encoding="utf-8"), flags=re.DOTALL | re.MULTILINE)


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Stand in a folder that holds the demo club's files, before a terminal of known width."""
    for name, text in club_files().items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", str(COLUMNS))
    monkeypatch.delenv("ROLLWRIGHT_UNITS", raising=False)
    return tmp_path


def _called(*arguments: str) -> tuple[int, str]:
    """Return the exit code of a command and what a terminal would show of it."""
    raw = io.BytesIO()
    shown = io.TextIOWrapper(raw, encoding="utf-8", write_through=True)
    with contextlib.redirect_stdout(shown), contextlib.redirect_stderr(shown):
        code = _run(list(arguments))
    shown.flush()
    return code, raw.getvalue().decode()


def _agrees(expected: list[str], real: list[str]) -> bool:
    """Return whether lines are the expected ones, where a line of three dots stands for any number."""
    if "..." not in expected:
        return expected == real
    at = expected.index("...")
    if expected[:at] != real[:at]:
        return False
    rest = expected[at + 1 :]
    return any(_agrees(rest, real[start:]) for start in range(at, len(real) + 1))


def _trimmed(text: str) -> list[str]:
    return [line.rstrip() for line in text.rstrip().splitlines()]


def check_console(block: Block) -> None:
    """Run the commands of a block in order and compare what they print."""
    parts = re.split(r"^\$ (.*)$", block.text, flags=re.MULTILINE)
    assert not parts[0].strip(), f"line {block.line}: a console block begins with a command"
    code = 0
    for command, expected in zip(parts[1::2], parts[2::2], strict=True):
        words = shlex.split(command)
        if words == ["echo", "$?"]:
            printed = f"{code}\n"
        else:
            assert words[0] == "rollwright", f"line {block.line}: only rollwright is run, not {command}"
            code, printed = _called(*words[1:])
        wanted, real = _trimmed(expected.removeprefix("\n")), _trimmed(printed)
        assert _agrees(wanted, real), f"line {block.line}: {command} prints\n{printed}"


def check_python(block: Block, names: dict[str, Any], page: Path) -> str:
    """Run a block in a page's namespace and return what it prints."""
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed):
        if block.text.lstrip().startswith(">>>"):
            test = doctest.DocTestParser().get_doctest(
                block.text, names, page.name, str(page), block.line - 1
            )
            assert doctest.DocTestRunner().run(test, clear_globs=False).failed == 0, printed.getvalue()
        else:
            # The empty lines make a traceback name the line of the page.
            code = compile("\n" * (block.line - 1) + block.text, str(page), "exec")
            exec(code, names)  # noqa: S102 - the page's own examples
    return printed.getvalue()


def _has_code(page: Path) -> bool:
    return any(block.language in {"python", "console"} for block in blocks(page))


@pytest.mark.parametrize("page", [page for page in PAGES if _has_code(page)], ids=lambda page: page.name)
def test_a_page_does_what_it_shows(page: Path, bench: Path) -> None:
    assert bench.is_dir()
    names: dict[str, Any] = {"__name__": "__main__"}
    printed = ""
    for block in blocks(page):
        if block.language == "python":
            printed = check_python(block, names, page)
        elif block.language == "console":
            check_console(block)
        elif block.words == ("text", "output"):
            assert _agrees(_trimmed(block.text), _trimmed(printed)), f"line {block.line}:\n{printed}"


def test_a_page_that_shows_something_else_is_caught(bench: Path) -> None:
    assert bench.is_dir()
    with pytest.raises(AssertionError, match="prints"):
        check_console(Block(("console",), "$ rollwright stance lark.toml\nHeron\n...", 1))
    with pytest.raises(AssertionError, match="prints"):
        check_console(Block(("console",), "$ rollwright stance gone.toml\n...\n$ echo $?\n0", 1))
    with pytest.raises(AssertionError, match="only rollwright"):
        check_console(Block(("console",), "$ ls", 1))
    with pytest.raises(ZeroDivisionError):
        check_python(Block(("python",), "1 / 0", 1), {}, README)
    assert not _agrees(["a", "...", "c"], ["a", "b"])
    assert _agrees(["a", "...", "c"], ["a", "b", "b", "c"])


def _slug(heading: str) -> str:
    """Return the anchor that a heading gets on a page as it is shown."""
    text = re.sub(r"[`*]|\[|\]\([^)]*\)", "", heading).strip().lower()
    return re.sub(r"[^\w\- ]", "", text).replace(" ", "-")


@cache
def _anchors(page: Path) -> frozenset[str]:
    return frozenset(_slug(line) for line in re.findall(r"^#+ (.*)$", _prose(page), flags=re.MULTILINE))


def _links(page: Path) -> Iterator[str]:
    text = re.sub(r"`[^`]*`", "", _prose(page))
    for target in re.findall(r"\]\(([^)\s]+)(?:\s+\"[^\"]*\")?\)|<img[^>]* src=\"([^\"]+)\"", text):
        link = target[0] or target[1]
        if not re.match(r"[a-z]+:", link):
            yield link


LINKED = (*PAGES, *DECISIONS, README)


@pytest.mark.parametrize("page", LINKED, ids=lambda page: page.name)
def test_links_lead_somewhere(page: Path) -> None:
    if page == README and not page.exists():
        pytest.skip("there is no README yet")
    broken = []
    for link in _links(page):
        file, _, anchor = link.partition("#")
        target = (page.parent / file).resolve() if file else page
        if not target.exists() or (anchor and target.suffix == ".md" and anchor not in _anchors(target)):
            broken.append(link)
    assert broken == []


def test_the_contents_name_every_page() -> None:
    index = DOCS / "index.md"
    linked = {link.partition("#")[0] for link in _links(index)}
    assert {page.name for page in PAGES} - {"index.md"} <= linked


def test_decisions_have_numbers_of_their_own_and_say_context_choice_and_price() -> None:
    numbers = [page.name[:4] for page in DECISIONS]
    assert len(set(numbers)) == len(numbers) > 0
    for page in DECISIONS:
        text = page.read_text(encoding="utf-8")
        assert re.fullmatch(r"\d{4}-[a-z0-9-]+\.md", page.name), page.name
        assert text.startswith(f"# {page.name[:4]} "), page.name
        headings = re.findall(r"^## (.*)$", text, flags=re.MULTILINE)
        assert headings[:3] == ["Context", "Choice", "Price"], page.name


def _sections(page: Path) -> Mapping[str, str]:
    """Return the text under each second-level heading of a page."""
    parts = re.split(r"^## (.*)$", page.read_text(encoding="utf-8"), flags=re.MULTILINE)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


def _rows(text: str) -> list[list[str]]:
    """Return the cells of all table rows in a text, heads and rules left out."""
    lines = [line.strip() for line in text.splitlines() if line.startswith("|")]
    heads = {first for first, second in pairwise(lines) if set(second) <= set("|-: ")}
    return [
        [cell.strip() for cell in re.split(r"(?<!\\)\|", line.strip("|"))]
        for line in lines
        if line not in heads and not set(line) <= set("|-: ")
    ]


_STANDS_FOR = {
    "stations": "<station>",
    "loads": "<station>",
    "seats": "<station>",
    "estimate": "<dimension>",
    "verdicts": "<gate>",
    "predicted": "<quantity>",
    "block_corrections": "<reading>",
}


def _keys(found: object, path: str = "", inside: str = "") -> Iterator[str]:
    """Return the dotted keys of JSON, placeholders for the names of things and `[]` for each of a list."""
    if isinstance(found, Mapping):
        for key, value in found.items():
            named = inside in _STANDS_FOR and key != "joint_probability"
            shown = _STANDS_FOR[inside] if named else str(key)
            yield from _keys(value, f"{path}.{shown}" if path else shown, "" if named else str(key))
    elif isinstance(found, list) and any(isinstance(part, Mapping) for part in found):
        for part in found:
            yield from _keys(part, f"{path}[]")
    else:
        yield path


def _all_keys(answers: list[dict[str, Any]]) -> set[str]:
    keys = {key for answer in answers for key in _keys(answer)}
    # An empty list or table on one car shows its members on another.
    return {key for key in keys if not any(other.startswith((f"{key}[]", f"{key}.")) for other in keys)}


def _json(*arguments: str) -> dict[str, Any]:
    code, printed = _called(*arguments, "--json")
    assert code < 2, printed
    found: dict[str, Any] = json.loads(printed)
    return found


@pytest.fixture
def answers(bench: Path) -> Mapping[str, list[dict[str, Any]]]:
    """Return what each command answers of the club's cars, one of them also read on a centring block."""
    (bench / "block.toml").write_text(BLOCK_READING, encoding="utf-8")
    cars = ("lark", "heron", "bittern")
    return {
        "stance": [_json("stance", f"{car}.toml") for car in cars],
        "next": [
            *(_json("next", f"{car}.toml", "-r", f"{car}-readings.toml") for car in cars),
            _json("next", "lark.toml", "-r", "block.toml", "--track", "track-tannery.toml"),
        ],
        "ballast": [
            *(
                _json("ballast", "lark.toml", "lark-pockets.toml", "--without", "slug", "--limit", "140", *at)
                for at in (("--centre", "38"), (), ("--centre", "20"))
            ),
            _json("ballast", "lark.toml", "lark-pockets.toml", "--limit", "130"),
        ],
        "balance": [
            _json("balance", "lark.toml", "--whole", "137.8", "--limit", "140"),
            _json("balance", "heron.toml"),
        ],
        "new": [_json("new", "wren.toml")],
        "demo": [_json("demo", "club")],
    }


def _listed(command: str) -> list[str]:
    text = _sections(DOCS / "json-output.md")[f"`rollwright {command} --json`"]
    return [cells[0].strip("`") for cells in _rows(text)]


@pytest.mark.parametrize("command", ["stance", "next", "balance", "ballast", "new"])
def test_the_keys_of_the_json_are_those_that_are_listed(
    answers: Mapping[str, list[dict[str, Any]]], command: str
) -> None:
    listed = _listed(command)
    assert len(set(listed)) == len(listed)
    assert set(listed) == _all_keys(answers[command])


def test_the_demos_json_is_made_of_the_others(answers: Mapping[str, list[dict[str, Any]]]) -> None:
    (demo,) = answers["demo"]
    assert list(demo) == _listed("demo")
    assert demo["stance"] == answers["stance"][0]
    assert {"name": "Lark", **demo["next"]} == answers["next"][0]


def test_every_key_of_the_json_is_explained_with_unit_and_sign() -> None:
    for name, command in _commands().items():
        if not any("--json" in parameter.opts for parameter in command.params):
            continue
        for cells in _rows(_sections(DOCS / "json-output.md")[f"`rollwright {name} --json`"]):
            assert len(cells) == 4, cells
            assert all(cells), cells


def test_the_words_that_the_json_uses_are_named() -> None:
    words = importlib.import_module("rollwright.setup.outcome").MoveKind
    kinds = importlib.import_module("rollwright.setup.readings").ReadingKind
    page = (DOCS / "json-output.md").read_text(encoding="utf-8")
    named = {*re.findall(r"`([^`\n]+)`", page)}
    assert {member.value for each in (words, kinds, State, Station) for member in each} <= named
    assert {name.rpartition(".")[2] for name in dimension_names()} <= {
        name.rpartition(".")[2] for name in named
    }


def _commands() -> Mapping[str, click.Command]:
    found = {}
    with click.Context(cli) as context:
        for name in cli.list_commands(context):
            command = cli.get_command(context, name)
            assert command is not None
            found[name] = command
    return found


@pytest.mark.parametrize("name", _COMMANDS)
def test_a_command_is_described_with_its_help_and_every_option(name: str) -> None:
    command = _commands()[name]
    section = _sections(DOCS / "command-line.md")[f"`rollwright {name}`"]
    assert f"\n$ rollwright {name} --help\n" in section
    prose = re.sub(r"^```.*?^```$", "", section, flags=re.DOTALL | re.MULTILINE)
    said = (command.help or "").split("\n\n")
    assert said[0] == _COMMANDS[name]
    for parameter in command.params:
        if isinstance(parameter, click.Option):
            assert parameter.help, parameter.name
            assert all(f"`{option}" in prose for option in parameter.opts), parameter.opts
        else:
            metavar = (parameter.name or "").upper()
            assert metavar in " ".join(said[1:]), metavar
            assert f"`{metavar}`" in prose, metavar


def test_the_command_itself_and_its_version_are_described() -> None:
    page = (DOCS / "command-line.md").read_text(encoding="utf-8")
    assert "\n$ rollwright --help\n" in page
    assert "\n$ rollwright --version\n" in page
    assert all(f"`{option}`" in page for option in ("ROLLWRIGHT_UNITS", "--version", "-h"))


def _constant(file: str, name: str) -> object:
    module = importlib.import_module("rollwright." + file.removesuffix(".py").replace("/", "."))
    head, _, field = name.partition(".")
    found = getattr(module, head)
    return getattr(found(), field) if field else found


def _value(written: str) -> float:
    """Return a number in SI units, whatever its kind."""
    for kind in (Kind.RATIO, Kind.LENGTH, Kind.ANGLE):
        with contextlib.suppress(UnreadableQuantity):
            return parse(written, kind=kind)
    raise AssertionError(f"{written} is no value")


def test_the_constants_that_are_named_are_those_of_the_code() -> None:
    rows = _rows(_sections(DOCS / "next-move.md")["Numbers that are judgement, and where they live"])
    assert len(rows) > 10
    for file, name, written, why in rows:
        value = _constant(file.strip("`"), name.strip("`"))
        # A whole table of values is shown on a page of its own.
        if not written.startswith("see "):
            assert value == pytest.approx(_value(written), rel=1e-12), name
        assert why

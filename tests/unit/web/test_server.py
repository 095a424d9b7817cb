"""The bench as a program: where it listens, what it prints, and how it ends."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import urllib.request
import webbrowser
from dataclasses import replace
from pathlib import Path

import pytest
import uvicorn
from starlette.applications import Starlette

from rollwright.errors import InputError
from rollwright.units import System
from rollwright.web import server
from rollwright.web.app import make_app

_RUN = "from rollwright.cli.bench_command import command; command()"


@pytest.mark.skipif(sys.platform == "win32", reason="Ctrl-C reaches a process in another way there")
def test_it_says_where_it_is_and_ends_cleanly(tmp_path: Path) -> None:
    with subprocess.Popen(
        [sys.executable, "-c", _RUN, "--no-browser", "--port", "0", "--folder", str(tmp_path)],
        cwd=tmp_path,
        env={**os.environ, "XDG_STATE_HOME": str(tmp_path / "state")},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as running:
        assert running.stdout is not None
        said = running.stdout.readline()
        found = re.search(r"(http://127\.0\.0\.1:\d+)/pair#t=[\w-]{43}\b", said)
        assert found, said
        with urllib.request.urlopen(f"{found[1]}/pair", timeout=10) as answer:  # noqa: S310 - our own
            assert answer.status == 200
            assert answer.headers["Cache-Control"] == "no-store"
            assert "server" not in {name.lower() for name in answer.headers}
        running.send_signal(signal.SIGINT)
        rest, wrong = running.communicate(timeout=15)
    assert running.returncode == 0, wrong
    assert rest.splitlines()[-1] == "The bench is closed."
    assert wrong == ""
    assert not (tmp_path / "bench.log").exists()


def asked(folder: Path, told: list[str], **more: object) -> server.Asked:
    usual = server.Asked(
        log=folder / "bench.log",
        folder=folder,
        state=folder / "state",
        port=0,
        lan=False,
        browser=False,
        entry_words=lambda entry, _: entry.event.kind,
        units=System.METRIC,
        author="Ada",
        tell=told.append,
    )
    return replace(usual, **more)  # type: ignore[arg-type]


@pytest.fixture
def runs(monkeypatch: pytest.MonkeyPatch) -> list[list[str]]:
    """Return the addresses that are listened on, one list for each start, without answering anybody."""
    found: list[list[str]] = []

    def run(_: object, sockets: list[socket.socket]) -> None:
        found.append([each.getsockname()[0] for each in sockets])

    monkeypatch.setattr(uvicorn.Server, "run", run)
    return found


def test_by_itself_only_this_machine_is_listened_to(tmp_path: Path, runs: list[list[str]]) -> None:
    told: list[str] = []
    server.serve(asked(tmp_path, told))
    assert runs == [["127.0.0.1"]]
    assert "code" not in " ".join(told)


def test_in_the_house_each_address_is_listened_on_by_itself(
    tmp_path: Path, runs: list[list[str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    # Another address of this machine's own stands for one of the house.
    monkeypatch.setattr(server, "private_addresses", lambda: ("127.0.0.2",))
    made: list[Starlette] = []
    make = make_app

    def kept(*given: object, **more: object) -> Starlette:
        made.append(make(*given, **more))  # type: ignore[arg-type]
        return made[-1]

    monkeypatch.setattr(server, "make_app", kept)
    told: list[str] = []
    server.serve(asked(tmp_path, told, lan=True, names=("Shed",)))
    assert runs == [["127.0.0.1", "127.0.0.2"]]
    text = "\n".join(told)
    assert "0.0.0.0" not in text  # noqa: S104 - it must not be there
    assert re.search(r"Code for pairing by hand: \d{4} \d{4}", text)
    assert "█" in text or "▀" in text
    assert "no encryption" in text
    hosts = made[0].state.bench.settings.hosts
    assert hosts == {"localhost", "127.0.0.1", "[::1]", "127.0.0.2", "shed"}


def test_a_browser_is_opened_with_a_link_and_the_link_is_not_printed(
    tmp_path: Path, runs: list[list[str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    links: list[str] = []

    def browse(link: str) -> bool:
        links.append(link)
        return True

    monkeypatch.setattr(webbrowser, "open", browse)
    told: list[str] = []
    server.serve(asked(tmp_path, told, browser=True))
    assert runs
    assert "/pair#t=" in links[0]
    assert "#t=" not in "\n".join(told)


def test_a_folder_that_cannot_be_written_is_said(tmp_path: Path, runs: list[list[str]]) -> None:
    (tmp_path / "state").write_text("in the way", encoding="utf-8")
    with pytest.raises(InputError, match="paired devices"):
        server.serve(asked(tmp_path, []))
    assert runs == []

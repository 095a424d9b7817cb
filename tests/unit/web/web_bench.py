"""A bench for the tests of its pages: a log with one car of the demo club, and a browser that is paired."""

from __future__ import annotations

import secrets
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.applications import Starlette
from starlette.testclient import TestClient

from rollwright.cli.bench_command import said
from rollwright.cli.bench_verbs import VERBS
from rollwright.scenario.club import file_text
from rollwright.web.app import make_app
from rollwright.web.pairing import Pairing
from rollwright.web.settings import API_VERSION, Settings

PORT = 8573
HERE = f"http://127.0.0.1:{PORT}"


class Clock:
    """A clock that a test moves."""

    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


class WebBench:
    """The application, its parts, and what it told whoever runs it."""

    def __init__(self, folder: Path, **more: Any) -> None:
        self.folder = folder
        self.log = folder / "bench.log"
        self.told: list[str] = []
        self.clock = Clock()
        self.pairing = Pairing(tell=self.told.append, clock=self.clock)
        self.settings = Settings(
            log=self.log,
            folder=folder,
            state=folder / "state",
            port=PORT,
            verbs=VERBS,
            entry_words=said,
            author="Ada",
            tell=self.told.append,
        )
        self.app: Starlette = make_app(self.settings, pairing=self.pairing, **{"rate": 1e6, **more})
        self.bench = self.app.state.bench

    def stranger(self, **more: Any) -> TestClient:
        """Return a browser that is not paired."""
        return TestClient(
            self.app,
            base_url=HERE,
            headers={"Origin": HERE},
            follow_redirects=False,
            client=("127.0.0.1", 50000),
            **more,
        )

    def paired(self, name: str = "Ada") -> TestClient:
        """Return a browser that is paired."""
        client = self.stranger()
        answer = client.post("/api/pair", json={"token": self.pairing.link_token(), "name": name})
        assert answer.status_code == 201
        return client

    def body(self, verb: str, *words: str, **more: Any) -> dict[str, Any]:
        """Return what a page posts to enter something."""
        usual = {"id": secrets.token_hex(16), "bench": self.bench.id, "version": API_VERSION}
        return {**usual, "verb": verb, "words": list(words), "options": {}, **more}


@pytest.fixture
def web(tmp_path: Path) -> Iterator[WebBench]:
    (tmp_path / "lark.toml").write_text(file_text("lark.toml"), encoding="utf-8")
    (tmp_path / "class-open.toml").write_text(file_text("class-open.toml"), encoding="utf-8")
    made = WebBench(tmp_path)
    yield made
    made.bench.state.close()


@pytest.fixture
def ada(web: WebBench) -> TestClient:
    """A paired browser at a bench with a car."""
    client = web.paired()
    started = client.post(
        "/api/cars",
        json={
            "id": secrets.token_hex(16),
            "bench": web.bench.id,
            "version": API_VERSION,
            "file": "lark.toml",
        },
    )
    assert started.status_code == 201, started.text
    return client

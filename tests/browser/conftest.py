"""A real bench and a real browser; without the browser these tests say so and are left out."""

from __future__ import annotations

import secrets
import shutil
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
import uvicorn

from rollwright.cli.bench_command import said
from rollwright.cli.bench_verbs import VERBS
from rollwright.scenario.club import file_text
from rollwright.units import System
from rollwright.web.app import make_app
from rollwright.web.pairing import Pairing
from rollwright.web.server import listen
from rollwright.web.settings import Settings
from rollwright.workbench import log as logs
from rollwright.workbench import log_past
from rollwright.workbench.log_parts import fit_all
from rollwright.workbench.log_reading import read as enter_reading

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or ""
ARGUMENTS = [
    *("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
    # As if another site's name pointed at this machine.
    "--host-resolver-rules=MAP evil.example 127.0.0.1",
]


class LiveBench:
    """A bench that listens, with one car that has been read."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.log = folder / "bench.log"
        (folder / "lark.toml").write_text(file_text("lark.toml"), encoding="utf-8")
        self.socket = listen(0, ["127.0.0.1"])[0]
        self.port = int(self.socket.getsockname()[1])
        self.url = f"http://127.0.0.1:{self.port}"
        self.pairing = Pairing(tell=lambda _: None)
        self.code = self.pairing.new_code()
        self.told: list[str] = []
        settings = Settings(
            log=self.log,
            folder=folder,
            state=folder / "state",
            port=self.port,
            verbs=VERBS,
            entry_words=said,
            author="Ada",
            tell=self.told.append,
        )
        self.settings = replace(settings, units=System.METRIC)
        self.app = make_app(self.settings, pairing=self.pairing)
        config = uvicorn.Config(self.app, log_level="critical", lifespan="on", ws="none")
        self.server = uvicorn.Server(config)
        self.thread = threading.Thread(target=self.server.run, kwargs={"sockets": [self.socket]}, daemon=True)

    def start(self) -> None:
        """Start it, with a car whose next step is a move."""
        logs.start(self.log, self.folder / "lark.toml", car=None, stamp=self.stamp())
        self.enter("read", "level", "0.35 mm")
        fit_all(self.log, "lark", stamp=self.stamp())
        self.enter("read", "drift", "97 mm right")
        self.enter("read", "centre", "0.5 mm")
        self.thread.start()
        while not self.server.started:
            time.sleep(0.02)

    def stop(self) -> None:
        """Stop it."""
        self.server.should_exit = True
        self.thread.join(10.0)

    @staticmethod
    def stamp() -> logs.Stamp:
        """Return who enters something now, beside the browser."""
        return logs.Stamp(time=datetime.now(UTC), author="Odo", event_id=secrets.token_hex(16))

    def enter(self, verb: str, kind: str, value: str) -> None:
        """Enter a reading from elsewhere."""
        assert verb == "read"
        enter_reading(self.log, "lark", kind, [value], {}, stamp=self.stamp())

    def words(self) -> list[str]:
        """Return what was entered, as data in short."""
        return [
            f"{each.event.kind} {each.event.as_plain().get('values', each.event.as_plain().get('text', ''))}"
            for each in log_past.history(self.log, "lark").entries
        ]


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    try:
        from playwright.sync_api import sync_playwright  # noqa: PLC0415 - may be missing
    except ImportError:
        pytest.skip("playwright is not installed: pip install rollwright[test]")
    if not CHROMIUM:
        pytest.skip("no chromium on this machine: install Debian's package chromium")
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield opened
        opened.close()


@pytest.fixture
def live(tmp_path: Path) -> Iterator[LiveBench]:
    made = LiveBench(tmp_path)
    made.start()
    yield made
    made.stop()


Opened = Callable[..., "Page"]


@pytest.fixture
def opened(browser: Browser, live: LiveBench) -> Iterator[Opened]:
    """Return what opens a page in a paired browser; it asks for nothing elsewhere, and no script fails."""
    contexts: list[BrowserContext] = []
    asked: list[str] = []
    faults: list[str] = []

    def new(path: str = "/cars/lark", *, width: int = 390, height: int = 844, **more: Any) -> Page:
        context = browser.new_context(viewport={"width": width, "height": height}, **more)
        context.set_default_timeout(8000)
        contexts.append(context)
        page = context.new_page()
        page.on("request", lambda request: asked.append(request.url))
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.on(
            "console",
            lambda said: faults.append(said.text) if "Content Security Policy" in said.text else None,
        )
        page.goto(f"{live.url}/pair#t={live.pairing.link_token()}")
        page.wait_for_url(f"{live.url}/")
        page.goto(f"{live.url}{path}")
        # The page takes no tap for half a second after it came up.
        page.wait_for_timeout(600)
        return page

    yield new
    for context in contexts:
        context.close()
    assert faults == []
    assert [url for url in asked if not url.startswith((live.url, "data:"))] == []

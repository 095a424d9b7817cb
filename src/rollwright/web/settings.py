"""What one bench is told when it starts."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from rollwright.units import System

if TYPE_CHECKING:
    from rollwright.workbench.log_enter import Recorded, Stamp

__all__ = ["API_VERSION", "Enter", "Settings", "Verb", "bench_id", "state_folder"]

API_VERSION = 1
"""Version of what pages post; a page of another version is told to load itself again."""

Words = Sequence[str]
Options = Mapping[str, str]


class Enter(Protocol):
    """Enters what was said, as the command of the same name does."""

    def __call__(
        self, log: Path, car: str, words: Words, options: Options, stamp: Stamp, /
    ) -> Mapping[str, object]:
        """Return the entry as data; raise `InputError` where it cannot be entered."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Verb:
    """One thing that can be entered.

    Attributes:
        summary: what it enters, in one line.
        words: what its words are, for people.
        options: names of the options that it takes.
        enter: enters it.
    """

    summary: str
    words: str
    options: tuple[str, ...] = ()
    enter: Enter


def _plain(entry: Recorded, system: System) -> str:
    del system
    return entry.event.kind.replace("_", " ")


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """What one bench is told when it starts.

    Attributes:
        log: path of the log; it may not be there yet.
        folder: where the builder's car files lie.
        state: folder for what must stay on this machine: paired devices and answers that were given.
        port: the one that is listened on.
        hosts: names and addresses under which a browser may ask, without the port.
        lan: whether other devices of the house may ask.
        verbs: what can be entered, by the name that the command line has for it.
        entry_words: says an entry in a builder's words.
        units: those of a device that has not chosen.
        author: who enters something at this machine itself.
        tell: says a line to whoever runs the bench.
        local_urls: addresses that a phone can be given, without a path.
    """

    log: Path
    folder: Path
    state: Path
    port: int
    hosts: frozenset[str] = frozenset({"localhost", "127.0.0.1", "[::1]"})
    lan: bool = False
    verbs: Mapping[str, Verb] = field(default_factory=dict)
    entry_words: Callable[[Recorded, System], str] = _plain
    units: System = System.METRIC
    author: str = "someone"
    tell: Callable[[str], None] = lambda _: None
    local_urls: tuple[str, ...] = ()


def bench_id(log: Path) -> str:
    """Return what tells this bench from another on the same port: the same log, the same id."""
    return hashlib.sha256(os.fsencode(os.path.realpath(log))).hexdigest()[:16]


def state_folder() -> Path:
    """Return the folder of this user for what belongs to this machine and is never copied around."""
    if os.name == "nt":
        return Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local") / "rollwright"
    return Path(os.environ.get("XDG_STATE_HOME") or Path.home() / ".local" / "state") / "rollwright"

"""Runs a bench: which addresses are listened on, what is printed, and how it ends."""

from __future__ import annotations

import errno
import socket
import webbrowser
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

import uvicorn

from rollwright.errors import InputError, OutOfRange
from rollwright.units import System
from rollwright.web.addresses import private_addresses
from rollwright.web.app import make_app
from rollwright.web.pairing import Pairing
from rollwright.web.settings import Settings, Verb

if TYPE_CHECKING:
    from rollwright.workbench.log_enter import Recorded

__all__ = ["Asked", "PortTaken", "listen", "serve"]

_HERE = "127.0.0.1"
_WAITING = 128
_GRACE = 3


class PortTaken(InputError):
    """Another program listens on the port."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What the command line asks for.

    Attributes:
        log: path of the log.
        folder: where the car files lie.
        state: folder for what stays on this machine.
        port: the one to listen on; 0 takes any that is free.
        lan: whether other devices of the house may ask.
        names: further names under which this machine is known.
        browser: whether to open one.
        verbs: what can be entered.
        entry_words: says an entry in a builder's words.
        units: those of a device that has not chosen.
        author: who enters something at this machine.
        tell: says a line to whoever runs it.
    """

    log: Path
    folder: Path
    state: Path
    port: int
    lan: bool
    names: Sequence[str] = ()
    browser: bool = True
    verbs: Mapping[str, Verb] = field(default_factory=dict)
    entry_words: Callable[[Recorded, System], str]
    units: System
    author: str
    tell: Callable[[str], None]


def listen(port: int, addresses: Sequence[str]) -> list[socket.socket]:
    """Return one listening socket for each address, all on the same port.

    Args:
        port: the one to listen on; 0 takes any that is free.
        addresses: of this machine; never all of them at once, so that none that is public is among them.

    Returns:
        The sockets.

    Raises:
        PortTaken: another program listens there.
        OutOfRange: it cannot be listened on.
    """
    found: list[socket.socket] = []
    try:
        for address in addresses:
            each = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
            found.append(each)
            each.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            each.bind((address, port or (found[0].getsockname()[1] if len(found) > 1 else 0)))
            each.listen(_WAITING)
    except OSError as error:
        for each in found:
            each.close()
        if error.errno == errno.EADDRINUSE:
            raise PortTaken(
                f"port {port} is in use already, perhaps by another bench",
                mend="end that one, or choose another with --port",
                key="--port",
            ) from None
        raise OutOfRange(
            f"port {port} cannot be listened on ({error.strerror})",
            mend="choose another between 1024 and 65535",
            key="--port",
        ) from None
    return found


def serve(asked: Asked) -> None:
    """Run a bench until it is ended.

    Args:
        asked: what the command line asks for.

    Raises:
        PortTaken: another program listens on the port.
        OutOfRange: the port cannot be listened on, or there is no address inside the house.
        FileUnwritable: the list of paired devices cannot be kept.
    """
    house = private_addresses() if asked.lan else ()
    if asked.lan and not house:
        raise OutOfRange(
            "this machine has no private address that a phone could reach",
            mend="join the house's network first, or leave --lan out",
            key="--lan",
        )
    sockets = listen(asked.port, (_HERE, *house))
    port = sockets[0].getsockname()[1]
    # A code is typed on another device, so that it is only told where there can be one.
    pairing = Pairing(tell=asked.tell if asked.lan else None)
    settings = Settings(
        log=asked.log,
        folder=asked.folder,
        state=asked.state,
        port=port,
        lan=asked.lan,
        verbs=asked.verbs,
        entry_words=asked.entry_words,
        units=asked.units,
        author=asked.author,
        tell=asked.tell,
        local_urls=tuple(f"http://{address}:{port}" for address in house),
    )
    own = settings.hosts | {name.lower() for name in asked.names} | set(house)
    settings = replace(settings, hosts=frozenset(own))
    try:
        app = make_app(settings, pairing=pairing)
        _tell_where(settings, pairing, asked)
        config = uvicorn.Config(
            app,
            log_level="critical",
            access_log=False,
            lifespan="on",
            ws="none",
            server_header=False,
            date_header=False,
            proxy_headers=False,
            h11_max_incomplete_event_size=16 * 1024,
            timeout_keep_alive=10,
            timeout_graceful_shutdown=_GRACE,
        )
        uvicorn.Server(config).run(sockets=sockets)
    except KeyboardInterrupt:
        # The usual end: everything that was acknowledged is on the disk.
        pass
    finally:
        for each in sockets:
            each.close()
    asked.tell("The bench is closed.")


def _tell_where(settings: Settings, pairing: Pairing, asked: Asked) -> None:
    tell = asked.tell
    here = f"http://{_HERE}:{settings.port}"
    link = f"{here}/pair#t={pairing.link_token()}"
    opened = False
    if asked.browser:
        opened = _opened(link)
    tell(f"The bench is open: {here}" if opened else f"Open the bench here, once, within ten minutes: {link}")
    if settings.lan:
        url = f"{settings.local_urls[0]}/pair#t={pairing.link_token()}"
        tell("")
        tell("Pair a phone in the same network: point its camera here, within ten minutes.")
        tell(_qr(url))
        tell(f"Or open {settings.local_urls[0]}/pair on it and type the code.")
        pairing.new_code()
        tell("Whoever is inside your network and listens can read along; there is no encryption.")
    tell("Ctrl-C ends it.")


def _opened(link: str) -> bool:
    try:
        return webbrowser.open(link)
    except (OSError, webbrowser.Error):
        return False


def _qr(url: str) -> str:
    from io import StringIO  # noqa: PLC0415 - rarely asked

    import segno  # noqa: PLC0415 - slow to import

    out = StringIO()
    segno.make(url, error="m").terminal(out=out, border=2, compact=True)
    return out.getvalue().rstrip("\n")

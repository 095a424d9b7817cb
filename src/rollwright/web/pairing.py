"""How a device is let in: a link that works once for ten minutes, or an eight-digit code typed by hand."""

from __future__ import annotations

import hashlib
import hmac
import secrets
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field

__all__ = ["CODE_TRIES", "LIFETIME", "Pairing", "Wait"]

LIFETIME = 600.0
"""Time for which a link works [s]."""
CODE_TRIES = 5
"""Wrong tries after which a code is thrown away and a new one is told."""
_BACK_OFF = (1.0, 2.0, 4.0, 8.0, 16.0, 30.0)
_MOST_LINKS = 16
_MOST_ASKERS = 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class Wait:
    """Someone guessed too often and has to wait: for how many more `seconds`."""

    seconds: float


@dataclass(slots=True)
class _Misses:
    count: int = 0
    until: float = 0.0


@dataclass(slots=True)
class _Code:
    text: str = ""
    tries: int = 0
    made: float = field(default=0.0)


class Pairing:
    """The links and the code of one bench; nothing of it is kept on the disk.

    Whoever guesses waits 1, 2, 4 up to 30 s between tries and is never banned for good; this machine itself
    never waits, so that a builder cannot be locked out of the own bench.

    Args:
        tell: says a new code to whoever runs the bench; codes are not offered where nobody can be told.
        clock: gives a time that only goes forward [s].
    """

    def __init__(
        self, *, tell: Callable[[str], None] | None = None, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._tell = tell
        self._clock = clock
        self._lock = threading.Lock()
        self._links: dict[bytes, float] = {}
        self._code = _Code()
        self._misses: dict[str, _Misses] = {}

    def link_token(self) -> str:
        """Return a new token of 256 random bits, which lets one device in once within `LIFETIME`."""
        token = secrets.token_urlsafe(32)
        with self._lock:
            self._forget_old()
            while len(self._links) >= _MOST_LINKS:
                self._links.pop(next(iter(self._links)))
            self._links[_hashed(token)] = self._clock() + LIFETIME
        return token

    def new_code(self) -> str:
        """Return a new eight-digit code in place of the one before."""
        with self._lock:
            return self._renewed()

    def accept(self, *, token: str = "", code: str = "", asker: str, local: bool) -> bool | Wait:
        """Return whether a token or a code lets a device in, or how long it has to wait.

        Args:
            token: of a link, or empty.
            code: typed by hand, or empty.
            asker: address that asks, by which misses are counted.
            local: whether this machine itself asks.

        Returns:
            Whether it is let in; a token is used up then.
        """
        with self._lock:
            misses = self._misses.setdefault(asker, _Misses())
            now = self._clock()
            if not local and now < misses.until:
                return Wait(seconds=misses.until - now)
            if self._right(token, code):
                self._misses.pop(asker, None)
                return True
            misses.until = now + _BACK_OFF[min(misses.count, len(_BACK_OFF) - 1)]
            misses.count += 1
            while len(self._misses) > _MOST_ASKERS:
                self._misses.pop(next(iter(self._misses)))
            return False

    def _right(self, token: str, code: str) -> bool:
        self._forget_old()
        if token:
            asked, found = _hashed(token), None
            # Every link is compared, in constant time, so that the time taken tells nothing.
            for kept in self._links:
                if hmac.compare_digest(kept, asked):
                    found = kept
            if found is not None:
                del self._links[found]
                return True
            return False
        if not code or not self._code.text:
            return False
        if self._clock() - self._code.made > LIFETIME:
            self._renewed()
        if hmac.compare_digest(_hashed(code), _hashed(self._code.text)):
            self._renewed()
            return True
        self._code.tries += 1
        if self._code.tries >= CODE_TRIES:
            self._renewed()
        return False

    def _renewed(self) -> str:
        self._code = _Code(text=f"{secrets.randbelow(10**8):08d}", made=self._clock())
        if self._tell is not None:
            self._tell(f"Code for pairing by hand: {self._code.text[:4]} {self._code.text[4:]}")
        return self._code.text

    def _forget_old(self) -> None:
        now = self._clock()
        self._links = {kept: until for kept, until in self._links.items() if now < until}


def _hashed(secret: str) -> bytes:
    return hashlib.sha256(secret.encode()).digest()

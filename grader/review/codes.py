"""One-time codes, and the sessions that they open, for sharing on the studio's own network.

A code is short, since somebody types it on a phone; so it works once, for a short time, and after
a few wrong tries not at all. All of it is in memory and ends with the program.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
import threading
import time
from collections.abc import Callable
from typing import Literal

DIGITS = 6
"""Of a printed code. NIST SP 800-63B, 5.1.3.2 (from memory): a secret sent beside the channel has
at least six decimal digits, holds for at most ten minutes, and is accepted once."""

CODE_S = 600.0
"""How long a code holds, in seconds; see `DIGITS`."""

TRIES = 5
"""Wrong tries, by whomever, until a code is void: a guess succeeds once in 200,000 times, and the
maker has to ask for the next code."""

SESSION_S = 12 * 3600.0
"""How long a phone is let in, in seconds: one long day of unloading."""

_MOST_SESSIONS = 16
"""Phones and windows let in at a time; the one that came first goes when one more comes."""

Answer = Literal["right", "wrong", "too many", "too late"]


class Codes:
    """The code that holds now, and who has been let in.

    Parameters
    ----------
    clock : callable
        Seconds that only ever grow.
    used : callable
        Called with the next code when one has been used, to print it for a second phone.
    """

    def __init__(
        self,
        *,
        clock: Callable[[], float] = time.monotonic,
        used: Callable[[str], object] = lambda code: None,
    ) -> None:
        self._clock = clock
        self._used = used
        self._lock = threading.Lock()
        self._code = ""
        self._code_ends = 0.0
        self._wrong = 0
        self._key = ""
        self._key_ends = 0.0
        self._sessions: dict[bytes, float] = {}

    def issue(self) -> str:
        """Return a new code; the one before is void."""
        with self._lock:
            return self._issue()

    def issue_key(self) -> str:
        """Return a long code, for the browser of this machine, that nobody has to type."""
        with self._lock:
            self._key = secrets.token_urlsafe(24)
            self._key_ends = self._clock() + CODE_S
            return self._key

    def enter(self, said: str) -> tuple[Answer, str]:
        """Try a code.

        Returns
        -------
        tuple of (answer, token)
            The token opens a session; empty unless the answer is ``right``.
        """
        said = "".join(said.split())
        with self._lock:
            now = self._clock()
            # Both are compared, whatever comes of the first, so that the time tells nothing.
            by_code = _same(said, self._code)
            by_key = _same(said, self._key)
            if by_key and now < self._key_ends:
                self._key = ""
                return "right", self._let_in(now)
            if self._wrong >= TRIES:
                return "too many", ""
            if now >= self._code_ends:
                return "too late", ""
            if not by_code:
                self._wrong += 1
                return ("too many" if self._wrong >= TRIES else "wrong"), ""
            token, following = self._let_in(now), self._issue()
        self._used(following)
        return "right", token

    def knows(self, token: str) -> bool:
        """Tell whether a token belongs to a session that still holds."""
        if not token:
            return False
        with self._lock:
            # Looked up by digest: how long that takes tells nothing about the tokens.
            return self._clock() < self._sessions.get(_digest(token), 0.0)

    def _issue(self) -> str:
        self._code = f"{secrets.randbelow(10**DIGITS):0{DIGITS}d}"
        self._code_ends = self._clock() + CODE_S
        self._wrong = 0
        return self._code

    def _let_in(self, now: float) -> str:
        token = secrets.token_urlsafe(32)
        self._sessions = {each: ends for each, ends in self._sessions.items() if now < ends}
        while len(self._sessions) >= _MOST_SESSIONS:
            del self._sessions[next(iter(self._sessions))]
        self._sessions[_digest(token)] = now + SESSION_S
        return token


def _same(said: str, code: str) -> bool:
    return hmac.compare_digest(said.encode("utf-8", "replace"), code.encode()) and code != ""


def _digest(token: str) -> bytes:
    return hashlib.sha256(token.encode("utf-8", "replace")).digest()

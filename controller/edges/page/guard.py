"""Who may do what on the page: forms that only our own page can send, few guesses, words of one's own.

A form is good only with the token that belongs to the browser's cookie, so that another site cannot send it
in somebody's name; a guess at a code or a word is counted against the address it came from.
"""

from __future__ import annotations

import hashlib
import hmac
import ipaddress
import secrets
import threading
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Final

WRONG_MOST: Final = 5
"""So many wrong codes or words from one address within an hour, and it is refused until the hour is over."""

WRONG_ALL_MOST: Final = 30
"""So many from all addresses together, for one guesser may have many; answering by other ways goes on."""

HOUR_S: Final = 3600.0

CLIENTS_MOST: Final = 200
"""Addresses remembered at once; the one heard of longest ago is forgotten first."""

SESSION_S: Final = 12 * HOUR_S
"""Whoever has signed in may read for so long. [s]"""

SESSIONS_MOST: Final = 50
"""People signed in at once; the oldest is signed out first."""

WORD_BYTES_MOST: Final = 200
"""A person's word is a few words; what is longer is none."""


class Guesses:
    """Counts wrong codes and words by address, over the last hour. For any thread."""

    def __init__(self, read_steady_s: Callable[[], float]) -> None:
        self._read = read_steady_s
        self._wrong: dict[str, list[float]] = {}
        self._lock = threading.Lock()

    def is_refused(self, client: str) -> bool:
        """Tell whether an address has guessed too often."""
        with self._lock:
            self._forget()
            everybody = sum(map(len, self._wrong.values()))
            return len(self._wrong.get(client, ())) >= WRONG_MOST or everybody >= WRONG_ALL_MOST

    def count(self, client: str) -> bool:
        """Count a wrong guess; tell whether it was the one too many."""
        with self._lock:
            self._forget()
            wrong = self._wrong.pop(client, [])
            wrong.append(self._read())
            self._wrong[client] = wrong
            while len(self._wrong) > CLIENTS_MOST:
                del self._wrong[next(iter(self._wrong))]
            return len(wrong) == WRONG_MOST

    def _forget(self) -> None:
        since = self._read() - HOUR_S
        for client in list(self._wrong):
            kept = [at for at in self._wrong[client] if at > since]
            if kept:
                self._wrong[client] = kept
            else:
                del self._wrong[client]


class Forms:
    """Makes and checks the tokens of forms. Each run has a key of its own, so forms end with it."""

    def __init__(self) -> None:
        self._key = secrets.token_bytes(32)

    def new_cookie(self) -> str:
        """Make a cookie for a browser that has none."""
        return secrets.token_urlsafe(24)

    def token(self, cookie: str) -> str:
        """Make the token of the forms that go with a cookie."""
        return hmac.new(self._key, cookie.encode(), hashlib.sha256).hexdigest()

    def is_ours(self, cookie: str, token: str) -> bool:
        """Tell whether a form was made by this page for this browser."""
        return bool(cookie) and hmac.compare_digest(self.token(cookie), token)


class Sessions:
    """Who has signed in to read. Only hashes are kept. For any thread."""

    def __init__(self, read_steady_s: Callable[[], float]) -> None:
        self._read = read_steady_s
        self._ends: dict[str, float] = {}
        self._lock = threading.Lock()

    def begin(self) -> str:
        """Sign a browser in and return its cookie."""
        cookie = secrets.token_urlsafe(32)
        with self._lock:
            self._ends[_hash(cookie)] = self._read() + SESSION_S
            while len(self._ends) > SESSIONS_MOST:
                del self._ends[next(iter(self._ends))]
        return cookie

    def is_open(self, cookie: str) -> bool:
        """Tell whether a cookie is that of a browser signed in."""
        with self._lock:
            return self._ends.get(_hash(cookie), 0.0) > self._read()


def _hash(cookie: str) -> str:
    return hashlib.sha256(cookie.encode()).hexdigest()


def find_word(files: Mapping[str, Path], word: str) -> str | None:
    """Find whose word it is; None if it is nobody's. Every word is compared, so that the time tells nothing."""
    found: str | None = None
    given = word.strip().encode()
    for person, path in files.items():
        own = read_word(path)
        if own and hmac.compare_digest(own, given):
            found = person
    return found


def read_word(path: Path) -> bytes:
    """Read a person's word; empty if there is none, which no word matches."""
    try:
        with path.open("rb") as file:
            return file.read(WORD_BYTES_MOST + 1).strip()[:WORD_BYTES_MOST]
    except OSError:
        return b""


def is_known_host(host: str, names: tuple[str, ...]) -> bool:
    """Tell whether a browser calls us by an address or by a name of ours.

    A name that somebody else has pointed at our address would let their page read ours.
    """
    name = host.rsplit(":", 1)[0] if not host.endswith("]") else host
    if name == "localhost" or name.lower() in {known.lower() for known in names}:
        return True
    try:
        ipaddress.ip_address(name.strip("[]"))
    except ValueError:
        return False
    return True


def comes_from_us(headers: Mapping[str, str], host: str, *, secure: bool) -> bool:
    """Tell whether a form was sent from our own page, as far as the browser says where it came from."""
    site = headers.get("Sec-Fetch-Site", "same-origin")
    origin = headers.get("Origin")
    ours = f"{'https' if secure else 'http'}://{host}"
    return site in {"same-origin", "none"} and origin in {None, ours}

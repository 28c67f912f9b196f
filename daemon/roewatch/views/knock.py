"""A knock: the link in a notice that lets one person acknowledge one alarm, once, for a day.

Opening it changes nothing, for phones fetch links to show what is behind them; it leads to a
page with one button. Its address proves itself by a key only this room's daemon has.
"""

import base64
import binascii
import hashlib
import hmac
import json
import threading
from dataclasses import dataclass

_REMEMBERED = 5_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Knock:
    """What one link is good for. raised_ms: of that raise of the alarm and no later one."""

    number: int
    raised_ms: int
    contact: str
    until_ms: int


class Knocks:
    """Makes the links of one room, and opens to each once. key: 16 bytes or more, kept secret."""

    def __init__(self, key: bytes) -> None:
        if len(key) < 16:
            raise ValueError("a key for links needs 16 bytes or more")
        self._key = key
        self._lock = threading.Lock()
        self._used: dict[str, None] = {}

    def path(self, knock: Knock) -> str:
        """The link, from the pages' address on: `/seen/…`."""
        body = json.dumps([knock.number, knock.raised_ms, knock.contact, knock.until_ms])
        text = base64.urlsafe_b64encode(body.encode()).decode().rstrip("=")
        return f"/seen/{text}.{self._seal(text)}"

    def _seal(self, text: str) -> str:
        return hmac.new(self._key, text.encode(), hashlib.sha256).hexdigest()[:40]

    def read(self, link: str, now_ms: int) -> Knock | None:
        """What a link is good for now; None if it is not ours, is over, or was used."""
        text, _, seal = link.partition(".")
        if not seal.isascii() or not hmac.compare_digest(self._seal(text), seal):
            return None
        try:
            body = base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))
            number, raised_ms, contact, until_ms = json.loads(body)
        except (ValueError, binascii.Error):
            return None
        with self._lock:
            if now_ms > until_ms or link in self._used:
                return None
        return Knock(number=number, raised_ms=raised_ms, contact=contact, until_ms=until_ms)

    def use(self, link: str) -> None:
        """It has been used."""
        with self._lock:
            while len(self._used) >= _REMEMBERED:
                self._used.pop(next(iter(self._used)))
            self._used[link] = None

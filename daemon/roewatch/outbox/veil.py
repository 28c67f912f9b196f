"""A veil: takes the secrets of an address out of any text before it is kept or shown."""

import re
from urllib.parse import unquote, urlsplit

HIDDEN = "<secret>"
_SHORTEST = 4
"""Shorter parts are words such as `api`, and hiding them would make reasons unreadable."""


class Veil:
    """Knows what of one address must not be shown: everything but scheme, host and port.

    hosts_are_secret: for addresses that put a token where a host belongs.
    """

    def __init__(self, url: str, *, hosts_are_secret: bool = False) -> None:
        parts = urlsplit(url)
        account, _, place = parts.netloc.rpartition("@")
        pieces = [url, parts.path, parts.query, account, *re.split(r"[/?&=:@;,]", account)]
        pieces += re.split(r"[/?&=:@;,]", f"{parts.path}/{parts.query}/{parts.fragment}")
        if hosts_are_secret:
            pieces += [place, place.partition(":")[0]]
        known = {
            piece for raw in pieces for piece in (raw, unquote(raw)) if len(piece) >= _SHORTEST
        }
        # the longest first, or a part of one would leave the rest of another standing
        self._known = sorted(known - {parts.hostname or ""}, key=len, reverse=True)
        if hosts_are_secret and parts.hostname:
            self._known.append(parts.hostname)

    def over(self, text: str) -> str:
        """`text` with every secret replaced."""
        for secret in self._known:
            text = re.sub(re.escape(secret), HIDDEN, text, flags=re.IGNORECASE)
        return text

"""A passphrase: how a person's secret is kept so that reading the settings does not reveal it."""

import base64
import hashlib
import hmac
import secrets

# OWASP Password Storage Cheat Sheet, scrypt: N=2^14, r=8, p=5 is one of its equal settings; the
# one with the least memory (16 MiB), for a small board
_N, _R, _P = 2**14, 8, 5
_LENGTH = 32
_MOST_MEMORY = 64 * 1024 * 1024

SHORTEST = 10
"""Characters; the rate limit on guesses does the rest."""


def hashed(passphrase: str) -> str:
    """The line to put into the settings. Raises ValueError for one that is too short."""
    if len(passphrase) < SHORTEST:
        raise ValueError(f"{len(passphrase)} characters are too few; use {SHORTEST} or more")
    salt = secrets.token_bytes(16)
    return f"scrypt${_N}${_R}${_P}${_text(salt)}${_text(_key(passphrase, salt))}"


def is_kept(line: str) -> bool:
    """Whether that is a line `hashed` made."""
    try:
        fits("", line)
    except ValueError:
        return False
    return True


def fits(passphrase: str, kept: str) -> bool:
    """Whether that is the passphrase. Raises ValueError if `kept` is no line of ours."""
    parts = kept.split("$")
    if len(parts) != 6 or parts[0] != "scrypt":
        raise ValueError("not a passphrase line; make one with: roewatch passphrase")
    n, r, p = (int(part) for part in parts[1:4])
    if (n, r, p) != (_N, _R, _P):
        raise ValueError("a passphrase line of another strength; make one: roewatch passphrase")
    salt, key = (base64.b64decode(part, validate=True) for part in parts[4:])
    return hmac.compare_digest(_key(passphrase, salt), key)


def _key(passphrase: str, salt: bytes) -> bytes:
    return hashlib.scrypt(
        passphrase.encode(), salt=salt, n=_N, r=_R, p=_P, maxmem=_MOST_MEMORY, dklen=_LENGTH
    )


def _text(raw: bytes) -> str:
    return base64.b64encode(raw).decode()

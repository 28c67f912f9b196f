"""A passphrase: how a person's secret is kept so that reading the settings does not reveal it."""

import base64
import hashlib
import hmac

import argon2
from argon2.exceptions import InvalidHashError, VerificationError, VerifyMismatchError

# OWASP Password Storage Cheat Sheet, Argon2id: m = 19 MiB, t = 2, p = 1 is one of its equal
# settings; on a small board the daemon must not starve while somebody logs in
_HASHER = argon2.PasswordHasher(time_cost=2, memory_cost=19 * 1024, parallelism=1)

# the lines of before, which still open the door: OWASP's scrypt with the least memory
_N, _R, _P = 2**14, 8, 5
_LENGTH = 32
_MOST_MEMORY = 64 * 1024 * 1024

SHORTEST = 10
"""Characters; the rate limit on guesses does the rest."""


def hashed(passphrase: str) -> str:
    """The line to put into the settings. Raises ValueError for one that is too short."""
    if len(passphrase) < SHORTEST:
        raise ValueError(f"{len(passphrase)} characters are too few; use {SHORTEST} or more")
    return _HASHER.hash(passphrase)


def is_kept(line: str) -> bool:
    """Whether that is a line `hashed` made, now or before."""
    try:
        fits("", line)
    except ValueError:
        return False
    return True


def fits(passphrase: str, kept: str) -> bool:
    """Whether that is the passphrase. Raises ValueError if `kept` is no line of ours."""
    if kept.startswith("scrypt$"):
        return _fits_scrypt(passphrase, kept)
    try:
        found = argon2.extract_parameters(kept)
    except InvalidHashError:
        raise ValueError("not a passphrase line; make one with: roewatch passphrase") from None
    if found.memory_cost > _MOST_MEMORY // 1024 or found.time_cost > 10:
        raise ValueError("a passphrase line of another strength; make one: roewatch passphrase")
    try:
        return _HASHER.verify(kept, passphrase)
    except VerifyMismatchError:
        return False
    except (VerificationError, InvalidHashError):
        raise ValueError("a damaged passphrase line; make one with: roewatch passphrase") from None


def _fits_scrypt(passphrase: str, kept: str) -> bool:
    parts = kept.split("$")
    if len(parts) != 6:
        raise ValueError("not a passphrase line; make one with: roewatch passphrase")
    n, r, p = (int(part) for part in parts[1:4])
    if (n, r, p) != (_N, _R, _P):
        raise ValueError("a passphrase line of another strength; make one: roewatch passphrase")
    salt, key = (base64.b64decode(part, validate=True) for part in parts[4:])
    made = hashlib.scrypt(
        passphrase.encode(), salt=salt, n=_N, r=_R, p=_P, maxmem=_MOST_MEMORY, dklen=_LENGTH
    )
    return hmac.compare_digest(made, key)

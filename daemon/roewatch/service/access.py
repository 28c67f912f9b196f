"""Access: what is kept beside the store for the pages: the key behind links, and sessions."""

import json
import logging
import os
import secrets
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from roewatch.service.settings.setup import Setup
from roewatch.views.visitor import Access, KeptSession

log = logging.getLogger(__name__)

_BYTES = 32


def key_file(store: Path) -> Path:
    """Where the key of the room whose store lies at `store` is kept."""
    return store.with_name(f"{store.name}.link-key")


def link_key(store: Path) -> bytes:
    """The key: the one that is kept, else a new one, kept for the next start.

    A key that cannot be kept or read costs the older links, never the watching; that is logged.
    """
    path = key_file(store)
    try:
        kept = bytes.fromhex(path.read_text(encoding="ascii").strip())
        if len(kept) == _BYTES:
            path.chmod(0o600)
            return kept
        log.warning("link_key_made_anew file=%s why='not a key of ours'", path)
    except FileNotFoundError:
        pass
    except (OSError, ValueError) as error:
        log.warning("link_key_made_anew file=%s why=%r", path, str(error))
    return _kept_anew(path)


def _kept_anew(path: Path) -> bytes:
    key = secrets.token_bytes(_BYTES)
    try:
        _put(path, f"{key.hex()}\n")
    except OSError as error:
        log.error("link_key_not_kept file=%s why=%r; links end with this run", path, str(error))
    return key


def _put(path: Path, text: str) -> None:
    """A file that nobody else may read even for a moment. Raises OSError."""
    beside = path.with_name(f"{path.name}.new")
    beside.unlink(missing_ok=True)
    with os.fdopen(os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    beside.replace(path)


class SessionFile:
    """Sessions of the pages, so that a new start of the daemon logs nobody out.

    A file that cannot be read or written costs the sessions, never the watching; that is logged.
    """

    def __init__(self, store: Path) -> None:
        self._path = store.with_name(f"{store.name}.sessions")

    def load(self) -> dict[str, KeptSession]:
        """Those of the last run, by digest."""
        try:
            kept = json.loads(self._path.read_text(encoding="utf-8"))
            return {
                str(digest): KeptSession(str(name), int(seen_s), str(mark))
                for digest, (name, seen_s, mark) in kept.items()
            }
        except FileNotFoundError:
            return {}
        except (OSError, ValueError, TypeError, AttributeError) as error:
            log.warning("sessions_forgotten file=%s why=%r", self._path, str(error))
            return {}

    def save(self, sessions: Mapping[str, KeptSession]) -> None:
        """These and no others."""
        try:
            _put(self._path, json.dumps(sessions))
        except OSError as error:
            log.error("sessions_not_kept file=%s why=%r", self._path, str(error))


def keyed(setup: Setup, key: bytes) -> Setup:
    """The setup whose notices carry links that acknowledge."""
    return replace(setup, telling=replace(setup.telling, token_key=key))


def access_of(setup: Setup) -> Access:
    """Who may come in at the pages of a keyed setup, links included."""
    return replace(
        setup.access, link_key=setup.telling.token_key, shelf=SessionFile(setup.storage.path)
    )

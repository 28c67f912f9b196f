"""A door: who a request comes from; with passphrases set, nobody unknown comes in.

Before there is a passphrase, only the computer the daemon runs on may change anything, and a
browser elsewhere may look.
"""

import hashlib
import hmac
import logging
import secrets
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from starlette.requests import Request

from roewatch.views.guard import from_here
from roewatch.views.passphrase import fits, hashed
from roewatch.views.visitor import KeptSession, Person, Program, Role, Shelf, Visitor

log = logging.getLogger(__name__)

SESSION = "roewatch_session"
AT_THIS_COMPUTER = "somebody at this computer"
"""Who acknowledges while nobody has a name yet."""

IDLE_S = 30 * 86_400.0
_SAVE_EVERY_S = 3_600.0

_FREE_GUESSES = 5
_FIRST_WAIT_S = 30.0
_LONGEST_WAIT_S = 900.0
_REMEMBERED = 2_000  # guessers and sessions; the oldest are forgotten first


class TooManyGuessesError(ValueError):
    """Somebody guesses; the text says how long to wait."""


@dataclass(slots=True)
class _Guesses:
    failed: int = 0
    until_s: float = 0.0


@dataclass(slots=True)
class _Session:
    person: Person
    seen_s: float


class Door:
    """Logs people in and out and knows them again. Safe from any thread."""

    def __init__(
        self,
        people: Sequence[Person] = (),
        programs: Sequence[Program] = (),
        clock_s: Callable[[], float] = time.monotonic,
        shelf: Shelf | None = None,
        wall_s: Callable[[], float] | None = None,
    ) -> None:
        """clock_s: for guesses. wall_s: for sessions, s since 1970; must be given with a shelf."""
        self._people = {person.name.casefold(): person for person in people}
        self._programs = tuple(programs)
        self._clock_s = clock_s
        self._lock = threading.Lock()
        self._hashing = threading.Lock()  # one at a time: each takes 19 MiB
        self._sessions: dict[str, _Session] = {}
        self._guesses: dict[str, _Guesses] = {}
        self._shelf, self._wall_s = shelf, wall_s or clock_s
        self._saved_s = self._wall_s()
        if shelf is not None:
            self._sessions = self._loaded(shelf.load())
        self._nobody = hashed(secrets.token_hex(16)) if people else ""

    @property
    def locked(self) -> bool:
        """Whether people must log in."""
        return bool(self._people)

    def knows(self, name: str) -> bool:
        """Whether somebody of that name may log in."""
        return name.strip().casefold() in self._people

    def who(self, request: Request) -> Visitor | None:
        """Whoever sent this request; None for somebody who must log in first."""
        bearer = request.headers.get("authorization", "")
        if bearer.lower().startswith("bearer "):
            return self._program(bearer[7:].strip())
        if not self.locked:
            role = Role.KEEPER if from_here(request) else Role.GUEST
            return Visitor(name=AT_THIS_COMPUTER, role=role)
        key = _digest(request.cookies.get(SESSION, ""))
        now_s = self._wall_s()
        with self._lock:
            session = self._sessions.get(key)
            if session is None or now_s - session.seen_s > IDLE_S:
                self._sessions.pop(key, None)
                return None
            session.seen_s = now_s
            if now_s - self._saved_s > _SAVE_EVERY_S:
                self._save()
        return Visitor(name=session.person.name, role=session.person.role, session=key)

    def _program(self, token: str) -> Visitor | None:
        digest = _digest(token)
        found = None
        for program in self._programs:
            if hmac.compare_digest(program.digest, digest):
                found = Visitor(name=program.name, role=program.role)
        return found

    def enter(self, name: str, passphrase: str, place: str) -> str | None:
        """A new session's cookie for the right passphrase, else None. place: the guesser's.

        Raises TooManyGuessesError, whatever the passphrase, while they have to wait.
        """
        person = self._people.get(name.strip().casefold())
        keys = (f"place {place}", f"name {name.strip().casefold()[:100]}")
        self._must_wait(keys)
        with self._hashing:
            # an unknown name takes as long as a wrong passphrase
            right = fits(passphrase, person.passphrase if person else self._nobody)
        if not right or person is None:
            self._failed(keys)
            log.warning("person_refused name=%r place=%s", name[:100], place)
            return None
        cookie = secrets.token_urlsafe(32)
        with self._lock:
            for key in keys:
                self._guesses.pop(key, None)
            while len(self._sessions) >= _REMEMBERED:
                self._sessions.pop(next(iter(self._sessions)))
            self._sessions[_digest(cookie)] = _Session(person, self._wall_s())
            self._save()
        log.info("person_entered name=%r place=%s", person.name, place)
        return cookie

    def leave(self, visitor: Visitor) -> None:
        """End a session."""
        with self._lock:
            self._sessions.pop(visitor.session, None)
            self._save()

    def _loaded(self, kept: Mapping[str, KeptSession]) -> dict[str, _Session]:
        found = {}
        for key, session in kept.items():
            person = self._people.get(session.name.casefold())
            if person is not None and session.mark == _mark(person):
                found[key] = _Session(person, float(session.seen_s))
        return found

    def _save(self) -> None:
        if self._shelf is None:
            return
        self._saved_s = self._wall_s()
        self._shelf.save(
            {
                key: KeptSession(session.person.name, int(session.seen_s), _mark(session.person))
                for key, session in self._sessions.items()
            }
        )

    def _must_wait(self, keys: tuple[str, ...]) -> None:
        now_s = self._clock_s()
        with self._lock:
            waits = [self._guesses[key].until_s - now_s for key in keys if key in self._guesses]
        longest = max(waits, default=0.0)
        if longest > 0:
            raise TooManyGuessesError(
                f"Too many wrong passphrases. Wait {longest / 60:.0f} min and try again."
                if longest > 90
                else f"Too many wrong passphrases. Wait {longest:.0f} s and try again."
            )

    def _failed(self, keys: tuple[str, ...]) -> None:
        with self._lock:
            for key in keys:
                while key not in self._guesses and len(self._guesses) >= _REMEMBERED:
                    self._guesses.pop(next(iter(self._guesses)))
                guesses = self._guesses.setdefault(key, _Guesses())
                guesses.failed += 1
                over = guesses.failed - _FREE_GUESSES
                if over >= 0:
                    wait_s = min(_LONGEST_WAIT_S, _FIRST_WAIT_S * 2.0 ** min(over, 10))
                    guesses.until_s = self._clock_s() + wait_s


def _mark(person: Person) -> str:
    return _digest(person.passphrase)[:16]


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()

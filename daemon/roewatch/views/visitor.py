"""A visitor: who looks at a page, and whether they may change anything."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import NamedTuple, Protocol


class Role(StrEnum):
    """What a person may do here. The text value is what settings write."""

    KEEPER = "keeper"  # everything
    SITTER = "sitter"  # looks, and acknowledges
    GUEST = "guest"  # looks


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """Somebody who may log in. passphrase: a line made by `passphrase.hashed`."""

    name: str
    role: Role
    passphrase: str

    def __repr__(self) -> str:
        return f"Person(name={self.name!r}, role={self.role!r}, passphrase=<secret>)"


@dataclass(frozen=True, slots=True, kw_only=True)
class Program:
    """A script that may use the API. digest: SHA-256 of its token, in hexadecimal."""

    name: str
    role: Role
    digest: str


class KeptSession(NamedTuple):
    """A session as it is kept: whose, when last seen (s since 1970), and a mark of the passphrase.

    A passphrase that changes ends the sessions it opened.
    """

    name: str
    seen_s: int
    mark: str


class Shelf(Protocol):
    """Where sessions outlive the daemon. By the digest of a cookie, never the cookie itself."""

    def load(self) -> Mapping[str, KeptSession]: ...

    def save(self, sessions: Mapping[str, KeptSession]) -> None: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Access:
    """Who may come in. With no people anybody may look, and only this computer may change.

    link_key: the secret behind the links in notices (`alarms.token`); empty for none.
    shelf: where sessions outlive the daemon; None to forget them with it.
    """

    people: tuple[Person, ...] = ()
    programs: tuple[Program, ...] = ()
    link_key: bytes = field(default=b"", repr=False)
    shelf: Shelf | None = None


NOBODY = Access()
"""Before anybody has a passphrase."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Visitor:
    """Whoever is there now. session: empty for a script and before there are passphrases."""

    name: str
    role: Role
    session: str = ""

    @property
    def may_change(self) -> bool:
        """Whether they may record, shelve and set."""
        return self.role is Role.KEEPER

    @property
    def may_acknowledge(self) -> bool:
        """Whether they may say that they have seen an alarm."""
        return self.role in {Role.KEEPER, Role.SITTER}

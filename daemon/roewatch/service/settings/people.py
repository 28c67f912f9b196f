"""People: who may log in at the pages, and which programs may ask, as written and as checked."""

import hashlib
from collections.abc import Sequence

from roewatch.service.settings.document import Document
from roewatch.service.settings.entries import PersonEntry, ProgramEntry
from roewatch.views.passphrase import is_kept
from roewatch.views.visitor import Access, Person, Program, Role

_MAKE_ONE = "Make one with: roewatch passphrase"


def check_people(
    document: Document,
    people: Sequence[tuple[int, PersonEntry]],
    programs: Sequence[tuple[int, ProgramEntry]],
) -> None:
    """Note everything wrong with who may come in; what they keep secret is never shown."""
    _check_names(document, "person", [(index, entry.name) for index, entry in people])
    _check_names(document, "program", [(index, entry.name) for index, entry in programs])
    for index, person in people:
        if person.passphrase is None:
            if not person.passphrase_file:  # else its own fault is noted already
                document.fault(("person", index), "no passphrase", f"{_MAKE_ONE}")
        elif not is_kept(person.passphrase.get_secret_value()):
            key = "passphrase_file" if person.passphrase_file else "passphrase"
            document.fault(
                ("person", index, key),
                "not a passphrase line; the passphrase itself is never written down here",
                _MAKE_ONE,
            )
    if people and all(person.role is not Role.KEEPER for _, person in people):
        document.fault(
            ("person",), "nobody here may change anything", 'Give one person role = "keeper"'
        )
    for index, program in programs:
        if program.token is None:
            if not program.token_file:
                document.fault(
                    ("program", index),
                    "no token",
                    "Write 32 random characters into a file and name it with token_file =",
                )
        elif len(program.token.get_secret_value()) < _SHORTEST_TOKEN:
            document.fault(
                ("program", index, "token_file" if program.token_file else "token"),
                f"a token of fewer than {_SHORTEST_TOKEN} characters can be guessed",
                "Write 32 random characters",
            )


_SHORTEST_TOKEN = 16


def _check_names(document: Document, section: str, names: Sequence[tuple[int, str]]) -> None:
    known: set[str] = set()
    for index, name in names:
        if name.strip().casefold() in known:
            document.fault(
                (section, index, "name"), f"a second {section} {name!r}", "Give it another name"
            )
        known.add(name.strip().casefold())


def access_of(people: Sequence[PersonEntry], programs: Sequence[ProgramEntry]) -> Access:
    """Who may come in. Only for entries without faults."""
    return Access(
        people=tuple(
            Person(name=entry.name, role=entry.role, passphrase=entry.passphrase.get_secret_value())
            for entry in people
            if entry.passphrase is not None
        ),
        programs=tuple(
            Program(
                name=entry.name,
                role=entry.role,
                digest=hashlib.sha256(entry.token.get_secret_value().encode()).hexdigest(),
            )
            for entry in programs
            if entry.token is not None
        ),
    )

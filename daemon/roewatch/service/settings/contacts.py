"""Contacts: whom to tell, by which ways, and what a way's address must be like."""

from roewatch.alarms.contact import Contact
from roewatch.service.settings.document import Document
from roewatch.service.settings.entries import ContactEntry
from roewatch.service.settings.lines import KeyPath
from roewatch.service.settings.sections import web_address
from roewatch.service.settings.setup import WaySettings
from roewatch.service.settings.written import minutes_of_clock

Placed = list[tuple[int, ContactEntry]]


def check_contacts(document: Document, contacts: Placed) -> None:
    """Note everything wrong between contacts and in their addresses."""
    names: set[str] = set()
    for index, entry in contacts:
        path: KeyPath = ("contact", index)
        if entry.name in names:
            document.fault(
                (*path, "name"), f"a second contact {entry.name!r}", "Put the ways of one under one"
            )
        names.add(entry.name)
        ways: set[str] = set()
        for number, way in enumerate(entry.ways):
            place = (*path, "ways", number)
            if way.name in ways:
                document.fault(
                    (*place, "name"), f"a second way called {way.name!r}", "Give it another name"
                )
            ways.add(way.name)
            if way.url is None:
                if not way.url_file:  # else its own fault is noted already
                    document.fault(place, "no address", "Add url = or url_file =")
                continue
            trouble = _trouble(way.url.get_secret_value())
            if trouble:
                key = "url_file" if way.url_file else "url"
                document.fault((*place, key), trouble[0], trouble[1])


def _trouble(address: str) -> tuple[str, str] | None:
    """What is wrong with an address and its cure; never the address itself, it holds secrets."""
    if "://" not in address:
        return (
            "the address has no scheme",
            "Write it like mailto://…, ntfy://…, or https://… for the JSON webhook",
        )
    scheme = address.partition("://")[0].lower()
    if scheme in {"http", "https"}:
        try:
            web_address(address, secret=True)
        except ValueError as error:
            return str(error).partition("; ")[0], "Write https://host/path"
        return None
    return _apprise_trouble(address, scheme)


def _apprise_trouble(address: str, scheme: str) -> tuple[str, str] | None:
    # its hundred plugins take a moment to import; a room told by webhook only never waits for it
    from apprise import Apprise  # noqa: PLC0415

    if Apprise.instantiate(address, suppress_exceptions=True) is not None:
        return None
    return (
        f"the {scheme}:// address is not one the notification library can use",
        "Compare it with that service's form in the library's list, part by part",
    )


def contact_of(entry: ContactEntry) -> Contact:
    """The contact as alarms know them."""
    begin, _, end = entry.quiet.partition("-")
    return Contact(
        name=entry.name,
        ways=tuple(way.name for way in entry.ways),
        quiet_from_min=minutes_of_clock(begin) if begin else None,
        quiet_to_min=minutes_of_clock(end) if end else None,
        lowest=entry.lowest,
    )


def ways_of(entry: ContactEntry) -> list[WaySettings]:
    """The ways to one contact, addresses included."""
    return [
        WaySettings(contact=entry.name, name=way.name, url=way.url, timeout_s=way.timeout / 1000)
        for way in entry.ways
        if way.url is not None
    ]

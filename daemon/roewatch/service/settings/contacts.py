"""Contacts: whom to tell, by which ways, and what a way's address must be like."""

from roewatch.alarms.contact import Contact
from roewatch.service.settings.document import Document
from roewatch.service.settings.entries import ContactEntry, WayEntry
from roewatch.service.settings.lines import KeyPath
from roewatch.service.settings.sections import web_address
from roewatch.service.settings.setup import WaySettings
from roewatch.service.settings.written import SecretText, minutes_of_clock

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
            trouble = _trouble(_settings_of(entry, way, way.url))
            if trouble:
                key = "url_file" if way.url_file else "url"
                document.fault((*place, key), trouble[0], trouble[1])


def _trouble(way: WaySettings) -> tuple[str, str] | None:
    """What is wrong with an address and its cure; never the address itself, it holds secrets."""
    from roewatch.outbox.channel import UnusableWay, channel_of  # noqa: PLC0415  # heavy libraries

    address = way.url.get_secret_value()
    scheme = address.partition("://")[0].lower()
    if scheme == address.lower():
        return (
            "the address has no scheme",
            "Write it like mailto://…, ntfy://…, or https://… for the JSON webhook",
        )
    try:
        if scheme in {"http", "https"}:
            web_address(address, secret=True)
        channel_of(way)
    except UnusableWay as error:
        what, _, cure = str(error).partition("; ")
        return what, (cure[:1].upper() + cure[1:]) or "Compare it with that service's form"
    except ValueError as error:
        return str(error).partition("; ")[0], "Write https://host/path"
    return None


def contact_of(entry: ContactEntry) -> Contact:
    """The contact as alarms know them."""
    begin, _, end = entry.quiet.partition("-")
    return Contact(
        name=entry.name,
        ways=tuple(_way_name(entry, way) for way in entry.ways),
        quiet_from_min=minutes_of_clock(begin) if begin else None,
        quiet_to_min=minutes_of_clock(end) if end else None,
        lowest=entry.lowest,
    )


def _way_name(entry: ContactEntry, way: WayEntry) -> str:
    # two people may both have a phone, and a notice names its way alone
    return f"{entry.name}/{way.name}"


def _settings_of(entry: ContactEntry, way: WayEntry, url: SecretText) -> WaySettings:
    return WaySettings(
        contact=entry.name, name=_way_name(entry, way), url=url, timeout_s=way.timeout / 1000
    )


def ways_of(entry: ContactEntry) -> list[WaySettings]:
    """The ways to one contact, addresses included."""
    return [_settings_of(entry, way, way.url) for way in entry.ways if way.url is not None]

"""The contact desk: whom to tell, as the pages see it and write it into the room file."""

import tomllib
from collections.abc import Callable, Mapping, Sequence

from roewatch.alarms.contact import Contact
from roewatch.room.kind import Priority
from roewatch.room.moment import span_ms_of
from roewatch.service.room_file import RoomFile
from roewatch.service.settings.lines import KeyPath
from roewatch.service.settings.rewriting import (
    Scalar,
    entry_at,
    with_entry,
    with_entry_within,
    with_keys,
    with_sooner,
    without_entry,
    without_keys,
)
from roewatch.service.settings.setup import WaySettings
from roewatch.service.settings.written import span_as_written
from roewatch.views.contact_ports import ContactView, WayView, WayWish


class ContactDesk:
    """From any thread. Every refusal is a ValueError with text for the person."""

    def __init__(self, room: RoomFile) -> None:
        self._room = room

    # -- what is to be seen: never an address -----------------------------------------------------

    def contacts(self) -> Sequence[ContactView]:
        """The first is told first."""
        setup = self._room.setup
        return [
            ContactView(
                name=contact.name,
                quiet=_quiet(contact),
                lowest=contact.lowest,
                ways=tuple(_view(way) for way in setup.ways if way.contact == contact.name),
            )
            for contact in setup.contacts
        ]

    def patience(self) -> str:
        """How long a serious alarm waits before the next one is told."""
        return span_as_written(self._room.setup.telling.escalate_after_ms)

    # -- what is written --------------------------------------------------------------------------

    def be_patient(self, span: str) -> None:
        """Wait so long, written like `10 min`."""
        try:
            span_ms = span_ms_of(span)
        except (ValueError, OverflowError) as error:
            raise ValueError(f"{span[:40]!r} is no span; write it like 10 min") from error
        values: dict[str, Scalar] = {"escalate_after": span_as_written(span_ms)}
        self._room.change(lambda text: with_keys(text, ("telling",), values))

    def add(self, name: str, way: WayWish) -> None:
        """One more person, the last to be told, with a first way."""
        if any(contact.name == name for contact in self._room.setup.contacts):
            raise ValueError(f"there is a {name} already; add the way to them")

        def edit(text: str) -> str | None:
            written = with_entry(text, "[[contact]]", {"name": name})
            if written is None:
                return None
            at = len(tomllib.loads(written)["contact"]) - 1
            return with_entry_within(written, ("contact", at), "ways", _values(way))

        self._room.change(edit)

    def change(self, name: str, *, to: str, quiet: str, lowest: Priority) -> None:
        """Another name, other hours, another least priority."""
        values: dict[str, Scalar] = {"name": to, "quiet": quiet, "lowest": lowest.value}
        self._at(name, lambda text, at: with_keys(text, at, values))

    def remove(self, name: str) -> None:
        """Tell them no more."""
        self._at(name, without_entry)

    def sooner(self, name: str) -> None:
        """Tell them before the one who now stands before them."""

        def edit(text: str, at: KeyPath) -> str | None:
            if not isinstance(at[1], int) or at[1] == 0:
                raise ValueError(f"{name} is told first already")
            return with_sooner(text, "contact", at[1])

        self._at(name, edit)

    def add_way(self, name: str, way: WayWish) -> None:
        """One more way to somebody."""
        if way.name in self._ways(name):
            raise ValueError(f"{name} has a way called {way.name} already; change that one")
        self._at(name, lambda text, at: with_entry_within(text, at, "ways", _values(way)))

    def change_way(self, name: str, way: WayWish) -> None:
        """Another address, or another wait, for the way of that name."""

        def edit(text: str, at: KeyPath) -> str | None:
            place = _way_at(text, at, way.name)
            # an address that was kept in a file of its own is now the one that was typed
            written = without_keys(text, place, ["url_file"] if way.url else [])
            values = {key: value for key, value in _values(way).items() if key != "name"}
            return written and with_keys(written, place, values)

        self._at(name, edit)

    def remove_way(self, name: str, way: str) -> None:
        """By that way no more."""

        def edit(text: str, at: KeyPath) -> str | None:
            place = _way_at(text, at, way)
            if len(self._ways(name)) == 1:
                raise ValueError(
                    f"{way} is the only way to {name}; add another first, or remove them"
                )
            return without_entry(text, place)

        self._at(name, edit)

    def _ways(self, name: str) -> list[str]:
        return [_short(way) for way in self._room.setup.ways if way.contact == name]

    def _at(self, name: str, edit: Callable[[str, KeyPath], str | None]) -> None:
        """Change what the room file says of one person."""

        def edit_there(text: str) -> str | None:
            at = entry_at(tomllib.loads(text), "contact", "name", name)
            if at is None:
                raise ValueError(f"nobody called {name!r} is told of anything")
            return edit(text, ("contact", at))

        self._room.change(edit_there)


def _quiet(contact: Contact) -> str:
    if contact.quiet_from_min is None or contact.quiet_to_min is None:
        return ""
    ends = (divmod(minutes, 60) for minutes in (contact.quiet_from_min, contact.quiet_to_min))
    return "-".join(f"{hour:02}:{minute:02}" for hour, minute in ends)


def _short(way: WaySettings) -> str:
    return way.name.removeprefix(f"{way.contact}/")


def _view(way: WaySettings) -> WayView:
    scheme = way.url.get_secret_value().partition("://")[0].lower()
    return WayView(name=_short(way), kind=scheme, wait_s=way.timeout_s)


def _values(way: WayWish) -> Mapping[str, Scalar]:
    values: dict[str, Scalar] = {"name": way.name}
    if way.url:
        values["url"] = way.url
    if way.wait_s is not None:
        values["timeout"] = span_as_written(round(way.wait_s * 1000))
    return values


def _way_at(text: str, at: KeyPath, way: str) -> KeyPath:
    """Where a way of one person stands. Raises ValueError for one that is not there."""
    contact = tomllib.loads(text)["contact"][at[1]]
    place = entry_at(contact, "ways", "name", way)
    if place is None:
        raise ValueError(f"{contact['name']} has no way called {way!r}")
    return (*at, "ways", place)

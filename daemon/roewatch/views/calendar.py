"""A calendar: the feed's events as an iCalendar file (RFC 5545) a phone can subscribe to."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta
from typing import TYPE_CHECKING

from roewatch.breeding.feed import Event
from roewatch.room.moment import moment_of

if TYPE_CHECKING:
    from icalendar import Event as CalendarEvent

MEDIA_TYPE = "text/calendar; charset=utf-8"

_PRODUCT = "-//Roewatch//Broods//EN"
_AGAIN = timedelta(hours=1)


def calendar_text(events: Iterable[Event], *, name: str, address: str = "") -> str:
    """The whole file, lines ended by CR LF and folded at 75 octets.

    name: what the phone calls the calendar. address: of the pages, put into each event; "" for
    none. Times are UTC, so no zone rules have to travel with them.
    """
    # slow to load, and not every room has a phone that subscribes
    from icalendar import Calendar  # noqa: PLC0415
    from icalendar import Event as CalendarEvent  # noqa: PLC0415

    calendar = Calendar()
    calendar.add("prodid", _PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("name", name)  # RFC 7986; the X- form is what older phones read
    calendar.add("x-wr-calname", name)
    calendar.add("refresh-interval", _AGAIN, parameters={"VALUE": "DURATION"})
    calendar.add("x-published-ttl", "PT1H")
    for event in events:
        calendar.add_component(_filled(CalendarEvent(), event, address))
    written: bytes = calendar.to_ical()
    return written.decode()


def _filled(found: CalendarEvent, event: Event, address: str) -> CalendarEvent:
    found.add("uid", event.uid)
    found.add("dtstamp", moment_of(event.changed_ms))
    found.add("created", moment_of(event.made_ms))
    found.add("last-modified", moment_of(event.changed_ms))
    found.add("sequence", event.sequence)
    found.add("dtstart", moment_of(event.from_ms))
    found.add("dtend", moment_of(event.to_ms))
    found.add("summary", event.summary)
    found.add("description", event.words)
    found.add("categories", [event.task])
    found.add("transp", "TRANSPARENT")  # it keeps nobody's hour busy
    found.add("status", "CANCELLED" if event.cancelled else "CONFIRMED")
    if address:
        brood, _, _ = event.key.partition("/")
        found.add("url", f"{address.rstrip('/')}/broods/{brood}")
    return found

"""The light's hours: when the lamp over a tank goes on and off, by the room's own clock."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, time, timedelta

from roewatch.breeding.brood import Brood
from roewatch.room.local_time import at_local, local_date

_WRITTEN = re.compile(r"\s*(\d{1,2}):(\d{2})\s*(?:-|–|to)\s*(\d{1,2}):(\d{2})\s*")


@dataclass(frozen=True, slots=True, kw_only=True)
class LightHours:
    """On and off as the clock on the wall shows them; off may lie past midnight."""

    on: time
    off: time

    def dawns(self, from_ms: int, days: int, zone: str) -> Iterator[tuple[date, int]]:
        """Each day from that of `from_ms` on, with the moment the light goes on."""
        for day in _days(from_ms, days, zone):
            yield day, at_local(day, self.on, zone)

    def dusks(self, from_ms: int, days: int, zone: str) -> Iterator[tuple[date, int]]:
        """Each day from that of `from_ms` on, with the moment the light goes off."""
        for day in _days(from_ms, days, zone):
            late = timedelta(days=1) if self.off <= self.on else timedelta()
            yield day, at_local(day + late, self.off, zone)


def light_hours(text: str) -> LightHours | None:
    """The hours a brood's plan gives, written `07:00-21:00`; None for no text.

    Raises ValueError if it is anything else.
    """
    if not text.strip():
        return None
    match = _WRITTEN.fullmatch(text)
    if match is None:
        raise ValueError(f"{text!r} are no light hours; write 07:00-21:00")
    hours = [int(part) for part in match.groups()]
    if hours[0] > 23 or hours[2] > 23 or hours[1] > 59 or hours[3] > 59:
        raise ValueError(f"{text!r} are no light hours; write them from 00:00 to 23:59")
    on, off = time(hours[0], hours[1]), time(hours[2], hours[3])
    if on == off:
        raise ValueError(f"{text!r}: on and off are the same; write 07:00-21:00")
    return LightHours(on=on, off=off)


def brood_light(brood: Brood) -> LightHours | None:
    """The hours the brood's plan gives; None where it gives none, or none that can be read."""
    try:
        return light_hours(brood.plan.get("light", ""))
    except ValueError:  # an old record; the to-do list asks for it to be put right
        return None


def _days(from_ms: int, days: int, zone: str) -> Iterator[date]:
    first = local_date(from_ms, zone)
    for ahead in range(days):
        yield first + timedelta(days=ahead)

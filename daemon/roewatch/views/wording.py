"""Wording: times, ages and alarms as a keeper reads them, in the room's own zone."""

from zoneinfo import ZoneInfo

from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS, moment_of, span_text
from roewatch.room.quantity import KEPT, Quantity
from roewatch.views.axis import date_name, day_name, instants


def clock(at_ms: int, zone: ZoneInfo) -> str:
    """`14:02`, or `03:30 (2nd)` in the hour that comes twice."""
    local = moment_of(at_ms).astimezone(zone)
    wall = local.replace(tzinfo=None, second=0, microsecond=0, fold=0)
    twice = instants(wall, zone)
    which = twice[local.fold][1] if len(twice) == 2 else ""
    return f"{local:%H:%M}{which}"


def when(at_ms: int, now_ms: int, zone: ZoneInfo) -> str:
    """A moment near or far: `14:02` today, `Mon 23, 14:02` this week, `3 Sep, 14:02` beyond."""
    local = moment_of(at_ms).astimezone(zone).date()
    today = moment_of(now_ms).astimezone(zone).date()
    if local == today:
        return clock(at_ms, zone)
    if abs((local - today).days) < 7:
        return f"{day_name(local)}, {clock(at_ms, zone)}"
    return f"{date_name(local)}, {clock(at_ms, zone)}"


def age(at_ms: int, now_ms: int) -> str:
    """How long ago: `just now`, `4 min ago`, `2 h 5 min ago`."""
    ago = now_ms - at_ms
    if ago < MINUTE_MS:
        return "just now"
    return f"{whole_span(ago)} ago"


def whole_span(span_ms: int) -> str:
    """A span without seconds, and without minutes once it is longer than a day."""
    if span_ms < MINUTE_MS:
        return "under 1 min"
    if span_ms < DAY_MS:
        return span_text(span_ms // MINUTE_MS * MINUTE_MS)
    return span_text(span_ms // HOUR_MS * HOUR_MS)


def number(quantity: Quantity, value: float) -> str:
    """A value without its unit, in the quantity's digits; never `-0`."""
    digits = KEPT[quantity].digits
    text = f"{value:.{digits}f}"
    return text.lstrip("-") if float(text) == 0 else text


def species_name(species: str) -> str:
    """A species sheet's id as people write it: `Nannostomus marginatus`."""
    return begun(species.replace("-", " "))


def begun(text: str) -> str:
    """The same with a capital at its beginning, as a sentence has."""
    return text[:1].upper() + text[1:]


def quantity_name(quantity: Quantity | None) -> str:
    """`pH`, `temperature`; empty for a condition without a quantity."""
    return KEPT[quantity].name if quantity else ""


def day(at_ms: int, zone: ZoneInfo) -> str:
    """`12 Nov 2026`."""
    local = moment_of(at_ms).astimezone(zone).date()
    return f"{date_name(local)} {local.year}"


def exact(at_ms: int, zone: ZoneInfo) -> str:
    """`14:02:07`: a clock time with its seconds."""
    return f"{moment_of(at_ms).astimezone(zone):%H:%M:%S}"

"""Local time: moments as the room's clock on the wall shows them."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from roewatch.room.moment import at_ms_of, moment_of


def local_clock(at_ms: int, zone: str, now_ms: int) -> str:
    """`14:06`; `Tue 24 Nov 14:06` on another day; `03:30 (2nd)` in the hour that comes twice."""
    local = moment_of(at_ms).astimezone(ZoneInfo(zone))
    text = f"{local:%H:%M}"
    # a wall-clock time is doubled when its two folds mean different instants, both real
    earlier, later = (local.replace(fold=fold).astimezone(UTC) for fold in (0, 1))
    if earlier < later:
        text += " (2nd)" if local.fold else " (1st)"
    if local.date() == local_date(now_ms, zone):
        return text
    # written out, because %a and %b follow the machine's language
    day = _DAYS[local.weekday()]
    return f"{day} {local.day} {_MONTHS[local.month - 1]} {text}"


def local_date(at_ms: int, zone: str) -> date:
    """The date in the room at that moment."""
    return moment_of(at_ms).astimezone(ZoneInfo(zone)).date()


def month_span(year: int, month: int, zone: str) -> tuple[int, int]:
    """First moment of that month in the room, and first moment after it."""
    after = (year + month // 12, month % 12 + 1)
    first, last = (
        at_ms_of(datetime(y, m, 1, tzinfo=ZoneInfo(zone))) for y, m in ((year, month), after)
    )
    return first, last


def at_local(day: date, clock: time, zone: str) -> int:
    """The moment at which the room's clock shows `clock` on `day`.

    A time the clock skips in spring is taken an hour later, as the clock itself goes; of a time
    shown twice in autumn the first is meant.
    """
    local = datetime.combine(day, clock, tzinfo=ZoneInfo(zone))
    # by way of UTC: a skipped wall time is not a moment until it is carried over the gap
    return at_ms_of(local.astimezone(UTC))


def waking_before(at_ms: int, zone: str) -> int:
    """`at_ms`, or 20:00 of the evening before if the room's clock shows 20:00 to 08:00 then."""
    local = moment_of(at_ms).astimezone(ZoneInfo(zone))
    if time(8) <= local.time() < time(20):
        return at_ms
    evening = local.date() if local.time() >= time(20) else local.date() - timedelta(days=1)
    return at_local(evening, time(20), zone)


def local_minute(at_ms: int, zone: str) -> int:
    """Minutes of the day the wall clock shows, 0 to 1439."""
    local = moment_of(at_ms).astimezone(ZoneInfo(zone))
    return local.hour * 60 + local.minute


_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = (
    "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec",
)  # fmt: skip

"""A forecast of storage: how much a year of this room's readings will take."""

from collections.abc import Iterable
from dataclasses import dataclass

from roewatch.room.moment import DAY_MS
from roewatch.room.tank import Probe

ASSUMED_BYTES = 1.5
"""A packed reading with its roll-ups, before there is anything to measure; see tests/bench."""

_YEAR_DAYS = 365
_ENOUGH = 100_000  # packed readings, under which what was measured says little


@dataclass(frozen=True, slots=True, kw_only=True)
class StorageForecast:
    """readings_a_year: at the spacing the settings ask for. bytes_a_reading: packed, roll-ups
    included; measured in this store, or assumed before it holds enough.
    """

    readings_a_year: int
    bytes_a_reading: float
    measured: bool

    @property
    def bytes_a_year(self) -> int:
        """How much the file grows in a year."""
        return round(self.readings_a_year * self.bytes_a_reading)

    def text(self) -> str:
        """For people: `at this rate 0.3 GB a year (1.1 bytes a reading, measured)`."""
        how = "measured" if self.measured else "assumed until a day or so is packed"
        size = self.bytes_a_year / 1e9
        shown = f"{size:.1f} GB" if size >= 0.1 else f"{size * 1000:.0f} MB"
        return f"at this rate {shown} a year ({self.bytes_a_reading:.1f} bytes a reading, {how})"


def forecast(probes: Iterable[Probe], *, packed: tuple[int, int] = (0, 0)) -> StorageForecast:
    """packed: readings and bytes in packed days, as `Records.packed` tells them."""
    readings, size = packed
    measured = readings >= _ENOUGH
    return StorageForecast(
        readings_a_year=sum(_YEAR_DAYS * DAY_MS // probe.every_ms for probe in probes),
        bytes_a_reading=size / readings if measured else ASSUMED_BYTES,
        measured=measured,
    )

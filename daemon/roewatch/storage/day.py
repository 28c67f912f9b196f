"""A day: all readings of one probe on one day (UTC), as one packed block."""

import struct
import zlib
from bisect import bisect_left
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from roewatch.room.moment import DAY_MS
from roewatch.storage.cell import raw_of
from roewatch.storage.column import Numbers, column, numbers_of
from roewatch.storage.trouble import DamagedDayError

_FORM = 1
_HEAD = struct.Struct("<BII")  # form, checksum, readings
_DAYS = 20  # bits of a slot that count the day


def slot_of(probe: int, day: int) -> int:
    """The key of a probe's day: neighbouring days of one probe are neighbours in the table."""
    return probe << _DAYS | day


def probe_and_day(slot: int) -> tuple[int, int]:
    """What `slot_of` was made from."""
    return slot >> _DAYS, slot & ((1 << _DAYS) - 1)


def day_of(at_ms: int) -> int:
    """Days since 1970-01-01, UTC."""
    return at_ms // DAY_MS


class Cells(NamedTuple):
    """Readings of one probe as parallel columns in order of time, shape (n,) each.

    cell: as `cell_of` holds them, so ask `raw()` for numbers to show, and `even()` before
    comparing them.
    """

    at_ms: Sequence[int]
    cell: Numbers
    flag: Sequence[int]

    def raw(self) -> list[float]:
        """The raw numbers."""
        return [raw_of(cell) for cell in self.cell]

    def even(self) -> "Cells":
        """The same with cells all whole, or, if any is not, all plain raw floats."""
        if not any(type(cell) is float for cell in self.cell):
            return self
        return self._replace(cell=self.raw())

    def slice(self, start: int, end: int) -> "Cells":
        """Those from the `start`th to before the `end`th."""
        if start == 0 and end == len(self.at_ms):
            return self
        return Cells(self.at_ms[start:end], self.cell[start:end], self.flag[start:end])

    def between(self, from_ms: int, to_ms: int) -> "Cells":
        """Those with from_ms <= at_ms < to_ms."""
        return self.slice(bisect_left(self.at_ms, from_ms), bisect_left(self.at_ms, to_ms))

    def merged(self, rows: Iterable[tuple[int, int | float, int]]) -> "Cells":
        """With rows (at_ms, cell, flag) in order of time; a moment already there stays as it is."""
        added = cells_of(rows)
        if added.at_ms and (not self.at_ms or added.at_ms[0] > self.at_ms[-1]):
            # by far the most common: the running day goes on
            return Cells(*([*a, *b] for a, b in zip(self, added, strict=True)))
        together = {row[0]: row for row in zip(*added, strict=True)}
        together |= {row[0]: row for row in zip(self.at_ms, self.cell, self.flag, strict=True)}
        return cells_of(together[at_ms] for at_ms in sorted(together))


def cells_of(rows: Iterable[tuple[int, int | float, int]]) -> Cells:
    """Rows (at_ms, cell, flag), in order of time, as columns."""
    turned = list(zip(*rows, strict=True))
    return Cells(*turned) if turned else NOTHING


NOTHING = Cells((), (), ())


def packed(cells: Cells) -> bytes:
    """One day's readings, made `even`, as a block."""
    content = column(cells.at_ms) + column(cells.cell) + column(cells.flag)
    return _HEAD.pack(_FORM, zlib.crc32(content), len(cells.at_ms)) + content


def opened(block: bytes, slot: int) -> Cells:
    """The readings of a day's block. Raises DamagedDayError if it is not sound."""
    try:
        form, checksum, n = _HEAD.unpack_from(block)
        if form != _FORM or zlib.crc32(block[_HEAD.size :]) != checksum:
            raise DamagedDayError(slot, "the packed day does not match its checksum")
        at_ms, at = numbers_of(block, _HEAD.size, n)
        cell, at = numbers_of(block, at, n)
        flag, at = numbers_of(block, at, n)
    except (struct.error, zlib.error) as error:
        raise DamagedDayError(slot, f"the packed day cannot be opened ({error})") from error
    return Cells(at_ms, cell, flag)  # type: ignore[arg-type]

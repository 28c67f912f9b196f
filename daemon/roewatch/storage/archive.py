"""An archive: readings written out to a file that outlives this program, and brought back.

The columns are `time` (ISO 8601, UTC), `tank`, `quantity`, `probe`, `raw`, `value` (calibrated, in
the kept unit) and `flag` (QARTOD). Bringing in needs `time`, a number (`raw`, else `value`), and
`probe` or both `tank` and `quantity`; other columns are not looked at.
"""

import csv
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import repeat
from typing import NamedTuple, TextIO

from roewatch.room.moment import at_ms_of_iso, iso
from roewatch.room.reading import Flag, Flagged
from roewatch.room.tank import Probe
from roewatch.storage.hot import LATEST_MS
from roewatch.storage.kept import Kept
from roewatch.storage.reader import Records
from roewatch.storage.store import Store

COLUMNS = ("time", "tank", "quantity", "probe", "raw", "value", "flag")
BATCH = 20_000  # rows in one transaction, and all that is held at once

Progress = Callable[[int], None]
"""Called now and then with the rows done so far."""

_FLAGS = {float(flag): flag for flag in Flag}


class Refusal(NamedTuple):
    """One row that was not brought in: its line (a header is line 1), what it said, and why."""

    line: int
    said: str
    why: str


@dataclass(slots=True)
class Imported:
    """rows: read; new: kept now; known: kept before; refused: each told to the caller."""

    rows: int = 0
    new: int = 0
    known: int = 0
    refused: int = 0


def export_csv(
    records: Records,
    probes: Iterable[Probe],
    to: TextIO,
    *,
    from_ms: int,
    to_ms: int,
    progress: Progress | None = None,
) -> int:
    """Write readings with from_ms <= at_ms < to_ms, probe by probe, each in order of time.

    Returns how many. One day of one probe is held at a time.
    """
    writer = csv.writer(to, lineterminator="\n")
    writer.writerow(COLUMNS)
    done = 0
    for probe in probes:
        for cells in records.chunks(probe.id, from_ms, to_ms):
            raw = cells.raw()
            value = list(map(probe.calibrated, raw, cells.at_ms))
            known = (repeat(probe.tank), repeat(probe.quantity.value), repeat(probe.id))
            writer.writerows(zip(map(iso, cells.at_ms), *known, raw, value, cells.flag))  # noqa: B905, the repeats never end
            done += len(raw)
            if progress is not None:
                progress(done)
    return done


def import_csv(
    store: Store,
    probes: Sequence[Probe],
    source: TextIO,
    *,
    refused: Callable[[Refusal], None],
    progress: Progress | None = None,
) -> Imported:
    """Keep the rows of a CSV file with a header; each row that cannot be is told to `refused`.

    Raises ValueError when the header lacks a column that is needed.
    """
    reader = csv.DictReader(source)
    bringer = Bringer(store, probes, reader.fieldnames or (), refused)
    for row in reader:
        bringer.add(reader.line_num, row)
        if progress is not None and bringer.found.rows % BATCH == 0:
            progress(bringer.found.rows)
    return bringer.finish()


class Bringer:
    """Rows become readings, one batch to a transaction; shared by every file format."""

    def __init__(
        self,
        store: Store,
        probes: Sequence[Probe],
        columns: Iterable[str],
        refused: Callable[[Refusal], None],
    ) -> None:
        """Raises ValueError when `columns` lack what is needed."""
        there = set(columns)
        fits = "time" in there and there & {"raw", "value"}
        if not fits or not ("probe" in there or {"tank", "quantity"} <= there):
            raise ValueError(
                f"columns {', '.join(sorted(there)) or 'none'}: a header needs time, value (or "
                "raw), and tank and quantity (or probe)"
            )
        self.found = Imported()
        self._store = store
        self._refused = refused
        self._by_id = {probe.id: probe for probe in probes}
        self._by_tank = {(probe.tank, probe.quantity.value): probe for probe in probes}
        self._batch: list[Flagged] = []

    def add(self, line: int, row: Mapping[str, object]) -> None:
        """Take one row, whose columns may be texts or the format's own numbers and times."""
        self.found.rows += 1
        try:
            self._batch.append(self._reading(row))
        except (ValueError, TypeError) as error:
            self.found.refused += 1
            said = ",".join(str(value) for key, value in row.items() if key in COLUMNS)
            self._refused(Refusal(line, said, str(error)))
        if len(self._batch) >= BATCH:
            self._keep()

    def finish(self) -> Imported:
        """Keep what is left; returns what was done."""
        self._keep()
        return self.found

    def _keep(self) -> None:
        new = self._store.keep(Kept(readings=self._batch))
        self.found.new += new
        self.found.known += len(self._batch) - new
        self._batch = []

    def _reading(self, row: Mapping[str, object]) -> Flagged:
        probe = self._probe(row)
        at_ms = row["at_ms"] if "at_ms" in row else at_ms_of_iso(_text(row, "time"))
        if not isinstance(at_ms, int) or not 0 <= at_ms < LATEST_MS:
            raise ValueError(f"time {row.get('time')!r} is before 1970 or past 2248")
        raw = _number(row, "raw")
        if raw is None:
            value = _number(row, "value")
            if value is None:
                raise ValueError("no number in raw or value")
            raw = uncalibrated(probe, value, at_ms)
        flag = _number(row, "flag")
        if flag is None:
            return Flagged(probe.id, at_ms, raw, raw, Flag.NOT_EVALUATED)
        if flag not in _FLAGS:
            raise ValueError(f"flag {flag:g} is none of {', '.join(map(str, map(int, Flag)))}")
        return Flagged(probe.id, at_ms, raw, raw, _FLAGS[flag])

    def _probe(self, row: Mapping[str, object]) -> Probe:
        name = row.get("probe")
        if name:
            found = self._by_id.get(str(name))
            if found is None:
                raise ValueError(f"no probe {name!r} in the settings")
            return found
        key = (str(row.get("tank")), str(row.get("quantity")))
        found = self._by_tank.get(key)
        if found is None:
            raise ValueError(f"no probe for {key[1]} in tank {key[0]!r} in the settings")
        return found


def uncalibrated(probe: Probe, value: float, at_ms: int) -> float:
    """The raw number that the calibration in force at `at_ms` turns into `value`."""
    for calibration in reversed(probe.calibrations):
        if calibration.at_ms <= at_ms:
            return (value - calibration.offset) / calibration.slope
    return value


def _text(row: Mapping[str, object], name: str) -> str:
    text = row.get(name)
    if not isinstance(text, str) or not text:
        raise ValueError(f"no {name}")
    return text


def _number(row: Mapping[str, object], name: str) -> float | None:
    value = row.get(name)
    if value is None or value == "":
        return None
    try:
        number = float(value)  # type: ignore[arg-type]
    except ValueError:
        raise ValueError(f"{name} {value!r} is not a number such as 24.6") from None
    if not math.isfinite(number):
        raise ValueError(f"{name} {value!r} is not a finite number")
    return number

"""Decoding: one message becomes readings, and a count of what could not be read."""

from collections.abc import Sequence
from typing import NamedTuple

from roewatch.intake.binding import Binding, Format
from roewatch.intake.document import document
from roewatch.intake.entry import AbsentError, Entry, of_json, of_plain, of_senml
from roewatch.intake.example import example
from roewatch.intake.own_time import AHEAD_MS, EARLIEST_MS, LATEST_MS, believable
from roewatch.intake.senml import Record, resolved
from roewatch.intake.written import UnreadableError, plain
from roewatch.room.moment import iso

LARGEST = 1 << 20
"""Bytes a payload may have (1 MiB): some weeks of one probe in one batch."""

_YEAR_10000_MS = 253_402_300_800_000
_new = tuple.__new__  # half the cost of a named tuple's own constructor
_PLAIN, _JSON = Format.PLAIN, Format.JSON  # looked up once: a member costs more than a message


class Decoded(NamedTuple):
    """One reading as it came. raw: in the quantity's kept unit, before calibration.

    own_time: `at_ms` is the payload's own; else it is the arrival, or counted from it.
    """

    probe: str
    at_ms: int
    raw: float
    own_time: bool


class Ahead(NamedTuple):
    """A probe's own time that lies in the future: when it came, and how far ahead it is."""

    probe: str
    at_ms: int
    by_ms: int


class Refused(NamedTuple):
    """What could not be read in one message for one probe, and why.

    example: the payload, quoted, shortened and printable. ahead: when it was the probe's clock.
    """

    topic: str
    why: str
    example: str
    ahead: Ahead | None = None


def decode(
    topic: str,
    payload: bytes,
    bindings: Sequence[Binding],
    *,
    arrival_ms: int,
    retained: bool,
    present_ms: int | None = None,
) -> tuple[list[Decoded], list[Refused]]:
    """The readings in one message, and at most one refusal for each binding. Never raises.

    bindings: those of this topic (`binding.by_topic`). present_ms: the latest that it may be now,
    by which own times are believed; the arrival when left out.
    A binding gets its good numbers even when others in the same message are refused. Of several
    numbers for one moment the first is kept.
    When an own time is not believable (`own_time.believable`) and the message holds just this one
    number, the number is kept at its arrival and the time is what is refused; in a batch, nothing
    says where such a number belongs, so it is refused itself.
    A retained message is old news: what has no own time in it is dropped, and is not refused; both
    lists are then empty, which is how the caller can count it.
    """
    if not bindings:
        return [], [Refused(topic, "no probe is bound to this topic", example(payload))]
    if len(payload) > LARGEST:
        why = f"larger than {LARGEST} bytes; send the batch in parts"
        return [], [Refused(topic, why, example(payload))]
    message = _Message(payload)
    if present_ms is None:
        present_ms = arrival_ms
    moments = _Moments(arrival_ms, present_ms, retained)
    decoded: list[Decoded] = []
    troubles: list[tuple[str, Ahead | None]] = []
    absent: list[tuple[str, AbsentError]] = []
    for binding in bindings:
        try:
            entries = message.entries(binding, present_ms)
        except AbsentError as error:
            absent.append((binding.probe, error))
        except UnreadableError as error:
            troubles.append((f"{binding.probe}: {error}", None))
        else:
            placed, trouble, by_ms = _placed(entries, binding.probe, moments)
            decoded += placed
            if trouble:
                ahead = Ahead(binding.probe, arrival_ms, by_ms) if by_ms else None
                troubles.append((f"{binding.probe}: {trouble}", ahead))
    if len(absent) == len(bindings):
        # packs of a gateway carry now these, now those; one that is nobody's is refused
        troubles += [(f"{probe}: {error}", None) for probe, error in absent]
    if not troubles:
        return decoded, []
    shown = example(payload)
    return decoded, [Refused(topic, why, shown, ahead) for why, ahead in troubles]


class _Message:
    """One payload, read in each format at most once however many probes share its topic."""

    __slots__ = ("_document", "_payload", "_records", "_why")

    def __init__(self, payload: bytes) -> None:
        self._payload = payload
        self._document: object = None
        self._records: list[Record] | None = None
        self._why = ""

    def entries(self, binding: Binding, present_ms: int) -> list[Entry]:
        """Raises UnreadableError; the same trouble again for the next binding."""
        written_as = binding.format
        if written_as is _PLAIN:
            return of_plain(plain(self._payload), binding)
        if self._document is None:
            self._read()
        if written_as is _JSON:
            return of_json(self._document, binding, present_ms)
        if self._records is None:
            self._records = resolved(self._document)
        return of_senml(self._records, binding)

    def _read(self) -> None:
        if self._why:
            raise UnreadableError(self._why)
        try:
            self._document = document(self._payload)
        except UnreadableError as error:
            self._why = str(error)
            raise


class _Moments(NamedTuple):
    """When a message came, the latest that this may be, and whether it is old news."""

    arrival_ms: int
    present_ms: int
    retained: bool


class _UntimelyError(UnreadableError):
    """An own time that cannot be believed or read; the number beside it may be good.

    by_ms: how far it lies in the future, 0 when it is wrong in another way.
    """

    def __init__(self, why: str, by_ms: int = 0) -> None:
        super().__init__(why)
        self.by_ms = by_ms


def _placed(entries: list[Entry], probe: str, moments: _Moments) -> tuple[list[Decoded], str, int]:
    """The entries as readings, the first trouble among them with how many more had any, and how
    far the furthest own time lies in the future.
    """
    troubles: list[str] = []
    ahead_ms = 0
    at: dict[int, Decoded] = {}
    latest_ms = moments.present_ms + AHEAD_MS
    alone: bool | None = None  # counted once, and only for those who leave their time open
    for entry in entries:
        raw, own_ms, _, trouble, time_trouble = entry
        if (
            own_ms is not None
            and EARLIEST_MS <= own_ms <= latest_ms
            and not (trouble or time_trouble)
        ):
            reading = _new(Decoded, (probe, own_ms, raw, True))
        else:
            if alone is None:
                alone = sum(map(_says_no_time, entries)) == 1
            try:
                when = _when(entry, moments, alone=alone)
            except _UntimelyError as error:
                troubles.append(str(error))
                ahead_ms = max(ahead_ms, error.by_ms)
                if moments.retained or len(entries) > 1:
                    continue
                when = (moments.arrival_ms, False)
            except UnreadableError as error:
                troubles.append(str(error))
                continue
            if when is None:
                continue
            reading = Decoded(probe, when[0], raw, own_time=when[1])
        first = at.setdefault(reading[1], reading)
        if first is not reading and first.raw != raw:
            moment = iso(reading.at_ms)
            troubles.append(f"two numbers for {moment}: {first.raw:g} is kept, {raw:g} is not")
    if not troubles:
        return list(at.values()), "", 0
    many = f" (and {len(troubles) - 1} more in this message)" if len(troubles) > 1 else ""
    return list(at.values()), troubles[0] + many, 0 if moments.retained else ahead_ms


def _says_no_time(entry: Entry) -> bool:
    return entry.own_ms is None and not entry.time_trouble and not entry.shift_ms


def _when(entry: Entry, moments: _Moments, *, alone: bool) -> tuple[int, bool] | None:
    """The moment of an entry and whether it is its own; None if it is old news without a time.

    alone: no other number of the message leaves its time open.
    Raises UnreadableError, or _UntimelyError when only the time is at fault.
    """
    if entry.trouble:
        raise UnreadableError(entry.trouble)
    if entry.time_trouble:
        raise _UntimelyError(f"its own time {entry.time_trouble}")
    if entry.own_ms is not None:
        if believable(entry.own_ms, moments.present_ms):
            return entry.own_ms, True
        raise _UntimelyError(
            f"its own time {_shown(entry.own_ms)} is not believable; set its clock",
            max(entry.own_ms - moments.present_ms, 0) if entry.own_ms < LATEST_MS else 0,
        )
    if moments.retained:
        return None
    arrival_ms = moments.arrival_ms
    if not entry.shift_ms and not alone:
        raise UnreadableError("several numbers and no time for each; give each its own time")
    at_ms = arrival_ms + entry.shift_ms
    if not believable(at_ms, arrival_ms):
        raise UnreadableError(
            f"measured {entry.shift_ms / 1000:g} s from now; no probe can know that"
        )
    return at_ms, False


def _shown(own_ms: int) -> str:
    return iso(own_ms) if 0 <= own_ms < _YEAR_10000_MS else f"{own_ms} ms"

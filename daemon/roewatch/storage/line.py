"""A line: one reading or event as the InfluxDB line protocol writes it.

    reading,room=…,tank=…,probe=…,quantity=… raw=24.5,value=24.6,flag=1i <ms>
    alarm,room=…,tank=…,kind=…,priority=…,state=… number=7i,text="…" <ms>
    journal,room=…,tank=…,deed=… number=3i,text="…" <ms>
    brood,room=…,brood=…,act=…,counted=… number=5i,text="…" <ms>

`raw` is what the probe said, `value` what it came to by the calibration in force when it was sent,
`flag` is QARTOD's. Stores that keep numbers only drop `text` and keep `number`.
Syntax: https://docs.influxdata.com/influxdb/v2/reference/syntax/line-protocol/
"""

from collections.abc import Iterator, Mapping
from typing import NamedTuple

from roewatch.alarms.alarm import AlarmChange
from roewatch.breeding.record import BroodRecord
from roewatch.room.journal import JournalEntry
from roewatch.room.tank import Probe
from roewatch.storage.day import Cells

MEASUREMENT = "reading"


class Event(NamedTuple):
    """What is drawn across a graph at one moment: an alarm's change, a deed, a stage."""

    at_ms: int
    measurement: str
    tags: Mapping[str, str]
    number: int
    text: str


def event_of_change(number: int, change: AlarmChange) -> Event:
    """An alarm's change; `number` tells two in the same millisecond apart."""
    alarm = change.alarm
    tags = {
        "tank": alarm.tank,
        "kind": alarm.kind.value,
        "priority": alarm.priority.value,
        "state": alarm.state.value,
    }
    return Event(change.at_ms, "alarm", tags, number, alarm.message)


def event_of_entry(number: int, entry: JournalEntry) -> Event:
    """What the keeper logged; a change of stage among it."""
    tags = {"tank": entry.tank, "deed": entry.deed.value}
    return Event(entry.at_ms, "journal", tags, number, entry.detail)


def event_of_record(number: int, record: BroodRecord) -> Event:
    """What was recorded of a brood; a correction or a withdrawal is one more, and names what."""
    counted = record.counted.value if record.counted else ""
    tags = {"brood": record.brood, "act": record.act.value, "counted": counted}
    said = [record.count.text if record.count else "", record.detail]
    said.append(f"instead of record {record.replaces}" if record.replaces else "")
    return Event(record.at_ms, "brood", tags, number, ", ".join(filter(None, said)))


def _tags(tags: Mapping[str, str]) -> str:
    escaped = (
        f",{key}={_tag(value)}" for key, value in tags.items() if value
    )  # an empty tag is no line
    return "".join(escaped)


def _tag(text: str) -> str:
    for sign in "\\, =":
        text = text.replace(sign, "\\" + sign)
    return text.replace("\n", " ")


def reading_lines(room: str, probe: Probe, cells: Cells) -> Iterator[str]:
    """One line for each reading of `probe`."""
    tags = {"room": room, "tank": probe.tank, "probe": probe.id, "quantity": probe.quantity.value}
    head = f"{MEASUREMENT}{_tags(tags)} raw="
    for at_ms, raw, flag in zip(cells.at_ms, cells.raw(), cells.flag, strict=True):
        value = probe.calibrated(raw, at_ms)
        yield f"{head}{raw!r},value={value!r},flag={flag}i {at_ms}"


def event_line(room: str, event: Event) -> str:
    """The line of one event."""
    text = event.text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", " ")
    head = f"{event.measurement},room={_tag(room)}{_tags(event.tags)}"
    return f'{head} number={event.number}i,text="{text}" {event.at_ms}'

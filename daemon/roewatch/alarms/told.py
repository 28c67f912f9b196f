"""What has been told: per alarm who knows, per way what waits and what went; kept as JSON."""

import dataclasses
import json
from dataclasses import dataclass, field
from typing import Any

from roewatch.alarms.alarm import Alarm, State
from roewatch.alarms.notice import About
from roewatch.judging.finding import Forecast
from roewatch.room.kind import Kind, Priority
from roewatch.room.quantity import Quantity


@dataclass(slots=True)
class Told:
    """One open alarm as the teller sees it. Times are the steady count of `Patience`.

    ringing_ms: since when somebody must react, None when nobody must. contacts: names told, in
    order. reminders: how many so far; remind_ms: when the next is due. failed: ways that
    could not hand a message of this alarm over, as `contact/way`.
    """

    alarm: Alarm
    ringing_ms: int | None = None
    contacts: list[str] = field(default_factory=list)
    reminders: int = 0
    remind_ms: int | None = None
    failed: list[str] = field(default_factory=list)


@dataclass(slots=True)
class Waiting:
    """Something one way is to be told about one alarm, from `ready_ms` on.

    crowd: with what it gathers (see `Line.gather`), empty when it waits for no company.
    """

    number: int
    about: About
    queued_ms: int
    ready_ms: int
    crowd: str = ""


@dataclass(slots=True)
class Line:
    """One way of one contact: what waits for it, when messages went, which alarms it knows of.

    waiting: by alarm number. gather: crowd to (when its first came, until when it gathers).
    rang_ms: when the last few raises were queued. told: alarm number to episode, from the raise
    until the closing notice.
    """

    contact: str
    way: str
    waiting: dict[int, Waiting] = field(default_factory=dict)
    gather: dict[str, tuple[int, int]] = field(default_factory=dict)
    sent_ms: list[int] = field(default_factory=list)
    rang_ms: list[int] = field(default_factory=list)
    told: dict[int, int] = field(default_factory=dict)
    ordinal: int = 0
    idle_until_ms: int = 0  # before this nothing that waits can be ready

    @property
    def name(self) -> str:
        """`contact/way`."""
        return f"{self.contact}/{self.way}"

    def drop(self, number: int, *abouts: About) -> Waiting | None:
        """Forget what waits about the alarm; returns what did."""
        waiting = self.waiting.get(number)
        if waiting is None or waiting.about not in abouts:
            return None
        del self.waiting[number]
        if not self.waiting:
            self.gather.clear()
        return waiting

    def ready_ms(self, waiting: Waiting) -> int:
        """When both its own wait and that of its crowd are over."""
        if not waiting.crowd:
            return waiting.ready_ms
        return max(waiting.ready_ms, self.gather.get(waiting.crowd, (0, 0))[1])


@dataclass(slots=True)
class Sent:
    """A notice on its way, until its last receipt or until its alarms are over.

    numbers: its alarms, none for a daily word or a test. raising: it makes the line know of
    them. failing: it was tried and did not go.
    """

    line: str
    numbers: list[int]
    made_ms: int
    raising: bool = True
    high: bool = True
    failing: bool = False


@dataclass(slots=True)
class Ledger:
    """Everything the teller must not forget. days: when daily messages last went, ISO dates."""

    alarms: dict[int, Told] = field(default_factory=dict)
    lines: dict[str, Line] = field(default_factory=dict)
    notes: dict[int, Alarm] = field(default_factory=dict)  # low alarms for the next digest
    days: dict[str, str] = field(default_factory=dict)
    sent: dict[str, Sent] = field(default_factory=dict)  # by notice id
    offset_ms: int = 0
    _written: dict[int, tuple[Alarm, str]] = field(default_factory=dict, compare=False)

    def text(self) -> str:
        """As JSON. It is asked for after every change, so alarms that did not change are not
        written out anew: with thousands open that is nearly all of the work."""
        alarms = ",".join(
            f'"{number}":{{"alarm":{self._alarm_text(number, told.alarm)},{_json(_rest(told))[1:]}'
            for number, told in self.alarms.items()
        )
        rest = {
            "lines": {name: dataclasses.asdict(line) for name, line in self.lines.items()},
            "notes": {number: dataclasses.asdict(alarm) for number, alarm in self.notes.items()},
            "days": self.days,
            "sent": {notice: dataclasses.asdict(sent) for notice, sent in self.sent.items()},
            "offset_ms": self.offset_ms,
        }
        return f'{{"alarms":{{{alarms}}},{_json(rest)[1:]}'

    def _alarm_text(self, number: int, alarm: Alarm) -> str:
        written = self._written.get(number)
        if written is None or written[0] is not alarm:
            self._written[number] = written = (alarm, _json(dataclasses.asdict(alarm)))
        return written[1]

    def forget(self, number: int) -> None:
        """The alarm is over and everybody who heard of it knows."""
        self.alarms.pop(number, None)
        self._written.pop(number, None)

    @classmethod
    def of(cls, text: str) -> "Ledger":
        """From what `text` returned, this version's or another's.

        Raises ValueError if it is something else.
        """
        try:
            return cls._of(json.loads(text))
        except (KeyError, TypeError, AttributeError) as error:
            raise ValueError(f"not the teller's state: {error!r}") from error

    @classmethod
    def _of(cls, raw: dict[str, Any]) -> "Ledger":
        return cls(
            alarms={
                int(number): Told(**_known(Told, {**row, "alarm": alarm_of(row["alarm"])}))
                for number, row in raw["alarms"].items()
            },
            lines={name: _line_of(row) for name, row in raw["lines"].items()},
            notes={int(number): alarm_of(row) for number, row in raw["notes"].items()},
            days=raw["days"],
            sent={notice: Sent(**_known(Sent, row)) for notice, row in raw["sent"].items()},
            offset_ms=raw["offset_ms"],
        )


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"))


def _rest(told: Told) -> dict[str, object]:
    return {
        "ringing_ms": told.ringing_ms,
        "contacts": told.contacts,
        "reminders": told.reminders,
        "remind_ms": told.remind_ms,
        "failed": told.failed,
    }


def _known(kind: type, row: dict[str, Any]) -> dict[str, Any]:
    """What of a kept row this version knows; a newer version's additions are left out."""
    names = {known.name for known in dataclasses.fields(kind)}
    return {name: value for name, value in row.items() if name in names}


def _line_of(row: dict[str, Any]) -> Line:
    waiting = {
        int(number): Waiting(**_known(Waiting, {**waits, "about": About(waits["about"])}))
        for number, waits in row["waiting"].items()
    }
    gather = {crowd: (first_ms, until_ms) for crowd, (first_ms, until_ms) in row["gather"].items()}
    told = {int(number): episode for number, episode in row["told"].items()}
    return Line(**_known(Line, {**row, "waiting": waiting, "gather": gather, "told": told}))


def alarm_of(row: dict[str, object]) -> Alarm:
    """The alarm `dataclasses.asdict` took apart, from JSON. Raises ValueError, TypeError."""
    known = {f.name for f in dataclasses.fields(Alarm)}
    fields: dict[str, object] = {name: value for name, value in row.items() if name in known}
    forecast, quantity, children = row["forecast"], row["quantity"], row["children"]
    assert isinstance(children, list)
    fields |= {
        "kind": Kind(str(row["kind"])),
        "priority": Priority(str(row["priority"])),
        "state": State(str(row["state"])),
        "quantity": Quantity(str(quantity)) if quantity else None,
        "forecast": Forecast(*forecast) if isinstance(forecast, list) else None,
        "children": tuple(children),
    }
    return Alarm(**fields)  # type: ignore[arg-type]  # the names are Alarm's own, checked above

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

    @property
    def name(self) -> str:
        """`contact/way`."""
        return f"{self.contact}/{self.way}"

    def drop(self, number: int, *abouts: About) -> bool:
        """Forget what waits about the alarm; returns whether there was any."""
        waiting = self.waiting.get(number)
        if waiting is None or waiting.about not in abouts:
            return False
        del self.waiting[number]
        if not self.waiting:
            self.gather.clear()
        return True

    def is_ready(self, waiting: Waiting, steady_ms: int) -> bool:
        """Whether its own wait and that of its crowd are over."""
        _, until_ms = self.gather.get(waiting.crowd, (0, waiting.ready_ms))
        return steady_ms >= max(waiting.ready_ms, until_ms if waiting.crowd else 0)


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

    def text(self) -> str:
        """As JSON."""
        return json.dumps(dataclasses.asdict(self), ensure_ascii=False, separators=(",", ":"))

    @classmethod
    def of(cls, text: str) -> "Ledger":
        """From what `text` returned. Raises ValueError or KeyError if it is something else."""
        raw = json.loads(text)
        return cls(
            alarms={
                int(number): Told(**{**row, "alarm": alarm_of(row["alarm"])})
                for number, row in raw["alarms"].items()
            },
            lines={name: _line_of(row) for name, row in raw["lines"].items()},
            notes={int(number): alarm_of(row) for number, row in raw["notes"].items()},
            days=raw["days"],
            sent={notice: Sent(**row) for notice, row in raw["sent"].items()},
            offset_ms=raw["offset_ms"],
        )


def _line_of(row: dict[str, Any]) -> Line:
    waiting = {
        int(number): Waiting(**{**waits, "about": About(waits["about"])})
        for number, waits in row["waiting"].items()
    }
    gather = {crowd: (first_ms, until_ms) for crowd, (first_ms, until_ms) in row["gather"].items()}
    told = {int(number): episode for number, episode in row["told"].items()}
    return Line(**{**row, "waiting": waiting, "gather": gather, "told": told})


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
